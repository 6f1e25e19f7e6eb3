"""The page, its figures and its words: no computing."""

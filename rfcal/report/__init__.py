"""The page, its figures and its words; what compares and verifies pages computes them again."""

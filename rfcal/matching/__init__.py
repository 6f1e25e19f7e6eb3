"""Networks that match: closed forms, parts that exist, bands, tolerance and trimming."""

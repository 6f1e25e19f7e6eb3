"""Files in, files out: the measurement record and what is computed from it."""

"""Results in words."""

"""Findings about raw readings: typed or swept, and read once more."""

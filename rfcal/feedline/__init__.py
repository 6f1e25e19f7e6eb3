"""A line's own figures, what reflects on it, and what has changed."""

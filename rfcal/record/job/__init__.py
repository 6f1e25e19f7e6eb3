"""The order of the work, from a record to its results."""

"""What may be said of a record besides its answer."""

"""What may be said of a record besides its answer: one catalogue, and what decides, by subject."""

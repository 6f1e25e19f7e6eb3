"""Physical things that can say what they are at given frequencies."""

"""After building: which part is off, and what the hand does about it."""

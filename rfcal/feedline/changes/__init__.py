"""What differs between two sweeps of one line: places, length and loss."""

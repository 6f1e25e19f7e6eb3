"""What is said of a line: its state, a change, its loss, and what else would look the same."""

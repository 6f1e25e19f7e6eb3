"""What reflects on a line: echoes, where they come from, and what kind of fault each is."""

"""What a part is by itself: equivalent circuits, agreement of two instruments, fixtures."""

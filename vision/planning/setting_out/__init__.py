"""What is laid with tape and string: running marks, diagonals, the lot, the cut list."""

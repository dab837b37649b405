"""The shift between two views of the ground along a seam, by its texture."""

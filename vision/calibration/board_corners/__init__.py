"""The corners of a checkerboard: saddles, a grid grown over them, each corner fitted."""

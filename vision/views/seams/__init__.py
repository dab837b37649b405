"""The seams of the display: where they lie, how far views gape there, what both sides see."""

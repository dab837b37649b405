"""A carton's corner, found by the edges that meet there."""

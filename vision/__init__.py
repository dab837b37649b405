"""Geometric vision for surround-view target pictures: marks, lens, pose, ground, seams, verdict."""

__version__ = "0.1.0"

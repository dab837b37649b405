"""What tunes how lasting edges are found and found again, each number with its origin."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandSettings:
    """Lengths in px of the picture, levels as a share of full light."""

    scale_px: float = 1.2
    """Gaussian under which the gradient is taken: about the blur of the pictures themselves, which
    is where an edge is placed best (Canny, IEEE PAMI 8(6), 1986). More joins neighbouring edges."""
    noise_levels: float = 1.0
    """Least sigma of a grey level: rounding and compression where a picture looks noiseless."""
    strong: float = 8.0
    weak: float = 4.0
    """Gradients over their noise at which an edge begins, and goes on: at eight, noise alone begins
    none in a million pixels; between the two, hysteresis as Canny has it."""
    contrast: float = 0.02
    """Least gradient in a pixel as a share of the light there: fainter edges are dirt and wear."""
    faded: float = 0.5
    """Share of that contrast with which an edge that is known is still one in another light."""
    most_turn: float = 0.9
    """Cosine of how far an edge's normal may turn from one pixel to the next: 26 degrees."""
    piece_px: float = 64.0
    least_px: float = 14.0
    """Length of a piece, one observation however long it is, and the least: some ten times the
    scale, below which a piece has no direction to speak of."""
    straight_px: float = 0.35
    """How far a strand may lie off the curve of its piece; beyond, it is cut there."""
    every_px: float = 5.0
    """Places along a piece: nearer ones hold the same light twice."""
    reach_px: float = 7.0
    step_px: float = 0.5
    """How far the profile reaches to either side, six scales, and how fine it is."""
    taper_px: float = 3.0
    """Sigma of the weight of a profile: what lies beside an edge changes with the light."""
    alike: float = 0.75
    """Least correlation of a profile with what it is matched to; wet, shade and another blur leave
    more, another edge mostly less."""
    floor_px: float = 0.08
    """Sigma of a piece's place that no profile shows: bevels and gloss under another light."""


SETTINGS = StrandSettings()

"""Rough wood: what a milled blank is taken from, and how it is counted when it is bought.

A board foot is a board of 12 x 12 x 1 in: 144 cubic inches, 2359.737 cm3 (definition; arithmetic our own).
"""

from __future__ import annotations

from kerfwright.core.units import MM_PER_INCH

Size = tuple[float, float, float]

BOARD_FOOT_MM3 = 144 * MM_PER_INCH**3
# Wood lost while a rough board is squared, jointed and planed both sides (common practice, no source).
MILLING_MM: Size = (10.0, 3.0, 2.0)


def rough_size_mm(blank_mm: Size) -> Size:
    """Length, width and thickness of rough wood that a blank is milled from."""
    length, width, thickness = (size + lost for size, lost in zip(blank_mm, MILLING_MM, strict=True))
    return length, width, thickness


def volume_mm3(size_mm: Size) -> float:
    """Of a block."""
    length, width, thickness = size_mm
    return length * width * thickness

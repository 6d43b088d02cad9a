"""Single-stroke letters for engraving: our own simple capitals on a grid 4 wide and 6 high."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GRID_HEIGHT = 6
ADVANCE = 5.5

# Strokes are separated by spaces; each is a run of x y digit pairs.
_STROKES = {
    "A": "002640 1333",
    "B": "00063645443303 3342413000",
    "C": "4536160501103041",
    "D": "00062644422000",
    "E": "46060040 0333",
    "F": "460600 0333",
    "G": "45361605011030414323",
    "H": "0006 4046 0343",
    "I": "1030 1636 2026",
    "J": "364641301001",
    "K": "0006 460340",
    "L": "060040",
    "M": "0006234640",
    "N": "00064046",
    "O": "100105163645413010",
    "P": "00063645443303",
    "Q": "100105163645413010 2240",
    "R": "00063645443303 2340",
    "S": "453616050413334241301001",
    "T": "0646 2026",
    "U": "060110304146",
    "V": "062046",
    "W": "0610233046",
    "X": "0046 0640",
    "Y": "062346 2320",
    "Z": "06460040",
    "0": "100105163645413010 1135",
    "1": "152620 1030",
    "2": "05163645440040",
    "3": "05163645443323 334241301001",
    "4": "30360242",
    "5": "460603334241301001",
    "6": "4536160501103041423303",
    "7": "064620",
    "8": "13040516364544331302011030414233",
    "9": "0110304145361605041343",
    "-": "1333",
    "+": "1333 2224",
    ".": "2021",
    ",": "2110",
    ":": "2122 2425",
    "/": "0046",
    "%": "0046 0506161505 3031414030",
    "=": "1232 1434",
    " ": "",
}


def text_strokes(text: str, height_mm: float) -> list[Array]:
    """Strokes of a line of text, each (n, 2) in mm, its lower left corner at the origin.

    Letters without a shape become a dash.
    """
    scale = height_mm / GRID_HEIGHT
    strokes: list[Array] = []
    for i, letter in enumerate(text.upper()):
        for stroke in _STROKES.get(letter, _STROKES["-"]).split():
            pairs = np.array([int(digit) for digit in stroke], dtype=float).reshape(-1, 2)
            strokes.append((pairs + np.array([i * ADVANCE, 0.0])) * scale)
    return strokes


def text_width_mm(text: str, height_mm: float) -> float:
    """Width of a line of text."""
    return (len(text) * ADVANCE - (ADVANCE - 4)) * height_mm / GRID_HEIGHT

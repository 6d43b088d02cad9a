"""A chart of 21 steps from no power to full, to see whether a machine's picture mode is linear."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.export.grey_picture import ROWS_A_LINE

STEPS_PERCENT = tuple(range(0, 101, 5))
N_COLUMNS = 7
PATCH_MM = (6.0, 5.0)  # across, up
CELL_MM = (8.5, 10.0)
DOT_MM = 0.5  # side of one dot of a number
NUMBER_POWER_FRAC = 0.4  # enough to be read, far from cutting

# Our own numerals, three dots wide and five high.
NUMERALS = {
    "0": "### #.# #.# #.# ###", "1": ".#. ##. .#. .#. ###", "2": "### ..# ### #.. ###", "3": "### ..# .## ..# ###",
    "4": "#.# #.# ### ..# ..#", "5": "### #.. ### ..# ###", "6": "### #.. ### #.# ###", "7": "### ..# .#. .#. .#.",
    "8": "### #.# ### #.# ###", "9": "### #.# ### ..# ###",
}


def step_box_mm(index: int) -> tuple[float, float, float, float]:
    """(left, bottom, right, top) of a step's patch, from the chart's lower left corner; step 0 stands top left."""
    row, column = divmod(index, N_COLUMNS)
    n_rows = -(-len(STEPS_PERCENT) // N_COLUMNS)
    left_mm = column * CELL_MM[0] + (CELL_MM[0] - PATCH_MM[0]) / 2
    bottom_mm = (n_rows - row) * CELL_MM[1] - PATCH_MM[1] - 0.5
    return left_mm, bottom_mm, left_mm + PATCH_MM[0], bottom_mm + PATCH_MM[1]


def chart_size_mm() -> tuple[float, float]:
    """Width and height of the chart."""
    return N_COLUMNS * CELL_MM[0], -(-len(STEPS_PERCENT) // N_COLUMNS) * CELL_MM[1]


def chart_power(pixel_mm: float) -> NDArray[np.float32]:
    """(rows, columns) of commanded power, row 0 at the bottom: lines on every second row, as the ramps have them."""
    width_mm, height_mm = chart_size_mm()
    power = np.zeros((round(height_mm / pixel_mm), round(width_mm / pixel_mm)), np.float32)
    for index, percent in enumerate(STEPS_PERCENT):
        left_mm, bottom_mm, right_mm, top_mm = step_box_mm(index)
        _fill(power, (left_mm, bottom_mm, right_mm, top_mm), percent / 100, pixel_mm)
        text = str(percent)
        wide_mm = (4 * len(text) - 1) * DOT_MM
        for i, sign in enumerate(text):
            corner = ((left_mm + right_mm - wide_mm) / 2 + 4 * i * DOT_MM, bottom_mm - 0.8)
            _numeral(power, sign, corner, pixel_mm)
    power[1::ROWS_A_LINE] = 0
    return power


def _numeral(power: NDArray[np.float32], sign: str, corner_mm: tuple[float, float], pixel_mm: float) -> None:
    """Dots of one numeral. corner_mm: its upper left corner."""
    for row, dots in enumerate(NUMERALS[sign].split()):
        for column, dot in enumerate(dots):
            if dot == "#":
                left_mm, top_mm = corner_mm[0] + column * DOT_MM, corner_mm[1] - row * DOT_MM
                _fill(power, (left_mm, top_mm - DOT_MM, left_mm + DOT_MM, top_mm), NUMBER_POWER_FRAC, pixel_mm)


def _fill(power: NDArray[np.float32], box_mm: tuple[float, float, float, float], power_frac: float, pixel_mm: float) -> None:
    left, bottom, right, top = (round(each / pixel_mm) for each in box_mm)
    power[bottom:top, left:right] = power_frac

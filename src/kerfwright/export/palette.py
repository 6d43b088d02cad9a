"""Our own four inks, one a kind of operation: told apart by hue, by lightness and by dash.

Chosen so that any two stay at least 35 CIE 1976 Lab units apart for full, deuteranope, protanope and tritanope sight,
and every one keeps a contrast of 3.5 to 1 on white (a test computes both). No meaning rests on the exact colour:
every file also names each operation in words.
"""

from __future__ import annotations

from dataclasses import dataclass

from kerfwright.process.operation import OperationKind


@dataclass(frozen=True)
class Ink:
    """colour: ``#rrggbb``. dash: lengths on and off in line widths, empty for a full line; used in pictures to look at only."""

    colour: str
    dash: tuple[float, ...]
    word: str

    @property
    def rgb(self) -> tuple[int, int, int]:
        """Red, green and blue, 0 to 255."""
        return int(self.colour[1:3], 16), int(self.colour[3:5], 16), int(self.colour[5:7], 16)


INKS: dict[OperationKind, Ink] = {
    OperationKind.THROUGH: Ink("#4a1030", (), "cut through"),
    OperationKind.RAMP: Ink("#1a7fb5", (1.0, 1.0), "ramp"),
    OperationKind.ENGRAVE: Ink("#b9770e", (5.0, 2.0), "engrave"),
    OperationKind.WITNESS: Ink("#8c8577", (6.0, 2.0, 1.0, 2.0), "witness mark"),
}

# Cool to warm on pale wood. Every step is darker than the one before for all four kinds of sight, so order never rests on hue.
WARMTH_INKS: tuple[str, ...] = ("#e0d4b8", "#dda23c", "#c7611f", "#8f2438", "#3a0a2a")

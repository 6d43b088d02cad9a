"""A program as it was read back from its file: straight moves in order, and the stops for the person.

Times, the check before writing and the burn simulation work from this, not from what was planned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class ProgramSegment:
    """One straight move. start_mm, end_mm: (3,), Z over the gauge point.

    rapid: G0. power_mode: "off", "constant" or "speed-scaled". power_s: the S word in force. feed_mm_s: the feed in
    force, 0 before any F word.
    """

    start_mm: Array
    end_mm: Array
    laser_on: bool
    power_s: float
    feed_mm_s: float
    line_number: int
    rapid: bool
    power_mode: str


@dataclass(frozen=True)
class ProgramPause:
    """A stop for the person. after: how many segments were run before it."""

    message: str
    after: int
    laser_on: bool
    line_number: int


@dataclass(frozen=True, eq=False)
class Program:
    """What a program does. modes: the mode words read before the first move; ended: an end word was read."""

    segments: tuple[ProgramSegment, ...]
    pauses: tuple[ProgramPause, ...]
    modes: frozenset[str]
    ended: bool
    laser_on_at_end: bool

"""Read our own RS-274 programs back: a small strict reader that refuses any word we do not write.

It follows the order of execution of Kramer, Proctor and Messina, NISTIR 6556 (2000), table 8 (from memory of it):
feed, power, laser, modes, motion, stop. The check before writing and the burn simulation use it.
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError
from kerfwright.process.program import Program, ProgramPause, ProgramSegment

Array = NDArray[np.float64]

MODE_WORDS = frozenset({"G17", "G21", "G90", "G94"})  # plane XY, mm, absolute, F a minute: all that we write

_LINE = re.compile(r"(?:[FGMSXYZ]-?(?:\d+\.?\d*|\.\d+) *)+")
_WORD = re.compile(r"([FGMSXYZ])(-?(?:\d+\.?\d*|\.\d+))")
_COMMENT = re.compile(r"\(([ -'*-~]*)\)")
_LASER = {3: "constant", 4: "speed-scaled", 5: "off"}


def read_program(text: str) -> Program:
    """Read a whole program. Raises InputError, naming the line, at anything we would not write.

    The head is taken to start at 0, 0, 0.
    """
    reader = _Reader()
    lines = text.splitlines()
    marks = [i for i, line in enumerate(lines) if line.strip() == "%"]
    if marks != [0, len(lines) - 1] or len(lines) < 2:
        raise InputError("the program is not held between two % lines", accepted="% on the first and on the last line, nowhere else")
    for line_number, line in enumerate(lines[1:-1], start=2):
        try:
            reader.line(line.strip(), line_number)
        except InputError as bad:
            raise bad.located(f"line {line_number}") from bad
    return Program(tuple(reader.segments), tuple(reader.pauses), frozenset(reader.modes), reader.ended, reader.laser != "off")


class _Reader:
    def __init__(self) -> None:
        self.segments: list[ProgramSegment] = []
        self.pauses: list[ProgramPause] = []
        self.modes: set[str] = set()
        self.messages: list[str] = []
        self.at_mm: Array = np.zeros(3)
        self.laser = "off"
        self.power_s = 0.0
        self.feed_mm_s = 0.0
        self.motion = -1
        self.ended = False

    def line(self, line: str, line_number: int) -> None:
        if comment := _COMMENT.fullmatch(line):
            if comment[1].startswith("MSG, "):
                self.messages.append(comment[1].removeprefix("MSG, "))
            return
        if not line:
            return
        if self.ended:
            raise InputError(f'"{line}" follows the end word', accepted="nothing after M2")
        if not _LINE.fullmatch(line):
            raise InputError(f'"{line}" cannot be read', accepted="F, G, M, S, X, Y, Z words with plain numbers, or one comment")
        axes, stop = self._states(line)
        if axes:
            self._move(axes, line_number)
        if stop == 0:
            self.pauses.append(ProgramPause(" ".join(self.messages), len(self.segments), self.laser != "off", line_number))
        self.ended = stop == 2
        if axes or stop is not None:
            self.messages.clear()

    def _states(self, line: str) -> tuple[dict[str, float], int | None]:
        """Take in feed, power, laser and modes; the axis words and the stop word are left to do."""
        axes: dict[str, float] = {}
        seen: set[str] = set()
        stop: int | None = None
        for letter, digits in _WORD.findall(line):
            value = float(digits)
            kind = _kind(letter, value, digits)
            if kind in seen:
                raise InputError(f'two words of one kind ({kind}) in "{line}"', accepted="one of each kind a line")
            seen.add(kind)
            if letter in "XYZ":
                axes[letter] = value
            elif kind == "mode":
                self.modes |= {f"G{digits}"} if not self.segments else set()
            elif kind == "motion":
                self.motion = int(value)
            elif kind == "laser":
                self.laser = _LASER[int(value)]
            elif kind == "stop":
                stop = int(value)
            elif letter == "F":
                self.feed_mm_s = value / 60
            else:
                self.power_s = value
            if kind == "mode":
                seen.remove(kind)  # four different modes share our first line
        return axes, stop

    def _move(self, axes: dict[str, float], line_number: int) -> None:
        if self.motion < 0:
            raise InputError("axis words before any G0 or G1", accepted="a motion word first")
        end_mm = np.array([axes.get(letter, before) for letter, before in zip("XYZ", self.at_mm, strict=True)], dtype=float)
        self.segments.append(ProgramSegment(
            self.at_mm, end_mm, self.laser != "off", self.power_s, self.feed_mm_s, line_number, self.motion == 0, self.laser))
        self.at_mm = end_mm


def _kind(letter: str, value: float, digits: str) -> str:
    word = letter + digits
    if letter == "G":
        if word in MODE_WORDS:
            return "mode"
        if value in (0, 1):
            return "motion"
        raise InputError(f"{word} is not a word of ours", accepted="G0, G1, " + ", ".join(sorted(MODE_WORDS)))
    if letter == "M":
        if value in _LASER:
            return "laser"
        if value in (0, 2):
            return "stop"
        raise InputError(f"{word} is not a word of ours", accepted="M0, M2, M3, M4, M5")
    if value < 0 and letter in "FS":
        raise InputError(f"{word} is negative", accepted=f"{letter} of 0 or more")
    return letter

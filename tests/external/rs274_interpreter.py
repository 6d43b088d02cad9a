"""An independent RS-274 interpreter, for tests only. It shares no code with the package.

Written from memory of Kramer, Proctor and Messina, "The NIST RS274/NGC Interpreter - Version 3", NISTIR 6556 (2000):
section 3 (format of a line), table 4 (modal groups), table 8 (order of execution). Only the part of the language
that a straight-line laser program can need is run; every other known word is refused as not supported, and any
unknown word as unknown. The spindle words are read as the laser: M3, M4 on; M5 off; S its power.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

# Table 4 of the report, from memory: words of one group may not share a line. Keys are tenths, so G38.2 is 382.
G_GROUPS = {
    "motion": (0, 10, 20, 30, 382, 800, 810, 820, 830, 840, 850, 860, 870, 880, 890),
    "plane": (170, 180, 190),
    "distance": (900, 910),
    "feed mode": (930, 940),
    "units": (200, 210),
    "cutter radius": (400, 410, 420),
    "tool length": (430, 490),
    "return": (980, 990),
    "coordinates": (540, 550, 560, 570, 580, 590, 591, 592, 593),
    "path": (610, 611, 640),
    "non-modal": (40, 100, 280, 300, 530, 920, 921, 922, 923),
}
M_GROUPS = {"stopping": (0, 1, 2, 30, 60), "tool change": (6,), "spindle": (3, 4, 5), "coolant": (7, 8, 9), "overrides": (48, 49)}
SUPPORTED_G = {0, 10, 170, 200, 210, 900, 910, 940}
SUPPORTED_M = {0, 2, 3, 4, 5, 30}
LONGEST_LINE = 256


class Rs274Error(Exception):
    """The program breaks a rule of the language."""


@dataclass(frozen=True)
class Motion:
    """start, end: (x, y, z) in mm. rapid: G0. feed in mm a minute."""

    start: tuple[float, float, float]
    end: tuple[float, float, float]
    rapid: bool
    laser: str
    s: float
    feed: float
    line: int


@dataclass(frozen=True)
class Stop:
    """M0: waits for the person."""

    laser: str
    line: int
    messages: tuple[str, ...]
    after: int


@dataclass
class Run:
    motions: list[Motion] = field(default_factory=list)
    stops: list[Stop] = field(default_factory=list)
    ended_by: str = ""
    laser: str = "off"
    said: set[str] = field(default_factory=set)  # modal groups the program itself has set


@dataclass
class _Block:
    g: dict[str, int] = field(default_factory=dict)
    m: dict[str, int] = field(default_factory=dict)
    values: dict[str, float] = field(default_factory=dict)
    messages: list[str] = field(default_factory=list)


def interpret(text: str) -> Run:
    """Run a program from power-up."""
    lines = text.split("\n")
    filled = [i for i, line in enumerate(lines) if line.strip()]
    if not filled:
        raise Rs274Error("empty program")
    first, last = filled[0], len(lines)
    demarcated = lines[first].strip() == "%"
    if demarcated:
        ends = [i for i in range(first + 1, len(lines)) if lines[i].strip() == "%"]
        if not ends:
            raise Rs274Error("a first % line needs a second one")
        first, last = first + 1, ends[0]
    machine = _Machine()
    for i in range(first, last):
        try:
            machine.execute(_parse(lines[i]), i + 1)
        except Rs274Error as bad:
            raise Rs274Error(f"line {i + 1}: {bad}") from None
        if machine.run.ended_by:
            break
    if not machine.run.ended_by and not demarcated:
        raise Rs274Error("the program ends without M2, M30 or %")
    return machine.run


def _parse(line: str) -> _Block:
    """Section 3.3: optional block delete, optional line number, words and comments in any order, spaces anywhere."""
    if len(line) > LONGEST_LINE:
        raise Rs274Error("longer than 256 characters")
    block = _Block()
    code = _without_comments(line, block)
    code = "".join(code.split()).upper()
    if code.startswith("/"):
        code = code[1:]
    i = 0
    first = True
    while i < len(code):
        letter = code[i]
        if not letter.isalpha():
            raise Rs274Error(f"a word cannot start with {letter!r}")
        value, i, digits = _number(code, i + 1)
        if letter == "N":
            if not first or not digits.isdigit() or len(digits) > 5:
                raise Rs274Error("a line number comes first and has up to five digits")
        else:
            _word(letter, value, block)
        first = False
    if len(block.m) > 4:
        raise Rs274Error("more than four M words")
    return block


def _without_comments(line: str, block: _Block) -> str:
    kept = ""
    i = 0
    while i < len(line):
        if line[i] == ")":
            raise Rs274Error("a comment is closed that was not opened")
        if line[i] != "(":
            kept += line[i]
            i += 1
            continue
        close = line.find(")", i)
        if close < 0 or "(" in line[i + 1:close]:
            raise Rs274Error("a comment is open or nested")
        inside = line[i + 1:close]
        if inside.lstrip().upper().startswith("MSG,"):
            block.messages.append(inside.lstrip()[4:].strip())
        i = close + 1
    return kept


def _number(code: str, start: int) -> tuple[float, int, str]:
    """Section 3.3.2.1: sign, digits, at most one point, at least one digit, no exponent."""
    i = start
    if i < len(code) and code[i] in "+-":
        i += 1
    while i < len(code) and (code[i].isdigit() or code[i] == "."):
        i += 1
    digits = code[start:i]
    if digits.count(".") > 1 or not any(sign.isdigit() for sign in digits):
        raise Rs274Error(f"no number after {code[start - 1]}")
    return float(digits), i, digits


def _word(letter: str, value: float, block: _Block) -> None:
    if letter == "G":
        key = round(value * 10)
        if abs(value * 10 - key) > 1e-6:
            raise Rs274Error(f"unknown G{value:g}")
        _into(block.g, G_GROUPS, key, f"G{value:g}")
        if key not in SUPPORTED_G:
            raise Rs274Error(f"G{value:g} is not supported here")
    elif letter == "M":
        key = round(value)
        if value != key:
            raise Rs274Error(f"unknown M{value:g}")
        _into(block.m, M_GROUPS, key, f"M{value:g}")
        if key not in SUPPORTED_M:
            raise Rs274Error(f"M{value:g} is not supported here")
    elif letter in "XYZFS":
        if letter in block.values:
            raise Rs274Error(f"two {letter} words")
        if letter in "FS" and value < 0:
            raise Rs274Error(f"negative {letter}")
        block.values[letter] = value
    else:
        raise Rs274Error(f"the word {letter} is not supported here")


def _into(taken: dict[str, int], groups: dict[str, tuple[int, ...]], key: int, word: str) -> None:
    for group, members in groups.items():
        if key in members:
            if group in taken:
                raise Rs274Error(f"two words of the group {group}")
            taken[group] = key
            return
    raise Rs274Error(f"unknown {word}")


class _Machine:
    def __init__(self) -> None:
        self.run = Run()
        self.at = (0.0, 0.0, 0.0)
        self.scale_mm = math.nan  # no units until the program says them
        self.absolute = True
        self.motion: int | None = None
        self.feed = 0.0
        self.s = 0.0
        self.laser = "off"
        self.messages: list[str] = []

    def execute(self, block: _Block, line: int) -> None:
        """Table 8: comments, feed mode, F, S, spindle, plane, units, distance mode, motion, stopping."""
        self.messages += block.messages
        self.run.said |= set(block.g) & {"feed mode", "plane", "units", "distance"}
        units = block.g.get("units")
        # F comes before G20/G21 in table 8, so a length in F is taken in the units in force before this line.
        if "F" in block.values:
            self.feed = block.values["F"] * (1.0 if math.isnan(self.scale_mm) else self.scale_mm)
        self.s = block.values.get("S", self.s)
        if "spindle" in block.m:
            self.laser = {3: "constant", 4: "speed-scaled", 5: "off"}[block.m["spindle"]]
        if units is not None:
            self.scale_mm = 25.4 if units == 200 else 1.0
        if "distance" in block.g:
            self.absolute = block.g["distance"] == 900
        if "motion" in block.g:
            self.motion = block.g["motion"]
        axes = {letter: block.values[letter] for letter in "XYZ" if letter in block.values}
        if axes:
            self._move(axes, line)
        elif "motion" in block.g:
            raise Rs274Error("a motion word without axis words")
        self._stop(block, line)
        self.run.laser = self.laser  # what the program left; an end word would also turn it off

    def _move(self, axes: dict[str, float], line: int) -> None:
        if self.motion is None:
            raise Rs274Error("axis words and no motion mode")
        if math.isnan(self.scale_mm):
            raise Rs274Error("axis words before the units")
        if self.motion == 10 and self.feed == 0:
            raise Rs274Error("G1 at feed 0")
        end = list(self.at)
        for index, letter in enumerate("XYZ"):
            if letter in axes:
                value = axes[letter] * self.scale_mm
                end[index] = value if self.absolute else end[index] + value
        goal = (end[0], end[1], end[2])
        self.run.motions.append(Motion(self.at, goal, self.motion == 0, self.laser, self.s, self.feed, line))
        self.at = goal

    def _stop(self, block: _Block, line: int) -> None:
        stopping = block.m.get("stopping")
        if stopping == 0:
            self.run.stops.append(Stop(self.laser, line, tuple(self.messages), len(self.run.motions)))
            self.messages = []
        elif stopping is not None:
            self.run.ended_by = f"M{stopping}"

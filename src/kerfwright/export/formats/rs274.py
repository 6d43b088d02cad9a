"""RS-274 programs, one a setup, each complete in itself.

Written to the language described by Kramer, Proctor and Messina, *The NIST RS274/NGC Interpreter - Version 3*,
NISTIR 6556 (2000). X and Y are those of the bed; Z is the height of the focus over the setup's gauge point.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.units import format_mm
from kerfwright.export.exporter import Exporter, JobFile, setup_stem
from kerfwright.export.program_check import check_program
from kerfwright.export.wording import height_words, number, power_words, short
from kerfwright.machine.machine import Machine
from kerfwright.process.job import Job
from kerfwright.process.moves import Burn, Pause, Travel, moves_of
from kerfwright.process.operation import CutOperation
from kerfwright.process.setup import Setup

Array = NDArray[np.float64]

COMMENT_WIDTH = 74  # with its brackets and a message mark still under 80

_SPELLED = str.maketrans({
    "(": "[", ")": "]", "%": " percent", "°": " deg ", "±": "+-", "×": "x", "·": " ", "–": "-", "—": "-", "−": "-",
    "‘": "'", "’": "'", "“": '"', "”": '"', "µ": "u", "μ": "u", "²": "2", "³": "3", "ß": "ss", "æ": "ae", "ø": "o", "ł": "l",
    # Some controllers act on these the moment they arrive, even inside a comment.
    "!": ".", "?": ".", "~": "-",
})


def program_text(setup: Setup, machine: Machine, recipe_name: str = "") -> str:
    """The whole program of one setup."""
    writer = _Writer(machine)
    _header(writer, setup, recipe_name)
    _body(writer, setup)
    writer.lines += ["M5", "M2"]
    return "\n".join(["%", *writer.lines, "%"]) + "\n"


class _Writer:
    """Collects lines and remembers the height last written, since Z is repeated only when it changes."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.lines: list[str] = []
        self.z_word = ""

    def comment(self, text: str, mark: str = "") -> None:
        """Text as one or more comment lines. mark: ``"MSG, "`` shows it to the person at the machine."""
        for line in textwrap.wrap(plain_ascii(text), COMMENT_WIDTH - len(mark)):
            self.lines.append(f"({mark}{line})")

    def travel(self, to_mm: Array) -> None:
        """Laser off, then to a point. to_mm: (3,)."""
        self.lines += ["M5", "G0 " + self._point(to_mm)]

    def burn(self, move: Burn) -> None:
        """Laser on along the points after the first."""
        power_s = round(move.power_frac * self.machine.s_full)
        self.lines.append(f"{self.machine.laser_on_word} S{power_s}")
        feed_word = f" F{number(move.speed_mm_s * 60)}"
        for point in move.points_mm[1:]:
            self.lines.append("G1 " + self._point(point) + feed_word)
            feed_word = ""

    def pause(self, message: str) -> None:
        """Laser off and stop until the person goes on."""
        self.comment(message, "MSG, ")
        self.lines += ["M5", "M0"]

    def _point(self, point_mm: Array) -> str:
        z_word = f" Z{number(point_mm[2])}"
        changed = z_word != self.z_word
        self.z_word = z_word
        return f"X{number(point_mm[0])} Y{number(point_mm[1])}{z_word if changed else ''}"


def _header(writer: _Writer, setup: Setup, recipe_name: str) -> None:
    machine = writer.machine
    x_mm, y_mm, z_mm = setup.bed_from_board.apply(setup.gauge_board_mm[None, :])[0]
    writer.comment(f"Setup {setup.number}: {setup.title}")
    writer.comment("File made by kerfwright")
    writer.comment(f"Board: {setup.board}, part: {setup.part}, {setup.entry_face} up, tilted {short(setup.tilt_deg)} deg, "
                   f"on the {setup.rests_on}")
    writer.comment(f"Machine: {machine.name}" + (f"; recipe: {recipe_name}" if recipe_name else ""))
    writer.comment(f"Z 0 = the focus gauge set on the point X {short(x_mm)} Y {short(y_mm)} of the bed, {format_mm(z_mm)} above the bed")
    writer.comment("Z is the height of the focus over that point, plus is up; X 0 Y 0 is the front left of the bed")
    if machine.z == "by hand":
        writer.comment("The focus is set by hand where the program stops; the Z words only say where it stands")
    writer.comment(f"S0 = off, S{machine.s_full} = full power; F in mm a minute; mm, absolute")
    writer.comment("Stay with the machine while it runs: wood can catch fire. Fumes, eyes, fire: "
                   "local rules and the machine's manual come first")
    for step in setup.steps_before:
        writer.comment(f"Before: {step}")
    writer.lines += ["G21 G90 G94 G17", "M5"]


def _body(writer: _Writer, setup: Setup) -> None:
    operations = {op.name: op for op in setup.operations}
    order = [op.name for op in setup.operations]
    now = ""
    n_burns = 0
    for move in moves_of(setup, writer.machine):
        op = operations[move.operation]
        if op.name != now:
            now, n_burns = op.name, 0
            writer.comment(f"Operation {order.index(now) + 1} of {len(order)}: {op.title}")
            writer.comment(f"power {power_words(op)}, speed {short(op.speed_mm_s)} mm/s")
        if isinstance(move, Pause):
            writer.pause(move.message)
            continue
        if isinstance(move, Travel):
            if n_burns % len(op.paths) == 0:
                writer.comment(_pass_words(op, n_burns // len(op.paths)))
            writer.travel(move.to_mm)
        else:
            writer.burn(move)
            n_burns += 1


def _pass_words(op: CutOperation, index: int) -> str:
    surface = "the face" if op.level_mm is None else "the gauge point"
    height_mm = op.passes[index].focus_mm + (op.level_mm or 0.0)
    return f"pass {index + 1} of {len(op.passes)}, focus {height_words(height_mm, surface)}"


def plain_ascii(text: str) -> str:
    """Printable ASCII without round brackets: what a comment may hold."""
    spelled = unicodedata.normalize("NFKD", text.translate(_SPELLED))
    return " ".join("".join(sign if " " <= sign <= "~" else " " if sign.isspace() else "" for sign in spelled).split())


class _Programs:
    name = "rs274"

    def files(self, job: Job) -> Iterator[JobFile]:
        for setup in job.setups:
            recipe = job.recipes.get(setup.part)
            text = program_text(setup, job.machine, recipe.name if recipe else "")
            check_program(text, setup, job.machine)
            yield JobFile(setup_stem(setup.number, setup.name) + ".ngc", text.encode("ascii"), f"program: {setup.title}")


EXPORTER: Exporter = _Programs()

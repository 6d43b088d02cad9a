"""How to read the witness marks: two combs drawn large, boxes for the readings and the command that corrects the program."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.units import format_mm
from kerfwright.export.sheet.blocks import Block, Columns, Figure, Framed, Stack, heading, strong, words
from kerfwright.export.sheet.paper import Paper
from kerfwright.export.sheet.style import BLACK, BLUE, GREY, LABEL, LABEL_STRONG, QUIET, TINT, Stroke
from kerfwright.process.setup import Setup, Vernier

Array = NDArray[np.float64]

PITCH_MM, STEP_MM = 6.2, 0.62  # of the drawing: ten times enough to see the pairs part
EXAMPLE_TICK = 2
TICK_MM, LONG_MM = 6.0, 9.0
N_DRAWN = 4
OPTION = {"along": "x"}  # the command's word for a scale, where it differs from the scale's name


def vernier_block(setup: Setup) -> Stack:
    """The reading lesson, the boxes, the command: never parted."""
    scale = setup.verniers[0]
    lesson = Stack((
        words("This program first burns new ticks beside the ones that stand on the board already, then stops."),
        words("On each scale find the pair that makes one straight line, and count how far it stands from the long middle tick. ",
              strong(f"One tick is {format_mm(scale.step_mm)}."), " Between two pairs: a half."),
        words("Count + the way each box says, − the other way. All zero: go on."),
    ))
    return Stack((
        heading("Read the witness marks"),
        Columns((Figure(33.0, _draw_combs, f"This one reads +{EXAMPLE_TICK}: the thick pair is one line."), lesson), (0.9, 1.1)),
        Columns(tuple(_box(setup, each) for each in setup.verniers), tuple(1.0 for _ in setup.verniers)),
        words("Any reading off zero: stop the program here, write it again, run the new one (it burns no marks).", keep=True),
        Framed(Stack(tuple(words(line, after_mm=0.4) for line in command(setup))), TINT, BLUE),
    ))


def command(setup: Setup) -> tuple[str, ...]:
    """The command with its readings left open; a person types it on one line."""
    options = " ".join(f"--{OPTION.get(scale.name, scale.name)}-tick N" for scale in setup.verniers)
    return f"kerfwright shift JOB_FOLDER {setup.number} {options}",


def _box(setup: Setup, scale: Vernier) -> Block:
    def draw(paper: Paper, x_mm: float, top_mm: float, _width_mm: float) -> None:
        paper.rectangle(x_mm, top_mm - 9.0, 22.0, 9.0, Stroke(BLACK, 0.3))
        paper.text(x_mm + 24.0, top_mm - 6.0, "ticks", QUIET)

    name = f"{scale.name} scale" if scale.axis == "y" else "x scale, along the board"
    return Stack((words(strong(name[:1].upper() + name[1:]), after_mm=0.2), words(*_place_words(setup, scale), style=QUIET, after_mm=1.0),
                  Figure(12.0, draw)))


def _place_words(setup: Setup, scale: Vernier) -> tuple[str, ...]:
    """Where a scale lies in the bed now, and which way its + points, on the part and in the bed."""
    length_mm, width_mm, _ = setup.board_size_mm
    corner = np.array([length_mm, width_mm]) / 2
    from_middle = setup.bed_from_board.turned(np.array([scale.at_mm[0] - corner[0], 0.0, 0.0]))
    plus = setup.bed_from_board.turned(np.array([1.0, 0.0, 0.0] if scale.axis == "x" else [0.0, 1.0, 0.0]))
    toward = "right end" if scale.axis == "x" else "top edge"
    return f"At the {bed_side(from_middle)} of the bed now. + is toward the part's {toward}, now the {bed_side(plus)}.",


def bed_side(direction: Array) -> str:
    """``left``, ``right``, ``front`` or ``back``: where a direction in the bed mostly points. direction: (3,)."""
    if abs(direction[0]) >= abs(direction[1]):
        return "right" if direction[0] > 0 else "left"
    return "back" if direction[1] > 0 else "front"


def _draw_combs(paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
    """Reference ticks up, new ticks down, shifted so that the example's pair meets."""
    middle_mm, line_mm = x_mm + width_mm / 2, top_mm - 17.5
    shift_mm = EXAMPLE_TICK * STEP_MM
    for i in range(-N_DRAWN, N_DRAWN + 1):
        chosen = i == EXAMPLE_TICK
        high_mm = LONG_MM if i == 0 else TICK_MM
        up, down = middle_mm + i * PITCH_MM, middle_mm + shift_mm + i * (PITCH_MM - STEP_MM)
        paper.line(up, line_mm, up, line_mm + high_mm, Stroke(BLUE if chosen else GREY, 0.7 if chosen else 0.35))
        paper.line(down, line_mm, down, line_mm - high_mm, Stroke(BLUE if chosen else BLACK, 0.7 if chosen else 0.35))
        text = f"{i:+d}".replace("-", "−") if i else "0"
        paper.text(up, line_mm + LONG_MM + 1.0, text, LABEL_STRONG.coloured(BLUE) if chosen else LABEL, "centre")
    paper.text(x_mm, line_mm + LONG_MM + 5.2, "there before", LABEL)
    paper.text(x_mm, line_mm - LONG_MM - 3.6, "burnt now", LABEL)
    paper.arrow(x_mm + width_mm - 12, line_mm - LONG_MM - 2.6, x_mm + width_mm - 3, line_mm - LONG_MM - 2.6, Stroke(GREY, 0.3))
    paper.text(x_mm + width_mm - 1.8, line_mm - LONG_MM - 3.7, "+", LABEL_STRONG)

"""One setup: how the board lies, what to set, what to do first, what the program does, what to watch, what comes next."""

from __future__ import annotations

from collections import Counter

import numpy as np

from kerfwright.core.units import format_duration, format_mm
from kerfwright.export.exporter import setup_stem
from kerfwright.export.formats.grey_png import picture_path
from kerfwright.export.grey_picture import picture_placings
from kerfwright.export.palette import INKS
from kerfwright.export.sheet.bed_view import bed_figure, draw_tag, op_stroke
from kerfwright.export.sheet.blocks import Block, Columns, Framed, Gap, Stack, bullet, chapter, heading, strong, tick, words
from kerfwright.export.sheet.pages import Section
from kerfwright.export.sheet.paper import Paper
from kerfwright.export.sheet.style import BLUE, BLUE_TINT, LABEL, QUIET, STRONG, TEXT_WIDTH_MM
from kerfwright.export.sheet.table import Cell, Table
from kerfwright.export.sheet.telling import degrees, length_words, sentence
from kerfwright.export.sheet.tilt_view import tilt_figure
from kerfwright.export.sheet.vernier import vernier_blocks
from kerfwright.export.wording import focus_words, power_range_percent, short
from kerfwright.process.job import Job
from kerfwright.process.moves import Pause, moves_of
from kerfwright.process.operation import CutOperation, OperationKind
from kerfwright.process.setup import Setup

TILT_SHARE = 0.52  # of the width, for the side view

WATCH = {
    OperationKind.THROUGH: "First stroke: see that it comes out underneath. If not, stop: the recipe does not suit this board.",
    OperationKind.RAMP: "Between layers look for soot and embers in the sockets. Brushing them clean changes the depth: do it always or never.",
    OperationKind.WITNESS: "Ticks must be thin and sharp. If they are broad, set the focus again before you go on.",
}
FLAME = "A flame that stays when the beam has moved on: stop the machine, put it out, find the cause before going on."


def setup_section(job: Job, index: int) -> Section:
    """The page or pages of one setup."""
    setup = job.setups[index]
    named = any(part.name == setup.part for part in job.assembly.parts)
    reading = vernier_blocks(setup) if setup.verniers else []
    return Section(f"Setup {setup.number}", (
        words(f"Setup {setup.number} of {len(job.setups)}", style=QUIET, after_mm=0.0, keep=True),
        chapter(sentence(setup.title).removesuffix(".")),
        bed_figure(setup, TEXT_WIDTH_MM, named),
        Gap(2.0),
        _settings(job, index),
        heading("Do first"),
        *(tick(sentence(step)) for step in setup.steps_before),
        tick("Set the focus gauge on ", strong("G"), f" ({_gauge_words(setup)}). That height is Z 0 of the program."),
        heading("The program burns, in this order"),
        _operations(job, setup),
        *reading,
        Columns((Stack(tuple(_files(job, setup))), Stack(tuple(_minding(job, index)))), (0.8, 1.2), 8.0),
    ))


def _settings(job: Job, index: int) -> Block:
    setup, time = job.setups[index], job.times[index]
    gauge = setup.bed_from_board.apply(setup.gauge_board_mm[None, :])[0]
    recipe = job.recipes.get(setup.part)
    length_mm, width_mm, thickness_mm = setup.board_size_mm
    n_pauses = time.n_pauses
    facts = [
        ("Gauge point G", f"X {short(float(gauge[0]))}, Y {short(float(gauge[1]))}", f"{format_mm(setup.gauge_height_mm)} over the bed"),
        ("Board", setup.board, f"{short(length_mm, 1)} × {short(width_mm, 1)} × {short(thickness_mm)}"),
        ("Recipe", recipe.name if recipe else "the board's own", f"{length_words(time.cut_length_mm)} with the beam on"),
        ("Machine time", format_duration(time.burn_s + time.travel_s), f"{n_pauses} stop{'' if n_pauses == 1 else 's'} where you act" if n_pauses else "no stops"),
    ]
    cells = [Stack((words(name, style=LABEL, after_mm=0.0), words(value, style=STRONG, after_mm=0.2), words(more, style=QUIET, after_mm=0.0)))
             for name, value, more in facts]
    if not setup.tilt_deg:
        return Framed(Columns(tuple(cells), (1.15, 1.15, 1.15, 0.95), 5.0), BLUE_TINT, BLUE)
    tilt = Stack((words("Tilt", style=LABEL, after_mm=0.0), words(degrees(setup.tilt_deg), style=STRONG, after_mm=0.2),
                  words("back edge high", style=QUIET, after_mm=0.0)))
    side_mm = TILT_SHARE * TEXT_WIDTH_MM
    rows = (Columns((cells[0], tilt), (1.3, 1.0), 4.0), Gap(2.5), Columns((cells[1], cells[3]), (1.3, 1.0), 4.0), Gap(2.5), cells[2])
    panel = Framed(Stack(rows), BLUE_TINT, BLUE)
    return Columns((tilt_figure(setup, side_mm), panel), (side_mm, TEXT_WIDTH_MM - side_mm - 6.0), 6.0)


def _gauge_words(setup: Setup) -> str:
    x, y = setup.bed_from_board.apply(setup.gauge_board_mm[None, :])[0, :2]
    return f"on the top face at X {short(float(x))}, Y {short(float(y))}, {format_mm(setup.gauge_height_mm)} over the bed"


def _operations(job: Job, setup: Setup) -> Table:
    by_hand: Counter[str] = Counter()
    if job.machine.z == "by hand":
        by_hand = Counter(move.operation for move in moves_of(setup, job.machine) if isinstance(move, Pause))
        by_hand.subtract(op.name for op in setup.operations if op.before)
    rows = tuple(_row(op, i + 1, by_hand[op.name]) for i, op in enumerate(setup.operations))
    return Table(("", "What", "Power", "Speed", "Passes", "Focus"), (0.62, 2.1, 0.9, 0.72, 0.5, 2.0), rows)


def _row(op: CutOperation, number: int, n_focus_stops: int) -> tuple[Cell, ...]:
    def swatch(paper: Paper, x_mm: float, middle_mm: float, width_mm: float) -> None:
        draw_tag(paper, x_mm + 2.2, middle_mm, number)
        stroke = op_stroke(op)
        offsets = np.arange(-4, 5) * 0.3 if op.kind is OperationKind.RAMP else [0.0]
        for offset in offsets:
            paper.line(x_mm + 6.0, middle_mm + float(offset), x_mm + width_mm, middle_mm + float(offset), stroke)

    what = [words(op.title, style=STRONG, after_mm=0.0), words(INKS[op.kind].word, style=QUIET, after_mm=0.0)]
    if op.before:
        what.append(words(strong("Stops first: "), sentence(op.before), after_mm=0.0))
    if n_focus_stops:
        what.append(words(strong(f"Stops {n_focus_stops} time{'' if n_focus_stops == 1 else 's'}"), " for you to set the focus.", after_mm=0.0))
    low, high = power_range_percent(op)
    power = f"{short(high)} %" if high - low < 0.05 else f"{short(low, 1)} to {short(high, 1)} %"
    return swatch, Stack(tuple(what)), power, f"{short(op.speed_mm_s)} mm/s", str(len(op.passes)), focus_words(op)


def _files(job: Job, setup: Setup) -> list[Block]:
    stem = setup_stem(setup.number, setup.name)
    rows = [("Program", f"{stem}.ngc"), ("Drawings", f"{stem}.svg, {stem}.dxf"), ("To look at", f"{stem}-look.svg")]
    if job.machine.takes_pictures:
        pictures = [picture_path(stem, placing, 8) for placing in picture_placings(setup)]
        if pictures:
            rows.append(("Ramps as pictures", ", ".join(pictures) + " or its -grey16.png twin"))
    return [heading("Take one of these files"), *(bullet(strong(f"{what}: "), path) for what, path in rows)]


def _minding(job: Job, index: int) -> list[Block]:
    kinds = {op.kind for op in job.setups[index].operations}
    return [heading("Watch"), *(bullet(WATCH[kind]) for kind in OperationKind if kind in WATCH and kind in kinds), bullet(FLAME),
            heading("Then"), *(bullet(text) for text in _afterwards(job, index))]


def _afterwards(job: Job, index: int) -> list[str]:
    setup = job.setups[index]
    following = job.setups[index + 1] if index + 1 < len(job.setups) else None
    texts: list[str] = []
    again = following is not None and following.part == setup.part
    if any(op.kind is OperationKind.THROUGH for op in setup.operations) and not again:
        texts.append("Wait until the head stands still and the smoke is gone. Lift the part out before its scraps; let it cool away from anything that burns.")
    if following is None:
        texts.append("That was the last setup. Stay until the bed is cold and dark, and look under it for embers.")
    elif again:
        texts.append(f"Leave the waste on. {turn_words(setup, following)} for setup {following.number}.")
    else:
        texts.append(f"Next: setup {following.number}, {following.title}.")
    return texts


def turn_words(before: Setup, after: Setup) -> str:
    """How the same board goes from one setup to the next."""
    steps: list[str] = []
    if before.entry_face is not after.entry_face:
        steps.append("turn the board over")
    x_before, x_after = (each.bed_from_board.matrix[:2, 0] for each in (before, after))
    along = float(x_before @ x_after)
    if along < -0.5:
        steps.append("turn it end for end")
    elif abs(along) < 0.5:
        steps.append("turn it a quarter")
    if after.tilt_deg and not before.tilt_deg:
        steps.append(f"put it in the cradle, tilted {degrees(after.tilt_deg)}")
    elif before.tilt_deg and not after.tilt_deg:
        steps.append("take it out of the cradle and lay it flat")
    elif after.tilt_deg:
        steps.append("lay it back in the cradle, against the stop")
    text = ", ".join(steps) or "lay it down again as it lies"
    return text[:1].upper() + text[1:]

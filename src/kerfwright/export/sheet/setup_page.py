"""One setup: how the board lies, what to set, what to do first, what the program does, what to watch, what comes next."""

from __future__ import annotations

from collections import Counter

import numpy as np

from kerfwright.core.units import format_duration, format_mm
from kerfwright.export.exporter import setup_stem
from kerfwright.export.formats.grey_png import picture_path
from kerfwright.export.grey_picture import picture_placings
from kerfwright.export.palette import INKS
from kerfwright.export.pilot_files import pilot_paths
from kerfwright.export.sheet.bed_view import bed_figure, draw_tag, op_stroke
from kerfwright.export.sheet.blocks import Block, Columns, Framed, Gap, Run, Stack, bullet, heading, strong, tick, words
from kerfwright.export.sheet.pages import ROOM_MM, Section
from kerfwright.export.sheet.paper import NO_BREAK, Paper
from kerfwright.export.sheet.style import BLUE, BLUE_TINT, CHAPTER, HEADING, LABEL, QUIET, STRONG, TEXT_WIDTH_MM
from kerfwright.export.sheet.table import Cell, Table
from kerfwright.export.sheet.telling import counted, degrees, length_words, sentence, stops_words
from kerfwright.export.sheet.tilt_view import tilt_figure
from kerfwright.export.sheet.vernier import bed_side, vernier_block
from kerfwright.export.wording import focus_words, power_range_percent, short
from kerfwright.plan.coupon_plan import PART as COUPON_PART
from kerfwright.plan.pilot import is_pilot
from kerfwright.process.job import Job
from kerfwright.process.moves import Pause, moves_of
from kerfwright.process.operation import CutOperation, OperationKind
from kerfwright.process.setup import Setup

N_AFTER_STOPS = 3  # blocks: reading the marks, files, what to watch
PICTURE_HEIGHTS_MM = (48.0, 42.0, 36.0, 30.0)
TILT_SHARE = 0.52  # of the width, for the side view

WATCH = {
    OperationKind.THROUGH: "First stroke: see that it comes out underneath. If not, stop: the recipe does not suit this board.",
    OperationKind.RAMP: "Between layers look for embers. Brush soot out of the sockets always or never: it changes depth.",
    OperationKind.WITNESS: "Ticks must be thin and sharp. If they are broad, set the focus again before you go on.",
}
FLAME = "A flame that stays behind the beam: stop the machine, put it out, find the cause first."


def setup_section(job: Job, index: int) -> Section:
    """The page or pages of one setup; its picture gives way a little where that keeps it on one page.

    Where marks are to be read, the reading and what follows it go on the next page.
    """
    for highest_mm in PICTURE_HEIGHTS_MM:
        blocks = _blocks(job, index, highest_mm)
        first_page = blocks[:-N_AFTER_STOPS] if job.setups[index].verniers else blocks
        if sum(block.height_mm(TEXT_WIDTH_MM) for block in first_page) <= ROOM_MM:
            break
    else:
        blocks = _blocks(job, index, PICTURE_HEIGHTS_MM[0])
    return Section(f"Setup {job.setups[index].number}", blocks)


def _blocks(job: Job, index: int, highest_mm: float) -> tuple[Block, ...]:
    setup = job.setups[index]
    named = any(part.name == setup.part for part in job.assembly.parts)
    return (
        words(Run(f"Setup {setup.number} of {len(job.setups)} {NO_BREAK}", HEADING), Run(sentence(setup.title).removesuffix("."), CHAPTER),
              after_mm=1.5, keep=True),
        bed_figure(setup, TEXT_WIDTH_MM, named, highest_mm),
        Gap(2.0),
        _settings(job, index),
        heading("Do first"),
        *(tick(sentence(step)) for step in setup.steps_before),
        *([tick(_lie_words(setup))] if named else []),
        tick("Set the focus gauge on ", strong("G"), f": that height, {format_mm(setup.gauge_height_mm)} over the bed, is Z{NO_BREAK}0."),
        heading("The program burns, in this order"),
        _operations(job, setup),
        *_stops(job, setup),
        *([vernier_block(setup)] if setup.verniers else []),
        Stack(tuple(_files(job, setup))),
        Stack((heading("Watch"), *(bullet(*text) for text in _minding(job, index)))),
    )


def _lie_words(setup: Setup) -> str:
    right, up = (bed_side(setup.bed_from_board.turned(np.array(way))) for way in ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0]))
    opposite = {"left": "right", "right": "left", "front": "back", "back": "front"}
    return f"Look again: the part's left end lies to the {opposite[right]}, its bottom edge to the {opposite[up]}."


def _settings(job: Job, index: int) -> Block:
    setup, time = job.setups[index], job.times[index]
    gauge = setup.bed_from_board.apply(setup.gauge_board_mm[None, :])[0]
    recipe = job.recipes.get(setup.part)
    length_mm, width_mm, thickness_mm = setup.board_size_mm
    facts = [
        ("Gauge point G", f"X {short(float(gauge[0]))}, Y {short(float(gauge[1]))}", f"{format_mm(setup.gauge_height_mm)} over the bed"),
        ("Board", setup.board, f"{short(length_mm, 1)} × {short(width_mm, 1)} × {short(thickness_mm)}"),
        ("Recipe", recipe.name if recipe else "the board's own", f"beam on {length_words(time.cut_length_mm)}"),
        ("Machine time", f"about {format_duration(time.burn_s + time.travel_s)}", stops_words(time.n_pauses)),
    ]
    cells = [_fact(*fact) for fact in facts]
    if not setup.tilt_deg:
        return Framed(Columns(tuple(cells), (1.15, 1.15, 1.15, 0.95), 5.0), BLUE_TINT, BLUE)
    tilt = _fact("Tilt", degrees(setup.tilt_deg), "back edge high")
    side_mm = TILT_SHARE * TEXT_WIDTH_MM
    rows = (Columns((cells[0], tilt), (1.3, 1.0), 4.0), Gap(2.5), Columns((cells[1], cells[3]), (1.3, 1.0), 4.0), Gap(2.5), cells[2])
    panel = Framed(Stack(rows), BLUE_TINT, BLUE)
    return Columns((tilt_figure(setup, side_mm), panel), (side_mm, TEXT_WIDTH_MM - side_mm - 6.0), 6.0)


def _fact(name: str, value: str, more: str) -> Stack:
    return Stack((words(name, style=LABEL, after_mm=0.0), words(value, style=STRONG, after_mm=0.2), words(more, style=QUIET, after_mm=0.0)))


def _operations(job: Job, setup: Setup) -> Table:
    rows = tuple(_row(op, i + 1) for i, op in enumerate(setup.operations))
    return Table(("", "What", "Power", "Speed", "Passes", "Focus"), (11.5, 46.0, 24.5, 15.5, 10.5, 50.0), rows)


def _row(op: CutOperation, number: int) -> tuple[Cell, ...]:
    def swatch(paper: Paper, x_mm: float, middle_mm: float, width_mm: float) -> None:
        draw_tag(paper, x_mm + 2.6, middle_mm, number)
        stroke = op_stroke(op)
        offsets = np.arange(-4, 5) * 0.3 if op.kind is OperationKind.RAMP else [0.0]
        for offset in offsets:
            paper.line(x_mm + 6.2, middle_mm + float(offset), x_mm + width_mm, middle_mm + float(offset), stroke)

    what = Stack((words(op.title, style=STRONG, after_mm=0.0), words(INKS[op.kind].word, style=QUIET, after_mm=0.0)))
    low, high = power_range_percent(op)
    power = f"{short(high)}{NO_BREAK}%" if high - low < 0.05 else f"{low:.0f} to {high:.0f}{NO_BREAK}%"
    return swatch, what, power, f"{short(op.speed_mm_s)} mm/s", str(len(op.passes)), focus_words(op)


def _stops(job: Job, setup: Setup) -> list[Block]:
    """Where the program stops for the person: asked for by the plan, or to set the focus by hand."""
    by_hand: Counter[str] = Counter()
    if job.machine.z == "by hand":
        by_hand = Counter(move.operation for move in moves_of(setup, job.machine) if isinstance(move, Pause))
        by_hand.subtract(op.name for op in setup.operations if op.before)
    numbered = list(enumerate(setup.operations, start=1))
    stops: list[Block] = [bullet(strong(f"Stops before {number}: "), sentence(op.before)) for number, op in numbered if op.before]
    focus = [f"{counted(by_hand[op.name], 'time')} in {number}" for number, op in numbered if by_hand[op.name]]
    if focus:
        stops.append(bullet(strong("Stops for you to set the focus: "), sentence(", ".join(focus))))
    return stops


def _files(job: Job, setup: Setup) -> list[Block]:
    stem = setup_stem(setup.number, setup.name)
    told: list[str | Run] = [strong(f"{stem}.ngc"), " is the program. Same name: .svg, .dxf to burn from a drawing; -look.svg to look at"]
    pictures = [picture_path("", placing, 8) for placing in picture_placings(setup)] if job.machine.takes_pictures else []
    if pictures:
        told.append(f"; {' and '.join(pictures)}, the ramps as pictures (16 bit: -grey16.png)")
    return [heading("Take one of these files"), words(*told, ".", after_mm=0.8)]


def _minding(job: Job, index: int) -> list[tuple[str | Run, ...]]:
    setup = job.setups[index]
    kinds = {op.kind for op in setup.operations}
    if setup.part == COUPON_PART and setup.name == "through":  # its first cells are too gentle on purpose
        kinds.discard(OperationKind.THROUGH)
    watch: list[tuple[str | Run, ...]] = [(WATCH[kind],) for kind in OperationKind if kind in WATCH and kind in kinds]
    return [*watch, (FLAME,), *_afterwards(job, index)]


def _afterwards(job: Job, index: int) -> list[tuple[str | Run, ...]]:
    setup = job.setups[index]
    following = job.setups[index + 1] if index + 1 < len(job.setups) else None
    again = following is not None and following.part == setup.part
    if is_pilot(setup.name, setup.part):
        _, (form, _) = pilot_paths(setup.part)
        return [(strong("Then "), "let it cool, brush loose char off the freed tongues, do not sand; pinch them together, measure, "
                 f"fill in {form}. When the pilot strips are read: kerfwright retune, and go on with the folder it writes.")]
    if following is None:
        return [(strong("Then "), "let it cool, lift the part out before its scraps. Stay until the bed is cold; look below for embers.")]
    if again:
        return [(strong("Then "), f"leave the waste on; for setup {following.number} {turn_words(setup, following)}.")]
    return [(strong("Then "), f"let it cool, lift the part out before its scraps. Next: setup {following.number}, {following.title}.")]


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
    return ", ".join(steps) or "leave it as it lies"

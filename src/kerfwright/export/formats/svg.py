"""SVG, two files a setup: one to burn (nothing in it that is not burnt) and one to look at.

The burn file is the whole bed in true millimetres, so positions are absolute. One titled group an operation;
lines are full and thin, since a dash could be burnt as a dash.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator

from kerfwright.export.drawing import Window, add, outline, page, to_bytes
from kerfwright.export.exporter import Exporter, JobFile, setup_stem
from kerfwright.export.look_picture import look_picture
from kerfwright.export.palette import INKS
from kerfwright.export.wording import focus_changes, power_range_percent, settings_words, short
from kerfwright.machine.machine import Machine
from kerfwright.process.job import Job
from kerfwright.process.moves import needs_steady_focus, program_points
from kerfwright.process.operation import CutOperation
from kerfwright.process.setup import Setup

LINE_WIDTH_MM = 0.1
SAME_POWER_PERCENT = 0.05


def burn_drawing(setup: Setup, machine: Machine) -> bytes:
    """The burn file of one setup."""
    bed = Window(0.0, 0.0, machine.bed_x_mm, machine.bed_y_mm)
    root = page(bed.width_mm, bed.height_mm, f"Setup {setup.number}: {setup.title}",
                "Everything in this file is burnt, group by group in this order. The page is the whole bed: its lower left corner "
                "is X 0, Y 0. The drawing holds no focus height: each group's title says where to set it.")
    for index, op in enumerate(setup.operations, start=1):
        _group(root, index, op, setup, bed)
    return to_bytes(root)


def _group(root: ET.Element, index: int, op: CutOperation, setup: Setup, bed: Window) -> None:
    low, high = power_range_percent(op)
    one_power = high - low < SAME_POWER_PERCENT
    group = add(root, "g", id=f"operation-{index}", fill="none", stroke=INKS[op.kind].colour, stroke_width=LINE_WIDTH_MM,
                data_kind=op.kind.value, data_power_percent=short(high) if one_power else f"{short(low)} {short(high)}",
                data_speed_mm_s=short(op.speed_mm_s, 4), data_passes=str(len(op.passes)),
                data_focus_mm=" ".join(short(one.focus_mm + (op.level_mm or 0.0), 4) for one in op.passes),
                data_focus_from="face" if op.level_mm is None else "gauge point")
    if op.before:
        group.set("data-before", op.before)
    add(group, "title", text=f"{index}. {op.title}: {settings_words(op)}{_focus_note(op, setup)}")
    for path in op.paths:
        line = add(group, "path", d=outline(bed.page(program_points(setup, path, 0.0, op.level_mm))))
        if not one_power:
            line.set("data-power-percent", short(100 * path.power_frac))


def _focus_note(op: CutOperation, setup: Setup) -> str:
    if not needs_steady_focus(op, setup):
        return "; the face is tilted and the focus must follow it: burn this from the program, a drawing cannot"
    return "; set the focus by hand, a drawing cannot" if focus_changes(op) else ""


class _Drawings:
    name = "svg"

    def files(self, job: Job) -> Iterator[JobFile]:
        for setup in job.setups:
            stem = setup_stem(setup.number, setup.name)
            yield JobFile(stem + ".svg", burn_drawing(setup, job.machine), f"drawing to burn: {setup.title}")
            yield JobFile(stem + "-look.svg", look_picture(setup, job.machine), f"picture to look at: {setup.title}")


EXPORTER: Exporter = _Drawings()

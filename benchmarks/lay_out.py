"""How long laying out thinks, and how near the best it comes: 24 parts of three boxes on four boards with defects and trim.

Told beside the time: by how much another layout might begin less board (0 is proven to be the best), and use up less of these.
"""

from __future__ import annotations

import time
from collections.abc import Iterator

from stopwatch import Line, least_s

from kerfwright.plan.layout.by_hand import by_hand
from kerfwright.plan.layout.layout import packing_of
from kerfwright.plan.layout.packing import Packing
from kerfwright.plan.layout.rack import rack_of
from kerfwright.plan.layout.solver import Effort, pack
from kerfwright.plan.layout.wanted import Wanted
from kerfwright.plan.layout.wishes import LayoutWishes
from kerfwright.wood.board import Board

TITLE = "lay-out: 24 parts on 4 boards with defects, 10 s to think"
YARDSTICK = "one layout made by hand"

BOXES_MM = ((230, 90, 42), (230, 90, 42), (260, 140, 60))  # length, width, height
# Name, length, width, and its defects: what, x, y, length, width. Only all four together hold the parts.
BOARDS = (
    ("A", 670, 155, (("knot", 250, 40, 40, 30), ("sap", 600, 125, 30, 30))),
    ("B", 500, 205, (("split", 420, 90, 40, 30),)),
    ("C", 770, 135, (("split", 0, 0, 60, 30), ("knot", 420, 0, 30, 20))),
    ("D", 635, 165, (("knot", 300, 0, 30, 25), ("sap", 585, 145, 50, 20))),
)


def question() -> Packing:
    """The parts' blanks and the boards."""
    blanks: list[Wanted] = []
    for n, (length, width, height) in enumerate(BOXES_MM):
        long, short = (length + 24.0, height + 6.0), (width + 24.0, height + 6.0)
        sizes = [long, long, short, short, (length - 6.0, width - 6.0), (1.0 * length, 1.0 * width), *[(width - 20.0, height - 10.0)] * 2]
        blanks += [Wanted(f"box {n}, {i}", *size, 6.0, size, size, False) for i, size in enumerate(sizes)]
    return packing_of(blanks, rack_of([board(*each) for each in BOARDS]), LayoutWishes(), ())


def board(name: str, length: float, width: float, flaws: tuple[tuple[str, int, int, int, int], ...]) -> Board:
    """A board file's model."""
    defects = [{"what": what, "at": [f"{x} mm", f"{y} mm"], "size": [f"{w} mm", f"{h} mm"]} for what, x, y, w, h in flaws]
    return Board.model_validate({
        "schema": "kerfwright-board-1", "name": name, "species": "sugar maple", "length": f"{length} mm", "width": f"{width} mm",
        "thickness": ["6 mm"] * 3, "defects": defects,
    })  # fmt: skip


def lines() -> Iterator[Line]:
    """The whole question once, and how good its answer is."""
    packing = question()
    yardstick_s = least_s(lambda: by_hand(packing, 0, 1))
    began = time.perf_counter()
    packed = pack(packing, Effort(work=3.0, wall_s=10.0))
    spent_s = time.perf_counter() - began
    if packed is None:
        raise RuntimeError("these boards hold the parts")
    told = f"board gap {packed.begun_gap_frac:.1%}, wood gap {packed.gone_gap_frac:.1%}"
    yield Line(f"{len(packing.items)} parts: {told}", spent_s, yardstick_s)

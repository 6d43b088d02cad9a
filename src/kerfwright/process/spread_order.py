"""An order of strokes that spreads heat: lines that lie side by side wait for each other while the beam works elsewhere.

Vocabulary: a *field* is a run of lines, each a hair beside the one before (one wall of a ramped socket, or a patch); a *round* burns
one line of every field. Within its field every line keeps its turn, so each place meets the same lines in the same order as
before, only later. Passes are as before: all lines once, then all again.
Only ramps are touched. By simulate/heat.py, on the demo's ramped boards the hottest place falls by 65 % for 4 % more time, on its
staircase coupon by 90 % for 13 %; through strokes, sent from end to end in turn, fell by 2 to 14 % for up to 20 %: not worth it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import zip_longest
from typing import Literal

import numpy as np

from kerfwright.process.operation import BeamPath, CutOperation, OperationKind

Order = Literal["spread", "as drawn"]

BESIDE_MM = 0.3  # lines of one field lie closer than this, and no two fields do
FAR_MM = 30.0  # fields further apart along the board take their rounds by themselves: travel would cost more than it cools


def spread_out(op: CutOperation) -> CutOperation:
    """The same strokes in an order that spreads heat; operations other than ramps come back as they were."""
    if op.kind is not OperationKind.RAMP:
        return op
    found = fields_of(op.paths)
    halves = _ends_of_board(found)
    return replace(op, paths=tuple(path for half in halves for path in _rounds(half)))


def in_order(operations: Sequence[CutOperation], order: Order) -> tuple[CutOperation, ...]:
    """Operations that have paths, each with its strokes in the wished order. The order of the operations never changes."""
    kept = tuple(op for op in operations if op.paths)
    return tuple(spread_out(op) for op in kept) if order == "spread" else kept


def fields_of(paths: Sequence[BeamPath]) -> list[list[BeamPath]]:
    """Lines side by side, each field in its own order; found as well in paths that are spread already."""
    found: list[list[BeamPath]] = []
    for path in paths:
        field = next((field for field in reversed(found) if _beside(field[-1], path)), None)
        if field is None:
            found.append([path])
        else:
            field.append(path)
    return found


def _beside(one: BeamPath, other: BeamPath) -> bool:
    """Both ends of the one lie right beside those of the other."""
    a, b = one.points_mm, other.points_mm
    if len(a) != len(b) or abs(a[0, 1] - b[0, 1]) >= BESIDE_MM:  # most pairs end here, cheaply
        return False
    return bool(np.all(np.hypot(*(a - b)[:, :2].T) < BESIDE_MM))


def _ends_of_board(fields: list[list[BeamPath]]) -> list[list[list[BeamPath]]]:
    """Fields by where along the board they stand, left end first."""
    groups: list[list[list[BeamPath]]] = []
    for field in sorted(fields, key=_along_mm):
        if groups and _along_mm(field) - _along_mm(groups[-1][-1]) < FAR_MM:
            groups[-1].append(field)
        else:
            groups.append([field])
    return groups


def _rounds(fields: list[list[BeamPath]]) -> list[BeamPath]:
    """One line of every field, then the next of every field, each field next to the one before: one long way back a round costs
    less time than skipping to and fro, and a field's own last line is much nearer than any other's."""
    return [path for one_each in zip_longest(*_snake(fields)) for path in one_each if path is not None]


def _snake(fields: list[list[BeamPath]]) -> list[list[BeamPath]]:
    """Fields row by row up the board, every other row backwards."""
    rising = sorted(fields, key=_across_mm)
    rows: list[list[list[BeamPath]]] = []
    for field in rising:
        if rows and _across_mm(field) - _across_mm(rows[-1][0]) < BESIDE_MM:
            rows[-1].append(field)
        else:
            rows.append([field])
    return [field for k, row in enumerate(rows) for field in sorted(row, key=_along_mm, reverse=bool(k % 2))]


def _along_mm(field: list[BeamPath]) -> float:
    return float(field[0].points_mm[:, 0].mean())


def _across_mm(field: list[BeamPath]) -> float:
    return float(field[0].points_mm[:, 1].mean())

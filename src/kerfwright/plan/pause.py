"""The check pause: most layers of a ramp, a stop to read a witness patch, then the remaining layers.

Vocabulary: the *patch* is a field of ramp lines in the left end waste, burnt layer by layer along with the ramps, at the
power that should reach 70 % of the thickness in the end. After k of n layers it should be (k/n)^0.8 of that deep (see
process/ramp_lines.py), which is what the reading is compared with.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright.core.errors import PlanError
from kerfwright.core.units import format_mm
from kerfwright.coupons.strokes import FIELD_MM, field_lines
from kerfwright.plan.blank import END_WASTE_MM, Blank
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind
from kerfwright.process.ramp_lines import grown_share
from kerfwright.process.recipe import RampSettings

PATCH_SHARE = 0.7  # of the thickness
LEFT_SHARE = 1 / 3  # of the layers left for after the pause
CLEAR_MM = 1.5  # between the cuts' lead-ins and the patch
MARKS_MM = 10.5  # from the part's tips: beyond the witness marks
EDGE_MM = 1.0  # bare wood between the patch and the board's end
RAMPS = "ramps"
REST = "ramps-rest"


def layers_before(n_layers: int) -> int:
    """How many layers are burnt before the pause; 0 when there are too few to stop between."""
    return n_layers - max(1, round(LEFT_SHARE * n_layers)) if n_layers > 1 else 0


def with_pause(operations: list[CutOperation], blank: Blank, ramp: RampSettings, lead_mm: float, marked: bool) -> list[CutOperation]:
    """The operations of a ramped setup with its ramps in two, the patch in both. marked: witness marks stand there too.

    Raises PlanError when the left end waste is too short for the patch.
    """
    n_before = layers_before(ramp.layers)
    if not n_before:
        return operations
    patch, depth_mm = witness_patch(blank, ramp, lead_mm, marked)
    done: list[CutOperation] = []
    for op in operations:
        if op.name != RAMPS:
            done.append(op)
            continue
        both = replace(op, paths=(*op.paths, *patch))
        now_mm = depth_mm * grown_share(n_before, ramp.layers)
        stop = (
            f"measure how deep the witness patch in the waste at the board's left end is: about {format_mm(now_mm)} is expected after "
            f"{n_before} of {ramp.layers} layers. Within {format_mm(0.04 * now_mm)} of that go on; else stop here and write the "
            "remaining layers again with kerfwright finish"
        )
        done.append(replace(both, title=f"{op.title}, first {n_before} of {ramp.layers} layers", passes=op.passes[:n_before]))
        rest = replace(both, name=REST, title=f"{op.title}, remaining layers", passes=op.passes[n_before:], before=stop)
        done.append(rest)
    return done


def witness_patch(blank: Blank, ramp: RampSettings, lead_mm: float, marked: bool) -> tuple[list[BeamPath], float]:
    """(lines of the patch, the depth they are sent to)."""
    x0, y0, _, y1 = blank.slab.bounds_mm()
    away_mm = max(lead_mm + CLEAR_MM, MARKS_MM if marked else 0.0)
    need_mm = max(away_mm + FIELD_MM[0] + EDGE_MM, END_WASTE_MM)
    if blank.end_waste_mm < need_mm - 1e-9:
        longer_mm = need_mm + max(need_mm, blank.right_waste_mm)
        part_mm = blank.slab.bounds_mm()[2] - x0
        raise PlanError(
            f"the waste at the board's left end is {format_mm(blank.end_waste_mm)} long, too short for the check pause's witness patch",
            accepted=f"a board of {format_mm(part_mm + longer_mm)} or more",
            remedy="Take a longer board, or set check_pause = false",
            where=f'{blank.part} on board "{blank.board.name}"',
        )
    depth_mm = float(np.clip(PATCH_SHARE * blank.size_mm[2], ramp.shallowest_mm, ramp.deepest_mm))
    power_frac = float(ramp.power_for_depth(np.array([depth_mm]))[0])
    corner = (x0 - away_mm - FIELD_MM[0], (y0 + y1 - FIELD_MM[1]) / 2)
    return [replace(line, depth_mm=depth_mm) for line in field_lines(corner, ramp, power_frac)], depth_mm


def is_rest(op: CutOperation) -> bool:
    """True for the layers that a check pause left for later."""
    return op.kind is OperationKind.RAMP and op.name == REST

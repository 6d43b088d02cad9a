"""The pilot strip: a few tongues and two ramp fields in a board's own end waste, burnt exactly as the board will be.

Vocabulary: the *strip* is the outermost 13 mm of the right end. Its *slits* run in along the grain from the air beyond
the end to a *cross cut* that frees the *tongues* between them; the *fields* are patches of ramp lines, one shallow, one
deep. Tongues tell this board's slit at the waist (a caliper closes on a tongue's widest place), fields its ramp depths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from kerfwright.core.errors import PlanError
from kerfwright.core.finding import Finding, note
from kerfwright.core.units import format_mm
from kerfwright.coupons.coupon import CouponDesign
from kerfwright.coupons.observable import Observable, Quantity, Setting
from kerfwright.coupons.strokes import FIELD_MM, every_other, field_depth, field_lines
from kerfwright.plan.blank import PILOT_MM
from kerfwright.plan.square import Cutting
from kerfwright.process.operation import CutOperation, OperationKind
from kerfwright.process.recipe import RampSettings

PITCH_MM = 3.0
N_TONGUES = (4, 3)  # the second on a narrow board
CROSS_MM = 12.5  # the cross cut, from the board's end; slits run on to the strip's inner edge
RUN_OUT_MM = 1.0  # of the cross cut past the outermost slits
EDGE_MM = 3.0  # bare wood along both long edges, so that the board still meets its fence
FIELD_GAP_MM = 1.5
FIELD_SHARES = (0.25, 0.7)  # of the thickness: the depths the fields are sent to
KIND = "pilot"


def pilot_strip(cutting: Cutting, ramp: RampSettings | None, turned: bool) -> CouponDesign:
    """The strip of one board. ramp: None where the board has no ramps; turned: it lies a quarter turned.

    Raises PlanError when the board is too narrow for it.
    """
    length_mm = cutting.blank.size_mm[0]
    part = cutting.blank.part
    y0_mm, n_tongues = _lower_edge(cutting, ramp is not None)
    first_mm = y0_mm + RUN_OUT_MM
    slits = [first_mm + k * PITCH_MM for k in range(n_tongues + 1)]
    through = [
        ("slits", "Slits of the pilot strip", [_slit(cutting, length_mm, y) for y in every_other(slits)]),
        ("free", "Freeing the tongues", [_cross(cutting, length_mm, slits)]),
    ]
    operations = [
        cutting.operation(name, title, [cutting.stroke(np.array(ends), ()) for ends in strokes]) for name, title, strokes in through
    ]
    readings = _tongues(cutting, length_mm, slits, turned)
    top_mm = slits[-1] + RUN_OUT_MM
    if ramp is not None:
        corners = [(length_mm - CROSS_MM + 1.0 + k * (FIELD_MM[0] + FIELD_GAP_MM), top_mm + FIELD_GAP_MM) for k in range(2)]
        fields, depths = _fields(cutting, ramp, corners)
        operations.insert(0, fields)
        readings += depths
        top_mm = corners[0][1] + FIELD_MM[1]
    steps = ("This burns only in the waste at the board's right end",)
    used_mm = (length_mm - PILOT_MM, y0_mm, length_mm, top_mm)
    return CouponDesign(f"{KIND} {part}", f"PILOT STRIP OF {part.upper()}", tuple(operations), tuple(readings), used_mm, (), turned, steps)


def _lower_edge(cutting: Cutting, ramped: bool) -> tuple[float, int]:
    """(y where the strip begins, number of tongues): in the middle of the part's height."""
    _, low_mm, _, high_mm = cutting.blank.slab.bounds_mm()
    room_mm = high_mm - low_mm - 2 * EDGE_MM
    fields_mm = FIELD_GAP_MM + FIELD_MM[1] if ramped else 0.0
    for n in N_TONGUES:
        need_mm = n * PITCH_MM + 2 * RUN_OUT_MM + fields_mm
        if need_mm <= room_mm + 1e-9:
            return low_mm + EDGE_MM + (room_mm - need_mm) / 2, n
    need_mm = N_TONGUES[-1] * PITCH_MM + 2 * RUN_OUT_MM + fields_mm + 2 * EDGE_MM
    raise PlanError(
        f"the part is {format_mm(high_mm - low_mm)} high, too narrow for a pilot strip",
        accepted=f"{format_mm(need_mm)} or more",
        remedy="Set pilot = false, or burn the kerf comb on an offcut of this board",
        where=f'{cutting.blank.part} on board "{cutting.blank.board.name}"',
    )


def _slit(cutting: Cutting, length_mm: float, y_mm: float) -> list[tuple[float, float]]:
    return [(length_mm + cutting.lead_mm, y_mm), (length_mm - PILOT_MM, y_mm)]


def _cross(cutting: Cutting, length_mm: float, slits: list[float]) -> list[tuple[float, float]]:
    x_mm = length_mm - CROSS_MM
    return [(x_mm, slits[0] - RUN_OUT_MM), (x_mm, slits[-1] + RUN_OUT_MM)]


def _tongues(cutting: Cutting, length_mm: float, slits: list[float], turned: bool) -> list[Observable]:
    """The stack of all tongues, then the two in its middle one by one."""
    cut, part = cutting.cut, cutting.blank.part
    settings: dict[str, Setting] = {
        "power_frac": cut.power_frac,
        "speed_mm_s": cut.speed_mm_s,
        "passes": float(cut.passes),
        "focus_mm": cut.focus_mm,
        "focus_step_mm": cut.focus_step_mm,
        "travel": "y" if turned else "x",
        "grain": "along",
        "depth_mm": cutting.depth_mm,
        "pitch_mm": PITCH_MM,
        "entry": "inner" if cutting.entry_z_mm < 0 else "show",
    }
    n = len(slits) - 1
    x_mm = length_mm - CROSS_MM / 2

    def width(name: str, quantity: Quantity, y_mm: float, tells: str, n_wide: int, more: dict[str, Setting]) -> Observable:
        low, high = round(n_wide * (PITCH_MM - 1.5), 2), round(n_wide * PITCH_MM, 2)
        return Observable(name, quantity, (x_mm, y_mm), "mm", "caliper", tells, "waist", 90.0, low, high, settings | more)

    stack = f"all {n} freed tongues of {part} pushed together face to face, squeezed lightly, across them"
    found = [width("stack", Quantity.STACK_WIDTH, (slits[0] + slits[-1]) / 2, stack, n, {"n_tongues": float(n)})]
    for k in (n // 2 - 1, n // 2):
        tells = f"tongue {k + 1} of {part}, counted from its bottom edge, at its widest near its middle"
        found.append(width(f"tongue-{k + 1}", Quantity.TONGUE_WIDTH, (slits[k] + slits[k + 1]) / 2, tells, 1, {}))
    return found


def _fields(cutting: Cutting, ramp: RampSettings, corners: list[tuple[float, float]]) -> tuple[CutOperation, list[Observable]]:
    """Two fields burnt layer by layer together, and their depths. Ramps are always burnt from the show face."""
    thickness_mm = cutting.blank.size_mm[2]
    depths_mm = np.clip(np.array(FIELD_SHARES) * thickness_mm, ramp.shallowest_mm, ramp.deepest_mm)
    powers = ramp.power_for_depth(depths_mm)
    lines = [line for at, power in zip(corners, powers, strict=True) for line in field_lines(at, ramp, float(power))]
    layers = ramp.passes_down()
    operation = CutOperation("fields", "Ramp fields of the pilot strip", OperationKind.RAMP, tuple(lines), ramp.speed_mm_s, layers)
    words = ("shallow field, the inner one", "deep field, the outer one")
    found: list[Observable] = []
    for k, (at, power, depth_mm) in enumerate(zip(corners, powers, depths_mm, strict=True)):
        tells = f"depth of the {words[k]}, on {cutting.blank.part} at its middle, below the bare face beside it"
        field = field_depth(f"depth-{k + 1}", at, tells, ramp, float(power), thickness_mm, f"{KIND} {cutting.blank.part}")
        found.append(replace(field, settings=field.settings | {"expected_mm": float(depth_mm)}))
    return operation, found


def strips_first(parts: Sequence[str]) -> list[Finding]:
    """What to do with the strips of these parts before anything else."""
    if not parts:
        return []
    setups = f"setups 1 to {len(parts)}, the pilot strips" if len(parts) > 1 else "setup 1, the pilot strip"
    told = "read what the forms under pilot ask for, then write the rest again for these very boards with kerfwright retune"
    return [note("pilot-first", f"burn {setups}, first: {told}")]


def is_pilot(setup_name: str, part: str) -> bool:
    """True for the setup that burns a part's pilot strip."""
    return setup_name == f"{part}-{KIND}"

"""Recesses burnt to depth: parallel lines over the hollow at the power the recipe's ramp gives for that depth. Windows go through.

Layers: the recipe's depths are those of all its layers. A recess is sent down in as few as reach its depth within the measured
ones, (1) d' = d / grown_share(n, n_all) being the depth whose power one asks for; n of n_all layers take n / n_all of the time.
Example: 2 mm of a recipe of 3 layers to 5.25 mm: d' = 2 / (1/3)^0.8 = 4.82 mm, so one layer will do.

A field of lines reaches beyond its outermost line's middle by half the line spacing plus the recipe's wall shift, just as the
seen edge of a ramped wall does; lines are drawn in by so much, at their ends too. Lines run along the longer side.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError, PlanError
from kerfwright.core.finding import Finding, note
from kerfwright.core.units import format_mm
from kerfwright.geometry.edge_offset import offset_ring
from kerfwright.geometry.ring import Ring, Role
from kerfwright.geometry.slab import Face, Recess
from kerfwright.plan.bench import Bench
from kerfwright.plan.compensate import fit_share_mm
from kerfwright.plan.pose import Lie
from kerfwright.plan.square import Cutting, in_turn
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind
from kerfwright.process.ramp_lines import depth_range_mm, grown_share
from kerfwright.process.recipe import RampSettings

Array = NDArray[np.float64]

LEAST_LEFT_MM = 1.0  # of wood behind a recess burnt in fewer layers, if it comes out as deep as it may (judgement of ours)


def window_operation(cutting: Cutting, windows: list[Recess]) -> CutOperation:
    """Closed cuts inside the part, each begun in the piece that drops out."""
    strokes: list[BeamPath] = []
    for window in windows:
        # The ring runs round the hole, so turned round it has the wood on its left and offsets as an outline does.
        backward = Ring(window.ring.points_mm[::-1], window.ring.edges)
        points = cutting.ring(backward).points_mm
        middle = points.mean(axis=0)
        lead = points[0] + min(cutting.lead_mm / float(np.hypot(*(middle - points[0]))), 0.5) * (middle - points[0])
        strokes.append(cutting.stroke(np.vstack([lead, points, points[0]]), (window.name,)))
    return cutting.operation("windows", "Holes right through", in_turn(strokes))


def recess_operation(bench: Bench, lie: Lie, recesses: list[Recess], beside_ramps: bool = False) -> CutOperation:
    """All recesses of one face. beside_ramps: sloped walls are burnt in the same setup, whose layers they then share.

    Raises PlanError without a ramp in the recipe, RecipeRangeError at depths never burnt.
    """
    ramp = bench.recipe.ramp
    blank = bench.blank
    if ramp is None:
        raise PlanError(
            f"a {recesses[0].name} is burnt to depth and the recipe has no ramp",
            accepted="a recipe with a ramp, at the depth of the recess",
            remedy="Burn the ramp staircase coupon on this wood",
            where=f'{blank.part} on board "{blank.board.name}"',
        )
    z_mm = lie.entry_z_frac * bench.thickness_mm
    n_layers = ramp.layers if beside_ramps or bench.options.recess_layers == "all" else _fewest_layers(ramp, recesses, bench.thickness_mm)
    paths = [path for recess in recesses for path in _lines(recess, ramp, n_layers, z_mm, blank.part, bench.clearance_mm)]
    names = sorted({f"{recess.name} {format_mm(recess.depth_mm)}" for recess in recesses})
    title = f"To depth: {', '.join(names)}"
    return CutOperation("recesses", title, OperationKind.RAMP, tuple(paths), ramp.speed_mm_s, ramp.passes_down(n_layers))


def _fewest_layers(ramp: RampSettings, recesses: list[Recess], thickness_mm: float) -> int:
    """Law (1) for the deepest and the shallowest of them, and none may come through however layers really add up.

    Walls that mate are burnt like the ones that were measured, in all layers.
    """
    if any(edge.role is Role.MATE for recess in recesses for edge in recess.ring.edges):
        return ramp.layers
    low_mm, high_mm = (pick(recess.depth_mm for recess in recesses) for pick in (min, max))
    measured_mm = ramp.depth[-1][1].value
    for n_layers in range(1, ramp.layers):
        share = grown_share(n_layers, ramp.layers)
        inside = low_mm / share >= ramp.shallowest_mm and high_mm / share <= measured_mm
        if inside and depth_range_mm(high_mm, n_layers, ramp.layers)[1] <= thickness_mm - LEAST_LEFT_MM:
            return n_layers
    return ramp.layers


def layers_told(bench: Bench, op: CutOperation) -> tuple[Finding, ...]:
    """What burning recesses in fewer layers means; nothing when all are burnt."""
    ramp = bench.recipe.ramp
    if ramp is None or len(op.passes) >= ramp.layers:
        return ()
    depth_mm = max(path.depth_mm for path in op.paths)
    low_mm, high_mm = depth_range_mm(depth_mm, len(op.passes), ramp.layers)
    told = note(
        "fewer-layers",
        f"recesses are burnt in {len(op.passes)} of the recipe's {ramp.layers} layers, with more power and in so much less time. How "
        f"depth adds up over layers is not measured: {format_mm(depth_mm)} may come out {low_mm:.1f} to {high_mm:.1f} mm deep. Measure "
        'the first board\'s before you burn the next; recess_layers = "all" burns them as the coupon was burnt',
        bench.blank.part,
    )
    return (told,)


def _lines(
    recess: Recess, ramp: RampSettings, n_layers: int, z_mm: float, part: str, clearance_mm: dict[str, float]
) -> list[BeamPath]:
    try:
        power = float(ramp.power_for_depth(np.array([recess.depth_mm / grown_share(n_layers, ramp.layers)]))[0])
    except InputError as bad:
        raise bad.located(f"the {recess.name} of {part}") from bad
    reach_mm = ramp.spacing_mm / 2 + ramp.wall_shift_mm.value
    grown_mm = [fit_share_mm(edge, clearance_mm.get(edge.name.split(".")[0], 0.0)) for edge in recess.ring.edges]
    try:
        inner = offset_ring(recess.ring, np.array(grown_mm) - reach_mm).points_mm
    except ValueError as bad:
        least_mm = 2 * reach_mm
        raise PlanError(
            f"the {recess.name} is too narrow for the beam", accepted=f"wider than {format_mm(least_mm)}", where=f"{recess.name} of {part}"
        ) from bad
    low, high = inner.min(axis=0), inner.max(axis=0)
    long_axis = 0 if high[0] - low[0] >= high[1] - low[1] else 1
    across = 1 - long_axis
    n_lines = max(1, round(float(high[across] - low[across]) / ramp.spacing_mm)) + 1
    places: Array = np.linspace(float(low[across]), float(high[across]), n_lines)
    paths: list[BeamPath] = []
    for k, place in enumerate(places):
        for start, end in _spans(inner, long_axis, float(np.clip(place, low[across] + 1e-6, high[across] - 1e-6))):
            ends = (start, end) if k % 2 == 0 else (end, start)  # there and back
            points = np.zeros((2, 3))
            points[:, long_axis], points[:, across], points[:, 2] = ends, place, z_mm
            paths.append(BeamPath(points, power, recess.depth_mm, (recess.name,)))
    return paths


def _spans(ring_mm: Array, long_axis: int, at_mm: float) -> list[tuple[float, float]]:
    """Where the line at one place across lies inside a ring (n, 2): pairs along the long axis."""
    a, b = ring_mm, np.roll(ring_mm, -1, axis=0)
    over_a, over_b = a[:, 1 - long_axis] - at_mm, b[:, 1 - long_axis] - at_mm
    crossing = (over_a > 0) != (over_b > 0)
    share = over_a[crossing] / (over_a[crossing] - over_b[crossing])
    found = np.sort(a[crossing, long_axis] + share * (b[crossing, long_axis] - a[crossing, long_axis]))
    return [(float(start), float(end)) for start, end in found.reshape(-1, 2)]


def hollow_faces(recesses: tuple[Recess, ...]) -> dict[Face, list[Recess]]:
    """Recesses that are no windows, by the face they are burnt from."""
    return {face: mine for face in Face if (mine := [recess for recess in recesses if recess.face is face])}

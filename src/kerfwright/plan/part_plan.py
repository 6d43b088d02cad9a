"""The setups of one part, and the shape its walls will have: flat, ramped, in a cradle, or from two faces."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kerfwright.core.finding import Finding, note, warning
from kerfwright.core.units import format_mm, slope_deg
from kerfwright.coupons.coupon import CouponDesign
from kerfwright.geometry.slab import Face
from kerfwright.plan.bench import Bench
from kerfwright.plan.blank import SIDE_WASTE_MM, EndWork
from kerfwright.plan.compensate import WallShape, profile_of, ramp_wall, square_wall, two_face_wall
from kerfwright.plan.cradle import TiltedCutting, slope_of, tilted_operations
from kerfwright.plan.panel import outline_stroke
from kerfwright.plan.pause import layers_before, with_pause
from kerfwright.plan.pilot import KIND, pilot_strip
from kerfwright.plan.pose import Lie, flat_lie
from kerfwright.plan.ramp import RampWishes, ramp_operations
from kerfwright.plan.recess import hollow_faces, layers_told, recess_operation, window_operation
from kerfwright.plan.spread import Cause, Spread
from kerfwright.plan.square import Cutting, core_loop, in_turn, long_strokes, notch_stroke, square_operations
from kerfwright.plan.walls import TWO_FACE_OVERLAP_MM, WallCase, through_fault, wall_options, wall_spread_mm
from kerfwright.plan.witness import new_marks, reference_marks, verniers
from kerfwright.process.gap import WallOption
from kerfwright.process.operation import CutOperation, OperationKind
from kerfwright.process.recipe import KerfProfile, RampSettings
from kerfwright.process.setup import Setup, Vernier
from kerfwright.process.spread_order import in_order

TURN_OVER = "Turn the board over about its length, so that its left end stays where it was"


@dataclass(frozen=True, eq=False)
class PartPlan:
    """setups: not yet numbered. walls: shape of the flanks by end of the board."""

    setups: tuple[Setup, ...]
    walls: dict[str, WallShape]
    options: tuple[WallOption, ...]
    findings: tuple[Finding, ...]
    pilot: tuple[Setup, CouponDesign] | None = None


def plan_part(bench: Bench) -> PartPlan:
    """Setups for one part. Raises PlanError or RecipeRangeError when it cannot be made."""
    plan = _made(bench)
    if bench.options.check_pause and _ramped(plan) and not layers_before(bench.recipe.ramp.layers if bench.recipe.ramp else 0):
        told = note(
            "no-pause",
            "the recipe's ramp has one layer, so there is no check pause: nothing would be left to change. Write layers = 3 into the "
            "recipe and burn the ramp staircase with it",
            bench.blank.part,
        )
        plan = replace(plan, findings=(*plan.findings, told))
    return _with_pilot(bench, plan) if bench.options.pilot and not bench.options.pilot_burnt else plan


def _made(bench: Bench) -> PartPlan:
    return _hollowed(bench, _panel(bench) if bench.blank.is_panel else _with_ends(bench))


def _panel(bench: Bench) -> PartPlan:
    """Cut free all round, from the face that hides the slit's wider end."""
    cut = bench.through(bench.thickness_mm)
    lie = _lie(bench, bench.better_face(cut))
    cutting = bench.cutting(lie, bench.thickness_mm, cut)
    outline = cutting.operation("outline", "All round, freeing the part", [outline_stroke(cutting, bench.blank.part, SIDE_WASTE_MM)])
    setup = bench.setup("cut", f"{bench.blank.part}: cut free", lie, [bench.label(lie), outline], _laying(bench, lie))
    return PartPlan((setup,), {}, (), ())


def _hollowed(bench: Bench, plan: PartPlan) -> PartPlan:
    """Recesses before anything is cut through: in a setup that has that face up already, else in one of their own before it.

    Windows are cut in the first setup.
    """
    setups = list(plan.setups)
    recesses = bench.blank.slab.recesses
    blind = tuple(recess for recess in recesses if recess.depth_mm < bench.thickness_mm)
    windows = [recess for recess in recesses if recess not in blind]
    if windows:
        cutting = bench.cutting(_lie(bench, setups[0].entry_face), bench.thickness_mm, bench.through(bench.thickness_mm))
        setups[0] = _before_cuts(setups[0], window_operation(cutting, windows))
    told: list[Finding] = []
    for face, own in hollow_faces(blind).items():
        lie = _lie(bench, face)
        beside_ramps = setups[0].entry_face is face and any(op.kind is OperationKind.RAMP for op in setups[0].operations)
        (hollow,) = in_order([recess_operation(bench, lie, own, beside_ramps)], bench.options.order)
        told += layers_told(bench, hollow)
        if setups[0].entry_face is face:
            setups[0] = _before_cuts(setups[0], hollow)
            continue
        before = bench.setup("hollow", f"{bench.blank.part}: recesses in the {face.value}", lie, [hollow], _laying(bench, lie))
        setups[0] = replace(setups[0], steps_before=(TURN_OVER, *setups[0].steps_before))
        setups.insert(0, before)
    return replace(plan, setups=tuple(setups), findings=(*plan.findings, *told))


def _before_cuts(setup: Setup, op: CutOperation) -> Setup:
    cuts = [i for i, each in enumerate(setup.operations) if each.kind in (OperationKind.THROUGH, OperationKind.RAMP)]
    at = min(cuts, default=len(setup.operations))
    return replace(setup, operations=(*setup.operations[:at], op, *setup.operations[at:]))


def _with_ends(bench: Bench) -> PartPlan:
    if not bench.blank.sloped:
        return _square_part(bench)
    slope_frac = slope_of(bench.blank)
    case = WallCase(bench.blank, bench.machine, bench.recipe, bench.options, slope_frac)
    options = wall_options(case)
    chosen = next(option for option in options if option.chosen)
    make = {"ramp": _ramped_part, "cradle": _cradled_part, "two faces": _two_faced_part}[chosen.method]
    setups, walls, findings = make(bench, slope_frac, wall_spread_mm(case, chosen.method))
    return PartPlan(tuple(setups), walls, options, tuple(findings))


def _ramped(plan: PartPlan) -> bool:
    return any(op.kind is OperationKind.RAMP for setup in plan.setups for op in setup.operations)


def _with_pilot(bench: Bench, plan: PartPlan) -> PartPlan:
    """The part's plan with a pilot strip before it, burnt with the through settings and ramps that the plan uses."""
    last = plan.setups[-1]
    if through_fault(bench.recipe, bench.thickness_mm):
        told = note(
            "no-pilot",
            "this board is cut half from each face, which frees no tongue to measure, so it has no pilot strip. Burn the through coupon on "
            "this thickness, slower or in more passes, until one face is enough; or measure its slits on a kerf comb burnt on its offcut",
            bench.blank.part,
        )
        return replace(plan, findings=(*plan.findings, told))
    depth_mm = bench.thickness_mm * (float(np.hypot(1.0, slope_of(bench.blank))) if last.tilt_deg else 1.0)
    lie = _lie(bench, last.entry_face)
    cutting = bench.cutting(lie, bench.thickness_mm, bench.through(depth_mm))
    strip = pilot_strip(cutting, bench.recipe.ramp if _ramped(plan) else None, lie.quarter)
    setup = bench.setup(KIND, f"{bench.blank.part}: pilot strip", lie, list(strip.operations), (*_laying(bench, lie), *strip.steps))
    return replace(plan, pilot=(setup, strip))


def _paused(bench: Bench, operations: list[CutOperation], ramp: RampSettings, marked: bool) -> list[CutOperation]:
    return with_pause(operations, bench.blank, ramp, bench.options.lead_mm, marked) if bench.options.check_pause else operations


_Made = tuple[list[Setup], dict[str, WallShape], list[Finding]]


def _lie(bench: Bench, face: Face) -> Lie:
    where = f'{bench.blank.part} on board "{bench.blank.board.name}"'
    return flat_lie(face, bench.blank.size_mm, bench.machine, bench.options.fence_mm, where)


def _laying(bench: Bench, lie: Lie, again: bool = False) -> tuple[str, ...]:
    """What to do before a flat setup. again: the board was laid with its other face up before."""
    x_mm, y_mm = bench.options.fence_mm
    corner = "turned a quarter, its left end to the front, the corner that lies front left" if lie.quarter else "its left front corner"
    steps = [
        f'Lay board "{bench.blank.board.name}" with its {lie.face_up.value} up, {corner} at the fence '
        f"({format_mm(x_mm)}, {format_mm(y_mm)} from the bed's front left corner)"
    ]
    if lie.face_up is Face.INNER:
        steps.insert(0, "The show face will lie down: cover it with paper tape against smoke and flashback")
    if again:
        steps.insert(0, TURN_OVER)
    return tuple(steps)


def _end_wall(bench: Bench, end: EndWork, cutting: Cutting, entry: Face, more_mm: Spread) -> WallShape:
    """Shape of a square (or tilted) end's flanks, or of its sockets' sides. more_mm: spreads besides the kerf's own."""
    clearance_mm = bench.clearance_mm.get(end.end, 0.0)
    if not end.notches:
        ramp = bench.recipe.ramp
        return ramp_wall(clearance_mm, 0.0, {Cause.RAMP: ramp.wall_shift_mm.sd} if ramp else {})
    return square_wall(_flank_profile(end, cutting), entry, clearance_mm, more_mm)


def _flank_profile(end: EndWork, cutting: Cutting) -> KerfProfile:
    """The slit beside an end's flanks, as the board lies."""
    slab = cutting.blank.slab
    flank = next(i for notch in end.notches for i in notch.edges if slab.edges[i].place.value == "flank")
    points = slab.show_ring.points_mm
    along = points[(flank + 1) % len(points)] - points[flank]
    return profile_of(along, cutting.cut, cutting.bed_from_board)


def _square_part(bench: Bench) -> PartPlan:
    thickness_mm = bench.thickness_mm
    half_mm = thickness_mm / 2 + TWO_FACE_OVERLAP_MM
    if through_fault(bench.recipe, thickness_mm) and not through_fault(bench.recipe, half_mm):
        return _square_from_two_faces(bench, half_mm)
    cut = bench.through(thickness_mm)
    lie = _lie(bench, bench.better_face(cut))
    cutting = bench.cutting(lie, thickness_mm, cut)
    operations = [bench.label(lie), *square_operations(cutting, bench.blank.ends)]
    setup = bench.setup("cut", f"{bench.blank.part}: square cuts", lie, operations, _laying(bench, lie))
    walls = {end.end: _end_wall(bench, end, cutting, lie.face_up, {}) for end in bench.blank.ends}
    return PartPlan((setup,), walls, (), ())


def _square_from_two_faces(bench: Bench, half_mm: float) -> PartPlan:
    """Cuts too deep for one face meet inside. The slit does not reach the other face, so there is nothing to read there."""
    cut = bench.through(half_mm)
    setups: list[Setup] = []
    walls: dict[str, WallShape] = {}
    for face, name in ((Face.INNER, "first-face"), (Face.SHOW, "second-face")):
        lie = _lie(bench, face)
        cutting = bench.cutting(lie, half_mm, cut)
        operations = square_operations(cutting, bench.blank.ends)
        if face is Face.INNER:
            operations.insert(0, bench.label(lie))
        steps = _laying(bench, lie, again=face is Face.SHOW)
        setups.append(bench.setup(name, f"{bench.blank.part}: from the {face.value}", lie, operations, steps))
        turning = {Cause.TURNING: bench.machine.placing_sd_mm}
        walls = {
            end.end: two_face_wall(
                _flank_profile(end, cutting), half_mm / bench.thickness_mm, bench.clearance_mm.get(end.end, 0.0), turning
            )
            if end.notches
            else _end_wall(bench, end, cutting, face, {})
            for end in bench.blank.ends
        }
    return PartPlan(tuple(setups), walls, (), (_two_faces_told(bench, walls),))


def _two_faces_told(bench: Bench, walls: dict[str, WallShape]) -> Finding:
    worst = max(walls.values(), key=lambda wall: wall.sd_mm)
    return warning(
        "two-faces",
        f"the recipe does not reach through {bench.thickness_mm:.1f} mm, so the board is cut half from each face, and turning it over "
        f"costs closeness: a flank's place is known to ± {worst.sd_mm:.3f} mm instead of ± {worst.spread_mm[Cause.KERF]:.3f} mm. "
        "Burn the through coupon on this thickness, or use a recipe that reaches through",
        bench.blank.part,
    )


def _ramped_part(bench: Bench, slope_frac: float, spread_mm: Spread) -> _Made:
    ramp = bench.recipe.ramp
    assert ramp is not None  # wall_options has checked it
    cut = bench.through(bench.thickness_mm)
    lie = _lie(bench, Face.SHOW)
    cutting = bench.cutting(lie, bench.thickness_mm, cut)
    wishes = RampWishes(bench.options.hollow_mm, bench.options.floor_overrun_mm)
    burnt = _paused(bench, ramp_operations(cutting, ramp, wishes, bench.blank.ends), ramp, marked=False)
    operations = [bench.label(lie), *burnt]
    setup = bench.setup("ramp", f"{bench.blank.part}: sloped walls as ramps", lie, operations, _laying(bench, lie))
    walls = {end.end: _ramp_end_wall(bench, end, cutting, slope_frac, spread_mm) for end in bench.blank.ends}
    return [setup], walls, []


def _ramp_end_wall(bench: Bench, end: EndWork, cutting: Cutting, slope_frac: float, spread_mm: Spread) -> WallShape:
    if not end.sloped:
        return _end_wall(bench, end, cutting, Face.SHOW, {})
    hollow_mm = min(bench.options.hollow_mm, 0.2 * slope_frac * bench.thickness_mm)
    return ramp_wall(bench.clearance_mm.get(end.end, 0.0), hollow_mm, spread_mm)


def _scales(bench: Bench) -> tuple[Vernier, ...]:
    return verniers(bench.blank) if bench.options.reread else ()


def _marks(bench: Bench, scales: tuple[Vernier, ...], lie: Lie, following: list[CutOperation]) -> list[CutOperation]:
    """Witness marks, then a stop to read them, then the rest."""
    if not scales or not following:
        return following
    first = following[0]
    stop = replace(first, before="read the three scales; if any is off zero stop here and write this program again with kerfwright shift")
    return [*_new_marks(bench, scales, lie), stop, *following[1:]]


def _new_marks(bench: Bench, scales: tuple[Vernier, ...], lie: Lie) -> list[CutOperation]:
    """The marks; on a tilted board set by hand each scale is burnt at one focus, half way up its own span."""
    z = lie.entry_z_frac * bench.thickness_mm
    if bench.machine.z == "motorised" or not lie.tilt_deg:
        return [new_marks(scales, bench.recipe, z)]
    pose = bench.pose(lie)
    gauge_z = float(pose.apply(bench.gauge_mm(pose, lie)[None, :])[0, 2])
    done: list[CutOperation] = []
    for scale in scales:
        marks = new_marks((scale,), bench.recipe, z)
        heights = np.concatenate([pose.apply(path.points_mm)[:, 2] for path in marks.paths]) - gauge_z
        middle_mm = float(heights.min() + heights.max()) / 2
        done.append(replace(marks, name=f"witness-{scale.name}", title=f"{marks.title}: {scale.name}", level_mm=middle_mm))
    return done


def _cradled_part(bench: Bench, slope_frac: float, spread_mm: Spread) -> _Made:
    depth_mm = bench.thickness_mm * float(np.hypot(1.0, slope_frac))
    cut = bench.through(depth_mm)
    face = bench.better_face(cut)
    scales = _scales(bench)
    flat = _lie(bench, face)
    setups = [_before_tilting(bench, flat, scales)]
    walls: dict[str, WallShape] = {}
    sloped = tuple(end for end in bench.blank.ends if end.sloped)
    for turned, name in ((False, "tilt-1"), (True, "tilt-2")):
        lie = Lie(face, slope_deg(slope_frac), turned)
        cutting = bench.cutting(lie, depth_mm, cut)
        tilted = TiltedCutting(cutting, cutting.bed_from_board.inverse().turned(np.array([0.0, 0.0, -1.0])))
        gauge_mm = bench.gauge_mm(cutting.bed_from_board, lie)
        frees = bench.blank.ends if turned else ()
        operations = tilted_operations(tilted, sloped, frees, bench.machine, gauge_mm)
        how = "turned end for end" if turned else "not turned"
        setups.append(
            bench.setup(
                name,
                f"{bench.blank.part}: tilted {lie.tilt_deg:.2f} deg, {how}",
                lie,
                _marks(bench, scales, lie, operations),
                _cradling(bench, lie),
                scales,
            )
        )
        walls = {end.end: _end_wall(bench, end, cutting, face, spread_mm if end.sloped else {}) for end in bench.blank.ends}
    return setups, walls, _unread(bench, scales)


def _cradling(bench: Bench, lie: Lie) -> tuple[str, ...]:
    """What to do before a tilted setup."""
    x_mm, y_mm = bench.options.fence_mm
    how, end = "its left end to the left", "the board's left end"
    if lie.turned:
        how, end = "turned end for end, its right end to the left", "the end that now lies left"
    return (
        f"Put the board in the cradle, {lie.face_up.value} up, {how}, pushed against the stop",
        f"The cradle's stop, where it meets the rest, stands {format_mm(y_mm)} from the bed's front; "
        f"{end} {format_mm(x_mm)} from the bed's left",
    )


def _before_tilting(bench: Bench, lie: Lie, scales: tuple[Vernier, ...]) -> Setup:
    """Flat work that must come first: reference marks, the label, rough long edges, sockets of a square end."""
    z = lie.entry_z_frac * bench.thickness_mm
    operations: list[CutOperation] = [bench.label(lie)]
    if scales:
        operations.insert(0, reference_marks(scales, bench.recipe, z, None, 0.0))
    square = [end for end in bench.blank.ends if not end.sloped]
    if square or bench.blank.board.edges == "rough":
        cutting = bench.cutting(lie, bench.thickness_mm, bench.through(bench.thickness_mm))
        path = cutting.ring(bench.blank.slab.show_ring)
        notches = [notch_stroke(cutting, path, notch) for end in square for notch in end.notches]
        edges = long_strokes(cutting, path, whole_board=True)
        operations += [
            cutting.operation(name, title, in_turn(paths))
            for name, title, paths in (("notches", "Sockets, from the waste", notches), ("edges", "Long edges, the whole board", edges))
            if paths
        ]
    return bench.setup("flat", f"{bench.blank.part}: marks and flat cuts", lie, operations, _laying(bench, lie))


def _two_faced_part(bench: Bench, slope_frac: float, spread_mm: Spread) -> _Made:
    ramp = bench.recipe.ramp
    assert ramp is not None  # wall_options has checked it
    cut = bench.through(bench.thickness_mm)
    scales = _scales(bench)
    inner, show = _lie(bench, Face.INNER), _lie(bench, Face.SHOW)
    from_inner = bench.cutting(inner, bench.thickness_mm, cut)
    core = from_inner.ring(bench.blank.slab.inner_ring)
    sloped = [end for end in bench.blank.ends if end.sloped]
    cores = [core_loop(from_inner, core, notch) for end in sloped for notch in end.notches]
    first = [bench.label(inner), from_inner.operation("cores", "Cores of the sockets, from the inner face", in_turn(cores))]
    if scales:
        first.insert(0, reference_marks(scales, bench.recipe, -bench.thickness_mm, cut, bench.thickness_mm))
    from_show = bench.cutting(show, bench.thickness_mm, cut)
    wishes = RampWishes(bench.options.hollow_mm, bench.options.floor_overrun_mm)
    second = [op for op in ramp_operations(from_show, ramp, wishes, bench.blank.ends) if op.name != "cores"]
    second = _paused(bench, second, ramp, marked=bool(scales))
    setups = [
        bench.setup("inner-face", f"{bench.blank.part}: cores from the inner face", inner, first, _laying(bench, inner)),
        bench.setup(
            "show-face",
            f"{bench.blank.part}: ramps from the show face",
            show,
            _marks(bench, scales, show, second),
            _laying(bench, show, again=True),
            scales,
        ),
    ]
    walls = {end.end: _ramp_end_wall(bench, end, from_show, slope_frac, spread_mm) for end in bench.blank.ends}
    return setups, walls, _unread(bench, scales)


def _unread(bench: Bench, scales: tuple[Vernier, ...]) -> list[Finding]:
    if scales:
        return []
    why = "you asked for none" if not bench.options.reread else "the board is too narrow for the scales"
    return [
        warning(
            "no-witness",
            f"the board is laid again without witness marks ({why}): hand placing, about "
            f"{format_mm(bench.machine.placing_sd_mm)}, goes straight into the joint",
            bench.blank.part,
        )
    ]

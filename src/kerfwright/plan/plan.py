"""The plan of a whole piece: every part's setups, the cradle when one is needed, predicted gaps, time and findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from kerfwright.core.errors import PlanError
from kerfwright.core.finding import loudest_first, merged
from kerfwright.core.units import format_mm
from kerfwright.coupons.coupon import Site
from kerfwright.coupons.record import CouponRecord, coupon_record
from kerfwright.geometry.slab import Face
from kerfwright.machine.machine import Machine
from kerfwright.pieces.design import Corner, Design
from kerfwright.plan import cautions
from kerfwright.plan.bench import Bench, numbered
from kerfwright.plan.blank import END_WASTE_MARKED_MM, PILOT_MM, Blank, lay_on_board, told_apart
from kerfwright.plan.check import check_setup
from kerfwright.plan.compensate import gap_estimates
from kerfwright.plan.costs import costs_of
from kerfwright.plan.cradle import slope_of
from kerfwright.plan.cradle_parts import SPACE_MM, STOP_WIDTH_MM, cradle_sheet, cradle_size
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.panel import outline_stroke
from kerfwright.plan.part_plan import PartPlan, plan_part
from kerfwright.plan.pilot import is_pilot, strips_first
from kerfwright.plan.pose import Lie
from kerfwright.plan.spread import Spread, joined
from kerfwright.plan.timing import setup_time
from kerfwright.process.costs import Rates
from kerfwright.process.gap import MateGap
from kerfwright.process.job import Job
from kerfwright.process.recipe import Recipe
from kerfwright.process.setup import Setup
from kerfwright.wood.board import Board


@dataclass(frozen=True, eq=False)
class Planned:
    """A job, and the record of each board's pilot strip by part."""

    job: Job
    pilots: dict[str, CouponRecord]


def plan_job(design: Design, machine: Machine, boards: Mapping[str, Board], recipes: Mapping[str, Recipe], options: PlanOptions) -> Job:
    """Plan a built piece: the job alone."""
    return plan_piece(design, machine, boards, recipes, options).job


def plan_piece(
    design: Design,
    machine: Machine,
    boards: Mapping[str, Board],
    recipes: Mapping[str, Recipe],
    options: PlanOptions,
    rates: Rates | None = None,
) -> Planned:
    """Plan a built piece. boards, recipes: by part name; rates: what the person pays, by default the told examples.

    Pilot strips come first, on every board, then the work itself.

    Raises PlanError when a part cannot be made on its board and machine, RecipeRangeError when a recipe was never
    burnt where it is needed.
    """
    plans: dict[str, PartPlan] = {}
    benches: dict[str, Bench] = {}
    blanks = told_apart(boards)
    for part in design.assembly.parts:
        clearance_mm = clearances_of(design.corners, part.name)
        blank = lay_on_board(part, blanks[part.name], marked=False, pilot=options.pilot)
        bench = Bench(blank, machine, recipes[part.name], options, clearance_mm)
        plans[part.name], benches[part.name] = plan_part(bench), bench
        _room_for_marks(plans[part.name], blank)
    own = [setup for part in design.assembly.parts for setup in plans[part.name].setups]
    strips = {name: plan.pilot for name, plan in plans.items() if plan.pilot is not None}
    setups = numbered([*(setup for setup, _ in strips.values()), *_cradle_setups(benches, plans), *own])
    for setup in setups:
        check_setup(setup, machine)
    gaps = tuple(gap_of(corner, plans) for corner in design.corners)
    walls = tuple(option for plan in plans.values() for option in plan.options)
    thickness_mm = {name: board.thickness_mm for name, board in boards.items()}
    findings = merged(
        loudest_first(
            [
                *cautions.body_cautions(boards),
                *cautions.wall_findings(walls, thickness_mm),
                *(finding for plan in plans.values() for finding in plan.findings),
                *cautions.blank_findings(boards),
                *strips_first(tuple(strips)),
                *design.findings,
                *cautions.board_findings(boards),
                *cautions.recipe_findings(recipes, boards, machine),
                *cautions.gap_findings(gaps, design.corners, tuple(_spread_mm(corner, plans) for corner in design.corners)),
                *cautions.setup_findings(setups),
            ]
        )
    )
    times = tuple(setup_time(setup, machine) for setup in setups)
    seconds = {setup.part: time for setup, time in zip(setups, times, strict=True) if is_pilot(setup.name, setup.part)}
    # Told of the board itself, not of one blank of it: what a strip tells is kept by board.
    pilots = {
        name: coupon_record(strip, Site(boards[name], machine, recipes[name]), round(seconds[name].burn_s + seconds[name].travel_s, 1))
        for name, (_, strip) in strips.items()
    }
    job = Job(
        design.assembly.name,
        machine,
        dict(boards),
        dict(recipes),
        design.assembly,
        setups,
        times,
        gaps,
        walls,
        findings,
        options.model_dump(),
        design.hardware,
    )
    return Planned(replace(job, costs=costs_of(job, rates or Rates())), pilots)


def clearances_of(corners: tuple[Corner, ...], part: str) -> dict[str, float]:
    """The clearance wanted at each end of a part."""
    found = {corner.tail_end: corner.clearance_mm for corner in corners if corner.tail_part == part}
    return found | {corner.pin_end: corner.clearance_mm for corner in corners if corner.pin_part == part}


def _room_for_marks(plan: PartPlan, blank: Blank) -> None:
    x0, _, x1, _ = blank.slab.bounds_mm()
    strip_mm = PILOT_MM if plan.pilot else 0.0
    if any(setup.verniers for setup in plan.setups) and blank.end_waste_mm < END_WASTE_MARKED_MM - 1e-9:
        part_mm = x1 - x0
        raise PlanError(
            f"the board is {format_mm(blank.size_mm[0])} long and the part {format_mm(part_mm)}",
            accepted=f"{format_mm(part_mm + 2 * END_WASTE_MARKED_MM + strip_mm)} or more, so that the witness marks find room at both ends",
            remedy="Take a longer board, or set reread = false and trust your hand",
            where=f'{blank.part} on board "{blank.board.name}"',
        )


def gap_of(corner: Corner, plans: Mapping[str, PartPlan]) -> MateGap:
    """What the plan says of a corner's gaps."""
    tightest, on_tail, on_pin = gap_estimates(plans[corner.tail_part].walls[corner.tail_end], plans[corner.pin_part].walls[corner.pin_end])
    who = (corner.tail_part, corner.tail_end, corner.pin_part, corner.pin_end)
    return MateGap(corner.name, *who, corner.clearance_mm / 2, tightest, on_tail, on_pin)


def _spread_mm(corner: Corner, plans: dict[str, PartPlan]) -> Spread:
    tail, pin = plans[corner.tail_part].walls[corner.tail_end], plans[corner.pin_part].walls[corner.pin_end]
    return joined(tail.spread_mm, pin.spread_mm)


def _cradle_setups(benches: dict[str, Bench], plans: dict[str, PartPlan]) -> list[Setup]:
    """One setup that cuts the cradle, sized for the largest board that needs it; none when no board is tilted."""
    tilted = [name for name, plan in plans.items() if any(setup.tilt_deg for setup in plan.setups)]
    done: list[Setup] = []
    for slope_frac in sorted({round(slope_of(benches[name].blank), 9) for name in tilted}):
        users = [benches[name] for name in tilted if abs(slope_of(benches[name].blank) - slope_frac) < 1e-8]
        done.append(_cradle_setup(users, slope_frac, len(done)))
    return done


def _cradle_setup(users: list[Bench], slope_frac: float, index: int) -> Setup:
    bench = users[0]
    size = cradle_size([user.blank for user in users], slope_frac, bench.options.cradle_height_mm)
    if bench.options.fence_mm[1] < STOP_WIDTH_MM:
        raise PlanError(
            f"the fence stands {format_mm(bench.options.fence_mm[1])} from the bed's front",
            accepted=f"{format_mm(STOP_WIDTH_MM)} or more, so that the cradle's stop stands on the bed",
            where="cradle",
        )
    parts = cradle_sheet(size)
    high = np.array([slab.bounds_mm()[2:] for _, slab in parts]).max(axis=0) + SPACE_MM
    board = bench.blank.board.model_copy(
        update={
            "name": f"an offcut, {high[0]:.0f} x {high[1]:.0f} mm or larger",
            "length_mm": float(high[0]),
            "width_mm": float(high[1]),
            "edges": "rough",
        }
    )
    blank = Blank("cradle", board, parts[0][1], (float(high[0]), float(high[1]), bench.thickness_mm), (), 0.0)
    sheet = Bench(blank, bench.machine, bench.recipe, bench.options, {})
    lie = Lie(Face.SHOW)
    cutting = sheet.cutting(lie, bench.thickness_mm, sheet.through(bench.thickness_mm))
    loops = [outline_stroke(replace(cutting, blank=replace(blank, slab=slab)), name, SPACE_MM) for name, slab in parts]
    steps = (
        f"Lay {board.name}, {format_mm(bench.thickness_mm)} thick, at the fence; anything flat that this recipe cuts will do",
        f"Push ribs and rails together square; the stop's foot stands {format_mm(bench.options.fence_mm[1])} from the bed's front",
    )
    operation = cutting.operation("parts", "Ribs and rails of the cradle", loops)
    setup = sheet.setup("parts" if index == 0 else f"parts-{index + 1}", f"A cradle, {size.tilt_deg:.2f} deg", lie, [operation], steps)
    return replace(setup, more_slabs=tuple(slab for _, slab in parts[1:]))

"""The plan of a coupon: one flat setup, checked and timed like any other, and what wood and time it takes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import PlanError
from kerfwright.core.finding import Finding, merged, note
from kerfwright.core.units import format_duration, format_mm
from kerfwright.coupons.coupon import CouponDesign, Site
from kerfwright.geometry.assembly import Assembly
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, Slab, straight_slab
from kerfwright.plan import cautions
from kerfwright.plan.bench import GAUGE_INSET_MM
from kerfwright.plan.check import check_setup
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.pose import Lie, bed_from_board, flat_lie
from kerfwright.plan.timing import setup_time
from kerfwright.process.job import Job, SetupTime
from kerfwright.process.setup import Setup
from kerfwright.process.spread_order import in_order

Array = NDArray[np.float64]

PART = "coupon"


def plan_coupon(design: CouponDesign, site: Site, options: PlanOptions) -> Job:
    """One setup, show face up. Raises PlanError when the offcut or a cut does not fit the machine.

    The job's assembly has no parts: nothing is put together.
    """
    offcut = site.offcut
    size_mm = offcut.length_mm, offcut.width_mm, offcut.thickness_mm
    lie = _lie(design, site, size_mm, options)
    pose = bed_from_board(lie, size_mm, options.fence_mm, options.cradle_height_mm)
    setup = Setup(
        1,
        design.kind.replace(" ", "-"),
        f"Coupon: {design.title.capitalize()}",
        offcut.name,
        PART,
        _used_slab(design, offcut.thickness_mm),
        size_mm,
        pose,
        Face.SHOW,
        0.0,
        "bed",
        _gauge_mm(design, size_mm),
        in_order(design.operations, options.order),
        (_laying(design, site, options), *design.steps),
    )
    check_setup(setup, site.machine)
    time = setup_time(setup, site.machine)
    boards, recipes = {PART: offcut}, {PART: site.recipe}
    findings = merged(
        [
            *cautions.body_cautions(boards),
            *design.findings,
            needs(design, time),
            *cautions.board_findings(boards),
            *cautions.recipe_findings(recipes, boards, site.machine),
        ]
    )
    name = f"{design.kind} coupon"
    return Job(name, site.machine, boards, recipes, Assembly(name, (), (), (), ()), (setup,), (time,), (), (), findings)


def needs(design: CouponDesign, time: SetupTime) -> Finding:
    """Wood used and burn time, stated before anything is burnt."""
    x0, y0, x1, y1 = design.used_mm
    stops = f", with {time.n_pauses} stop{'s' if time.n_pauses > 1 else ''} where you act" if time.n_pauses else ""
    return note(
        "coupon-needs",
        f"takes {format_mm(x1 - x0, 0)} x {format_mm(y1 - y0, 0)} of the offcut and about {format_duration(time.burn_s + time.travel_s)} "
        f"of machine time{stops}; {len(design.observables)} readings, of which any part will do",
    )


def _lie(design: CouponDesign, site: Site, size_mm: tuple[float, float, float], options: PlanOptions) -> Lie:
    """As the coupon was drawn for: its readings say which bed axis each cut ran along."""
    where = f'coupon on offcut "{site.offcut.name}"'
    lie = flat_lie(Face.SHOW, size_mm, site.machine, options.fence_mm, where)
    if lie.quarter == design.turned:
        return lie
    length_mm, width_mm, _ = size_mm
    along_x_mm, along_y_mm = (width_mm, length_mm) if design.turned else (length_mm, width_mm)
    room_x_mm, room_y_mm = site.machine.bed_x_mm - options.fence_mm[0], site.machine.bed_y_mm - options.fence_mm[1]
    if along_x_mm > room_x_mm or along_y_mm > room_y_mm:
        way = "turned = false" if design.turned else "turned = true"
        raise PlanError(
            f"the offcut does not fit the bed {'turned a quarter' if design.turned else 'with its grain along x'}",
            accepted=f"up to {format_mm(room_x_mm)} x {format_mm(room_y_mm)} on {site.machine.name}, inside the fence",
            remedy=f"Say {way}, or trim the offcut",
            where=where,
        )
    return Lie(Face.SHOW, quarter=design.turned)


def _gauge_mm(design: CouponDesign, size_mm: tuple[float, float, float]) -> Array:
    """On bare wood right of the coupon or beyond it, else in its lower left corner. (3,)"""
    x0, y0, x1, y1 = design.used_mm
    inset_mm = GAUGE_INSET_MM
    if size_mm[0] - x1 >= 2 * inset_mm:
        return np.array([x1 + inset_mm, y0 + inset_mm, 0.0])
    if size_mm[1] - y1 >= 2 * inset_mm:
        return np.array([x0 + inset_mm, y1 + inset_mm, 0.0])
    return np.array([x0 + min(inset_mm, size_mm[0] / 4), y0 + min(inset_mm, size_mm[1] / 4), 0.0])


def _laying(design: CouponDesign, site: Site, options: PlanOptions) -> str:
    way = "its grain along the bed's y, its left end to the front" if design.turned else "its grain along the bed's x"
    return (
        f'Lay offcut "{site.offcut.name}" show face up, {way}, its corner nearest the origin at the fence '
        f"({format_mm(options.fence_mm[0])}, {format_mm(options.fence_mm[1])} from the bed's front left corner)"
    )


def _used_slab(design: CouponDesign, thickness_mm: float) -> Slab:
    """The wood the coupon takes, as the setup's part."""
    x0, y0, x1, y1 = design.used_mm
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    edges = tuple(Edge(Role.DATUM, Place.LONG if k % 2 == 0 else Place.TIP, f"edge{k + 1}") for k in range(4))
    return straight_slab(Ring(corners, edges), thickness_mm)

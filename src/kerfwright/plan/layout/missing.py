"""A rack that is too small: what is missing, in words a person can take to the timber merchant."""

from __future__ import annotations

from collections.abc import Sequence

from kerfwright.core.errors import PlanError
from kerfwright.core.units import format_mm
from kerfwright.plan.layout.packing import TENTHS, Packing
from kerfwright.plan.layout.rack import RackBoard
from kerfwright.plan.layout.solver import Effort, most_that_fit
from kerfwright.plan.layout.wanted import Wanted


def boards_for(wanted: Wanted, rack: Sequence[RackBoard], tolerance_mm: float) -> tuple[int, ...]:
    """Indices of the boards that a blank can come from. Raises PlanError when none is thick, long and wide enough."""
    near = [k for k, each in enumerate(rack) if abs(each.board.thickness_mm - wanted.thickness_mm) <= tolerance_mm + 1e-9]
    if not near:
        have = ", ".join(sorted({format_mm(each.board.thickness_mm) for each in rack}))
        raise PlanError(
            f"no board on the rack is {format_mm(wanted.thickness_mm)} thick; there are {have}",
            accepted=f"{format_mm(wanted.thickness_mm)} to within {format_mm(tolerance_mm)}",
            remedy="Plane a board down, or wish for another thickness or tolerance",
            where=wanted.part,
        )
    sheets = {k: rack[k].sheet for k in near}
    large = tuple(
        k for k, each in sheets.items() if each.length >= round(wanted.length_mm * TENTHS) and each.width >= round(wanted.width_mm * TENTHS)
    )
    if large:
        return large
    longest = max(each.length for each in sheets.values()) / TENTHS
    widest = max(each.width for each in sheets.values()) / TENTHS
    short = "long" if longest < wanted.length_mm else "wide" if widest < wanted.width_mm else "both long and wide"
    told = f"the longest has {format_mm(longest)} clear, the widest {format_mm(widest)}"
    raise PlanError(
        f"no board {format_mm(wanted.thickness_mm)} thick is {short} enough: {told}",
        accepted=f"{format_mm(wanted.length_mm)} x {format_mm(wanted.width_mm)} clear, for the blank with its waste",
        remedy="Add a board" + (", or glue one up" if "wide" in short else ""),
        where=wanted.part,
    )


def too_little(packing: Packing, wanted: Sequence[Wanted], effort: Effort) -> PlanError:
    """The error that says which parts find no room, and what board would hold them."""
    found = most_that_fit(packing, Effort(work=effort.work / 2, wall_s=effort.wall_s / 2, seed=effort.seed))
    left = [each for each, place in zip(wanted, found.places, strict=True) if place is None]
    gap_mm = packing.gap / TENTHS
    asked: list[str] = []
    for thickness_mm in sorted({round(each.thickness_mm, 1) for each in left}):
        own = [each for each in left if round(each.thickness_mm, 1) == thickness_mm]
        length_mm = sum(each.length_mm for each in own) + gap_mm * (len(own) - 1)
        width_mm = max(each.width_mm for each in own)
        asked.append(f"{format_mm(length_mm, 0)} of board {format_mm(width_mm, 0)} wide and {format_mm(thickness_mm, 1)} thick")
    together = [*packing.runs, *packing.matches]
    in_group = {packing.items[i].name for group in together for i in group.members} & {each.part for each in left}
    return PlanError(
        f"the boards hold {len(wanted) - len(left)} of {len(wanted)} parts; no room for {', '.join(each.part for each in left)}",
        accepted=f"in all {' and '.join(asked)} more, or as much in shorter boards",
        remedy="Add boards to the rack" + (", or let these parts lie apart (grain_round, matched)" if in_group else ""),
        where="the rack",
    )

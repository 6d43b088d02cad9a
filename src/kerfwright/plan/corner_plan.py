"""The plan of one corner alone, for a verdict while a piece is being edited: two boards' cuts and the gap, nothing written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from kerfwright.core.errors import InputError
from kerfwright.machine.machine import Machine
from kerfwright.pieces.design import Design
from kerfwright.plan.bench import Bench, numbered
from kerfwright.plan.blank import lay_on_board, told_apart
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.part_plan import plan_part
from kerfwright.plan.plan import clearances_of, gap_of
from kerfwright.process.job import Job
from kerfwright.process.recipe import Recipe
from kerfwright.wood.board import Board


def plan_corner(
    design: Design, name: str, machine: Machine, boards: Mapping[str, Board], recipes: Mapping[str, Recipe], options: PlanOptions
) -> Job:
    """A job of the corner's two boards, without pilot strips, a cradle's own cuts, times and cautions, and not checked against the bed.

    Raises what ``plan_piece`` raises for these boards, and InputError when there is no corner of that name.
    """
    corner = next((each for each in design.corners if each.name == name), None)
    if corner is None:
        raise InputError(f'there is no corner "{name}"', accepted=", ".join(each.name for each in design.corners))
    whole, two = design.assembly, (corner.tail_part, corner.pin_part)
    assembly = replace(
        whole,
        parts=tuple(part for part in whole.parts if part.name in two),
        mates=tuple(mate for mate in whole.mates if mate.corner == name),
        freedoms=tuple(each for each in whole.freedoms if each.corner == name),
    )
    blanks = told_apart(boards)
    plans = {
        part.name: plan_part(Bench(
            lay_on_board(part, blanks[part.name], marked=False, pilot=options.pilot), machine, recipes[part.name], options,
            clearances_of(design.corners, part.name),
        ))
        for part in assembly.parts
    }  # fmt: skip
    setups = numbered([setup for part in assembly.parts for setup in plans[part.name].setups])
    walls = tuple(option for plan in plans.values() for option in plan.options)
    gaps = (gap_of(corner, plans),)
    return Job(whole.name, machine, dict(boards), dict(recipes), assembly, setups, (), gaps, walls, (), options.model_dump())

"""A piece planned and judged in the machine's memory: what sweeps over choices and thicknesses try again and again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from kerfwright.core.estimate import Estimate

if TYPE_CHECKING:
    from kerfwright.app.watched import Watched
    from kerfwright.machine.machine import Machine
    from kerfwright.plan.options import PlanOptions
    from kerfwright.process.job import Job
    from kerfwright.process.recipe import Recipe
    from kerfwright.process.verdict import CornerVerdict, Verdict
    from kerfwright.simulate.known import LawKnown
    from kerfwright.wood.board import Board


@dataclass(frozen=True, eq=False)
class Trial:
    """What is tried: a piece's tables, and all it is made with. corner: the one that is judged, "" for all of them."""

    piece: Mapping[str, Any]
    machine: Machine
    boards: Mapping[str, Board]
    recipes: Mapping[str, Recipe]
    options: PlanOptions
    corner: str = ""

    def job(self) -> Job:
        """The plan. Raises PlanError, BuildError or RecipeRangeError when there is none."""
        from kerfwright.pieces.piece import build_on_boards, piece_from
        from kerfwright.plan.plan import plan_piece

        document = piece_from(dict(self.piece), "piece")
        design = build_on_boards(document, self.boards)
        return plan_piece(design, self.machine, self.boards, self.recipes, self.options).job


def judge_trial(trial: Trial, laws: Mapping[str, LawKnown], n_draws: int, seed: int, watched: Watched | None = None) -> Verdict:
    """Plan, write every program, read it back, burn and judge. laws: by part."""
    return judge_job(trial.job(), laws, n_draws, seed, trial.corner, watched)


def judge_job(
    job: Job, laws: Mapping[str, LawKnown], n_draws: int, seed: int, corner: str = "", watched: Watched | None = None
) -> Verdict:
    """The same of a planned job."""
    from kerfwright.app.job_to_burn import JobToBurn
    from kerfwright.app.verdicts import judge_given
    from kerfwright.export.formats.rs274 import program_text
    from kerfwright.export.program_reader import read_program

    programs = {setup.number: read_program(program_text(setup, job.machine)) for setup in job.setups}
    given = JobToBurn(job, programs, job.recipes, frozenset())
    return judge_given(given.only(corner) if corner else given, laws, "quick", n_draws, seed, lambda _: None, watched)


def with_wall_shift(recipes: Mapping[str, Recipe], shift_mm: float) -> dict[str, Recipe]:
    """Recipes whose ramps take a sloped wall this much further, as a sloped edge coupon would have told."""
    found: dict[str, Recipe] = {}
    for part, recipe in recipes.items():
        ramp = recipe.ramp
        if ramp is not None:
            told = replace(ramp.wall_shift_mm, value=ramp.wall_shift_mm.value + shift_mm)
            ramp = ramp.model_copy(update={"wall_shift_mm": Estimate(told.value, 0.015, told.n, "rehearsed on the burn law")})
        found[part] = recipe.model_copy(update={"ramp": ramp})
    return found


def unplanned_mm(corner: CornerVerdict) -> float:
    """How much wider than planned the seen gap comes out; 0 where nothing was planned."""
    return corner.seen_gap_mm.value - corner.planned_gap_mm.value if corner.planned_gap_mm else 0.0

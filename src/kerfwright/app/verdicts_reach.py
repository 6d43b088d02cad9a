"""What can this laser do in this wood: every way of making a sloped wall, tried at several thicknesses in the machine's memory."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwright.app.trial import Trial, judge_job, unplanned_mm, with_wall_shift
from kerfwright.core.codec import plain
from kerfwright.core.document import build, read_toml
from kerfwright.core.errors import InputError, KerfwrightError

if TYPE_CHECKING:
    from kerfwright.app.watched import Watched
    from kerfwright.machine.machine import Machine
    from kerfwright.process.recipe import Recipe
    from kerfwright.simulate.facts import BurntFact
    from kerfwright.simulate.known import LawKnown
    from kerfwright.simulate.reach import ReachRow

THICKNESSES_MM = (3.0, 6.0, 9.0, 12.0)
N_DRAWS, SEED = 200, 20
CORNER = "front-right"
PROUD = "0.2 mm"


@dataclass(frozen=True, eq=False)
class Reached:
    """rows: thickness by thickness, way by way; said: where each stops, and where the burn law came from."""

    machine: str
    species: str
    rows: tuple[ReachRow, ...]
    said: tuple[str, ...]

    def summary(self) -> dict[str, Any]:
        """For people and scripts."""
        return {
            "schema": "kerfwright-reach-1",
            "machine": self.machine,
            "species": self.species,
            "rows": [plain(row) | {"good": row.good, "why": row.why} for row in self.rows],
            "said": list(self.said),
        }


def reach(
    machine: Path,
    recipe: Path | None = None,
    *,
    species: str | None = None,
    thicknesses_mm: Sequence[float] = THICKNESSES_MM,
    notebook: str | Path | None = None,
    n_draws: int = N_DRAWS,
    seed: int = SEED,
    progress: Callable[[str], None] | None = None,
) -> Reached:
    """Try a small dovetailed corner each way at each thickness, as if the thickness had its coupons.

    The burn law comes from the notebook's readings of this machine on this wood, else from the numbers of ``recipe``, else from
    priors alone. species: by default the recipe's.
    """
    from kerfwright.app.watched import cells_watched
    from kerfwright.machine.machine import Machine
    from kerfwright.process.recipe import Recipe
    from kerfwright.simulate.identify import TOLD, identify
    from kerfwright.simulate.reach import WAYS, ReachRow, where_it_stops
    from kerfwright.wood.species import find_species

    mine = build(read_toml(machine), Machine, str(machine))
    known_recipe = build(read_toml(recipe), Recipe, str(recipe)) if recipe else None
    named = species or (known_recipe.species if known_recipe else "")
    if not named:
        raise InputError("no wood was named", accepted="a species, or a recipe file that names one")
    if not thicknesses_mm or not all(1 <= each <= 40 for each in thicknesses_mm):
        raise InputError(f"thicknesses {', '.join(f'{each:g}' for each in thicknesses_mm)} mm", accepted="one or more from 1 to 40 mm")
    wood = find_species(named).name
    facts = _facts(mine, wood, known_recipe, notebook)
    known = identify(facts, mine.laser, mine.power_w)
    say = progress or _nothing
    rows: list[ReachRow] = []
    for thickness_mm in thicknesses_mm:
        say(f"{thickness_mm:g} mm, its coupons")
        rehearsed = _as_if_read(facts, known, mine, wood, thickness_mm)
        watched = cells_watched(mine, next(iter(_boards(wood, thickness_mm).values())), notebook)
        for way in WAYS:
            say(f"{thickness_mm:g} mm, {way}")
            rows.append(
                ReachRow(way, thickness_mm, stopped=rehearsed)
                if isinstance(rehearsed, str)
                else one_way(mine, wood, *rehearsed, thickness_mm, way, n_draws, seed, watched)
            )
    typed = (TOLD,) if facts and not any(fact.board for fact in facts) else ()
    said = (*(where_it_stops(rows, way) for way in WAYS), *typed, *known.said)
    return Reached(mine.name, wood, tuple(rows), said)


def one_way(
    machine: Machine, species: str, known: LawKnown, recipe: Recipe, thickness_mm: float, way: str, n_draws: int, seed: int,
    watched: Watched | None = None,
) -> ReachRow:  # fmt: skip
    """One row of the table: plan, burn, judge; a ramp's wall shift is rehearsed by a first burn. watched: cells of this thickness."""
    from kerfwright.plan.options import PlanOptions
    from kerfwright.simulate.reach import ReachRow

    try:
        boards = _boards(species, thickness_mm)
        recipes = dict.fromkeys(boards, recipe)
        options = build({"walls": way}, PlanOptions, "burn")
        laws = dict.fromkeys(boards, known)
        trial = Trial(_piece(thickness_mm), machine, boards, recipes, options, CORNER)
        if way != "cradle":
            first = judge_job(trial.job(), laws, 2, seed, CORNER).corners[0]
            trial = Trial(trial.piece, machine, boards, with_wall_shift(recipes, unplanned_mm(first)), options, CORNER)
        job = trial.job()
        found = judge_job(job, laws, n_draws, seed, CORNER, watched)
    except KerfwrightError as bad:
        return ReachRow(way, thickness_mm, stopped=bad.message.rstrip("."))
    corner = found.corners[0]
    heat = (found.heat.risk, found.heat.char) if found.heat else ("unknown", "unknown")
    laid = sum(setup.part == corner.pin_part for setup in job.setups)
    speed_mm_s = recipe.through[0].speed_mm_s
    return ReachRow(way, thickness_mm, "", corner.goes_together, corner.seen_gap_mm, found.time_s, *heat, laid, speed_mm_s)


def _nothing(step: str) -> None:
    """Nobody is told."""


def _as_if_read(
    facts: Sequence[BurntFact], known: LawKnown, machine: Machine, species: str, thickness_mm: float
) -> tuple[LawKnown, Recipe] | str:
    """The law and the recipe as they would be once this thickness had its coupons; or why it is not gone through.

    Else a thickness that was never burnt would be judged by how little is known of it, not by what the laser can do.
    """
    from kerfwright.simulate.facts import facts_from_recipe
    from kerfwright.simulate.identify import identify
    from kerfwright.simulate.rehearse import rehearse

    try:
        would_read = facts_from_recipe(rehearse(known, machine, species, thickness_mm))
        after = identify([*facts, *would_read], machine.laser, machine.power_w)
        return after, rehearse(after, machine, species, thickness_mm)
    except KerfwrightError as bad:
        return bad.message.rstrip(".")


def _facts(machine: Machine, species: str, recipe: Recipe | None, notebook: str | Path | None) -> list[BurntFact]:
    """The notebook's readings, else the recipe's own numbers, else none."""
    from kerfwright.app.verdicts import facts_read
    from kerfwright.simulate.facts import facts_from_recipe

    found = facts_read(machine.name, species, notebook)
    return found if found or recipe is None else facts_from_recipe(recipe)


def _piece(thickness_mm: float) -> Mapping[str, Any]:
    """A small box with three tails a corner, its sizes in proportion to its boards."""
    high_mm = max(36.0, 7 * thickness_mm)
    pin_mm = max(1.6, 0.35 * thickness_mm)
    return {
        "schema": "kerfwright-piece-1",
        "kind": "open box",
        "name": f"Corner in {thickness_mm:g} mm",
        "measured": "outside",
        "length": f"{12 * thickness_mm + 60:g} mm",
        "width": f"{8 * thickness_mm + 40:g} mm",
        "height": f"{high_mm:g} mm",
        "proud": PROUD,
        "fit": "snug",
        "joints": {
            "all": {
                "kind": "through dovetail", "tails_on": ["front", "back"], "slope": "1:8", "tails": 3, "pin": f"{pin_mm:g} mm",
                "half_pin": f"{max(3.0, 0.5 * thickness_mm):g} mm", "layout": "even",
            }
        },
    }  # fmt: skip


def _boards(species: str, thickness_mm: float) -> dict[str, Any]:
    from kerfwright.wood.board import Board

    high_mm = max(36.0, 7 * thickness_mm)
    long_mm, short_mm = 12 * thickness_mm + 60, 8 * thickness_mm + 40
    lengths = {"front": long_mm, "back": long_mm, "left": short_mm, "right": short_mm}
    return {
        panel: Board.model_validate(
            {
                "schema": "kerfwright-board-1", "name": f"{species}, {panel}", "species": species, "length": f"{length + 40:g} mm",
                "width": f"{high_mm:g} mm", "edges": "milled", "thickness": [f"{thickness_mm:g} mm"] * 3,
            }
        )
        for panel, length in lengths.items()
    }  # fmt: skip

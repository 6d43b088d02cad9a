"""Draws burnt one by one, with nothing taken as straight: the slow check on the responses that the quick verdict draws from.

Place-to-place change and what the law's form misses are not in it: neither is a number that a burn could be given.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.machine.machine import Machine
from kerfwright.process.job import Job
from kerfwright.process.setup import Setup
from kerfwright.process.verdict import Verdict
from kerfwright.simulate.burnt import BurntPart, BurntWall, Hidden
from kerfwright.simulate.judge import BARE, Context, corners_to_judge, draws_of, judge_burnt, units_of
from kerfwright.simulate.known import SCALES, LawKnown, from_fit
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.motion import Motion
from kerfwright.simulate.spread import Draws
from kerfwright.simulate.strokes import laid
from kerfwright.simulate.walls import burn_walls

Array = NDArray[np.float64]


def judge_reburnt(
    job: Job, motions: Mapping[int, Motion], known: LawKnown, rng: np.random.Generator, n_draws: int,
    density_known: frozenset[str] = frozenset(), context: Context = BARE,
) -> Verdict:  # fmt: skip
    """The verdict with every draw burnt: a fifth of a second a draw for a box of four boards. motions: by setup number."""
    corners, units = corners_to_judge(job), units_of(job, density_known)
    draws, _ = draws_of(corners, units, known, n_draws, rng)
    burnt: dict[str, BurntPart] = {}
    for part in dict.fromkeys(name for corner in corners for name in (corner.tail_part, corner.pin_part)):
        setups = [each for each in job.setups if each.part == part]
        burnt[part] = burn_draws(part, [motions[each.number] for each in setups], setups, job.machine, known, draws)
    return judge_burnt(job, burnt, known.said, context, thicker_mm={part: draws.own_values[part]["thickness_mm"] for part in burnt})


def burn_draws(
    part: str, motions: Sequence[Motion], setups: Sequence[Setup], machine: Machine, known: LawKnown, draws: Draws
) -> BurntPart:
    """One part burnt once a draw: back_mm (k, s, d). motions, setups: of its board, in order."""
    burnt = [
        burn_walls(part, setups[0].part_slab, laid(motions, setups, machine, each), law_of(known, draws, k), each[0])
        for k in range(draws.n)
        for each in [hidden_of(setups, draws.own_values[part], k)]
    ]
    walls: dict[str, BurntWall] = {}
    for edge, wall in burnt[0].walls.items():
        each = [one.walls[edge] for one in burnt]
        walls[edge] = replace(wall, back_mm=np.stack([one.back_mm for one in each]), through=np.all([one.through for one in each], axis=0))
    return BurntPart(part, walls)


def law_of(known: LawKnown, draws: Draws, k: int) -> BurnLaw:
    """The law of draw k."""
    on_scale = known.middle + draws.law_values[k]
    return known.with_values(np.array([float(from_fit(on_scale[i], SCALES[name])) for i, name in enumerate(known.names)]))


def hidden_of(setups: Sequence[Setup], own_values: Mapping[str, Array], k: int) -> list[Hidden]:
    """What is hidden of each laying in draw k. own_values: by unit, (draws,)."""

    def off(name: str, number: int | None = None) -> float:
        unit = name if number is None else f"{name}@{number}"
        return float(own_values[unit][k]) if unit in own_values else 0.0

    return [
        Hidden(
            1 + off("density_ratio"), off("thickness_mm"), off("focus_mm", each.number), off("tilt_deg", each.number),
            (off("placed_x_mm", each.number), off("placed_y_mm", each.number)), off("turned_deg", each.number),
        )
        for each in setups
    ]  # fmt: skip

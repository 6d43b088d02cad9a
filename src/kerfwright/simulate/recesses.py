"""What stands in every groove and housing, and whether it will: odds that it goes in, rattle, a floor too high, a breakthrough.

Vocabulary: a recess *holds* the part whose nominal body stands in it, its thickness across the recess, with the least play. *Reach*
is how deep it stands. Width and depth are as burnt (``hollow``), with the spread of the burn law, of the boards and of what a
law's form misses.
Law: width = drawn + both sides, depth = floor exp(sum of slopes): drawn many times like the corners of ``judge``.
Range: the board that goes in is as thick as its measured points say, and its outline as drawn: its own kerf error, some
hundredths, is small against the play at a groove's floor. Holes right through are left to the coupons.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.estimate import Estimate
from kerfwright.core.pose import Pose
from kerfwright.geometry.assembly import Assembly, Part
from kerfwright.geometry.slab import Face, Recess, Slab
from kerfwright.machine.machine import Machine
from kerfwright.process.job import Job
from kerfwright.process.setup import Setup
from kerfwright.process.verdict import RecessVerdict
from kerfwright.simulate.hollow import Hollow, hollow, side_lines_mm
from kerfwright.simulate.judge import estimate
from kerfwright.simulate.known import LawKnown
from kerfwright.simulate.motion import Motion
from kerfwright.simulate.spread import CALIPER_SD_MM, DENSITY_FRAC, FOCUS_SD_MM, PLACE_FRAC, PLACE_REACH_MM, root_of
from kerfwright.wood.board import Board

Array = NDArray[np.float64]

WITHIN_MM = 0.5  # a board that a recess holds is no thicker than it by this; a neighbour's end is
LEAST_REACH_MM = 0.05


@dataclass(frozen=True, eq=False)
class Held:
    """A recess of a part, the how-manieth, its two sides, and what stands in it. reach_mm: how deep; "" and 0 for none."""

    part: Part
    number: int
    sides: tuple[str, str]
    holds: str
    reach_mm: float

    @property
    def recess(self) -> Recess:
        """As drawn, in the part's frame."""
        return self.part.slab.recesses[self.number]

    @property
    def width_mm(self) -> float:
        """As drawn, between the sides."""
        lines = side_lines_mm(self.recess.ring, self.sides)
        return float(np.hypot(*(lines[1].mean(axis=0) - lines[0].mean(axis=0))))


def held_by(assembly: Assembly) -> list[Held]:
    """Every recess of a piece that does not go right through."""
    return [
        _held(part, number, assembly) for part in assembly.parts for number, recess in enumerate(part.slab.recesses)
        if recess.depth_mm < part.slab.thickness_mm - 1e-9
    ]  # fmt: skip


def judge_recesses(
    job: Job, motions: Mapping[int, Motion], laws: Mapping[str, LawKnown], rng: np.random.Generator, n_draws: int,
    density_known: frozenset[str] = frozenset(),
) -> tuple[RecessVerdict, ...]:  # fmt: skip
    """Every groove and housing of a job. motions: by setup number; laws: by part; density_known: parts whose own board was tried."""
    found: list[RecessVerdict] = []
    drawn = {id(known): rng.standard_normal((n_draws, len(known.names))) @ root_of(known.covariance).T for known in laws.values()}
    for held in held_by(job.assembly):
        name, face = held.part.name, held.recess.face
        setups = [each for each in job.setups if each.part == name and each.entry_face is face and _burns(each, held.recess)]
        if not setups:
            continue
        slab, known = setups[0].part_slab, laws[name]
        burnt = hollow(name, slab, slab.recesses[held.number], held.sides, [motions[each.number] for each in setups], setups,
                       job.machine, known.law)  # fmt: skip
        draws = _draws(held, burnt, known, drawn[id(known)], job.machine, rng, name in density_known)
        found.append(_verdict(held, burnt, draws, job.boards[name], job.boards.get(held.holds), rng))
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _Draws:
    """depth_mm: (k,) of the floor, deep_ln, high_ln: how much deeper and higher its deepest and highest places are, by density
    from place to place; wider_mm: (k, d) both sides together."""

    depth_mm: Array
    deep_ln: Array
    high_ln: Array
    wider_mm: Array


def _draws(
    held: Held, burnt: Hollow, known: LawKnown, law_values: Array, machine: Machine, rng: np.random.Generator, density_known: bool
) -> _Draws:
    n = len(law_values)
    own = {
        "density_ratio": (0.0 if density_known else DENSITY_FRAC) * rng.standard_normal(n),
        "focus_mm": FOCUS_SD_MM[machine.z] * rng.standard_normal(n),
    }
    steps = np.array([known.per_fit(name) for name in known.names])
    ln = law_values @ (steps * [burnt.per_unit_floor_ln.get(name, 0.0) for name in known.names])
    wider = law_values @ (steps[:, None] * [burnt.per_unit_side[name] for name in known.names])
    for name, values in own.items():
        ln = ln + values * burnt.per_unit_floor_ln.get(name, 0.0)
        wider = wider + values[:, None] * burnt.per_unit_side[name]
    ln = ln + known.depth_form_frac * rng.standard_normal(n)
    wider = wider + burnt.side_mm + known.kerf_form_mm * rng.standard_normal(n)[:, None]
    from scipy.special import ndtri  # pyright: ignore[reportMissingTypeStubs]

    per_need = abs(known.per_fit("need_j_mm3") * burnt.per_unit_floor_ln.get("need_j_mm3", 0.0))
    lines = side_lines_mm(held.recess.ring, held.sides)
    n_places = max(float(np.hypot(*(lines[0, 1] - lines[0, 0]))) / PLACE_REACH_MM, 1.0)
    # The greatest of so many independent places: its odds of staying below x are those of one, to that power.
    deep, high = (PLACE_FRAC * per_need * ndtri(rng.uniform(size=n) ** (1 / n_places)) for _ in range(2))
    return _Draws(burnt.floor_mm * np.exp(ln), deep, high, wider)


def _verdict(held: Held, burnt: Hollow, draws: _Draws, board: Board, other: Board | None, rng: np.random.Generator) -> RecessVerdict:
    n = len(draws.depth_mm)
    thick = held.part.slab.thickness_mm + CALIPER_SD_MM * rng.standard_normal(n)
    deeper_mm = burnt.deepest_mm - burnt.floor_mm
    left = thick - (board.thickness_mm - min(board.thickness_points_mm)) - (draws.depth_mm + deeper_mm) * np.exp(draws.deep_ln)
    told = (held.part.name, held.recess.name, held.holds, held.recess.depth_mm, estimate(draws.depth_mm), estimate(np.maximum(left, 0)),
            float(np.mean(left <= 0)))  # fmt: skip
    if other is None:
        return RecessVerdict(*told, None, None, None, None, None, None)
    stands = burnt.upright & (burnt.down_mm <= max(held.reach_mm, float(burnt.down_mm[1])))
    if not stands.any():
        nothing = Estimate(0.0, 0.0, 0, f"{n} simulated burns")
        return RecessVerdict(*told, held.width_mm, nothing, 0.0, nothing, estimate(draws.depth_mm - held.reach_mm), 1.0)
    width: Array = held.width_mm + draws.wider_mm[:, stands].min(axis=1)
    caliper = CALIPER_SD_MM * rng.standard_normal(n)
    mean_mm, thickest_mm = other.thickness_mm + caliper, max(other.thickness_points_mm) + caliper
    under = draws.depth_mm * np.exp(-draws.high_ln) - held.reach_mm
    return RecessVerdict(*told, held.width_mm, estimate(width), float(np.mean(width >= thickest_mm)), estimate(width - mean_mm),
                         estimate(under), float(np.mean(under < 0)))  # fmt: skip


def _burns(setup: Setup, recess: Recess) -> bool:
    """This laying has a path that makes the recess."""
    return any(recess.name in path.edges for operation in setup.operations for path in operation.paths)


def _held(part: Part, number: int, assembly: Assembly) -> Held:
    recess = part.slab.recesses[number]
    low, high = _box_mm(part.slab, recess)
    best, reach, least_play = "", 0.0, np.inf
    across = int(np.argmin((high - low)[:2]))  # without a board the narrower way counts as its width
    for other in assembly.parts:
        if other.name == part.name:
            continue
        turned = part.assembly_from_part.inverse() @ other.assembly_from_part
        normal = np.abs(turned.turned(np.array([0.0, 0.0, 1.0])))
        axis = int(np.argmax(normal))
        its_low, its_high = _bounds_mm(other.slab, turned)
        if axis == 2 or normal[axis] < 1 - 1e-6 or its_low[axis] < low[axis] - WITHIN_MM or its_high[axis] > high[axis] + WITHIN_MM:
            continue
        meets = np.minimum(high, its_high) - np.maximum(low, its_low)
        play = float((high - low)[axis]) - other.slab.thickness_mm
        if np.all(meets > 0) and meets[2] > LEAST_REACH_MM and play < least_play:
            best, reach, across, least_play = other.name, float(meets[2]), axis, play
    return Held(part, number, _sides(recess, across), best, reach)


def _box_mm(slab: Slab, recess: Recess) -> tuple[Array, Array]:
    """The hollow's bounds in its part's frame."""
    points, top = recess.ring.points_mm, 0.0 if recess.face is Face.SHOW else recess.depth_mm - slab.thickness_mm
    return np.append(points.min(axis=0), top - recess.depth_mm), np.append(points.max(axis=0), top)


def _bounds_mm(slab: Slab, pose: Pose) -> tuple[Array, Array]:
    levels = zip(slab.rings, slab.depths_mm, strict=True)
    moved = pose.apply(np.vstack([np.column_stack([ring.points_mm, np.full(len(ring.points_mm), -deep)]) for ring, deep in levels]))
    return moved.min(axis=0), moved.max(axis=0)


def _sides(recess: Recess, across: int) -> tuple[str, str]:
    """The longest edges that face each other across the recess, from low to high."""
    ring = recess.ring
    step = np.roll(ring.points_mm, -1, axis=0) - ring.points_mm
    along = step[:, 1 - across] * (1 if across == 1 else -1)  # counter-clockwise: > 0 on the low side
    return ring.edges[int(np.argmax(along))].name, ring.edges[int(np.argmin(along))].name

"""From burnt walls and what is not known of them to the verdict: odds, gaps, force, causes, and what to say.

Vocabulary: a corner's *word* is one of ``process.verdict.HOW``, by the room across a pin in the classes of ``process.fit``; it does not
go together at all when a wall is not cut free, when it is held short of home by more than wood crushes, when the room is
below the tightest class, or when a half-pin is pressed past its wood's shear strength.

Two roads: ``judge`` draws from responses, in milliseconds; ``judge_burnt`` takes boards burnt draw by draw. Both put the boards
together and count in the same way.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.estimate import Estimate
from kerfwright.process.fit import FIT_CLASSES_MM, TIGHTEST_MM
from kerfwright.process.gap import MateGap
from kerfwright.process.job import Job
from kerfwright.process.verdict import HOW, CauseShare, ClearanceMap, CornerVerdict, HeatVerdict, SeenLine, Verdict
from kerfwright.simulate import press
from kerfwright.simulate.assemble import (
    FLOOR_STOP_MM,
    WIDEST_SHARE,
    Together,
    areas_mm2,
    bring_together,
    freed_of,
    together,
    trapezoid_mm,
)
from kerfwright.simulate.burnt import BurntPart
from kerfwright.simulate.corner import N_PLACES, Corner, corners_of, wall_names
from kerfwright.simulate.drawn import DrawnSide, block_covariances, drawn_side, flank_lengths_mm, variance_by_cause
from kerfwright.simulate.fold import N_FLOOR, UNCUT_SHARE
from kerfwright.simulate.known import LawKnown
from kerfwright.simulate.response import WallResponse
from kerfwright.simulate.said import sentences
from kerfwright.simulate.spread import Draws, OwnUnit, draw_all, own_units, remedy

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

N_DRAWS = 300
RAMPED = ("ramp", "two faces")  # ways of making a sloped wall that leave it to a field of lines
LEANS = ("lean_y_frac", "lean_z_frac")
MOST_CAUSES = 3
LEAST_CAUSE_SHARE = 0.05
LEAST_BLOCKED_SHARE = 0.02


@dataclass(frozen=True)
class Context:
    """What a verdict says besides its corners."""

    time_s: float | None = None
    heat: HeatVerdict | None = None
    tier: str = "quick"
    setup_time_s: Mapping[int, float] | None = None


BARE = Context()


def judge(
    job: Job, responses: Mapping[str, WallResponse], known: LawKnown, rng: np.random.Generator, n_draws: int = N_DRAWS,
    density_known: frozenset[str] = frozenset(), context: Context = BARE, n_places: int = N_PLACES,
) -> Verdict:
    """The quick verdict. responses: by part; density_known: parts whose own board was tried with a pilot strip."""
    corners = corners_to_judge(job, n_places)
    units = units_of(job, density_known)
    draws, lengths_mm = draws_of(corners, units, known, n_draws, rng)
    found: list[CornerVerdict] = []
    for corner in corners:
        sides = _sides(corner, job, responses, known, units)
        (tail, tail_uncut), (pin, pin_uncut) = (side.maps(draws) for side in sides)
        put = bring_together(corner, tail, pin, freed_of(tail_uncut, pin_uncut), *_thicker(corner, draws.own_values))
        bases = (responses[corner.tail_part].base, responses[corner.pin_part].base)
        found.append(_verdict(corner, put, job, bases, _causes(corner, job, sides, known, lengths_mm)))
    return _whole(job, found, known.said, n_draws, context)


def judge_burnt(
    job: Job, burnt: Mapping[str, BurntPart], said: tuple[str, ...], context: Context = BARE, n_places: int = N_PLACES,
    thicker_mm: Mapping[str, Array] | None = None,
) -> Verdict:  # fmt: skip
    """The verdict of boards burnt draw by draw: back_mm (k, s, d) by part, the same k draws for all. It names no causes.

    thicker_mm: by part, (k,) beyond the measured thickness.
    """
    found: list[CornerVerdict] = []
    for corner in corners_to_judge(job, n_places):
        tail, pin = burnt[corner.tail_part], burnt[corner.pin_part]
        thicker = [(thicker_mm or {}).get(part, 0.0) for part in (corner.tail_part, corner.pin_part)]
        found.append(_verdict(corner, together(corner, tail, pin, *thicker), job, (tail, pin), ()))
    wall = next(iter(next(iter(burnt.values())).walls.values()))
    return _whole(job, found, said, wall.back_mm.shape[0] if wall.back_mm.ndim == 3 else 1, context)


def units_of(job: Job, density_known: frozenset[str] = frozenset()) -> dict[str, tuple[OwnUnit, ...]]:
    """What may be off of every board of a job, by part."""
    return {
        part.name: own_units(job.boards[part.name], job.machine, [each for each in job.setups if each.part == part.name],
                             part.name in density_known)
        for part in job.assembly.parts
    }  # fmt: skip


def draws_of(
    corners: Sequence[Corner], units: Mapping[str, Sequence[OwnUnit]], known: LawKnown, n: int, rng: np.random.Generator
) -> tuple[Draws, dict[str, dict[str, float]]]:
    """(n draws of everything, how long each flank is by part and edge)."""
    lengths_mm: dict[str, dict[str, float]] = {part: {} for part in units}
    for corner in corners:
        for part, each in flank_lengths_mm(corner).items():
            lengths_mm[part].update(each)
    return draw_all(known, units, lengths_mm, n, rng), lengths_mm


def corners_to_judge(job: Job, n_places: int = N_PLACES) -> tuple[Corner, ...]:
    """The corners, with the plan's own word for which board is the tail board."""
    return corners_of(job.assembly, {gap.corner: gap.tail_part for gap in job.gaps}, n_places)


def _sides(
    corner: Corner, job: Job, responses: Mapping[str, WallResponse], known: LawKnown, units: Mapping[str, Sequence[OwnUnit]]
) -> tuple[DrawnSide, DrawnSide]:
    tail, pin = responses[corner.tail_part], responses[corner.pin_part]
    ramped = any(wall.part == corner.pin_part and wall.chosen and wall.method in RAMPED for wall in job.walls)
    return (drawn_side(corner, "tail", tail, known, units[corner.tail_part]),
            drawn_side(corner, "pin", pin, known, units[corner.pin_part], ramped))


def _thicker(corner: Corner, own: Mapping[str, Mapping[str, Array]]) -> tuple[Array, Array]:
    return own[corner.tail_part]["thickness_mm"], own[corner.pin_part]["thickness_mm"]


def _causes(
    corner: Corner, job: Job, sides: tuple[DrawnSide, DrawnSide], known: LawKnown, lengths_mm: Mapping[str, Mapping[str, float]]
) -> tuple[CauseShare, ...]:
    """What makes the mean seen gap uncertain: the two or three that matter most."""
    by_y, by_z = wedging(corner)
    slopes = [*sides[0].slopes_mm(seen_weights(corner, sides[0]), -by_y), *sides[1].slopes_mm(seen_weights(corner, sides[1]), -by_z)]
    variance = variance_by_cause(slopes, block_covariances(sides, known, lengths_mm))
    total = sum(variance.values())
    if total <= 0:
        return ()
    read = any(setup.verniers for setup in job.setups if setup.part in (corner.tail_part, corner.pin_part))
    ranked = sorted(variance, key=lambda cause: -variance[cause])[:MOST_CAUSES]
    return tuple(
        CauseShare(cause, variance[cause] / total, float(np.sqrt(variance[cause])), remedy(cause, read))
        for cause in ranked
        if variance[cause] / total >= LEAST_CAUSE_SHARE
    )


def wedging(corner: Corner) -> tuple[float, float]:
    """How much the mean gap opens for each mm that the tail board goes further home (along y), and that it is drawn up (along -z)."""
    square = np.array([each.upright_frac * each.side_factor for each in corner.flanks])
    lean_y, lean_z = (float(np.mean(square * [getattr(each, lean) for each in corner.flanks])) for lean in LEANS)
    return -lean_y, lean_z


def seen_weights(corner: Corner, side: DrawnSide) -> Array:
    """Weights that make a side's row its part of the mean gap along all seen lines, square to the flanks. (N,)

    Floors count by how far they let the boards come home, by their mean instead of their narrowest place.
    """
    row = np.zeros((1, side.fold.n_row))
    maps = side.fold.maps(row)
    flank, (by_y, by_z) = maps.flank_mm[0], wedging(corner)  # (f, a, b)
    y, z = (trapezoid_mm(each) / (corner.tail_thick_mm + corner.pin_thick_mm) for each in (corner.y_mm, corner.z_mm))
    if side.side == "tail":
        flank[:, 0, 1:] += z
        flank[:, :, 1] += y
    else:
        flank[:, 1, :] += z
        flank[:, 1:, 0] += y
    flank *= np.array([each.upright_frac for each in corner.flanks])[:, None, None] / len(corner.flanks)
    if maps.floor_mm.size:
        maps.floor_mm[...] = (by_z if side.side == "tail" else by_y) / maps.floor_mm.size
    return row[0]


def _verdict(
    corner: Corner, put: Together, job: Job, bases: tuple[BurntPart, BurntPart], causes: tuple[CauseShare, ...]
) -> CornerVerdict:
    woods = tuple(press.cross_grain(job.boards[part].species) for part in (corner.tail_part, corner.pin_part))
    pressing_n, shear_share = _pressing(corner, put, (woods[0], woods[1]))
    split = np.zeros(len(put.room_mm), dtype=bool) if shear_share is None else shear_share >= 1.0
    odds = _odds(put, split)
    tightest = put.room_mm / 2
    mean_n = float(np.mean(pressing_n))
    seen, widest = _seen(corner, put)
    forces = [float(press.force_n(mean_n, ratio)) for ratio in press.FRICTION_RATIOS]
    gap = next((each for each in job.gaps if each.corner == corner.name), None)
    return CornerVerdict(
        corner.name, corner.tail_part, corner.pin_part, odds, 1 - odds["not at all"], estimate(seen), estimate(widest), estimate(tightest),
        estimate(np.maximum(-tightest, 0.0)), (forces[0], forces[1], forces[2]), press.half_pin_word(shear_share),
        {corner.tail_part: estimate(put.tail_proud_mm), corner.pin_part: estimate(put.pin_proud_mm)},
        estimate(_glue_gap(corner, put)), planned_seen(gap),
        _maps(corner, put), _lines(corner, put), causes, _blocked_by(corner, put, bases, split),
    )


def _odds(put: Together, split: Bools) -> dict[str, float]:
    """Share of draws by word of HOW."""
    floors = [FIT_CLASSES_MM[word][0] for word in HOW[:-1]]  # loosest first, so falling
    words = np.searchsorted(-np.array(floors), -put.room_mm)  # the first class whose lower end the room reaches
    words[_stuck(put) | split] = len(HOW) - 1
    counts = np.bincount(words, minlength=len(HOW)) / len(words)
    return {word: float(count) for word, count in zip(HOW, counts, strict=True)}


def _stuck(put: Together) -> Bools:
    return ~put.freed | (np.maximum(put.short_y_mm, put.short_z_mm) > FLOOR_STOP_MM) | (put.room_mm < TIGHTEST_MM)


def _pressing(corner: Corner, put: Together, woods: tuple[press.CrossGrain, press.CrossGrain]) -> tuple[Array, Array | None]:
    """(pressure over area of all flanks, N (k,); share of the shear strength that the worst half-pin uses (k,) or None)."""
    tail_wood, pin_wood = woods
    tail_long_mm, pin_long_mm = corner.pin_thick_mm + corner.tail_proud_mm, corner.tail_thick_mm + corner.pin_proud_mm
    area = areas_mm2(corner)
    total, worst = np.zeros(len(put.room_mm)), np.zeros(len(put.room_mm))
    shear_known = True
    for i, flank in enumerate(corner.flanks):
        # A member between two flanks is squeezed from both sides, so each takes up half of it; an outermost one is not, and bends.
        yields = press.yield_mm_mpa(flank.tail_wide_mm / (1 if flank.tail_outermost else 2), tail_wood,
                                    flank.pin_wide_mm / (1 if flank.pin_outermost else 2), pin_wood)
        outer = ((flank.tail_outermost, tail_long_mm, flank.tail_wide_mm, tail_wood), (flank.pin_outermost, pin_long_mm, flank.pin_wide_mm,
                 pin_wood))
        yields = yields + sum(press.bending_mm_mpa(long, wide, wood) for is_outer, long, wide, wood in outer if is_outer)
        pressing = press.pressure_mpa(-put.gap_mm[:, i], yields, min(tail_wood.crush_mpa, pin_wood.crush_mpa))
        on_flank = np.einsum("knm,nm->k", pressing, area)
        total += on_flank / flank.upright_frac
        for is_outer, long, wide, wood in outer:
            if is_outer and wood.shear_mpa is not None:
                worst = np.maximum(worst, press.root_shear_mpa(on_flank / area.sum(), long, wide) / wood.shear_mpa)
            shear_known &= not is_outer or wood.shear_mpa is not None
    return total, worst if shear_known else None


def _seen(corner: Corner, put: Together) -> tuple[Array, Array]:
    """(mean, widest tenth) along the seen lines, (k,) each. A squeezed line shows no gap."""
    tail_line, pin_line = np.maximum(put.tail_line_mm, 0.0), np.maximum(put.pin_line_mm, 0.0)
    y, z = trapezoid_mm(corner.y_mm), trapezoid_mm(corner.z_mm)
    mean = ((tail_line @ z).mean(axis=1) + (pin_line @ y).mean(axis=1)) / (y.sum() + z.sum())
    lines = np.concatenate([tail_line.reshape(len(mean), -1), pin_line.reshape(len(mean), -1)], axis=1)
    i = int((1 - WIDEST_SHARE) * lines.shape[1])
    return mean, np.partition(lines, i, axis=1)[:, i]


def _glue_gap(corner: Corner, put: Together) -> Array:
    """Mean over all mating area, squeezed places counted as closed, (k,)."""
    area = areas_mm2(corner)
    return np.einsum("kfnm,nm->k", np.maximum(put.gap_mm, 0.0), area / (area.sum() * len(corner.flanks)))


def estimate(values: Array) -> Estimate:
    """Mean and spread of draws, (k,)."""
    return Estimate(float(values.mean()), float(values.std(ddof=1)) if len(values) > 1 else 0.0, 0, f"{len(values)} simulated burns")


def planned_seen(gap: MateGap | None) -> Estimate | None:
    """What the plan said of both seen lines; a planned squeeze shows no gap."""
    if gap is None:
        return None
    lines = (gap.seen_tail_face_mm, gap.seen_pin_face_mm)
    return replace(lines[0], value=max(sum(each.value for each in lines) / 2, 0.0), sd=max(each.sd for each in lines))


def _maps(corner: Corner, put: Together) -> tuple[ClearanceMap, ...]:
    mean, sd = put.gap_mm.mean(axis=0), put.gap_mm.std(axis=0)
    return tuple(
        ClearanceMap(each.tail_edge, each.pin_edge, corner.y_mm, corner.z_mm, mean[i], sd[i]) for i, each in enumerate(corner.flanks)
    )


def _lines(corner: Corner, put: Together) -> tuple[SeenLine, ...]:
    """Both lines of every pair of flanks, then the lines where floors meet the other board's inner face. Squeezed, they show no gap."""
    faces = (("tail board", corner.z_mm, put.tail_line_mm), ("pin board", corner.y_mm, put.pin_line_mm))
    pairs = [(each.tail_edge, each.pin_edge) for each in corner.flanks]
    lines = [line for on, at_mm, gap in faces for line in _shown(on, pairs, at_mm, gap)]
    along = np.linspace(0.0, 1.0, N_FLOOR)
    lines += _shown("tail board", [(edge, "inner face") for edge in corner.tail_floors], along, put.tail_floor_gap_mm[..., 0])
    lines += _shown("pin board", [("inner face", edge) for edge in corner.pin_floors], along, put.pin_floor_gap_mm[..., 0])
    return tuple(lines)


def _shown(on: str, pairs: Sequence[tuple[str, str]], at_mm: Array, gap_mm: Array) -> list[SeenLine]:
    """Lines of one face. gap_mm: (k, lines, places)."""
    gap = np.maximum(gap_mm, 0.0)
    mean, sd = gap.mean(axis=0), gap.std(axis=0)
    return [SeenLine(on, *pair, at_mm, mean[i], sd[i]) for i, pair in enumerate(pairs)]


def _blocked_by(corner: Corner, put: Together, bases: tuple[BurntPart, BurntPart], split: Bools) -> str:
    """The commonest thing in the way, when it is there in more than a few draws."""
    tight = put.room_mm < TIGHTEST_MM
    on_the_way = tight & (put.home_room_mm >= TIGHTEST_MM)
    tail, pin = corner.tail_part, corner.pin_part
    reasons = {
        _uncut(corner, bases): ~put.freed,
        f"a floor of {pin} stands into its socket and holds {tail} short of home": put.freed & (put.short_y_mm > FLOOR_STOP_MM),
        f"a floor of {tail} stands out and holds it off {pin}'s inner face": put.freed & (put.short_z_mm > FLOOR_STOP_MM),
        f"a high place near the mouth of {_narrow_flank(corner, put)} is met on the way in": put.freed & on_the_way,
        f"too tight at {_narrow_flank(corner, put)}: more than the wood can crush": put.freed & tight & ~on_the_way,
        "a half-pin would split": put.freed & split & ~tight,
    }
    share = {reason: float(np.mean(here)) for reason, here in reasons.items()}
    worst = max(share, key=lambda reason: share[reason])
    return worst if share[worst] > LEAST_BLOCKED_SHARE else ""


def _narrow_flank(corner: Corner, put: Together) -> str:
    flank = corner.flanks[int(np.argmin(put.met_mm.mean(axis=0)))]
    return wall_names([flank.tail_edge])


def _uncut(corner: Corner, bases: tuple[BurntPart, BurntPart]) -> str:
    """Which walls no stroke freed."""
    told: list[str] = []
    for base, edges in zip(bases, (corner.tail_edges, corner.pin_edges), strict=True):
        walls = [edge for edge in edges if np.isnan(base.walls[edge].back_mm).mean() > UNCUT_SHARE]
        if walls:
            told.append(f"{wall_names(walls)} of {base.part}")
    return f"not cut free: {' and '.join(told)}" if told else "a wall is not cut free"


def _whole(job: Job, corners: Sequence[CornerVerdict], law_said: tuple[str, ...], n_draws: int, context: Context) -> Verdict:
    fallbacks = dict.fromkeys(each for board in job.boards.values() for each in press.cross_grain(board.species).said)
    return Verdict(
        job.name, tuple(corners), context.heat, job.total_time_s if context.time_s is None else context.time_s, "; ".join(law_said),
        context.tier, n_draws, sentences(corners, job, tuple(fallbacks)), dict(context.setup_time_s or {}),
    )

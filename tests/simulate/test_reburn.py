"""The quick verdict's responses against the same draws burnt one by one, from programs written and read back."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from external.ideal_shop import case, design_and_boards, machine, recipe
from kerfwright.core.document import build
from kerfwright.export.formats.rs274 import program_text
from kerfwright.export.program_reader import read_program
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import plan_job
from kerfwright.process.fit import TIGHTEST_MM
from kerfwright.process.job import Job
from kerfwright.simulate.assemble import FLOOR_STOP_MM, Together, bring_together, freed_of, together
from kerfwright.simulate.corner import Side
from kerfwright.simulate.drawn import drawn_side
from kerfwright.simulate.judge import corners_to_judge, draws_of, judge, units_of
from kerfwright.simulate.known import LawKnown
from kerfwright.simulate.motion import Motion, motion_of
from kerfwright.simulate.reburn import burn_draws, hidden_of, judge_reburnt, law_of
from kerfwright.simulate.response import wall_response
from kerfwright.simulate.spread import Draws
from simulate.burn_samples import LAW, WISHES

Array = NDArray[np.float64]
NAMES = ("waist_x_mm", "waist_y_mm", "need_j_mm3", "focus_offset_mm")
# As a few coupons would leave it: waists to 3 %, the need to 5 %, the focus to 0.1 mm.
COVARIANCE = np.diag([0.03**2, 0.03**2, 0.05**2, 0.1**2])
KNOWN = LawKnown(LAW, NAMES, COVARIANCE, ("made up for a test",))
N = 12


@cache
def planned(wish: str) -> tuple[Job, dict[int, Motion]]:
    wished = case(**WISHES[wish])
    design, boards = design_and_boards(wished)
    recipes = dict.fromkeys(boards, wished["recipe"] or recipe())
    job = plan_job(design, machine(), boards, recipes, build(wished["burn"], PlanOptions, "burn"))
    return job, {setup.number: motion_of(read_program(program_text(setup, job.machine)), job.machine) for setup in job.setups}


def both_ways(wish: str, known: LawKnown, n: int = N) -> tuple[Together, Together]:
    """(drawn, burnt): the first corner put together n times, place-to-place change left out of both."""
    job, motions = planned(wish)
    corner, units = corners_to_judge(job)[0], units_of(job)
    draws, _ = draws_of((corner,), units, known, n, np.random.default_rng(3))
    draws = Draws(n, draws.law_values, draws.own_values, {}, draws.form_values)
    maps, uncut, burnt = [], [], []
    sides: tuple[tuple[Side, str], ...] = (("tail", corner.tail_part), ("pin", corner.pin_part))
    for side, part in sides:
        setups = [each for each in job.setups if each.part == part]
        moves = [motions[each.number] for each in setups]
        answer = wall_response(part, setups[0].part_slab, moves, setups, job.machine, known.law)
        drawn, wood = drawn_side(corner, side, answer, known, units[part]).maps(draws)
        maps.append(drawn)
        uncut.append(wood)
        burnt.append(burn_draws(part, moves, setups, job.machine, known, draws))
    thicker = [draws.own_values[part]["thickness_mm"] for part in (corner.tail_part, corner.pin_part)]
    return bring_together(corner, maps[0], maps[1], freed_of(*uncut), *thicker), together(corner, burnt[0], burnt[1], *thicker)


def seen_mm(put: Together) -> Array:
    return (put.tail_line_mm.mean(axis=(1, 2)) + put.pin_line_mm.mean(axis=(1, 2))) / 2


@pytest.mark.parametrize(("wish", "need_j_mm3", "slit_mm"), [("box", 2.5, 4.0), ("cradle", 0.6, 12.0), ("ramp", 2.5, 4.0)])
def test_quick_draws_are_the_burnt_ones_where_little_is_uncertain(wish: str, need_j_mm3: float, slit_mm: float):
    """Draw by draw, seen gap and room: root mean square of the difference a tenth of the spread for slits, a quarter for ramps, whose
    walls go from line to line. need_j_mm3, slit_mm: such that the programs cut through with some to spare."""
    drawn, burnt = both_ways(wish, LawKnown(replace(LAW, need_j_mm3=need_j_mm3, slit_mm=slit_mm), NAMES, COVARIANCE, ()))
    assert burnt.freed.all()
    assert drawn.freed.all()
    for of in (seen_mm, lambda put: put.room_mm / 2):
        off_mm, spread_mm = of(drawn) - of(burnt), float(of(burnt).std(ddof=1))
        assert spread_mm > 0.002
        assert float(np.sqrt(np.mean(off_mm**2))) < (0.25 if wish == "ramp" else 0.1) * spread_mm


# About what a law told by a recipe's own numbers is known to, each number by itself.
WIDE = {
    "waist_x_mm": 0.15, "waist_y_mm": 0.15, "rayleigh_mm": 0.35, "slit_mm": 0.4, "loss_mm": 0.3, "gamma": 0.1, "dead_frac": 0.4,
    "focus_offset_mm": 0.4, "need_j_mm3": 0.3, "threshold_j_mm2": 0.5, "over_char_frac": 0.8, "char_mm": 0.3,
}  # fmt: skip


@pytest.mark.parametrize("scale", [1.0, 0.3])
@pytest.mark.parametrize(("wish", "need_j_mm3", "slit_mm"), [("box", 4.2, 4.0), ("cradle", 0.8, 12.0), ("ramp", 3.0, 4.0)])
def test_quick_draws_know_what_is_not_cut_through_and_how_widely_gaps_spread(wish: str, need_j_mm3: float, slit_mm: float, scale: float):
    """By a law of which little is known, and by one known three times as well: which draws stay uncut, their share that goes together, and
    the spread of the seen gap among those cut free."""
    law = replace(LAW, need_j_mm3=need_j_mm3, slit_mm=slit_mm)
    known = LawKnown(law, tuple(WIDE), scale**2 * np.diag([sd**2 for sd in WIDE.values()]), ())
    drawn, burnt = both_ways(wish, known, 30)
    assert np.mean(drawn.freed == burnt.freed) >= 0.9
    assert np.mean(goes(drawn)) == pytest.approx(np.mean(goes(burnt)), abs=0.1)
    both = drawn.freed & burnt.freed
    assert seen_mm(drawn)[both].std() == pytest.approx(seen_mm(burnt)[both].std(), rel=0.2)
    if scale == 1.0:
        assert 0.05 < np.mean(~burnt.freed) < 0.6  # there was something to know


def goes(put: Together) -> NDArray[np.bool_]:
    """It goes together, whatever the wood's strength."""
    return put.freed & (np.maximum(put.short_y_mm, put.short_z_mm) <= FLOOR_STOP_MM) & (put.room_mm >= TIGHTEST_MM)


def test_a_verdict_of_burnt_draws_is_the_quick_one_but_for_its_coarse_odds():
    job, motions = planned("box")
    answers = {}
    for part in {setup.part for setup in job.setups}:
        setups = [each for each in job.setups if each.part == part]
        moves = [motions[each.number] for each in setups]
        answers[part] = wall_response(part, setups[0].part_slab, moves, setups, job.machine, LAW)
    quick = judge(job, answers, KNOWN, np.random.default_rng(3), 300)
    slow = judge_reburnt(job, motions, KNOWN, np.random.default_rng(3), N)
    assert (slow.n_draws, quick.n_draws) == (N, 300)
    for a, b in zip(quick.corners, slow.corners, strict=True):
        for name in ("seen_gap_mm", "tightest_mm"):
            standard_error_mm = getattr(b, name).sd / N**0.5
            assert getattr(a, name).value == pytest.approx(getattr(b, name).value, abs=4 * standard_error_mm + 0.003)
        assert a.causes
        assert not b.causes


def test_a_draw_is_turned_into_a_law_and_what_is_hidden():
    """Log numbers are multiplied by exp of their draw, plain ones added to; a laying has its own placing, a board one thickness."""
    job, _ = planned("cradle")
    setups = [each for each in job.setups if each.part == "right"]
    numbers = [each.number for each in setups]
    draws = Draws(1, np.array([[0.03, 0.0, -0.05, 0.2]]), {}, {})
    law = law_of(KNOWN, draws, 0)
    assert (law.waist_x_mm, law.need_j_mm3) == pytest.approx((LAW.waist_x_mm * np.exp(0.03), LAW.need_j_mm3 * np.exp(-0.05)))
    assert law.focus_offset_mm == pytest.approx(LAW.focus_offset_mm + 0.2)
    own = {"thickness_mm": np.array([0.05]), "density_ratio": np.array([-0.1]), f"placed_y_mm@{numbers[1]}": np.array([0.02])}
    hidden = hidden_of(setups, own, 0)
    assert [each.thickness_mm for each in hidden] == [0.05] * len(setups)
    assert [each.density_ratio for each in hidden] == [0.9] * len(setups)
    assert [each.placed_mm for each in hidden] == [(0.0, 0.02 if i == 1 else 0.0) for i in range(len(setups))]

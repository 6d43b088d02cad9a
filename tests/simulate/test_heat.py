"""Heat that stays, against the solutions of thin plates: an instant line, Rosenthal's moving line, edges, loss to the air."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from scipy.special import k0

from kerfwright.simulate.heat import energy_j, plate_of, warmth_of
from kerfwright.wood.species import all_species
from simulate.heat_samples import plate, strokes

A = 0.15


def left_at(age_s: float, away_mm: float, cell_mm: float, **of_plate: float) -> float:
    """Warmth that a long line along x leaves, met by a spot without light."""
    board = plate((120.0, 60.0, 6.0), **of_plate)
    line = ((10.0, 30.0), (110.0, 30.0), 1.0, 0.0)
    spot = ((60.0, 30.0 + away_mm), (60.01, 30.0 + away_mm), 0.0, 5.0 + age_s)
    both = strokes([line, spot])
    return float(warmth_of(both, board, 20 * both.power_frac, cell_mm).warmth[-1])


@pytest.mark.parametrize(("age_s", "away_mm"), [(10.0, 0.0), (10.0, 2.0), (60.0, 0.0), (60.0, 4.0), (60.0, 8.0)])
def test_an_instant_line_spreads_as_a_gaussian(age_s: float, away_mm: float):
    """exp(-y^2 / 4at) / sqrt(4 pi a t), in units of the line's own heat a millimetre: the heat equation's own kernel."""
    exact = math.exp(-(away_mm**2) / (4 * A * age_s)) / math.sqrt(4 * math.pi * A * age_s)
    coarse, fine = left_at(age_s, away_mm, 1.0), left_at(age_s, away_mm, 0.5)
    assert fine == pytest.approx(exact, rel=0.03)
    assert coarse == pytest.approx(exact, rel=0.10)
    assert abs(fine - exact) < abs(coarse - exact) + 0.002


@pytest.mark.parametrize(("ratio", "published"), [(1.0, 0.4210244382), (0.5, None), (0.1, 2.4270690247)])
def test_a_steady_moving_line_heats_its_side_as_rosenthal_says(ratio: float, published: float | None):
    """dT = q' / (2 pi k) exp(-v xi / 2a) K0(v r / 2a) at xi = 0: HANDBOOK F7 (Rosenthal 1946, from memory of it). In warmth:
    v / (2 pi a) K0. K0(1) and K0(0.1) are the handbook's own figures."""
    if published is not None:
        assert k0(ratio) == pytest.approx(published, abs=1e-10)
    speed_mm_s = 0.03
    far_mm = ratio * 2 * A / speed_mm_s
    rows = [((40.0, 45.0), (150.0, 45.0), 1.0, 0.0)]
    when_s = 80 / speed_mm_s  # 4 times 4 a / v^2, and it has left its start 8 decay lengths behind
    rows.append(((120.0, 45.0 + far_mm), (120.0001, 45.0 + far_mm), 0.0, when_s))
    both = strokes(rows, speed_mm_s)
    found = warmth_of(both, plate((160.0, 90.0, 6.0)), 20 * both.power_frac, 1.0 if ratio == 1.0 else 0.5, young_s=2.0)
    probe = float(found.warmth[found.stroke == 1][0])
    assert probe == pytest.approx(speed_mm_s / (2 * math.pi * A) * float(k0(ratio)), rel=0.04 if ratio == 0.1 else 0.02)


def test_along_the_grain_heat_runs_further():
    """Anisotropic plate: across the grain only the across diffusivity counts for a line along it."""
    exact = math.exp(-16 / (4 * 0.10 * 60)) / math.sqrt(4 * math.pi * 0.10 * 60)
    assert left_at(60.0, 4.0, 0.5, along=0.4, across=0.10) == pytest.approx(exact, rel=0.03)


def test_warm_boards_cool_in_the_air_at_their_own_pace():
    assert left_at(60.0, 0.0, 1.0, cooling_s=100.0) / left_at(60.0, 0.0, 1.0) == pytest.approx(math.exp(-0.6), rel=0.02)


def test_edges_let_no_heat_out():
    """After a long time a board that loses nothing is even: one millimetre of line over the whole face."""
    board = plate((20.0, 12.0, 6.0))
    both = strokes([((4.0, 3.0), (16.0, 3.0), 1.0, 0.0), ((17.0, 11.0), (17.01, 11.0), 0.0, 5000.0)])
    assert warmth_of(both, board, 20 * both.power_frac).warmth[-1] == pytest.approx(12 / (20 * 12), rel=1e-3)


def test_weaker_strokes_leave_less_in_proportion():
    rows = [((10.0, 10.0), (50.0, 10.0), 1.0, 0.0), ((10.0, 60.0), (50.0, 60.0), 0.25, 10.0)]
    spots = [((30.0, 10.5), (30.01, 10.5), 0.0, 40.0), ((30.0, 60.5), (30.01, 60.5), 0.0, 50.0)]
    both = strokes(rows + spots)
    found = warmth_of(both, plate(), 20 * both.power_frac)
    assert found.warmth[-1] / found.warmth[-2] == pytest.approx(0.25, rel=0.02)


def test_a_stroke_going_round_a_corner_meets_no_heat_of_its_own():
    both = strokes([((10.0, 10.0), (30.0, 10.0), 1.0, 0.0), ((30.0, 10.0), (30.0, 30.0), 1.0, 2.0)])
    for cell_mm in (1.0, 0.5):
        assert warmth_of(both, plate(), 20 * both.power_frac, cell_mm).warmth.max() < 0.05
    later = strokes([((10.0, 10.0), (30.0, 10.0), 1.0, 0.0), ((10.0, 10.0), (30.0, 10.0), 1.0, 3.0)])
    assert warmth_of(later, plate(), 20 * later.power_frac).warmth.max() > 0.3


def test_constant_power_brings_more_where_the_machine_is_slow():
    both = strokes([((0.0, 0.0), (10.0, 0.0), 0.5, 0.0)] * 2, scaled=np.array([True, False]), took_s=np.array([1.5, 1.5]))
    assert energy_j(both, 20 * both.power_frac) == pytest.approx([10.0, 15.0])


def test_degrees_are_light_kept_over_heat_held():
    """2 J/mm, 5 to 20 % of it kept (a prior, no source), over 6 mm of 0.0012 J/mm3K and 1 mm of band."""
    one = strokes([((0.0, 10.0), (50.0, 10.0), 1.0, 0.0)])
    low, high = warmth_of(one, plate(), 20 * one.power_frac).degree_c
    assert (low, high) == pytest.approx((0.05 * 2 / 0.0072, 0.20 * 2 / 0.0072))


def test_the_plate_of_a_species():
    """Sugar maple at 8 %: diffusivity near HANDBOOK H 5's 0.149 mm2/s, 1.8 times that along the grain."""
    board = plate_of(all_species()["sugar maple"], None, (120.0, 42.0, 6.0))
    assert board.across_mm2_s == pytest.approx(0.149, rel=0.05)
    assert board.along_mm2_s / board.across_mm2_s == pytest.approx(1.8)
    assert board.cooling_s == pytest.approx(board.held_j_mm3k * 6.0 / 30e-6)


def test_thousands_of_strokes_take_a_moment():
    """A board of 208 lines, 13 a wedge, three layers, the size of the demo's."""
    rows = []
    for k in range(624):
        x, y = (12.0 if (k // 104) % 2 else 102.0), 4.0 + 4.6 * ((k % 104) // 13) + 0.06 * (k % 13)
        rows.append(((x, y), (x + 7.0, y), 0.5, 0.75 * k))
    both, board = strokes(rows, 14.0), plate((120.0, 42.0, 6.0))
    took_s = []
    for _ in range(3):
        begun = time.process_time()
        warmth_of(both, board, 20 * both.power_frac)
        took_s.append(time.process_time() - begun)
    assert min(took_s) < 0.1


def test_no_strokes_no_heat():
    assert len(warmth_of(strokes([]), plate(), np.zeros(0)).warmth) == 0

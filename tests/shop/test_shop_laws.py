"""The shop's invented physics held against worked values (HANDBOOK F) and common sense."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy.special

from shop import laws
from shop.bench import KINDS
from shop.laws import Light, WoodLaw
from shop.look import look, rows_at, straight_lines
from shop.oracle import Through, fastest_through, slit_widths, trial_board
from shop.sections import Burnt, Rows, burn_rows
from shop.shop import Shop
from shop.wood import RELATIVE_DENSITY

IDEAL = Light(10.0, (0.06, 0.06), (1e6, 1e6), 0.0, 0.0, 0.0, 1.0)
LINEAR = WoodLaw(0.5, 0.5, 4.0, 1e7, 0.0, 0.0, 1.0, 0.0, 0.0, blur_mm=1e-4)


def flat_row(window_mm: float = 0.3, thickness_mm: float = 50.0) -> Rows:
    offsets = np.arange(-window_mm, window_mm + 1e-9, 0.001)
    return Rows(
        np.array([[50.0, 20.0]]),
        np.array([[0.0, 1.0]]),
        offsets,
        np.array([thickness_mm]),
        np.zeros((1, 2)),
        np.ones((1, len(offsets))),
        np.zeros(1),
    )


def one_line(light: Light, wood: WoodLaw, energy_j_mm: float) -> Burnt:
    return burn_rows(flat_row(), straight_lines(np.array([[[10.0, 20.0], [90.0, 20.0]]]), np.array([energy_j_mm]), 0.0), light, wood)


def test_a_line_is_as_wide_as_the_threshold_law_says():
    """HANDBOOK F2: P 10 W, v 20 mm/s, w 0.06 mm, Fth 0.5 J/mm2."""
    peak = laws.line_fluence(10 / 20, 0.06)
    assert float(peak) == pytest.approx(6.649038, abs=1e-6)
    assert 2 * float(laws.half_width_mm(np.array(0.06), peak, 0.5)) == pytest.approx(0.13649491, abs=1e-8)


def test_a_groove_has_the_section_worked_by_hand():
    """HANDBOOK F2, linear law, 4 J/mm3: 0.105074259 mm2; and its width, both out of the section engine."""
    burnt = one_line(IDEAL, LINEAR, 10 / 20)
    depth = burnt.depth[0, 0]
    assert float(depth.sum() * 0.001) == pytest.approx(0.105074259, rel=1e-4)
    assert float((depth > 0).sum() * 0.001) == pytest.approx(0.13649491, abs=0.002)
    assert float(depth.max()) == pytest.approx((6.649038 - 0.5) / 4, rel=1e-5)


def test_a_beam_opens_as_its_caustic_says():
    """HANDBOOK F6: d0 0.10, zR 3 mm, 6 mm away: 0.223607."""
    light = replace(IDEAL, waist_mm=(0.05, 0.05), rayleigh_mm=(3.0, 3.0))
    assert 2 * light.across_mm(np.array([-6.0, 6.0]), np.zeros(2)) == pytest.approx([0.223607] * 2, abs=1e-6)


def test_depth_over_many_portions_is_the_energy_balance():
    """HANDBOOK H 1 for one column: E = need l (exp(z / l) - 1), however it is portioned."""
    once = laws.deeper_mm(np.zeros(1), np.array([30.0]), 3.0, 8.0)
    parts = np.zeros(1)
    for _ in range(10):
        parts = laws.deeper_mm(parts, np.array([3.0]), 3.0, 8.0)
    assert parts == pytest.approx(once, rel=1e-12)
    assert 3.0 * 8.0 * (np.exp(once / 8.0) - 1) == pytest.approx([30.0], rel=1e-12)


def test_the_quick_error_function_is_near_enough():
    x = np.linspace(-4, 4, 2001)
    assert np.abs(laws.erf(x) - scipy.special.erf(x)).max() < 5e-4


def test_a_line_fades_at_its_end_as_half_an_error_function():
    end = laws.ended(np.array([0.0, 5.0, 10.0]), np.array([10.0]), np.array([0.06]))
    assert end == pytest.approx([0.5, 1.0, 0.5], abs=1e-6)


def test_the_light_is_not_spent_twice():
    """However deep and confined, what is taken away never holds more than the energy brought, at the face's need."""
    for kind in KINDS:
        shop = Shop(5, kind, exact=True)
        board = shop.new_board("black cherry", 30.0, 100.0, 40.0)
        for energy in (0.3, 1.0, 4.0, 15.0):
            board.burns = [straight_lines(np.array([[[10.0, 20.0], [90.0, 20.0]]]), np.array([energy]), 1.0)]
            burnt = look(board, shop.machine, np.array([[50.0, 20.0]]), np.array([0.0, 1.0]))
            need = shop.machine.wood.need_j_mm3 * burnt.rows.need[0]
            loss = shop.machine.wood.loss_mm
            spent = np.sum(need * loss * np.expm1(burnt.depth[0, 0] / loss)) * 0.005
            assert 0.05 * energy < spent < 1.02 * energy, (kind, energy)


def kj_per_g(shop: Shop, energy_j_mm: float) -> float:
    board = shop.new_board("black cherry", 30.0, 100.0, 40.0)
    board.density = 1.0
    board.burns = [straight_lines(np.array([[[10.0, 20.0], [90.0, 20.0]]]), np.array([energy_j_mm]), 0.5)]
    area_mm2 = float(look(board, shop.machine, np.array([[50.0, 20.0]]), np.array([0.0, 1.0])).depth.sum() * 0.005)
    g_mm3 = RELATIVE_DENSITY["black cherry"] * board.density * 1.06e-3  # relative density at 12 % counts oven-dry mass
    return energy_j_mm / (area_mm2 * g_mm3) / 1000


def depth_mm(shop: Shop, energy_j_mm: float) -> float:
    board = shop.new_board("black cherry", 30.0, 100.0, 40.0)
    board.burns = [straight_lines(np.array([[[10.0, 20.0], [90.0, 20.0]]]), np.array([energy_j_mm]), 0.5)]
    return float(look(board, shop.machine, np.array([[50.0, 20.0]]), np.array([0.0, 1.0])).depth.max())


@pytest.mark.parametrize("kind", KINDS)
def test_heat_for_wood_taken_away_is_of_the_published_order(kind: str):
    """HANDBOOK A4: 2.3-5.8 kJ/g (Thomas 1967, Butler 1971); C3's cut 6.2; section G 10 accepts 1-17 for a whole cut."""
    shop = Shop(2, kind, exact=True)
    assert 0.3 < depth_mm(shop, 0.4) < 4
    assert 2.3 < kj_per_g(shop, 0.8) < 17
    assert kj_per_g(shop, 0.8) < kj_per_g(shop, 8.0)  # deeper costs more


@pytest.mark.parametrize("kind", KINDS)
def test_slower_is_wider_and_deeper(kind: str):
    shop = Shop(1, kind, exact=True)
    board = shop.new_board("black cherry", 3.0, 100.0, 40.0)
    widths = np.array([slit_widths(shop, board, Through(speed, 1), True, (50.0, 20.0))[0] for speed in (1.5, 3.0, 5.0)])
    assert np.all(np.isfinite(widths))
    assert np.all(np.diff(widths, axis=0) <= 0)
    assert np.all(np.diff(widths[:, 10]) < -0.005)
    depths = [depth_mm(shop, energy) for energy in (0.3, 0.8, 2.0, 5.0)]
    assert np.all(np.diff(depths) > 0.2)


@pytest.mark.parametrize("kind", KINDS)
def test_a_focus_far_off_opens_the_face(kind: str):
    shop = Shop(1, kind, exact=True)
    board = shop.new_board("basswood", 3.0, 100.0, 40.0)
    best = -0.2 + shop.machine.light.focus_error_mm
    at_best, off = (slit_widths(shop, board, Through(2.5, 1, best + away), True, (50.0, 20.0))[0] for away in (0.0, 2.5))
    assert off[0] > at_best[0] + 0.02


def test_focus_at_mid_thickness_moves_the_waist():
    shop = Shop(3, "diode 40", exact=True)
    board = shop.new_board("black cherry", 6.0, 100.0, 40.0)
    error = shop.machine.light.focus_error_mm
    top, middle = (slit_widths(shop, board, Through(3.5, 1, error + focus), True, (50.0, 20.0))[0] for focus in (0.0, -3.0))
    assert middle[0] > top[0] + 0.03  # the beam is wide where it enters
    assert middle[-2] < top[-2] - 0.005  # and narrower where it leaves
    assert np.argmin(middle) > np.argmin(top)


def test_walls_that_guide_leave_an_hourglass():
    shop = Shop(3, "diode 20", exact=True)
    board = shop.new_board("sugar maple", 6.0, 100.0, 40.0)
    widths, through = slit_widths(shop, board, Through(3.0, 1), True, (50.0, 20.0))
    assert through
    assert widths[0] > widths.min() + 0.03
    assert 3 < np.argmin(widths) < 18
    assert widths[-1] > widths.min() + 0.002


def test_the_big_diode_takes_12_mm_near_4_mm_a_second():
    """Common practice, no source: a 20-40 W diode, 12 mm of a middling hardwood, full power. Chosen to meet it."""
    speeds = [
        fastest_through(shop, shop.new_board("black cherry", 12.0, 100.0, 40.0), 1)
        for shop in (Shop(seed, "diode 40") for seed in range(6))
    ]
    assert 3.0 < np.mean(speeds) < 5.0
    small = Shop(1, "diode 20", exact=True)
    board = small.new_board("black cherry", 12.0, 100.0, 40.0)
    assert 3.0 < fastest_through(small, board, 3) < 8.0  # the 20 W needs passes


def test_passes_over_char_do_less_than_their_energy():
    shop = Shop(1, "diode 20", exact=True)
    board = shop.new_board("sugar maple", 6.0, 100.0, 40.0)
    once, thrice = fastest_through(shop, board, 1, focus_step_mm=0.0), fastest_through(shop, board, 3, focus_step_mm=0.0)
    assert 1.5 * once < thrice < 3.0 * once


def test_oblong_spots_and_grain_make_unlike_kerfs():
    shop = Shop(4, "diode 20", exact=True)
    board = shop.new_board("sugar maple", 6.0, 100.0, 40.0)
    x_travel, y_travel = (slit_widths(shop, board, Through(3.0, 1), along_x, (50.0, 20.0))[0] for along_x in (True, False))
    assert x_travel[1] - y_travel[1] > 0.008  # travelling along X the wide Y waist lies across the slit


def test_boards_differ_and_places_in_a_board_differ_less():
    shop = Shop(2, "diode 20")
    boards = [shop.new_board("sugar maple", 6.0, 300.0, 60.0) for _ in range(24)]
    x = np.linspace(20, 280, 40)
    need = np.array(
        [
            rows_at(board, shop.machine, np.column_stack([x, np.full(40, 30.0)]), np.array([0.0, 1.0]), (-0.3, 0.3)).need.mean(axis=1)
            for board in boards
        ]
    )
    between, within = np.std(np.log(need.mean(axis=1))), np.mean(np.std(np.log(need), axis=1))
    assert 0.045 < between < 0.11  # 10 % in density, to the power 0.7
    assert 0.01 < within < 0.06


def test_a_seed_is_a_shop():
    def told(seed: int) -> tuple[object, ...]:
        shop = Shop(seed)
        board = shop.new_board("sugar maple", 6.0, 120.0, 40.0)
        return shop.machine, board.facts, board.density, float(shop.rng.uniform())

    assert told(3) == told(3)
    assert told(3) != told(7)
    assert {Shop(seed).kind for seed in range(4)} == set(KINDS)


def test_a_trial_board_is_the_same_wood_unburnt():
    shop = Shop(1)
    board = shop.new_board("sugar maple", 6.0, 120.0, 40.0)
    board.burns.append(straight_lines(np.array([[[1.0, 2.0], [9.0, 2.0]]]), np.array([1.0]), 0.0))
    trial = trial_board(shop, board)
    assert trial.burns == []
    assert len(board.burns) == 1
    assert trial.density == board.density


def test_the_shop_is_an_outsider():
    """Only the module that makes coupons and jobs as the owner would knows the package."""
    here = Path(__file__).parent
    knowing = {
        path.name for path in here.glob("*.py") if "kerfwright." in path.read_text(encoding="utf-8") and not path.name.startswith("test_")
    }
    assert knowing == {"made.py"}
    assert len(list(here.glob("*.py"))) > 12

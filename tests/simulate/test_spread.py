"""Monte Carlo against what is known in closed form: normal numbers, straight responses, gaps that are sums of them.

Own arithmetic from the normal distribution; limits are four standard errors of the Monte Carlo itself, the seed is fixed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest
from numpy.typing import NDArray

from format_samples import machine
from kerfwright.core.pose import identity
from kerfwright.process.setup import Face, Setup, Vernier
from kerfwright.simulate.assemble import Together, bring_together
from kerfwright.simulate.corner import Corner, corners_of
from kerfwright.simulate.drawn import block_covariances, drawn_side, flank_lengths_mm, variance_by_cause
from kerfwright.simulate.judge import seen_weights
from kerfwright.simulate.known import LawKnown
from kerfwright.simulate.response import WallResponse
from kerfwright.simulate.spread import (
    DENSITY_FRAC,
    FOCUS_SD_MM,
    PLACE_FRAC,
    PLACE_REACH_MM,
    OwnUnit,
    draw_all,
    node_root,
    own_units,
    root_of,
)
from kerfwright.wood.board import Board
from simulate.walls_by_hand import THICK_MM, boards, box, by_hand, known, response

Array = NDArray[np.float64]
N = 8_000
UPRIGHT = 1 / math.sqrt(1 + 1 / 64)
Units = dict[str, tuple[OwnUnit, ...]]
Moves = Mapping[str, Mapping[str, float] | float]


@pytest.fixture(scope="module")
def corner() -> Corner:
    return corners_of(box())[0]


def drawn(corner: Corner, answers: tuple[WallResponse, WallResponse], law: LawKnown, units: Units | None = None, n: int = N):
    """(the corner put together n times, its two sides, the draws). answers: of the tail board, of the pin board."""
    tail, pin = answers
    told: Units = {corner.tail_part: (), corner.pin_part: ()} | (units or {})
    sides = (drawn_side(corner, "tail", tail, law, told[corner.tail_part]), drawn_side(corner, "pin", pin, law, told[corner.pin_part]))
    draws = draw_all(law, told, flank_lengths_mm(corner), n, np.random.default_rng(11))
    put = bring_together(corner, sides[0].maps(draws)[0], sides[1].maps(draws)[0], np.ones(n, dtype=bool))
    return put, sides, draws


def both(corner: Corner, flank_mm: float, moves: Moves) -> tuple[WallResponse, WallResponse]:
    tail, pin = boards(box(), corner)
    return response(by_hand(tail, flank=flank_mm), moves), response(by_hand(pin, flank=flank_mm), moves)


def seen_mm(put: Together) -> Array:
    """Mean over both seen lines, squeezed counted below 0: a sum of walls, so closed forms exist. (k,)"""
    return (put.tail_line_mm.mean(axis=(1, 2)) + put.pin_line_mm.mean(axis=(1, 2))) / 2


def close(values: Array, mean: float, sd: float) -> None:
    """Mean and sd within four standard errors of a normal sample."""
    n = len(values)
    assert values.mean() == pytest.approx(mean, abs=4 * sd / math.sqrt(n))
    assert values.std(ddof=1) == pytest.approx(sd, rel=4 / math.sqrt(2 * (n - 1)))


def test_a_correlated_law_gives_the_gap_its_closed_form(corner: Corner):
    """Two numbers of the law, correlated, move all walls: back = 0.01 + 0.4 dwaist_x - 0.002 dfocus. Room = 2 (1 + upright) back.

    waist_x is told on a log scale, so its step is its value: sd 0.1 of 0.05 mm."""
    law = known(("waist_x_mm", "focus_offset_mm"), np.array([[0.1**2, 0.6 * 0.1 * 0.4], [0.6 * 0.1 * 0.4, 0.4**2]]))
    put, sides, _ = drawn(corner, both(corner, 0.01, {"waist_x_mm": 0.4, "focus_offset_mm": -0.002}), law)
    a, b = 0.4 * 0.05, -0.002
    sd_mm = math.sqrt((0.1 * a) ** 2 + (0.4 * b) ** 2 + 2 * 0.6 * 0.1 * 0.4 * a * b)
    lean = 1 + 1 / 8 * UPRIGHT / (1 + UPRIGHT)  # floors move with all walls and let the tail up, which opens leaning flanks
    scale = 2 * (1 + UPRIGHT) * lean
    floor_less_mm = scale * 0.01 - 2 * 0.01 * UPRIGHT / 8  # by_hand's floors start where they were drawn
    close(put.room_mm, floor_less_mm, scale * sd_mm)
    odds = 0.5 * math.erfc(floor_less_mm / (scale * sd_mm) / math.sqrt(2))
    assert np.mean(put.room_mm < 0) == pytest.approx(odds, abs=4 * math.sqrt(odds * (1 - odds) / N))
    assert len(sides[0].units) == 0


def test_boards_vary_by_themselves_and_the_law_for_both(corner: Corner):
    """The same sd of 0.01 mm a wall: from the law it adds up straight, from each board's own number by squares."""
    flanks = {edge: 1.0 for flank in corner.flanks for edge in (flank.tail_edge, flank.pin_edge)}
    own = [OwnUnit("focus_mm", "focus", 0.01)]
    answers = both(corner, 0.02, {"focus_mm": flanks, "focus_offset_mm": flanks})
    law = known(("focus_offset_mm",), np.array([[0.01**2]]))
    put, _, _ = drawn(corner, answers, law)
    close(put.room_mm, 0.04 * (1 + UPRIGHT), 2 * 0.01 * (1 + UPRIGHT))
    units: Units = {corner.tail_part: tuple(own), corner.pin_part: tuple(own)}
    put, _, _ = drawn(corner, answers, known(), units)
    close(put.room_mm, 0.04 * (1 + UPRIGHT), 2 * 0.01 * math.hypot(1, UPRIGHT))


def test_a_second_laying_moves_only_its_own_walls(corner: Corner):
    """Setup 2 made the flanks above the tails, setup 3 those below. Each lies off by 0.02 mm of its own: the room is their difference."""
    tail, pin = boards(box(), corner)
    above = {each.pin_edge: each.tail_below for each in corner.flanks}
    made = {edge: 2 if up else 3 for edge, up in above.items()}
    move = {edge: 1.0 if up else -1.0 for edge, up in above.items()}  # all go the same way up the wall
    laid = response(by_hand(pin), {"placed_y_mm": move}, made)
    units: Units = {corner.pin_part: (OwnUnit("placed_y_mm@2", "placing", 0.02), OwnUnit("placed_y_mm@3", "placing", 0.02))}
    put, _, _ = drawn(corner, (response(by_hand(tail), {}), laid), known(), units)
    close(put.room_mm, 0.0, math.hypot(0.02, 0.02) * UPRIGHT)
    one_laying = response(by_hand(pin), {"placed_y_mm": move}, dict.fromkeys(made, 2))
    put, _, _ = drawn(corner, (response(by_hand(tail), {}), one_laying), known(), units)
    assert put.room_mm == pytest.approx(np.zeros(N), abs=1e-12)  # a whole joint off by the same closes as well


def test_what_the_form_misses_widens_every_slit(corner: Corner):
    """0.012 mm of a slit's width is 0.006 of each wall, by itself on each board; ramps have their own."""
    law = known(kerf_form_mm=0.012)
    put, _, _ = drawn(corner, both(corner, 0.0, {}), law)
    # on the tail board the floors move too, which opens its flanks by an eighth of it up the wall
    close(put.room_mm, 0.0, 2 * 0.006 * math.hypot(1 + UPRIGHT / 8, UPRIGHT))


def test_causes_share_the_variance_and_add_up(corner: Corner):
    """Shares from the slopes against draws: all causes together, and each one left alone."""
    flanks = {edge: 1.0 for flank in corner.flanks for edge in (flank.tail_edge, flank.pin_edge)}
    moves = {"waist_x_mm": {e: 0.3 for e in flanks}, "focus_mm": {e: 0.05 for e in flanks}, "need_j_mm3": {e: -0.02 for e in flanks}}
    answers = both(corner, 0.03, moves)
    law = known(("waist_x_mm", "need_j_mm3"), np.diag([0.2**2, 0.1**2]))
    units: Units = {part: (OwnUnit("focus_mm", "focus", 0.1),) for part in (corner.tail_part, corner.pin_part)}
    put, sides, _ = drawn(corner, answers, law, units)
    slopes = [each for side in sides for each in side.slopes_mm(seen_weights(corner, side))]
    variance = variance_by_cause(slopes, block_covariances(sides, law, flank_lengths_mm(corner)))
    assert sum(variance.values()) == pytest.approx(float(seen_mm(put).var(ddof=1)), rel=4 * math.sqrt(2 / N))
    both_mm = 1 + UPRIGHT  # a tail's flank counts full square to itself, a pin's by the cosine
    assert variance["kerf"] == pytest.approx((0.3 * 0.05 * 0.2 * both_mm) ** 2)
    assert variance["energy need and density"] == pytest.approx((0.02 * 3.0 * 0.1 * both_mm) ** 2)
    assert variance["focus"] == pytest.approx((0.05 * 0.1) ** 2 * (1 + UPRIGHT**2))
    alone, _, _ = drawn(corner, both(corner, 0.03, {"focus_mm": moves["focus_mm"]}), known(), units)
    assert seen_mm(alone).var(ddof=1) == pytest.approx(variance["focus"], rel=4 * math.sqrt(2 / N))


def test_place_to_place_is_smooth_along_a_wall_and_counted(corner: Corner):
    """Draws of ln need at the nodes have the covariance told; their part of the variance is what draws show."""
    root = node_root(THICK_MM + 0.2)
    at = np.linspace(0, THICK_MM + 0.2, 3)
    assert root @ root.T == pytest.approx(PLACE_FRAC**2 * np.exp(-(((at[:, None] - at) / PLACE_REACH_MM) ** 2)), rel=1e-9)
    moves = {"need_j_mm3": {edge: -0.05 for flank in corner.flanks for edge in (flank.tail_edge, flank.pin_edge)}}
    answers = both(corner, 0.03, moves)
    put, sides, draws = drawn(corner, answers, known())
    assert np.cov(draws.place_values[corner.pin_part][corner.flanks[0].pin_edge].T) == pytest.approx(root @ root.T, abs=1e-4)
    slopes = [each for side in sides for each in side.slopes_mm(seen_weights(corner, side))]
    variance = variance_by_cause(slopes, block_covariances(sides, known(), flank_lengths_mm(corner)))
    assert {cause for cause, each in variance.items() if each > 0} == {"place to place"}
    # balance moves with the narrowest place, a little and the same way on both sides, which a mean over six flanks does not feel
    tail_line, pin_line = (np.sum(line * _ends(line), axis=(1, 2)) for line in (put.tail_line_mm, put.pin_line_mm))
    mean = (tail_line + pin_line) / (2 * 6 * (len(corner.y_mm) - 1))
    assert mean.var(ddof=1) == pytest.approx(variance["place to place"], rel=4 * math.sqrt(2 / N))


def _ends(line_mm: Array) -> Array:
    """Trapezoid weights: half at both ends."""
    weights = np.ones(line_mm.shape[2])
    weights[[0, -1]] = 0.5
    return weights


def test_numbers_known_exactly_do_not_stop_the_draws():
    covariance = np.array([[0.04, 0.0], [0.0, 0.0]])
    root = root_of(covariance)
    assert root @ root.T == pytest.approx(covariance)


SCALES = (("left", "y", 4.0), ("right", "y", 104.0), ("along", "x", 4.0))


def setup(number: int, marked: bool, tilt_deg: float = 0.0) -> Setup:
    part = box().part("right")
    marks = (
        tuple(Vernier(name, axis, (x, 20.0), 5, 0.8, 0.05) for name, axis, x in SCALES)
        if marked
        else ()
    )
    return Setup(number, f"s{number}", "", "b", "right", part.slab, (110.0, 40.0, 6.0), identity(), Face.SHOW, tilt_deg, "bed",
                 np.zeros(3), (), verniers=marks)


def board(*points: str) -> Board:
    return Board.model_validate({"schema": "kerfwright-board-1", "name": "b", "species": "sugar maple", "length": "110 mm",
                                 "width": "40 mm", "thickness": list(points)})


def test_what_may_be_off_of_a_board_and_its_layings():
    """Half a tick of 0.05 mm across, read at both ends 100 mm apart; by hand the machine's own placing over the board's length."""
    shop = machine()
    units = {each.name: each for each in own_units(board("5.9 mm", "6.0 mm", "6.1 mm"), shop, [setup(1, False), setup(2, True, 7.0)])}
    assert units["density_ratio"].sd == DENSITY_FRAC
    assert units["thickness_mm"].sd == pytest.approx(math.hypot(0.1, 0.02))
    assert units["focus_mm@1"].sd == FOCUS_SD_MM[shop.z]
    assert units["tilt_deg@2"].sd == pytest.approx(0.1)
    assert units["placed_y_mm@2"].sd == pytest.approx(0.025)
    assert units["turned_deg@2"].sd == pytest.approx(math.degrees(0.025 * math.sqrt(2) / 100))
    assert "placed_y_mm@1" not in units  # what is read against it moves along
    by_eye = {each.name: each.sd for each in own_units(board("6 mm"), shop, [setup(1, False), setup(2, False)], density_known=True)}
    assert by_eye["placed_x_mm@1"] == by_eye["placed_x_mm@2"] == shop.placing_sd_mm
    assert by_eye["turned_deg@2"] == pytest.approx(math.degrees(shop.placing_sd_mm * math.sqrt(2) / 110))
    assert by_eye["density_ratio"] == 0.0

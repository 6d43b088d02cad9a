"""Boards, places and readings kept apart. Published analyses stand in tests/external."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize

from kerfwright.calibrate.hierarchy import BETWEEN_BOARDS_FRAC, Components, Level, components, from_mean_squares, spread_of_boards
from kerfwright.core.errors import InputError

Sds = tuple[float, float, float]


def shop(rng: np.random.Generator, boards: int, places: int, repeats: int, sd: Sds) -> tuple[np.ndarray, list[Level]]:
    """Readings around 1 and their labels; no level for places when each was read once."""
    y = 1 + rng.normal(0, sd[0], (boards, 1, 1)) + rng.normal(0, sd[1], (boards, places, 1))
    y = y + rng.normal(0, sd[2], (boards, places, repeats))
    where = np.indices(y.shape).reshape(3, -1).astype(str)
    levels = [Level("board", tuple(where[0])), Level("place", tuple(where[1]))]
    return y.ravel(), levels if repeats > 1 else levels[:1]


def minus_log_likelihood(v: np.ndarray, y: np.ndarray, same: list[np.ndarray], restricted: bool) -> float:
    """Twice, from its definition: ln|V| + r' V^-1 r, and ln(1' V^-1 1) when restricted."""
    whole = sum(each * matrix for each, matrix in zip(v, [*same, np.eye(len(y))], strict=True))
    inner = np.linalg.inv(whole)
    weight = inner.sum()
    left = y - inner.sum(axis=0) @ y / weight
    return float(np.linalg.slogdet(whole)[1] + left @ inner @ left + (math.log(weight) if restricted else 0.0))


@pytest.mark.parametrize("method", ["REML", "ML"])
@pytest.mark.parametrize("seed", range(6))
def test_uneven_groups_reach_the_top_of_the_likelihood(method: str, seed: int):
    rng = np.random.default_rng(seed)
    y, levels = shop(rng, 5, 4, 3, (0.08, 0.05, 0.03))
    kept = rng.random(60) < 0.6
    y, levels = y[kept], [Level(each.name, tuple(np.array(each.labels)[kept])) for each in levels]
    found = components(y, levels, "ML" if method == "ML" else "REML")
    got = np.array(list(found.sd.values())) ** 2
    board = np.array(levels[0].labels)
    place = np.char.add(board, np.array(levels[1].labels))
    same = [(each[:, None] == each[None, :]).astype(float) for each in (board, place)]

    def badness(log_v: np.ndarray) -> float:
        return minus_log_likelihood(np.exp(log_v), y, same, method == "REML")

    best = minimize(badness, np.log(np.maximum(got, 1e-6)), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000})
    assert minus_log_likelihood(got, y, same, method == "REML") <= best.fun + 1e-8
    np.testing.assert_allclose(got, np.exp(best.x), rtol=1e-3, atol=1e-7)


def test_units_do_not_matter():
    y, levels = shop(np.random.default_rng(1), 5, 3, 2, (0.1, 0.05, 0.03))
    mm, um = components(y, levels), components(1e3 * y, levels)
    np.testing.assert_allclose([each * 1e3 for each in mm.sd.values()], list(um.sd.values()), rtol=1e-9)
    assert um.mean_y.value == pytest.approx(1e3 * mm.mean_y.value)
    assert um.n_dof == pytest.approx(mm.n_dof)


def test_a_negative_component_is_zero_and_said():
    """Own arithmetic: board means equal, readings not: between mean square 0 < within, so the estimate is below 0."""
    y = np.array([1.0, 2.0, 3.0, 3.0, 1.0, 2.0, 2.0, 3.0, 1.0])
    found = components(y, [Level("board", tuple("aaabbbccc"))])
    assert found.sd["board"] == 0
    assert found.sd["residual"] == pytest.approx(math.sqrt(6 / 8))  # pooled: all 9 readings around one mean
    assert [each.code for each in found.findings] == ["negative-component"]
    assert "board" in found.findings[0].text
    assert all(each == 0 for each in found.effect_y["board"].values())


def test_satterthwaite_for_equal_groups():
    """Own arithmetic, one way, a boards of n: T = MSb (1/n + 1/(a n)) + MSw (1 - 1/n), dof = T^2 / sum((c MS)^2 / nu)."""
    y, levels = shop(np.random.default_rng(5), 6, 4, 1, (0.1, 0.05, 0.03))
    table = y.reshape(6, 4)
    within = table.var(axis=1, ddof=1).mean()
    between = 4 * table.mean(axis=1).var(ddof=1)
    parts = np.array([between * (1 / 4 + 1 / 24), within * 3 / 4])
    found = components(y, levels)
    assert found.new_board_sd**2 == pytest.approx(parts.sum(), rel=1e-9)
    assert found.n_dof == pytest.approx(parts.sum() ** 2 / (parts**2 / [5, 18]).sum(), rel=1e-6)
    assert found.mean_y.sd**2 == pytest.approx(between / 24)
    reach = found.new_board().high_value - found.mean_y.value
    assert reach / found.new_board_sd > 1.96


def held(boards: int, places: int, repeats: int, sd: Sds, n_shops: int = 700) -> float:
    """Share of simulated shops whose new-board interval holds one new reading."""
    rng = np.random.default_rng(12)
    n_held = 0
    for _ in range(n_shops):
        y, levels = shop(rng, boards, places, repeats, sd)
        n_held += spread_of_boards(y, levels, in_logs=True).new_board().holds(1 + rng.normal(0, math.hypot(*sd)))
    return n_held / n_shops


@pytest.mark.parametrize(("boards", "places", "repeats", "sd"), [(1, 4, 2, (0.10, 0.05, 0.03)), (2, 4, 2, (0.10, 0.05, 0.03)),
                                                                 (3, 4, 2, (0.10, 0.05, 0.03)), (6, 3, 2, (0.10, 0.05, 0.03)),
                                                                 (6, 3, 2, (0.03, 0.05, 0.03)), (4, 4, 1, (0.05, 0.05, 0.03))])
def test_the_new_board_interval_holds_a_new_board(boards: int, places: int, repeats: int, sd: Sds):
    """Counted once over 3000 shops: 0.93 to 0.97, the low end for 3 and 4 boards (Satterthwaite with 2 or 3 degrees of freedom)."""
    assert 0.915 <= held(boards, places, repeats, sd) <= 0.98  # counting error 0.009


@pytest.mark.parametrize("boards", [1, 2])
def test_few_boards_fall_back_on_ten_percent_and_say_so(boards: int):
    y, levels = shop(np.random.default_rng(2), boards, 5, 3, (0.1, 0.05, 0.02))
    found = spread_of_boards(y, levels, in_logs=True)
    assert found.sd["board"] == BETWEEN_BOARDS_FRAC == 0.10
    assert found.mean_y.value == pytest.approx(y.mean())
    assert found.mean_y.sd > 0.10 / math.sqrt(boards)
    assert found.new_board_sd > math.hypot(0.10, 0.10 / math.sqrt(boards), found.sd["place"], found.sd["residual"]) - 1e-12
    assert [each.code for each in found.findings] == ["few-boards"]
    assert "Wood Handbook" in found.findings[0].text
    tens = spread_of_boards(10 * y, levels, in_logs=False)
    assert tens.sd["board"] == pytest.approx(0.10 * 10 * y.mean())


def test_three_boards_are_measured():
    y, levels = shop(np.random.default_rng(2), 3, 5, 3, (0.1, 0.05, 0.02))
    assert spread_of_boards(y, levels, in_logs=True) == components(y, levels)


def test_repeats_that_agree_to_the_last_digit():
    found = components(np.array([1.0, 1.0, 2.0, 2.0, 4.0, 4.0]), [Level("board", tuple("aabbcc"))])
    assert found.sd["residual"] == pytest.approx(0.01 * np.std([1.0, 1.0, 2.0, 2.0, 4.0, 4.0]))  # a hundredth of the spread, at least
    assert found.sd["board"] == pytest.approx(np.std([1, 2, 4], ddof=1), rel=1e-6)


def test_mean_squares_below_the_next_give_zero():
    assert from_mean_squares((1.0, 2.0, 0.5), (3, 2)) == pytest.approx((0.0, 0.75, 0.5))


def labels(text: str) -> tuple[str, ...]:
    return tuple(text)


@pytest.mark.parametrize("levels", [[], [Level("board", labels("aaaa"))], [Level("board", labels("abcd"))], [Level("board", labels("aab"))],
                                    [Level("board", labels("aabb")), Level("place", labels("1122"))]])
def test_levels_that_cannot_be_told_apart_are_refused(levels: list[Level]):
    with pytest.raises(InputError):
        components(np.array([1.0, 2.0, 3.0, 5.0]), levels)


def test_the_result_is_plain_data():
    from kerfwright.core.codec import plain

    y, levels = shop(np.random.default_rng(5), 4, 3, 2, (0.1, 0.05, 0.03))
    found: Components = components(y, levels)
    assert plain(found)["sd"]["board"] == pytest.approx(found.sd["board"], abs=1e-9)
    assert set(found.effect_y) == {"board", "place"}
    assert set(found.effect_y["place"]) == {f"{b} / {p}" for b in range(4) for p in range(3)}

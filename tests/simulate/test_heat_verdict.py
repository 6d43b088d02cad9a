"""Risk in words: from the person's own cells, a step up where it is warm, never less than raised."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.simulate.heat_verdict import APART_MM, BoardHeat, excess_of, heat_verdict
from kerfwright.simulate.law import Passes, slit_half_width_mm
from kerfwright.simulate.strokes import Strokes
from simulate.heat_samples import LAW, Row, plate, strokes

WORDS = {"raised", "high", "unknown"}


def passes(power: float, n: int, y_mm: float = 20.0, every_s: float = 60.0) -> list[Row]:
    return [((20.0, y_mm), (60.0, y_mm), power, every_s * k) for k in range(n)]


def board(burnt: Strokes) -> BoardHeat:
    return BoardHeat("left", burnt, plate())


@pytest.mark.parametrize("n", [1, 2, 3])
def test_an_excess_of_one_just_goes_through(n: int):
    """Held against the slit of the burn law: at 1 % more than energy over excess it is open to the bottom, at 1 % less not."""
    burnt = strokes(passes(0.5, n))
    excess = excess_of(burnt, LAW, 6.0)
    assert np.ptp(excess) == 0
    depth = np.linspace(0, 6.0, 9)
    for more, open_below in ((1.01, True), (0.99, False)):
        energy = np.full(n, more * 1.0 / float(excess[0]))  # 0.5 of 20 W at 10 mm/s is 1 J/mm
        slit = slit_half_width_mm(LAW, Passes(energy, np.zeros(n)), depth, 0.0)
        assert (slit[-1] > 0) == open_below


def test_paths_are_told_apart_and_their_passes_counted():
    burnt = strokes(passes(0.5, 3) + passes(0.5, 1, y_mm=40.0))
    excess = excess_of(burnt, LAW, 6.0)
    assert excess[0] == excess[1] == excess[2] > 2 * excess[3]


def test_without_watched_cells_everything_is_unknown():
    verdict = heat_verdict([board(strokes(passes(1.0, 3)))], LAW)
    assert (verdict.risk, verdict.char) == ("unknown", "unknown")
    assert {place.risk for place in verdict.hottest} == {"unknown"}


def test_the_word_comes_from_the_excess():
    short = [((20.0, 20.0), (27.0, 20.0), 0.5, 60.0 * k) for k in range(2)]
    burnt = strokes(short + passes(0.1, 2, y_mm=60.0))
    edge = float(excess_of(burnt, LAW, 6.0).mean())
    verdict = heat_verdict([board(burnt)], LAW, lambda excess: "high" if excess > edge else "raised")
    assert verdict.risk == "high"
    by_place = {place.at_mm[1]: place.risk for place in verdict.hottest}
    assert by_place[20.0] == "high"
    assert by_place[60.0] == "raised"


def test_a_warm_place_goes_up_a_step_and_the_unknown_stays_unknown():
    quick, slow = strokes(passes(0.5, 8, every_s=4.2)), strokes(passes(0.5, 8, every_s=300.0))
    for burnt, word in ((quick, "high"), (slow, "raised")):
        verdict = heat_verdict([board(burnt)], LAW, lambda _: "raised")
        assert verdict.risk == verdict.hottest[0].risk == word
    assert heat_verdict([board(quick)], LAW, lambda _: "unknown").risk == "unknown"
    assert heat_verdict([board(quick)], LAW, lambda _: "unknown").hottest[0].warmth > 1


@pytest.mark.parametrize("word", ["low", "none", "no risk", ""])
def test_no_word_is_less_than_raised(word: str):
    verdict = heat_verdict([board(strokes(passes(0.5, 2)))], LAW, lambda _: word, lambda _: "none")
    assert verdict.risk == "raised"
    assert {place.risk for place in verdict.hottest} <= WORDS
    assert verdict.char == "light"


def test_the_worst_word_stands_for_the_job():
    burnt = strokes(passes(0.5, 1) + passes(0.2, 1, y_mm=60.0))
    high, low = excess_of(burnt, LAW, 6.0)
    assert high > low
    said = {round(float(high), 3): "unknown", round(float(low), 3): "raised"}
    assert heat_verdict([board(burnt)], LAW, said.__getitem__).risk == "unknown"
    assert heat_verdict([board(burnt)], LAW, None, lambda excess: "heavy" if excess > low else "light").char == "heavy"


def test_hottest_places_stand_apart_hottest_first():
    burnt = strokes(passes(0.5, 4, every_s=5.0) + passes(0.5, 3, y_mm=60.0, every_s=20.0))
    verdict = heat_verdict([board(burnt)], LAW, order_share=0.3)
    warmth = [place.warmth for place in verdict.hottest]
    assert warmth == sorted(warmth, reverse=True)
    assert warmth[0] > 0.5
    at = np.array([place.at_mm for place in verdict.hottest])
    apart = np.linalg.norm(at[:, None] - at[None], axis=2)[~np.eye(len(at), dtype=bool)]
    assert apart.min() >= APART_MM
    assert all(place.part == "left" and place.setup == 1 for place in verdict.hottest)
    assert verdict.spread_order == 0.3

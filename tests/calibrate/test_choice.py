"""Choosing between forms: the right one when the boards show it, none when they do not."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.calibrate.choice import choose, choose_law
from kerfwright.calibrate.law import Law
from kerfwright.calibrate.laws import power_law, saturating_law
from kerfwright.core.errors import InputError

RIVALS = (saturating_law(2.0, 0.2), power_law(0.5, 0.7))
DOSE = np.tile(np.linspace(1, 12, 8), 5)
BOARDS = tuple(f"board {i}" for i in range(5) for _ in range(8))


def readings(law: Law, truth: tuple[float, float], sd: float) -> np.ndarray:
    return law.at(DOSE, np.array(truth)) + np.random.default_rng(9).normal(0, sd, len(DOSE))


@pytest.mark.parametrize(("i", "truth"), [(0, (2.0, 0.4)), (1, (0.5, 0.7))])
def test_the_form_that_made_the_readings_wins(i: int, truth: tuple[float, float]):
    choice = choose_law(RIVALS, DOSE, readings(RIVALS[i], truth, 0.02), BOARDS)
    assert choice.best == RIVALS[i].name
    assert choice.tied == (RIVALS[i].name,)
    assert choice.error_value[RIVALS[i].name] == pytest.approx(0.02, rel=0.3)
    assert next(iter(choice.error_value)) == choice.best
    assert "left out best" in choice.said


def test_noise_hides_the_difference_and_it_says_so():
    """Over the doses burnt the forms differ by a hundredth, the noise is ten times that: 37 of 60 sets counted could not choose."""
    truth = RIVALS[0].at(DOSE, np.array([2.0, 0.05]))
    choices = [choose_law(RIVALS, DOSE, truth + np.random.default_rng(seed).normal(0, 0.1, len(DOSE)), BOARDS) for seed in range(20)]
    undecided = [choice for choice in choices if choice.best is None]
    assert len(undecided) >= 10
    for choice in undecided:
        assert set(choice.tied) == {"saturating", "power"}
        assert choice.said.startswith("cannot choose: ")
        assert "do equally well" in choice.said


def test_two_boards_cannot_choose():
    few = slice(0, 16)
    choice = choose_law(RIVALS, DOSE[few], readings(RIVALS[0], (2.0, 0.4), 0.001)[few], BOARDS[few])
    assert choice.best is None
    assert "2 places are too few" in choice.said


def test_the_one_standard_error_rule():
    """Own arithmetic: differences 1, 2, 3 have mean 2 and standard error 0.577; -1, 0, 4 have mean 1 and standard error 1.53."""
    base = np.array([1.0, 1.0, 2.0])
    clear = choose({"a": base, "b": base + [1.0, 2.0, 3.0]})
    assert (clear.best, clear.tied) == ("a", ("a",))
    tied = choose({"b": base + [-1.0, 0.0, 4.0], "a": base})
    assert (tied.best, tied.tied) == (None, ("a", "b"))


def test_a_form_that_needs_a_board_loses():
    choice = choose({"a": np.array([1.0, 1.0, 1.0]), "b": np.array([0.1, np.inf, 0.1])})
    assert choice.best == "a"


def test_one_form_is_no_choice():
    with pytest.raises(InputError, match="two laws or more"):
        choose_law(RIVALS[:1], DOSE, DOSE, BOARDS)
    with pytest.raises(InputError, match="a label a reading"):
        choose_law(RIVALS, DOSE, DOSE, BOARDS[:-1])

"""Curve fits on a few readings: priors, noise, outliers, bands, turning the curve round. Published sets stand in tests/external."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kerfwright.calibrate.fit import FittedLaw
from kerfwright.calibrate.law import Law, NoisePrior, Parameter, Prior
from kerfwright.calibrate.laws import depth_law, kerf_law, power_law, saturating_law
from kerfwright.calibrate.regression import fit_law
from kerfwright.core.errors import InputError, RecipeRangeError

LINE = Law("line", "b1 + b2 x", lambda x, b: b[0] + b[1] * x, (Parameter("b1", 0.0, positive=False), Parameter("b2", 1.0, positive=False)))
X = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
Y = np.array([1.0, 2.9, 5.2, 6.8, 9.1])
FOCUS_MM = np.linspace(-3, 3, 13)
KERF = np.array([0.20, 0.3, 1.8])


def test_a_line_has_the_text_book_intervals():
    """Own arithmetic with t(0.975, 3) = 3.182446: s^2 = sum / 3, var at x = s^2 (1/5 + (x - 2)^2 / 10), one more reading + s^2."""
    fit = fit_law(LINE, X, Y)
    np.testing.assert_allclose(fit.value, [0.98, 2.01], atol=1e-9)
    assert fit.n_dof == pytest.approx(3)
    s = math.sqrt(float(np.sum((Y - 0.98 - 2.01 * X) ** 2)) / 3)
    assert fit.residual_sd == pytest.approx(s)
    slope = fit.interval("b2")
    assert (slope.high_value - slope.low_value) / 2 == pytest.approx(3.182446 * s / math.sqrt(10), rel=1e-6)
    at = np.array([0.5, 2.0, 4.0])
    mean, new = fit.mean(at), fit.new_reading(at)
    share = 0.2 + (at - 2) ** 2 / 10
    np.testing.assert_allclose(mean.high_value - mean.middle_value, 3.182446 * s * np.sqrt(share), rtol=1e-6)
    np.testing.assert_allclose(new.middle_value - new.low_value, 3.182446 * s * np.sqrt(share + 1), rtol=1e-6)
    assert fit.estimate("b2").sd == pytest.approx(s / math.sqrt(10))
    assert fit.estimate("b2").n == 5


def test_a_prior_weighs_in_as_one_more_reading():
    """With the spread known (a noise prior of a million repeats) a normal prior is a reading of that parameter."""
    known = NoisePrior(0.2, 1e9, "a long caliper study")
    law = Law(LINE.name, LINE.formula, LINE.of, (LINE.parameters[0], Parameter("b2", 1.0, False, Prior(3.0, 0.05, "test"))))
    fit = fit_law(law, X, Y, noise=known)
    alone_sd = 0.2 / math.sqrt(10)
    weight = np.array([alone_sd**-2, 0.05**-2])
    assert fit.value[1] == pytest.approx(float(weight @ [2.01, 3.0]) / weight.sum(), rel=1e-6)
    assert fit.sd[1] == pytest.approx(weight.sum() ** -0.5, rel=1e-6)


def test_priors_carry_a_fit_that_readings_alone_cannot():
    """Two readings, three unknowns: an answer with a wide spread, close to the prior where the readings say nothing."""
    at = np.array([0.0, 0.0])
    fit = fit_law(kerf_law(), at, np.array([0.19, 0.21]), noise=NoisePrior(0.01, 10, "caliper"))
    opening = fit.estimate("opening_mm")
    prior = kerf_law().parameters[2].prior
    assert prior is not None
    assert math.log(opening.value) == pytest.approx(prior.mean_value, abs=prior.sd)
    assert opening.sd / opening.value == pytest.approx(prior.sd, rel=0.2)
    assert fit.mean(at).holds(np.array([0.2, 0.2])).all()


def test_one_above_zero_stays_above_zero():
    """Three noisy readings: the interval reaches far up and never to 0."""
    fit = fit_law(saturating_law(1.0, 1.0), np.array([1.0, 2.0, 4.0]), np.array([0.9, 1.9, 2.2]))
    interval = fit.interval("b2")
    assert 0 < interval.low_value < 0.1 * fit.value[1]
    assert interval.high_value > 3 * fit.value[1]
    assert interval.low_value * interval.high_value == pytest.approx(fit.value[1] ** 2)  # even in the logarithm


def kerf_readings(seed: int = 3, sd_mm: float = 0.005) -> np.ndarray:
    return kerf_law().at(FOCUS_MM, KERF) + np.random.default_rng(2000 + seed).normal(0, sd_mm, len(FOCUS_MM))


def test_a_kerf_is_recovered():
    fit = fit_law(kerf_law(), FOCUS_MM, kerf_readings())
    for name, truth in zip(("narrowest_mm", "best_focus_mm", "opening_mm"), KERF, strict=True):
        estimate = fit.estimate(name)
        assert abs(estimate.value - truth) < 4 * estimate.sd < 0.4 * truth + 0.2  # how often intervals hold: test_coverage
    assert fit.residual_sd == pytest.approx(0.005, rel=0.5)


@pytest.mark.parametrize("spoilt", [(4,), (0,), (2, 3), (2, 9)])
def test_spoilt_readings_are_named_and_do_no_harm(spoilt: tuple[int, ...]):
    y = kerf_readings()
    clean = fit_law(kerf_law(), np.delete(FOCUS_MM, spoilt), np.delete(y, spoilt))
    y[list(spoilt)] += 0.15
    robust = fit_law(kerf_law(), FOCUS_MM, y, robust=True, source="comb")
    assert robust.outliers == spoilt
    np.testing.assert_allclose(robust.value, clean.value, rtol=1e-6)
    np.testing.assert_allclose(robust.sd, clean.sd, rtol=1e-4)
    assert [each.code for each in robust.findings] == ["outlier"] * len(spoilt)
    assert f"reading {spoilt[0] + 1} " in robust.findings[0].text
    assert robust.estimate("narrowest_mm").n == 13 - len(spoilt)


def test_clean_readings_are_left_alone():
    fits = [fit_law(kerf_law(), FOCUS_MM, kerf_readings(seed), robust=True) for seed in range(30)]
    assert sum(len(fit.outliers) > 0 for fit in fits) <= 2  # 1 % is meant; more than 2 of 30 has odds of 3 in 1000


def test_too_few_readings_for_outliers_say_so():
    fit = fit_law(kerf_law(), FOCUS_MM[::2][:6], kerf_readings()[::2][:6], robust=True)
    assert fit.outliers == ()
    assert [each.code for each in fit.findings] == ["few-readings"]


DOSE = np.linspace(1, 20, 15)


def depth_fit(sd_mm: float = 0.03) -> FittedLaw:
    truth = np.array([3.0, 3.3, 0.3])
    y = depth_law(4).at(DOSE, truth) + np.random.default_rng(6).normal(0, sd_mm, 15)
    return fit_law(depth_law(4), DOSE, y)


def test_the_curve_turned_round():
    fit = depth_fit()
    depths = np.array([0.5, 1.0, 1.6, 2.2])
    doses = [fit.x_for(depth) for depth in depths]
    np.testing.assert_allclose(fit.mean(np.array([dose for dose, _ in doses])).middle_value, depths, atol=2e-4)
    assert np.all(np.diff([dose for dose, _ in doses]) > 0)
    assert np.all(np.diff([interval.low_value for _, interval in doses]) >= 0)  # monotone at the ends of the interval too
    assert np.all(np.diff([interval.high_value for _, interval in doses]) >= 0)
    truth = 0.3 - 3.3 * 3.0 * np.log1p(-depths / 3.0)  # own algebra: H = Hth - Lambda dmax ln(1 - d/dmax)
    assert all(interval.holds(dose) for (_, interval), dose in zip(doses, truth, strict=True))


@pytest.mark.parametrize("depth_mm", [0.01, 2.95, -1.0, float("nan")])
def test_a_depth_never_burnt_is_refused(depth_mm: float):
    with pytest.raises(RecipeRangeError, match="what was burnt"):
        depth_fit().x_for(depth_mm)


def test_a_falling_curve_is_turned_round_and_a_turning_one_refused():
    falling = fit_law(power_law(1.0, -1.0), np.array([1.0, 2.0, 3.0, 5.0]), np.array([6.0, 3.1, 1.95, 1.22]))
    assert falling.x_for(3.0)[0] == pytest.approx(2.0, rel=0.05)
    with pytest.raises(InputError, match="turns inside the range"):
        fit_law(kerf_law(), FOCUS_MM, kerf_readings()).x_for(0.25)


def test_readings_on_the_curve_to_the_last_digit():
    fit = fit_law(depth_law(4), DOSE, depth_law(4).at(DOSE, np.array([3.0, 3.3, 0.3])))
    np.testing.assert_allclose(fit.value, [3.0, 3.3, 0.3], rtol=1e-5)
    assert fit.residual_sd < 1e-8


@pytest.mark.parametrize(("x", "y", "said"), [(X, Y[:4], "5 settings and 4 readings"), (X[:0], Y[:0], "at least one"),
                                              (X, np.array([1, 2, np.nan, 3, 4]), "no number"), (X[:1], Y[:1], "1 readings"),
                                              (X[:2], Y[:2], "nothing to judge the spread by"),
                                              (np.full(5, 2.0), Y, "tell two unknowns apart")])
def test_readings_that_settle_nothing_are_refused(x: np.ndarray, y: np.ndarray, said: str):
    with pytest.raises(InputError, match=said):
        fit_law(LINE, x, y)


def test_an_unknown_parameter_lists_the_known():
    with pytest.raises(InputError, match="b1, b2"):
        fit_law(LINE, X, Y).estimate("slope")


@pytest.mark.parametrize("bad", [(0.0, 0.0, "x"), (float("nan"), 1.0, "x"), (0.0, 1.0, "")])
def test_a_prior_names_its_source(bad: tuple[float, float, str]):
    with pytest.raises(InputError, match="a source"):
        Prior(*bad)


@pytest.mark.parametrize("law", [kerf_law(), depth_law()])
def test_every_prior_of_a_shipped_law_has_a_source_and_a_decade_of_doubt(law: Law):
    for parameter in law.parameters:
        assert parameter.prior is not None
        assert len(parameter.prior.source) > 20
        if parameter.positive:
            assert 3.92 * parameter.prior.sd > math.log(8)


def test_a_range_prior_holds_95_percent():
    parameter = Parameter("kerf_mm", 0.2).with_range(0.05, 0.6, "test")
    assert parameter.prior is not None
    assert math.exp(parameter.prior.mean_value - 1.96 * parameter.prior.sd) == pytest.approx(0.05)
    assert math.exp(parameter.prior.mean_value + 1.96 * parameter.prior.sd) == pytest.approx(0.6)
    for low, high in ((0.6, 0.05), (0.0, 1.0)):
        with pytest.raises(InputError, match="the lower first"):
            parameter.with_range(low, high, "test")

"""How often 95 % intervals hold the truth, over simulated shops with unknown parameters and 5 to 40 readings.

Each shop draws its own truth, spread and number of readings. The promise is 93 to 97 %; the counting error of a share at 95 % over
n shops is sqrt(0.95 0.05 / n), 1.3 % at 300. Shops are the same on every run. Larger counts, made once with the same code, stand
beside each test.
"""

from __future__ import annotations

import math
from collections import defaultdict

import numpy as np
import pytest

from kerfwright.calibrate.dose import PLACE_SPREAD, fit_dose, weak_priors
from kerfwright.calibrate.law import Law
from kerfwright.calibrate.laws import depth_law, kerf_law
from kerfwright.calibrate.regression import fit_law
from kerfwright.core.errors import InputError

LOW, HIGH = 0.93, 0.97


def curve_shares(law: Law, n_shops: int, seed: int) -> dict[str, float]:
    """Share held, by parameter, by mean and by new reading at three places, over shops of one kind."""
    rng = np.random.default_rng(seed)
    held: defaultdict[str, list[float]] = defaultdict(list)
    for _ in range(n_shops):
        truth, x, sd, at = kerf_shop(rng) if law.name.startswith("kerf") else depth_shop(rng)
        fit = fit_law(law, x, law.at(x, truth) + rng.normal(0, sd, len(x)))
        mean = law.at(at, truth)
        for i, parameter in enumerate(law.parameters):
            held[parameter.name].append(fit.interval(parameter.name).holds(truth[i]))
        held["mean"].append(float(np.mean(fit.mean(at).holds(mean))))
        held["new reading"].append(float(np.mean(fit.new_reading(at).holds(mean + rng.normal(0, sd, len(at))))))
    return {name: float(np.mean(each)) for name, each in held.items()}


def kerf_shop(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, float, np.ndarray]:
    narrowest = math.exp(rng.normal(math.log(0.18), 0.35))
    truth = np.array([narrowest, rng.normal(0, 0.7), math.exp(rng.normal(math.log(1.5), 0.4))])
    return truth, np.linspace(-3, 3, rng.integers(5, 41)), narrowest * rng.uniform(0.02, 0.08), np.array([-2.0, 0.0, 1.5])


def depth_shop(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, float, np.ndarray]:
    truth = np.exp(rng.normal(np.log([4.0, 3.3, 0.25]), [0.5, 0.4, 0.5]))
    return truth, np.linspace(1, 25, rng.integers(5, 41)), rng.uniform(0.04, 0.15), np.array([5.0, 12.0, 20.0])


@pytest.mark.parametrize(("law", "seed"), [(kerf_law(), 1), (depth_law(4), 2)], ids=["kerf", "depth"])
def test_curves(law: Law, seed: int):
    """Counted over 4000 shops, %: kerf mean 95.3, new reading 95.0, parameters 94.9-95.4; depth 95.0, 94.9, 94.7-96.0."""
    shares = curve_shares(law, 300, seed)
    assert LOW <= shares["mean"] <= HIGH
    assert LOW <= shares["new reading"] <= HIGH
    for parameter in law.parameters:
        assert LOW <= shares[parameter.name] <= HIGH + 0.005


def through_share(n_shops: int, seed: int, spread_sd: float, middle_frac: float = math.exp(PLACE_SPREAD.mean_value)) -> tuple[float, int]:
    """(share of shops whose interval holds the speed at 99 % of places, shops where the readings alone have no answer)."""
    rng = np.random.default_rng(seed)
    n_held, n_split = 0, 0
    for _ in range(n_shops):
        sigma, mu = middle_frac * math.exp(rng.normal(0, spread_sd)), rng.normal(0, 0.15)
        x, repeats = np.linspace(-0.35, 0.35, rng.integers(3, 9)), int(rng.integers(2, 6))
        trials = np.full(len(x), float(repeats))
        yes = np.sum(rng.normal(mu, sigma, (len(x), repeats)) < x[:, None], axis=1).astype(float)
        _, interval = fit_dose(x, yes, trials, "probit", weak_priors(x)).dose_at(0.99)
        n_held += interval.holds(mu + 2.3263479 * sigma)  # the speed is exp(-dose): the same interval, turned round
        try:
            fit_dose(x, yes, trials)
        except InputError:
            n_split += 1
    return n_held / n_shops, n_split


def test_through_speed():
    """Counted over 2000 shops whose places differ as the prior says: 95.1 %. In 1618 of them yes and no never overlapped."""
    share, n_split = through_share(240, 24, PLACE_SPREAD.sd)
    assert LOW <= share <= HIGH
    assert n_split > 160  # an unpenalised fit would have nothing to say


@pytest.mark.parametrize(("spread_frac", "low", "high"), [(0.03, 0.94, 1.0), (0.06, 0.96, 1.0), (0.12, 0.93, 0.99)])
def test_through_speed_where_the_prior_is_off(spread_frac: float, low: float, high: float):
    """All shops with one spread of places, which no prior can match: over 1000 shops 97.3, 99.1 and 96.0 %, wide rather than short.

    Why: see dose.py, PLACE_SPREAD.
    """
    assert low <= through_share(100, 25, 0.0, spread_frac)[0] <= high

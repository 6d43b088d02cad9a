"""Variance components against published analyses."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from kerfwright.calibrate.hierarchy import Components, Level, components, from_mean_squares

DATA = Path(__file__).parent / "data"

# Dyestuff: yield of six batches, five preparations each. Davies, Statistical Methods in Research and Production, Table 6.3.
DYESTUFF = np.array([[1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495], [1595, 1550, 1605, 1510, 1560],
                     [1445, 1440, 1595, 1465, 1545], [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445]], dtype=float)


def one_way(table: np.ndarray, method: str = "REML") -> Components:
    labels = tuple(str(i) for i, row in enumerate(table) for _ in row)
    return components(table.ravel(), [Level("batch", labels)], "ML" if method == "ML" else "REML")


def test_dyestuff_reml():
    """Published with the mixed-model package lme4: variances 1764.05 and 2451.25, mean 1527.5 with standard error 19.3834."""
    found = one_way(DYESTUFF)
    assert found.sd["batch"] ** 2 == pytest.approx(1764.05, abs=0.005)
    assert found.sd["residual"] ** 2 == pytest.approx(2451.25, abs=0.005)
    assert found.mean_y.value == pytest.approx(1527.5)
    assert found.mean_y.sd == pytest.approx(19.3834, abs=5e-5)
    effects = list(found.effect_y["batch"].values())
    np.testing.assert_allclose(effects, [-17.607, 0.391, 28.562, -23.085, 56.733, -44.995], atol=6e-4)
    assert found.findings == ()


def test_dyestuff_ml():
    found = one_way(DYESTUFF, "ML")
    assert found.sd["batch"] ** 2 == pytest.approx(1388.333, abs=5e-4)
    assert found.sd["residual"] ** 2 == pytest.approx(2451.25, abs=0.005)


def certified(name: str) -> tuple[np.ndarray, list[str], float, float, float]:
    """(readings, treatments, F, residual standard deviation, readings a treatment) of a NIST file, as published in tests/external/data."""
    lines = (DATA / f"{name}.dat").read_text(encoding="ascii").splitlines()
    between = next(line for line in lines if line.startswith("Between")).split()
    deviation = next(line for line in lines if "Standard Deviation" in line).split()
    rows = [line.split() for line in lines[60:] if line.strip()]
    treatments = [row[0] for row in rows]
    return np.array([float(row[1]) for row in rows]), treatments, float(between[-1]), float(deviation[-1]), len(rows) / len(set(treatments))


@pytest.mark.parametrize(("name", "n"), [("SiRstv", 25), ("SmLs01", 189)])
def test_nist_analysis_of_variance(name: str, n: int):
    """NIST StRD, certified F and residual standard deviation; for equal groups F = 1 + r between^2 / residual^2."""
    y, treatments, f_ratio, deviation, repeats = certified(name)
    assert len(y) == n
    found = components(y, [Level("treatment", tuple(treatments))])
    assert found.sd["residual"] == pytest.approx(deviation, rel=1e-9)
    assert 1 + repeats * (found.sd["treatment"] / found.sd["residual"]) ** 2 == pytest.approx(f_ratio, rel=1e-9)


def test_sirstv_between_variance():
    """Own arithmetic from the certified mean squares: (1.27865654e-2 - 1.0831828e-2) / 5."""
    y, treatments, *_ = certified("SiRstv")
    assert components(y, [Level("instrument", tuple(treatments))]).sd["instrument"] ** 2 == pytest.approx(3.9094748e-4, rel=1e-7)


DAVIES_MEAN_SQUARES = (99.110, 1.406, 0.747)  # 8, 18 and 27 degrees of freedom: 9 batches x 3 samples x 2 tests
DAVIES_VARIANCES = (16.2841, 0.3294, 0.7470)


def test_nested_davies_from_its_table():
    """Davies, p. 107, as analysed publicly: variances 16.2841, 0.3294, 0.7470 (the mean squares are rounded: 1e-3)."""
    np.testing.assert_allclose(from_mean_squares(DAVIES_MEAN_SQUARES, (3, 2)), DAVIES_VARIANCES, rtol=1e-3)


def test_nested_davies_from_readings():
    """Readings made to have exactly those mean squares must give back the published variances by REML."""
    rng = np.random.default_rng(107)
    batch, sample, test = rng.normal(size=(9, 1, 1)), rng.normal(size=(9, 3, 1)), rng.normal(size=(9, 3, 2))
    batch, sample, test = batch - batch.mean(), sample - sample.mean(axis=1, keepdims=True), test - test.mean(axis=2, keepdims=True)
    parts = [(batch, 6, 8), (sample, 2, 18), (test, 1, 27)]
    y = np.full((9, 3, 2), 60.0)
    for (part, each, dof), mean_square in zip(parts, DAVIES_MEAN_SQUARES, strict=True):
        y += part * np.sqrt(mean_square * dof / (each * np.sum(part**2)))
    where = np.indices((9, 3, 2)).reshape(3, -1).astype(str)
    found = components(y.ravel(), [Level("batch", tuple(where[0])), Level("sample", tuple(where[1]))])
    np.testing.assert_allclose([each**2 for each in found.sd.values()], DAVIES_VARIANCES, rtol=1e-3)
    np.testing.assert_allclose([each**2 for each in found.sd.values()], from_mean_squares(DAVIES_MEAN_SQUARES, (3, 2)), rtol=1e-8)

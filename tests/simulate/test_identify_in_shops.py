"""The burn law identified from coupons burnt and read in simulated shops, whose physics is another: how far off it then is.

Invented physics on both sides: this says that readings of an unlike burn are followed within a few hundredths, not that wood is.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from kerfwright.simulate.facts import facts_from_coupons
from kerfwright.simulate.identify import identify
from kerfwright.simulate.predict import Trial
from kerfwright.simulate.seeing import Seeing
from simulate.shop_facts import left_out_depths, left_out_kerfs, taught

POWER_W = {"diode 20": 20.0, "CO2 60": 60.0}


@pytest.mark.parametrize(("kind", "seed"), [("diode 20", 3), ("CO2 60", 2)])
def test_kerf_and_depth_at_settings_no_coupon_burnt(kind: str, seed: int, tmp_path: Path):
    shop = taught(tmp_path, kind, seed, 6.0)
    facts = facts_from_coupons(shop.read)
    assert {fact.what for fact in facts} >= {"slit", "line", "focus", "field", "through"}
    known = identify(facts, "co2" if kind.startswith("CO2") else "diode", POWER_W[kind])
    for left_out, form, most, least_inside in (
        (left_out_kerfs(shop), known.kerf_form_mm, 0.05, 0.7),
        (left_out_depths(shop), known.depth_form_frac, 0.2, 0.85),
    ):
        asked, true = [fact for fact, _ in left_out], np.array([value for _, value in left_out])
        seeing = Seeing(asked, [shop.board.name])
        drawn = np.array([seeing.answers(Trial(law, 0.3, np.zeros(1))) for law in known.laws(np.random.default_rng(1), 100)])
        off = np.median(drawn, axis=0) - true
        assert len(true) >= 10
        assert np.sqrt(np.mean(off**2)) < most
        spread = np.hypot(drawn.std(axis=0), form * (true if asked[0].what == "field" else 1.0))
        assert np.mean(np.abs(off) < 1.96 * spread) > least_inside
        # Better than the mean of what was asked would be: the law does follow the settings.
        assert np.mean(off**2) < 0.5 * np.var(true)

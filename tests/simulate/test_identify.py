"""The burn law out of readings: what was put in comes out, intervals cover, outliers and missing readings are told apart.

Laws are drawn from the priors and their facts made with law.py's own functions, so this checks the fit, not the physics; the
simulated shops, whose physics is another, are in test_identify_in_shops.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kerfwright.simulate.facts import BurntFact
from kerfwright.simulate.identify import identify
from kerfwright.simulate.known import SCALES, LawKnown, beliefs, believed, from_fit, to_fit
from kerfwright.simulate.law import BurnLaw, Passes, field_depth_mm, slit_half_width_mm
from kerfwright.simulate.predict import Trial, open_share, rows_of
from kerfwright.simulate.rehearse import ThroughPlan, just_through_mm_s
from kerfwright.simulate.seeing import Seeing

POWER_W = 20.0
READ_MM, FORM_MM, FORM_FRAC = 0.012, 0.008, 0.05
BROWN = 0.3
FACES = ("show", "waist", "inner")


def answers(facts: list[BurntFact], law: BurnLaw) -> np.ndarray:
    return Seeing(facts, [""]).answers(Trial(law, BROWN, np.zeros(1)))


def burnt(law: BurnLaw, thickness_mm: float, rng: np.random.Generator) -> tuple[list[BurntFact], list[BurntFact], list[BurntFact]]:
    """(facts as read with errors, slits left out, fields left out): a comb, a through coupon, a focus ladder, a staircase."""
    step_mm = 0.25 * thickness_mm
    just = just_through_mm_s(law, ThroughPlan(1.0, 2, -0.5, step_mm), thickness_mm)
    slit = BurntFact("slit", 0.0, READ_MM, 1.0, just / 1.3, 2, -0.5, step_mm, 0.0, thickness_mm)
    facts = [replace(slit, face=face, x_share=x, focus_mm=f) for x in (0.0, 1.0) for f in (-0.5, 0.5) for face in FACES]
    for push in (0.5, 0.65, 0.8, 0.95, 1.1, 1.3, 1.5):
        cell = replace(slit, what="through", sd=0.0, x_share=1.0)
        facts += [replace(cell, speed_mm_s=just / push, n_passes=2)] * 3 + [replace(cell, speed_mm_s=just / push / 2, n_passes=1)] * 3
    line = BurntFact("line", 0.0, READ_MM, 0.2, 18.0, 1, 0.0, 0.0, 0.0, thickness_mm)
    facts += [replace(line, focus_mm=-2 + 0.5 * k, x_share=x) for k in range(9) for x in (0.0, 1.0)]
    field = BurntFact("field", 0.0, 0.03, 1.0, field_speed(law, thickness_mm), 3, 0.0, 0.2 * thickness_mm, 0.0, thickness_mm, 0.06)
    facts += [replace(field, power_frac=float(power)) for power in np.linspace(0.12, 1.0, 10)]
    more = [replace(slit, speed_mm_s=just / s, n_passes=n, focus_mm=-0.2, x_share=x, face=face)
            for s, n in ((1.2, 2), (1.6, 3)) for x in (0.0, 1.0) for face in FACES]  # fmt: skip
    deeper = [replace(field, power_frac=power) for power in (0.3, 0.45, 0.6)]
    return with_errors(facts, answers(facts, law), rng), more, deeper


def field_speed(law: BurnLaw, thickness_mm: float) -> float:
    """At which full power digs 1.15 of the board in three layers."""
    focus = np.array([-0.2 * thickness_mm * k for k in range(3)])
    low, high = 0.5, 3000.0
    for _ in range(40):
        middle = (low * high) ** 0.5
        energy = float(law.optical_w(np.array(1.0))) / middle
        deep = field_depth_mm(law, Passes(np.full(3, energy), focus), 0.06, 0.0) > 1.15 * thickness_mm
        low, high = (middle, high) if deep else (low, middle)
    return low


def with_errors(facts: list[BurntFact], exact: np.ndarray, rng: np.random.Generator) -> list[BurntFact]:
    read: list[BurntFact] = []
    for fact, value in zip(facts, exact, strict=True):
        if fact.what == "through":
            read.append(replace(fact, value=float(value + rng.normal(0, 0.12) > 0)))
        elif fact.what == "field":
            deep = float(value * (1 + rng.normal(0, FORM_FRAC)) + rng.normal(0, fact.sd))
            floor = deep < fact.thickness_mm
            read.append(replace(fact, what="field" if floor else "field through", value=float(np.clip(deep, 0, fact.thickness_mm))))
        else:
            read.append(replace(fact, value=float(value + rng.normal(0, np.hypot(fact.sd, FORM_MM)))))
    return read


def test_columns_are_laws_own_functions():
    """Slits and fields all at once against law.py one by one, open and shut."""
    law = believed("diode", POWER_W).law
    slit = BurntFact("slit", 0.0, 0.01, 1.0, 12.0, 2, -0.5, 1.0, 0.3, 3.0)
    facts = [replace(slit, speed_mm_s=speed, face=face) for speed in (3.0, 6.0) for face in FACES]
    found = answers(facts, law)
    for fact, value in zip(facts, found, strict=True):
        energy = float(law.optical_w(np.array(1.0))) / fact.speed_mm_s
        half = slit_half_width_mm(law, Passes(np.full(2, energy), np.array([-0.5, -1.5])), np.linspace(0, 3, 17), 0.3)
        assert half[-1] > 0
        wanted = {"show": half[0], "waist": half.min(), "inner": half[-1]}[fact.face]
        assert value == pytest.approx(2 * (wanted + law.char_mm), abs=1e-6)
    field = BurntFact("field", 0.0, 0.03, 0.5, 30.0, 3, 0.0, 1.0, 0.0, 6.0, 0.06)
    energy = float(law.optical_w(np.array(0.5))) / 30.0
    deep = field_depth_mm(law, Passes(np.full(3, energy), np.array([0.0, -1.0, -2.0])), 0.06, 0.0)
    assert answers([field], law)[0] == pytest.approx(deep, abs=1e-5)
    fast = replace(slit, speed_mm_s=80.0, face="inner")
    assert slit_half_width_mm(law, Passes(np.full(2, 0.25), np.array([-0.5, -1.5])), np.array([0.0, 3.0]), 0.3)[-1] == 0
    assert answers([fast], law)[0] < 2 * law.char_mm  # shut, and by how much
    trial = Trial(law, BROWN, np.zeros(1))
    assert float(open_share(trial, rows_of([fast], [""]), np.array([3.0]))[0]) < 1


@pytest.mark.parametrize("laser", ["diode", "co2"])
def test_slopes_are_those_of_the_answers(laser: str):
    """By the implicit rule, against plain differences of the solved answers."""
    rng = np.random.default_rng(3)
    law = believed(laser, POWER_W).laws(rng, 1)[0]
    facts, _, _ = burnt(law, 3.0, rng)
    seeing, held = Seeing(facts, [""]), beliefs(laser)

    def moved(i: int, by: float) -> Trial:
        on_scale = [to_fit(getattr(law, each.name), each.scale) + by * (k == i) for k, each in enumerate(held)]
        values = {each.name: float(from_fit(np.array(u), each.scale)) for each, u in zip(held, on_scale, strict=True)}
        return Trial(replace(law, **values), BROWN, np.zeros(1))

    now = seeing.answers(moved(0, 0.0))
    slopes = seeing.slopes(moved(0, 0.0), now, moved, len(held))
    h = 1e-3
    plain = np.stack([(seeing.answers(moved(i, h)) - seeing.answers(moved(i, -h))) / (2 * h) for i in range(len(held))], axis=-1)
    begun = np.abs(now) > 1e-3  # of a field that has hardly begun a difference of solved depths is all rounding
    assert begun.sum() > 0.9 * len(now)
    assert slopes[begun] == pytest.approx(plain[begun], abs=2e-3 * np.abs(plain).max())
    assert np.abs(plain).max() > 0.1


def test_intervals_cover_kerf_and_depth_at_settings_left_out():
    """100 laws, of both kinds of laser and two thicknesses, each read once: 95 % intervals hold 90 to 99 % of the truth."""
    rng = np.random.default_rng(20)
    inside: dict[str, list[float]] = {"slit": [], "field": []}
    off: dict[str, list[float]] = {"slit": [], "field": []}
    for i in range(100):
        laser = ("diode", "co2")[i % 2]
        law = believed(laser, POWER_W).laws(rng, 1)[0]
        facts, slits, fields = burnt(law, (3.0, 6.0)[i // 2 % 2], rng)
        known = identify(facts, laser, POWER_W)
        asked = [*slits, *fields]
        drawn = np.array([answers(asked, each) for each in known.laws(rng, 80)])
        true = answers(asked, law)
        told = true > 0.1  # a field too shallow to be seen is 0 in every draw
        low, high = np.quantile(drawn, [0.025, 0.975], axis=0)
        for kind in inside:
            mine = [k for k, fact in enumerate(asked) if fact.what == kind and told[k]]
            if not mine:
                continue
            inside[kind].append(float(np.mean((low[mine] <= true[mine]) & (true[mine] <= high[mine]))))
            off[kind].append(float(np.mean((np.median(drawn[:, mine], axis=0) - true[mine]) / drawn[:, mine].std(axis=0))))
    for kind, share in inside.items():
        assert 0.90 <= np.mean(share) <= 0.99, kind
        assert abs(np.mean(off[kind])) < 0.3, kind  # and none leans to one side


def test_more_readings_tell_more_and_none_give_the_priors_back():
    rng = np.random.default_rng(5)
    law = believed("diode", POWER_W).laws(rng, 1)[0]
    facts, _, _ = burnt(law, 6.0, rng)
    prior, some, all_ = believed("diode", POWER_W), identify(facts[:12], "diode", POWER_W), identify(facts, "diode", POWER_W)
    assert identify([], "diode", POWER_W).said == prior.said
    assert all("prior" in said for said in prior.said)
    sizes = [np.linalg.slogdet(each.covariance)[1] for each in (prior, some, all_)]
    assert sizes[0] > sizes[1] > sizes[2]
    assert all_.sd("density_power") == pytest.approx(prior.sd("density_power"), rel=0.02)  # one board cannot tell it
    assert any("wide guesses without a source stand in" in said and "what density changes" in said for said in all_.said)
    assert any(said.startswith("12 readings of widths of slits, met to within 0.0") for said in all_.said)


def test_a_wild_reading_hardly_moves_the_law():
    rng = np.random.default_rng(8)
    law = believed("diode", POWER_W).laws(rng, 1)[0]
    facts, slits, _ = burnt(law, 3.0, rng)
    spoilt = [replace(facts[0], value=facts[0].value + 0.5), *facts[1:]]
    truth = answers(slits, law)
    errors = [np.abs(answers(slits, identify(each, "diode", POWER_W).law) - truth).max() for each in (facts, spoilt)]
    assert errors[1] < errors[0] + 0.02  # a plain mean over 12 widths would move by 0.04


def test_two_boards_are_told_apart():
    """One board needs 12 % more than the other: the law lies between."""
    rng = np.random.default_rng(11)
    law = believed("diode", POWER_W).laws(rng, 1)[0]
    read: list[BurntFact] = []
    for name, factor in (("a", 1.06), ("b", 1 / 1.06)):
        facts, _, _ = burnt(replace(law, need_j_mm3=law.need_j_mm3 * factor), 3.0, rng)
        read += [replace(fact, board=name) for fact in facts]
    known = identify(read, "diode", POWER_W)
    assert any("2 boards" in said for said in known.said)
    assert np.log(known.law.need_j_mm3 / law.need_j_mm3) == pytest.approx(0, abs=3 * known.sd("need_j_mm3") / known.law.need_j_mm3)


def test_draws_have_the_covariance_told():
    prior = believed("co2", 60.0)
    drawn = prior.draws(np.random.default_rng(1), 20_000)
    assert drawn.shape == (20_000, len(prior.names))
    on_scale = np.array([[to_fit(value, SCALES[name]) for value in drawn[:500, i]] for i, name in enumerate(prior.names)])
    assert on_scale.std(axis=1) == pytest.approx(np.sqrt(np.diag(prior.covariance)), rel=0.12)
    i = prior.names.index("loss_mm")
    assert np.quantile(drawn[:, i], [0.025, 0.975]) == pytest.approx([10.0, 40.0], rel=0.05)  # the range the prior tells
    some = LawKnown(prior.law, prior.names, prior.covariance, (), drawn=np.tile(prior.middle, (3, 1)))
    assert some.draws(np.random.default_rng(2), 7) == pytest.approx(np.tile([getattr(prior.law, name) for name in prior.names], (7, 1)))

"""The verdict of walls made by hand: words, odds, what stands in the way, what is said. Expected values by own arithmetic."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from kerfwright.core.estimate import Estimate
from kerfwright.process.gap import MateGap, WallOption
from kerfwright.process.job import Job
from kerfwright.process.verdict import HOW, CornerVerdict, Verdict
from kerfwright.simulate.burnt import BurntPart
from kerfwright.simulate.judge import Context, judge, judge_burnt
from kerfwright.simulate.response import WallResponse
from simulate.walls_by_hand import KINDS, THICK_MM, Back, box, by_hand, known, response
from solid_samples import job_of

UPRIGHT = 1 / math.sqrt(1 + 1 / 64)


def job(kind: str = "through dovetail", species: str = "sugar maple") -> Job:
    assembly = box(kind)
    return job_of(assembly, {part.name: species for part in assembly.parts})


def burnt(made: Job, flank: Back = 0.0, floor: Back = 0.0, edges: Mapping[str, Mapping[str, Back]] | None = None) -> dict[str, BurntPart]:
    """Every board's walls; ``edges`` by part."""
    return {part.name: by_hand(part, flank, floor, edges=(edges or {}).get(part.name)) for part in made.assembly.parts}


def still(made: Job, flank: Back = 0.0, **edges: dict[str, Back]) -> Verdict:
    """The verdict of one burn."""
    return judge_burnt(made, burnt(made, flank, edges=edges), ("by hand",))


def first(verdict: Verdict) -> CornerVerdict:
    return verdict.corners[0]


def answering(made: Job, flank_mm: float, moves: dict[str, float]) -> dict[str, WallResponse]:
    return {name: response(part, {unit: {edge: by for edge in part.walls if "flank" in edge} for unit, by in moves.items()})
            for name, part in burnt(made, flank_mm).items()}


@pytest.mark.parametrize(
    ("total_mm", "word"),
    [(0.2, "loose"), (0.151, "loose"), (0.149, "slip"), (0.051, "slip"), (0.049, "snug"), (0.001, "snug"), (-0.001, "press"),
     (-0.099, "press"), (-0.101, "not at all")],
)
def test_the_word_is_the_fit_class_of_the_room_across_a_pin(total_mm: float, word: str):
    """The classes of process/fit.py; both walls of both flanks stand back alike."""
    found = first(still(job("box joint", "basswood"), total_mm / 4))
    assert found.odds == {each: float(each == word) for each in HOW}
    assert found.goes_together == float(word != "not at all")
    assert found.tightest_mm.value == pytest.approx(total_mm / 2)
    assert found.squeeze_mm.value == pytest.approx(max(-total_mm / 2, 0.0))


def test_what_a_squeeze_takes_to_push_home_is_f9_summed_over_the_flanks():
    """Box joint in maple, six flanks of 36 mm2, -0.01 mm each: p = 0.01 / (b1 / E + b2 / E), F = mu p A (HANDBOOK F9). Fingers are
    40 / 7 mm; those inside take up half their width on either side, the two outermost bend besides (a cantilever's mean sag)."""
    found = first(still(job("box joint"), -0.005))
    wide, long, across, along = 40 / 7, 6.2, 819.0, 12600.0
    inside = 0.01 / (wide / across)
    outer = 0.01 / (1.5 * wide / across + 0.6 * long**4 / (along * wide**3))
    newton = (4 * inside + 2 * outer) * 36
    assert found.press_n == pytest.approx((0.1 * newton, 0.3 * newton, 0.5 * newton), rel=1e-9)
    assert found.half_pin == "low"


def test_a_slim_half_pin_in_a_tight_joint_is_called():
    """3.575 mm wide, 6.2 long, beside tails of 8.45: 1 mm of squeeze would press 1 / (4.225 / 819 + 3.575 / 819 + 0.6 6.2^4 /
    (12600 3.575^3)) = 90 MPa and shear the root 1.5 6.2 / 3.575 times as much, against 16.1: a third of that at 0.023 mm a flank,
    two thirds at 0.046, all of it at 0.069. The walls of a flank stand forward 1.99 times ``back``."""
    risks = {back: first(still(job(), back)) for back in (0.01, -0.011, -0.0125, -0.022, -0.0245)}
    assert [each.half_pin for each in risks.values()] == ["low", "low", "raised", "raised", "high"]
    assert risks[-0.0245].goes_together == 1.0
    split = first(still(job(), -0.036, front={"right.flank3": -0.02}))
    assert split.goes_together == 0.0


def test_seen_gaps_count_no_squeeze_and_the_inside_is_apart():
    """One side's lines are 0.06 open where the tail board shows, closed below it: the mean of what is seen, and not less than 0."""
    made = job("box joint")
    hollow = still(made, lambda share, depth: np.where((depth > 0.9) & (depth < 5.1), 0.05, 0.0) + 0 * share)
    found = first(hollow)
    assert found.glue_gap_mm.value > found.seen_gap_mm.value > 0
    assert all(line.gap_mm.min() >= 0 for line in first(still(made, -0.01)).lines)
    assert first(still(made, -0.01)).seen_gap_mm.value == 0.0
    flat = first(still(made, 0.015))
    assert (flat.seen_gap_mm.value, flat.seen_worst_mm.value, flat.glue_gap_mm.value) == pytest.approx((0.03, 0.03, 0.03))
    assert all(line.gap_mm == pytest.approx(np.full(len(line.at_mm), 0.03)) for line in flat.lines if "flank" in line.tail_edge)


def test_lines_and_maps_are_all_there():
    found = first(still(job(), 0.02))
    assert [each.tail_edge for each in found.maps] == [f"right.flank{i}" for i in range(1, 7)]
    assert sorted({(each.on, each.tail_edge) for each in found.lines if each.pin_edge == "inner face"}) == [
        ("tail board", f"right.floor{i}") for i in (1, 3, 5, 7)
    ]
    assert len([each for each in found.lines if each.tail_edge == "inner face"]) == 3
    assert len(found.lines) == 2 * 6 + 4 + 3


def test_what_stands_in_the_way_is_named():
    made = job()
    fillet = judge_burnt(made, burnt(made, 0.02, lambda share, depth: np.where(depth > 4.9, -0.15, 0.0) + 0 * share), ())
    assert first(fillet).odds["not at all"] == 1.0
    assert "a floor of right stands into its socket and holds front short" in first(fillet).blocked_by
    hanging = still(made, 0.02, right={"left.flank2": float("nan")})
    assert first(hanging).blocked_by == "not cut free: flank 2 of right"
    tight = still(made, -0.03, front={"right.flank4": -0.08})
    assert first(tight).blocked_by == "too tight at flank 4: more than the wood can crush"
    assert "front-right does not go together: too tight at flank 4" in tight.said[0]
    assert first(still(made, 0.02)).blocked_by == ""


def test_a_corner_that_is_blocked_only_sometimes_keeps_its_odds():
    """Three burns of four are open, one hangs."""
    made = job()
    walls = burnt(made, 0.02)
    drawn = {
        name: BurntPart(name, {edge: replace(wall, back_mm=np.repeat(wall.back_mm[None], 4, axis=0)) for edge, wall in part.walls.items()})
        for name, part in walls.items()
    }
    drawn["right"].walls["left.flank2"].back_mm[3] = np.nan
    verdict = judge_burnt(made, drawn, ())
    assert verdict.n_draws == 4
    assert first(verdict).odds == {"loose": 0.0, "slip": 0.75, "snug": 0.0, "press": 0.0, "not at all": 0.25}
    assert verdict.goes_together == 0.75
    assert first(verdict).blocked_by.startswith("a wall is not cut free") or "flank 2" in first(verdict).blocked_by


@pytest.mark.parametrize("kind", KINDS)
def test_the_quick_road_and_the_burnt_road_agree_when_nothing_is_uncertain(kind: str, monkeypatch: pytest.MonkeyPatch):
    """Responses with a law known exactly, own numbers that move nothing: one draw or many are the one burn."""
    monkeypatch.setattr("kerfwright.simulate.spread.CALIPER_SD_MM", 0.0)  # a thickness known exactly
    made = job(kind)
    walls = burnt(made, lambda share, depth: 0.01 + 0.003 * depth + 0.004 * share)
    quick = judge(made, {name: response(part, {}) for name, part in walls.items()}, known(), np.random.default_rng(1), 5)
    one = judge_burnt(made, walls, ())
    for a, b in zip(quick.corners, one.corners, strict=True):
        assert a.odds == b.odds
        for name in ("seen_gap_mm", "seen_worst_mm", "tightest_mm", "glue_gap_mm", "squeeze_mm"):
            assert getattr(a, name).value == pytest.approx(getattr(b, name).value, abs=1e-12)
            assert getattr(a, name).sd == pytest.approx(0.0, abs=1e-9)
    assert quick.corners[0].causes == ()


def test_odds_are_those_of_the_normal_law(monkeypatch: pytest.MonkeyPatch):
    """Room = 0.03 (1 + cos) mm +- its sd from one number of the law: shares of the fit classes by the normal distribution."""
    monkeypatch.setattr("kerfwright.simulate.spread.CALIPER_SD_MM", 0.0)
    made = job()
    law = known(("focus_offset_mm",), np.array([[1.0]]))
    n, sd_mm = 4000, 0.012
    verdict = judge(made, answering(made, 0.015, {"focus_offset_mm": sd_mm}), law, np.random.default_rng(3), n)
    mean_mm, spread_mm = 2 * 0.015 * (1 + UPRIGHT), 2 * sd_mm * (1 + UPRIGHT)
    below = [0.5 * math.erfc(-(edge - mean_mm) / spread_mm / math.sqrt(2)) for edge in (-0.10, 0.0, 0.05, 0.15)]
    found = first(verdict).odds
    wanted = dict(zip(("snug", "slip", "loose"), np.diff([*below[1:], 1.0]), strict=True))
    for word in ("snug", "slip", "loose"):
        assert found[word] == pytest.approx(wanted[word], abs=4 * math.sqrt(wanted[word] * (1 - wanted[word]) / n))
    assert sum(found.values()) == pytest.approx(1.0)
    under = found["press"] + found["not at all"]  # half-pins give way before the tightest class does
    assert under == pytest.approx(below[1], abs=4 * math.sqrt(below[1] / n))
    assert [each.cause for each in first(verdict).causes] == ["focus"]
    assert first(verdict).causes[0].share_frac == pytest.approx(1.0)
    assert first(verdict).causes[0].remedy.startswith("Burn a focus coupon")


def test_a_thicker_pin_board_tightens_a_dovetail_and_not_a_box_joint():
    """One reading of thickness: 0.04 of unknown unevenness and 0.02 of caliper. The tail is wedged an eighth of it on each side."""
    for kind, lean in (("through dovetail", 1 / 8), ("box joint", 0.0)):
        made = job(kind)
        found = first(judge(made, answering(made, 0.03, {}), known(), np.random.default_rng(3), 3000))
        sd_mm = math.hypot(0.04, 0.02) * lean * UPRIGHT
        assert found.tightest_mm.sd == pytest.approx(sd_mm, rel=0.06, abs=1e-12)
        assert [(each.cause, each.sd_mm) for each in found.causes] == ([("thickness", pytest.approx(sd_mm))] if lean else [])


def test_the_same_seed_gives_the_same_verdict():
    made, law = job(), known(("waist_x_mm",), np.array([[0.04]]))
    answers = answering(made, 0.01, {"waist_x_mm": 0.5, "need_j_mm3": -0.01})
    one, other, third = (judge(made, answers, law, np.random.default_rng(seed), 50) for seed in (1, 1, 2))
    assert first(one).odds == first(other).odds
    assert first(one).seen_gap_mm == first(other).seen_gap_mm
    assert first(one).seen_gap_mm != first(third).seen_gap_mm


def test_a_ramped_boards_need_is_told_as_ramp_depth():
    made = job()
    ramped = replace(made, walls=(WallOption("right", "ramp", True, True, "", 1, 0.02),))
    law = known(("need_j_mm3",), np.array([[0.01]]))
    answers = answering(made, 0.03, {"need_j_mm3": -0.05})
    causes = {each.cause: each.share_frac for each in judge(ramped, answers, law, np.random.default_rng(1), 50).corners[0].causes}
    assert {"ramp depth", "energy need and density"} <= set(causes)
    assert causes["energy need and density"] / causes["ramp depth"] == pytest.approx(1 / UPRIGHT)  # the same need, the pin's by its cosine
    plain = judge(made, answers, law, np.random.default_rng(1), 50).corners[0].causes
    assert "ramp depth" not in {each.cause for each in plain}


def planned(made: Job, seen_mm: float) -> Job:
    told = Estimate(seen_mm, 0.004)
    gap = MateGap("front-right", "front", "right", "right", "left", 0.02, told, told, Estimate(seen_mm + 0.01, 0.004))
    return replace(made, gaps=(gap,))


def test_plan_and_burn_are_set_side_by_side():
    agreed = still(planned(job("box joint"), 0.025), 0.015)
    told = first(agreed).planned_gap_mm
    assert told is not None
    assert (told.value, told.sd) == pytest.approx((0.03, 0.004))
    assert not any("plan expected" in each for each in agreed.said)
    apart = still(planned(job("box joint"), 0.095), 0.015)
    said = [each for each in apart.said if "plan expected" in each]
    assert len(said) == 1
    assert "0.10 mm at front-right, the burn says 0.03 mm: 0.07 mm closer" in said[0]
    assert agreed.corners[1].planned_gap_mm is None


def test_a_quarter_more_wood_to_plane_is_told_by_part():
    made = job()
    found = first(judge_burnt(made, burnt(made, 0.02, 0.05), ()))
    assert {part: each.value for part, each in found.proud_mm.items()} == pytest.approx({"front": 0.25, "right": 0.25})


def test_reported_figures_hold_on_a_finer_mesh():
    """Kerf-like walls: flared at the face that the beam enters, waisted at two thirds. 7 places against 25 and 49."""
    made = job()
    walls = burnt(made, lambda share, depth: 0.03 * ((depth / THICK_MM - 0.65) / 0.65) ** 2 + 0.004 * np.cos(3 * share))
    by_places = {n: first(judge_burnt(made, walls, (), n_places=n)) for n in (7, 25, 49)}
    for name, most_mm in (("seen_gap_mm", 1e-3), ("tightest_mm", 1.5e-3), ("glue_gap_mm", 2e-3), ("seen_worst_mm", 5e-3)):
        values = {n: getattr(found, name).value for n, found in by_places.items()}
        assert abs(values[7] - values[49]) < most_mm, name
        assert abs(values[25] - values[49]) < most_mm / 2, name
    assert by_places[7].press_n[1] == pytest.approx(by_places[49].press_n[1], rel=0.05, abs=0.5)


def test_what_comes_with_the_verdict_is_kept():
    made = job()
    verdict = judge_burnt(made, burnt(made, 0.01), ("law by hand", "twice"), Context(time_s=123.0, tier="full", setup_time_s={1: 12.0}))
    assert (verdict.time_s, verdict.tier, verdict.law_from, verdict.setup_time_s) == (123.0, "full", "law by hand; twice", {1: 12.0})
    assert verdict.n_draws == 1


def test_wood_of_which_little_is_known_is_told():
    told = still(job(species="sapele"), 0.01).said
    assert any("stiffness across the grain of sapele" in each for each in told)
    assert any("crushes is taken from its density" in each for each in told)

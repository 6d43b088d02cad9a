"""The lessons on made-up shops: boards and places kept apart, flame as a bound, walls that lean. Coverage: test_lesson_coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calibrate.lesson_samples import POWER_W, cell, cells, datum, evidence, fields, tongues, true_depth_mm
from kerfwright.calibrate.char_lesson import learn_char
from kerfwright.calibrate.heat_lesson import learn_heat
from kerfwright.calibrate.hierarchy import boards_apart
from kerfwright.calibrate.kerf_lesson import learn_kerf
from kerfwright.calibrate.learn import learn, recipe_of
from kerfwright.calibrate.lesson import Lesson
from kerfwright.calibrate.ramp_lesson import learn_ramp
from kerfwright.calibrate.through_lesson import BELOW_FLAME_LN, ThroughLearned, learn_through
from kerfwright.calibrate.wall_lesson import learn_wall
from kerfwright.core.document import build
from kerfwright.coupons.first_guess import first_guess
from kerfwright.coupons.observable import Quantity
from kerfwright.machine.machine import Machine
from kerfwright.plan.cautions import recipe_findings
from kerfwright.process.recipe import LEAN_SD_FRAC, MOST_LEAN_FRAC, RampSettings
from kerfwright.wood.board import Board

MACHINE = build(
    {
        "schema": "kerfwright-machine-1", "name": "M", "laser": "diode", "power": "20 W", "bed_x": "400 mm", "bed_y": "400 mm",
        "height": "60 mm", "z": "motorised", "head": {"gap": "9 mm", "half_width": "30 mm"}, "top_speed": "300 mm/s",
        "acceleration": "1500 mm/s2",
    },
    Machine, "machine",
)  # fmt: skip


def board(name: str) -> Board:
    table = {"schema": "kerfwright-board-1", "name": name, "species": "sugar maple", "length": "200 mm", "width": "60 mm"}
    return build(table | {"thickness": ["6 mm", "6 mm", "6 mm"]}, Board, "board")


def guessed_ramp() -> RampSettings:
    ramp = first_guess(MACHINE, "sugar maple", 6.0).ramp
    assert ramp is not None
    return ramp


def through(data: list, name: str) -> ThroughLearned:
    found = learn_through(evidence(data), name)
    assert found is not None
    return found


def codes(lesson: Lesson) -> list[str]:
    return [finding.code for finding in lesson.findings]


def test_a_board_that_was_read_speaks_for_itself_and_a_new_one_gets_the_mean_and_the_spread():
    rng = np.random.default_rng(4)
    soft, hard = cells(rng, "soft", -0.1, 0.05), cells(rng, "hard", 0.3, 0.05)
    alone = through(soft, "soft")
    both = through([*soft, *hard], "soft")
    assert both.needed_ln == alone.needed_ln  # the hard board says nothing of this one
    assert both.interval == alone.interval
    assert "few-boards" not in codes(both.lesson)
    new = through([*soft, *hard], "new")
    assert codes(new.lesson) == ["few-boards"]
    middles = [through(each, name).lesson.estimates["ln_energy_50"].value for each, name in ((soft, "soft"), (hard, "hard"))]
    assert new.lesson.estimates["ln_energy_50"].value == pytest.approx(np.mean(middles), abs=0.03)
    # Boards taken out, places differ no more than on one board.
    assert new.lesson.estimates["place_spread"].value < 0.12
    assert new.needed_ln.sd > 0.10 / math.sqrt(2)
    assert "a new board" in new.lesson.said[0]
    assert "boards by 10 %" in new.lesson.said[1]
    assert "this board" in alone.lesson.said[0]


def test_three_boards_show_how_boards_differ():
    rng = np.random.default_rng(5)
    middles = (-0.25, 0.05, 0.35)
    data = [each for i, middle in enumerate(middles) for each in cells(rng, f"b{i}", middle, 0.03, n_places=4)]
    found = through(data, "new")
    assert codes(found.lesson) == []
    told = found.lesson.said[1]
    percent = float(told.split("boards by ")[1].split(" %")[0])
    assert percent == pytest.approx(100 * math.sqrt((2 * np.var(middles, ddof=1) + 2 * 0.10**2) / 4), abs=4)


def test_boards_read_once_cannot_be_told_from_their_places():
    few = boards_apart(np.array([1.0, 1.2]), ["a", "b"], in_logs=True)
    assert (few.sd, few.new_sd) == pytest.approx((0.10, 0.10 * math.sqrt(1.5)))
    assert [each.code for each in few.findings] == ["few-boards"]
    three = boards_apart(np.array([1.0, 1.2, 1.4]), ["a", "b", "c"], in_logs=True)
    assert three.sd == pytest.approx(math.sqrt((2 * 0.2**2 + 2 * 0.1**2) / 4))  # own arithmetic
    assert three.new_sd == pytest.approx(three.sd * math.sqrt(4 / 3) * 2.776445 / 1.959964, rel=1e-5)  # t, 4 degrees, from memory
    assert three.away_y["c"] == pytest.approx(0.2)
    none = boards_apart(np.array([]), [], in_logs=True)
    assert (none.sd, none.new_sd) == pytest.approx((0.10, 0.10 * math.sqrt(2)))


def test_the_kerf_of_a_new_board_is_as_wide_as_boards_differ():
    rng = np.random.default_rng(6)
    data = [each for i, kerf in enumerate((0.13, 0.15, 0.17)) for each in tongues(rng, f"b{i}", kerf, 0.004)]
    for name, middle, low, high in (("b0", 0.13, 0.007, 0.02), ("new", 0.15, 0.02, 0.06)):
        found = learn_kerf(evidence(data), {}, name)
        assert found is not None
        waist = found.cuts[0].kerf[0].waist_mm
        assert waist.value == pytest.approx(middle, abs=0.02)
        assert low < waist.sd < high
    one = learn_kerf(evidence(tongues(rng, "b0", 0.15, 0.004)), {}, "new")
    assert one is not None
    assert "few-boards" in codes(one.lesson)
    waist = one.cuts[0].kerf[0].waist_mm
    assert waist.sd > 0.10 * waist.value * math.sqrt(2)


def test_a_ramps_depths_keep_boards_and_places_apart():
    rng = np.random.default_rng(7)
    data = [each for i, away in enumerate((-0.1, 0.0, 0.1)) for each in fields(rng, f"b{i}", away, 0.02, 0.02)]
    found = {name: learn_ramp(evidence(data), guessed_ramp(), name) for name in ("b0", "b2", "new")}
    for name, away, widest in (("b0", -0.1, 0.12), ("b2", 0.1, 0.12), ("new", 0.0, 0.6)):
        learned = found[name]
        assert learned is not None
        for power, depth in learned.settings.depth[3:]:
            assert depth.value == pytest.approx(true_depth_mm(power) * math.exp(away), rel=0.05)
            assert depth.sd < widest * depth.value
    new, own = found["new"], found["b2"]
    assert new is not None
    assert own is not None
    assert new.settings.depth[-1][1].sd > 2 * own.settings.depth[-1][1].sd
    assert "a board not yet burnt may differ by" in new.lesson.said[0]
    assert "not yet burnt" not in own.lesson.said[0]


def flames(from_x: float | None, xs: np.ndarray) -> list:
    return [cell(float(x), "flash" if from_x is not None and x >= from_x else "none", "b", quantity=Quantity.FLAME) for x in xs]


def test_what_flamed_bounds_what_is_recommended():
    """Half go through at 0; 99 % need about 0.2; flame from 0.3 leaves room, from 0.05 does not."""
    data = cells(np.random.default_rng(8), "b", 0.0, 0.05)
    free = through(data, "b")
    assert free.needed_ln.value < 0.3 < free.needed_ln.value + 0.3
    room = free.below_flame(free.needed_ln.value + BELOW_FLAME_LN + 0.001)
    assert room.recommended_ln == pytest.approx(free.needed_ln.value + 0.001)  # the margin is given up first
    assert codes(room.lesson) == codes(free.lesson)
    hot = free.below_flame(0.05)
    assert hot.recommended_ln == pytest.approx(0.05 - BELOW_FLAME_LN)
    assert hot.speed_mm_s(POWER_W, 2) > free.speed_mm_s(POWER_W, 2)
    (caution,) = [finding for finding in hot.lesson.findings if finding.code == "through-in-flame"]
    for remedy in ("lighter passes", "more air", "thinner"):
        assert remedy in caution.text
    assert "short-of-through" not in codes(hot.lesson)
    assert free.below_flame(None).recommended_ln == free.recommended_ln


@pytest.mark.parametrize(("from_x", "word"), [(None, "raised"), (0.29, "high")])
def test_a_recipe_carries_the_risk_of_flame_in_a_word(from_x: float | None, word: str):
    xs = np.repeat(np.linspace(-0.5, 0.9, 15), 3)
    data = [*cells(np.random.default_rng(9), "b", -0.2, 0.03), *flames(from_x, xs)]
    learned = learn(evidence(data), MACHINE, board("b"))
    heat, cut = learned.heat, recipe_of(learned).through[0]
    assert heat is not None
    assert heat.flame_ln == (None if from_x is None else pytest.approx(0.3))
    assert heat.risk(2.0) == "unknown"  # hotter than any cell that was watched
    assert heat.risk(0.9) == ("raised" if from_x is None else "high")
    assert cut.heat == heat.of_cut(cut, MACHINE.power_w)
    assert learned.through is not None
    assert any(said.startswith("risk of flame at the recommended") and said.endswith(cut.heat) for said in heat.lesson.said)
    hot = cut.model_copy(update={"speed_mm_s": POWER_W * cut.power_frac * cut.passes**heat.kappa / math.exp(0.85)})
    assert heat.of_cut(hot, MACHINE.power_w) == word
    assert heat.flames(hot, MACHINE.power_w) is (from_x is not None)
    recipe = recipe_of(learned).model_copy(update={"through": (cut.model_copy(update={"heat": word}),)})
    (said,) = [each for each in recipe_findings({"front": recipe}, {"front": board("b")}, MACHINE) if each.code == "through-heat"]
    assert word in said.text


def test_few_cells_without_flame_do_not_make_the_risk_small():
    heat = learn_heat(evidence(flames(None, np.array([-0.3, 0.0, 0.3, 0.6]))), 0.8)
    assert heat is not None
    assert heat.risk(0.0) in ("raised", "high")


def test_a_kerf_comb_burnt_where_flame_was_seen_is_left_out_while_there_is_another():
    rng = np.random.default_rng(10)
    comb = tongues(rng, "b", 0.15, 0.004)
    slow = [datum(each.observable.quantity, each.values, "b", each.observable.settings | {"speed_mm_s": 2.0}) for each in comb]
    ln_slow = math.log(POWER_W * 2**0.8 / 2.0)
    hot = [cell(x, "sustained" if x > ln_slow - 0.1 else "none", "b", quantity=Quantity.FLAME) for x in np.linspace(0, 3, 61)]
    both = recipe_of(learn(evidence([*comb, *slow, *hot]), MACHINE, board("b")))
    assert [cut.speed_mm_s for cut in both.through] == [6.0]
    only = recipe_of(learn(evidence([*slow, *hot]), MACHINE, board("b")))
    assert [(cut.speed_mm_s, cut.heat) for cut in only.through] == [(2.0, "high")]


def walls(shift: float, lean: float, noise: float, drawn: tuple[float, float] = (0.0, 0.0)) -> list:
    rng = np.random.default_rng(11)
    return [
        datum(Quantity.WALL_OFFSET, (shift + lean * depth + rng.normal(0, noise),), "b",
              {"slope_frac": 0.125, "depth_mm": depth, "wall_shift_mm": drawn[0], "wall_lean_frac": drawn[1]})
        for depth in (0.9, 3.0, 5.1) for _ in range(4)
    ]  # fmt: skip


def test_a_walls_shift_and_lean_are_read_and_added_to_what_was_drawn():
    exact = learn_wall(evidence(walls(0.03, -0.007, 1e-9, (0.01, -0.002))))
    assert exact is not None
    assert exact.shift_mm.value == pytest.approx(0.04, abs=1e-6)
    assert exact.lean_frac.value == pytest.approx(-0.009, abs=1e-6)
    rough = learn_wall(evidence(walls(0.03, -0.007, 0.012)))
    assert rough is not None
    assert abs(rough.lean_frac.value + 0.007) < 2.5 * rough.lean_frac.sd
    assert rough.lean_frac.sd == pytest.approx(0.012 / (math.sqrt(12) * 1.715), rel=0.5)  # noise / (sqrt n, sd of the depths)
    few = learn_wall(evidence(walls(0.03, -0.007, 0.012)[:3]))
    assert few is not None
    assert (few.lean_frac.value, few.lean_frac.sd) == (0.0, LEAN_SD_FRAC)
    mad = learn_wall(evidence(walls(0.0, 0.2, 1e-9)))
    assert mad is not None
    assert mad.lean_frac.value == MOST_LEAN_FRAC
    recipe = recipe_of(learn(evidence(walls(0.03, -0.007, 1e-9)), MACHINE, board("b")))
    assert recipe.ramp is not None
    assert (recipe.ramp.wall_shift_mm.value, recipe.ramp.wall_lean_frac.value) == pytest.approx((0.03, -0.007), abs=1e-6)
    assert recipe.ramp.depth == guessed_ramp().depth  # what a wall leans by is no matter of depth


def test_char_is_heavy_from_where_it_is_more_likely_than_not():
    """Cells turn heavy at ln energy 0.45: light well below, heavy well above, unknown past the last cell looked at."""
    xs = np.linspace(-0.5, 0.9, 15)
    words = ["none" if x < 0 else "light" if x < 0.45 else "heavy" for x in xs]
    looked = [cell(float(x), word, "b", place, Quantity.CHAR) for x, word in zip(xs, words, strict=True) for place in "AB"]
    char = learn_char(evidence(looked), 0.8)
    assert char is not None
    assert char.n_cells == 30
    assert [char.word(x) for x in (-2.0, 0.0, 0.3)] == ["light"] * 3
    assert [char.word(x) for x in (0.6, 0.9, 0.94, 0.96)] == ["heavy", "heavy", "heavy", "unknown"]
    halved = [char.word(x) for x in np.linspace(0.3, 0.6, 301)]
    assert 0.3 + 0.001 * halved.index("heavy") == pytest.approx(0.45, abs=0.06)
    assert learn_char(evidence(looked[:3]), 0.8) is None

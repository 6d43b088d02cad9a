"""The shop burns every coupon the package makes and answers its form; the answers are true within the instrument's error."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kerfwright.coupons.readings import check_values
from shop import instruments
from shop.forms import Bench, pair_clearance_mm
from shop.look import stretches_of
from shop.made import make_coupon
from shop.oracle import RampTrial, Through, fastest_through, field_depths, recipe_tables, slit_widths
from shop.shop import Shop

KINDS_OF_COUPON = ("machine", "focus", "through", "kerf comb", "ramp staircase", "sloped edge", "fit ladder")
KNOWN_FIRST = ("kerf comb", "sloped edge", "fit ladder")  # burnt with settings that really go through


def burnt(
    tmp: Path, kind: str, seed: int = 3, machine: str = "diode 20", thickness_mm: float = 6.0, exact: bool = False
) -> tuple[Shop, Path, Any]:
    """One coupon made, burnt and its record."""
    shop = Shop(seed, machine, exact)
    board = shop.new_board("sugar maple", thickness_mm, 200.0, 120.0)
    recipe = None
    if kind in KNOWN_FIRST:
        speed = 0.7 * fastest_through(shop, board, 2)
        recipe = recipe_tables(shop, board, Through(speed, 2), None if kind == "kerf comb" else RampTrial(14.0, 3))
    record = make_coupon(shop, board, kind, tmp / kind, recipe)
    shop.burn(tmp / kind, 1, board)
    return shop, tmp / kind, record


@pytest.mark.parametrize("kind", KINDS_OF_COUPON)
def test_every_form_is_answered_and_its_answers_are_taken(kind: str, tmp_path: Path):
    shop, folder, record = burnt(tmp_path, kind)
    answers = shop.fill_form(folder)
    assert set(answers) == {each.id for each in record.observables}
    readings = check_values(answers, record)  # refuses anything impossible
    read = [each for each in readings if each.status == "read"]
    assert len(read) >= 0.75 * len(record.observables)


def test_the_same_seed_gives_the_same_answers(tmp_path: Path):
    first, again = (Shop.fill_form(*burnt(tmp_path / name, "focus")[:2]) for name in ("a", "b"))
    other = Shop.fill_form(*burnt(tmp_path / "c", "focus", seed=4)[:2])
    assert first == again
    assert first != other


def test_distances_tell_the_machines_true_scale_and_skew(tmp_path: Path):
    shop, folder, _ = burnt(tmp_path, "machine")
    answers = shop.fill_form(folder)
    told = {each["id"]: each["settings"] for each in json.loads((folder / "coupon.json").read_text())["observables"]}
    scale_x, scale_y = shop.machine.faults.scale
    for name, scale in (("distance-bottom", scale_x), ("distance-top", scale_x), ("distance-left", scale_y), ("distance-right", scale_y)):
        assert float(answers[name]) == pytest.approx(told[name]["nominal_mm"] * scale, abs=0.08)
    square = told["distance-left"]["nominal_mm"]
    across = float(answers["distance-rising"]) - float(answers["distance-falling"])
    assert across == pytest.approx(np.sqrt(2) * square * np.tan(np.radians(shop.machine.faults.skew_deg)), abs=0.11)
    assert float(answers["pointer-x"]) == pytest.approx(shop.machine.faults.pointer_mm[0], abs=0.05)
    lag_mm = 2 * 60.0 * shop.machine.faults.lag_s
    fast = next(name for name in told if name.startswith("vernier-x") and told[name]["speed_mm_s"] == 60.0)
    assert float(answers[fast]) * told[fast]["step_mm"] == pytest.approx(lag_mm, abs=0.06)


def test_lines_are_finest_where_the_true_focus_is(tmp_path: Path):
    shop, folder, record = burnt(tmp_path, "focus")
    answers = shop.fill_form(folder)
    for travel in ("x", "y"):
        lines = [each for each in record.observables if each.id.startswith("line") and each.id.endswith(travel)]
        kept = [(float(each.settings["focus_mm"]), float(answers[each.id])) for each in lines if answers[each.id] != "not sure"]
        focus, width = np.array(kept).T
        # d squared is a parabola in z (HANDBOOK B); its foot is the focus.
        c, b, _ = np.polyfit(focus, width**2, 2)
        assert c > 0
        assert -b / (2 * c) == pytest.approx(shop.machine.light.focus_error_mm, abs=0.6)


def test_slots_are_as_wide_as_the_shops_own_slits(tmp_path: Path):
    shop, folder, record = burnt(tmp_path, "kerf comb", exact=True)
    answers = shop.fill_form(folder)
    board = next(iter(shop.burnt.values()))
    for name in ("slot-x1-show", "slot-y1-show", "slot-x2-inner", "slot-y2-inner"):
        slot = record.observable(name)
        cut = Through(
            float(slot.settings["speed_mm_s"]),
            int(slot.settings["passes"]),
            float(slot.settings["focus_mm"]),
            0.8,
            float(slot.settings["power_frac"]),
        )
        widths, through = slit_widths(shop, board, cut, slot.settings["travel"] == "x", slot.place_mm)
        assert through
        # A face's free width is read 0.05 mm in, a sixth of the way to the next of the oracle's 21 depths.
        near = (widths[0], widths[1]) if slot.face == "show" else (widths[-2], widths[-1])
        assert min(near) - 0.03 < float(answers[name]) < max(near) + 0.03


def test_a_tongue_is_the_pitch_less_a_waist_and_a_stack_its_tongues(tmp_path: Path):
    shop, folder, record = burnt(tmp_path, "kerf comb", exact=True)
    answers = shop.fill_form(folder)
    board = next(iter(shop.burnt.values()))
    for axis in "xy":
        tongues = [float(answers[f"tongue-{axis}{i}"]) for i in range(1, 7)]
        settings = record.observable(f"tongue-{axis}1").settings
        cut = Through(
            float(settings["speed_mm_s"]), int(settings["passes"]), float(settings["focus_mm"]), 0.8, float(settings["power_frac"])
        )
        waist = slit_widths(shop, board, cut, axis == "x", record.observable(f"tongue-{axis}3").place_mm)[0].min()
        assert np.mean(tongues) == pytest.approx(float(settings["pitch_mm"]) - waist, abs=0.02)
        assert float(answers[f"stack-{axis}"]) == pytest.approx(sum(tongues), abs=0.12)


def test_fields_deepen_with_power_and_agree_with_the_shops_own(tmp_path: Path):
    shop, folder, record = burnt(tmp_path, "ramp staircase", exact=True)
    answers = shop.fill_form(folder)
    board = next(iter(shop.burnt.values()))
    fields = [each for each in record.observables if each.id.startswith("depth-A") and answers[each.id] not in ("not sure", "through")]
    power, depth = np.array([(float(each.settings["power_frac"]), float(answers[each.id])) for each in fields]).T
    assert np.all(np.diff(depth[depth > 0.15]) > 0)
    s = fields[0].settings
    ramp = RampTrial(*(float(s["speed_mm_s"]), int(s["layers"])), float(s["spacing_mm"]), float(s["focus_mm"]), float(s["focus_step_mm"]))
    own = field_depths(shop, board, ramp, power, fields[len(fields) // 2].place_mm)
    assert np.abs(depth - own).max() < 0.05 * own.max() + 0.12


def test_through_answers_turn_from_no_to_yes_as_the_speed_falls(tmp_path: Path):
    shop, folder, record = burnt(tmp_path, "through")
    answers = shop.fill_form(folder)
    rows: dict[tuple[object, ...], list[tuple[float, str]]] = {}
    for each in record.observables:
        if each.id.startswith("through"):
            key = each.settings["place"], each.settings["power_frac"], each.settings["passes"]
            rows.setdefault(key, []).append((float(each.settings["speed_mm_s"]), answers[each.id]))
    words = {word for row in rows.values() for _, word in row}
    assert words == {"yes", "no"}
    for row in rows.values():
        turned = [word for _, word in sorted(row, reverse=True)]
        assert turned == sorted(turned)  # "no" comes before "yes"
    heat = {"none": 0, "glow": 1, "flash": 2, "sustained": 3}
    first = [heat[answers[f"flame-A{i}"]] for i in range(1, 7)]
    assert first[0] == 0
    assert first[-1] == max(first) > 0


def test_looser_pairs_go_easier(tmp_path: Path):
    shop, folder, record = burnt(tmp_path, "fit ladder")
    answers = shop.fill_form(folder)
    ease = ("not at all", "by tap", "by hand", "loose")
    board = next(iter(shop.burnt.values()))
    bench = Bench(shop, board, next(iter(shop.lies.values()))[-1], stretches_of(board))
    told = {each["id"]: each for each in json.loads((folder / "coupon.json").read_text())["observables"]}
    for joint in ("through dovetail", "box joint"):
        pairs = sorted(
            (each for each in record.observables if each.settings["joint"] == joint), key=lambda each: float(each.settings["clearance_mm"])
        )
        words = [ease.index(answers[each.id]) for each in pairs]
        assert words == sorted(words)
        assert words[0] < words[-1]
        true = np.array([pair_clearance_mm(bench, told[each.id]) for each in pairs])
        wanted = np.array([float(each.settings["clearance_mm"]) for each in pairs])
        assert np.polyfit(wanted, true, 1)[0] == pytest.approx(1.0, abs=0.12)
        assert np.abs(true - wanted).max() < 0.12


def test_instruments_err_as_much_as_they_say():
    rng = np.random.default_rng(1)
    read = {
        tool.__name__: np.array([float(tool(0.2, rng)) for _ in range(4000)])
        for tool in (instruments.caliper, instruments.scan, instruments.feeler)
    }
    assert read["caliper"].std() == pytest.approx(0.02, rel=0.06)
    assert read["caliper"].mean() == pytest.approx(0.2, abs=0.002)
    assert read["scan"].mean() == pytest.approx(0.2, abs=0.002)
    assert 0.008 < read["scan"].std() < 0.016
    assert set(np.round(np.unique(read["feeler"]) / 0.02, 9)) <= {8.0, 9.0, 10.0, 11.0}
    deep = np.array([float(instruments.depth_gauge(2.0, rng)) for _ in range(4000)])
    assert deep.std() == pytest.approx(0.03, rel=0.06)

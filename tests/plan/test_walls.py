"""Which ways a machine can make a sloped wall, each refusal with its reason."""

from __future__ import annotations

import math
from typing import Any

import pytest

from kerfwright.core.document import build
from kerfwright.core.errors import PlanError
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.spread import Cause
from kerfwright.plan.walls import WallCase, wall_options, wall_spread_mm
from kerfwright.process.gap import WallOption
from plan.plan_samples import DOVETAIL, bench, machine, recipe


def _ways(walls: str = "auto", **changes: Any) -> dict[str, WallOption]:
    one = bench(**changes)
    options = build({"walls": walls}, PlanOptions, "burn")
    return {way.method: way for way in wall_options(WallCase(one.blank, one.machine, one.recipe, options, 0.125))}


def test_thin_boards_are_ramped_and_thick_ones_tilted():
    thin = _ways()
    assert [method for method, way in thin.items() if way.possible] == ["ramp", "cradle", "two faces"]
    assert [method for method, way in thin.items() if way.chosen] == ["ramp"]
    assert "one setup" in thin["ramp"].reason
    thick = _ways(thickness=(9.0, 9.0), size=(140.0, 140.0))
    assert [method for method, way in thick.items() if way.chosen] == ["cradle"]
    assert not thick["ramp"].possible
    assert "6.60 mm deep, the wall needs 9.00 mm" in thick["ramp"].reason
    assert "6.60 mm deep" in thick["two faces"].reason
    assert [way.n_setups for way in thick.values()] == [1, 3, 2]


@pytest.mark.parametrize(("method", "changes", "reason"), [
    ("ramp", {"recipe": recipe(ramp=None)}, "staircase"),
    ("two faces", {"recipe": recipe(ramp=None)}, "staircase"),
    ("ramp", {"recipe": recipe(thickness=(6.02, 8.0)), "thickness": (6.0, 5.9)}, "never burnt"),
    ("cradle", {"recipe": recipe(thickness=(5.0, 6.0))}, "a through cut 6.05 mm deep was never burnt"),
    ("cradle", {"machine": machine(head={"gap": "4 mm", "half_width": "40 mm"})}, "uphill"),
    ("cradle", {"machine": machine(height="15 mm")}, "high edge"),
    ("cradle", {"joint": DOVETAIL | {"tails": 4, "pin": "2.6 mm", "half_pin": "3 mm"}, "thickness": (6.0, 14.0),
                "size": (160.0, 160.0), "recipe": recipe(thickness=(3.0, 15.0))}, "too narrow"),
])  # fmt: skip
def test_each_refusal_has_its_reason(method: str, changes: dict[str, Any], reason: str):
    one = bench(**changes)
    options = build({"walls": method}, PlanOptions, "burn")
    with pytest.raises(PlanError, match="no way to make its sloped walls") as refused:
        wall_options(WallCase(one.blank, one.machine, one.recipe, options, 0.125))
    assert f"{method}: " in str(refused.value)
    assert reason in str(refused.value)


def test_a_wish_is_granted_and_reading_marks_makes_the_cradle_sure():
    ways = _ways("cradle")
    assert ways["cradle"].chosen
    assert "you asked for it" in ways["cradle"].reason
    assert ways["cradle"].wall_sd_mm == 0.03
    # Less than 15 mm of wall leaves no room for the scales, however wide the rough board is.
    narrow = _ways("cradle", joint=DOVETAIL | {"tails": 1, "half_pin": "3 mm"}, height=14.0, rough=12.0)
    assert narrow["cradle"].wall_sd_mm == 0.1


def test_each_way_says_where_its_spread_comes_from():
    """Ramp: wall shift 0.03 and, at half of 6 mm, a depth of 0.25 mm (both assumed) down a slope of 1:8. Fence: 0.1."""
    ramp = {Cause.RAMP: pytest.approx(math.hypot(0.03, 0.25 / 8))}
    one = bench()
    for reread, laid in ((True, {Cause.MARKS: 0.03}), (False, {Cause.PLACING: 0.1})):
        wish = WallCase(one.blank, one.machine, one.recipe, build({"reread": reread}, PlanOptions, "burn"), 0.125)
        assert wall_spread_mm(wish, "ramp") == ramp
        assert wall_spread_mm(wish, "cradle") == laid
        assert wall_spread_mm(wish, "two faces") == ramp | laid
        for way in wall_options(wish):
            assert way.wall_sd_mm == pytest.approx(math.hypot(*wall_spread_mm(wish, way.method).values()))

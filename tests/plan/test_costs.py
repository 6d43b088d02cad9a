"""The account of a piece against hand arithmetic."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kerfwright.core.document import build
from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.plan.costs import costs_of, wood_price
from kerfwright.plan.hand_work import both_faces_m2
from kerfwright.process.costs import Costs, Rates
from kerfwright.process.job import Job
from kerfwright.process.verdict import CornerVerdict, Verdict
from kerfwright.wood.board import Board
from kerfwright.wood.rough import BOARD_FOOT_MM3, rough_size_mm
from sheet_samples import jobs

RATES: dict[str, Any] = {
    "currency": "EUR", "machine_hour": 6, "labour_hour": 30, "watched": "25 %", "wood": {"value": 12, "per": "board foot"},
    "consumables": 3.5, "hardware": 4, "spoiled": "20 %", "mark_up": "50 %",
}  # fmt: skip


def rates(**changes: Any) -> Rates:
    return build(RATES | changes, Rates, "costs")


def account(job: Job, given: Rates, verdict: Verdict | None = None) -> Costs:
    found = costs_of(job, given, verdict)
    assert found is not None
    return found


def board(**changes: Any) -> Board:
    tables: dict[str, Any] = {"schema": "kerfwright-board-1", "name": "plank", "species": "sugar maple"}
    tables |= {"length": "500 mm", "width": "100 mm", "thickness": ["6 mm"]}
    return build(tables | changes, Board, "board")


def test_a_board_foot():
    """12 x 12 x 1 in by definition; 2359.737 cm3 as reference tables print it (from memory)."""
    assert pytest.approx(2359.737e3, rel=1e-6) == BOARD_FOOT_MM3
    assert pytest.approx((12 * 25.4) ** 2 * 25.4, rel=1e-12) == BOARD_FOOT_MM3
    assert rough_size_mm((200.0, 60.0, 6.0)) == (210.0, 63.0, 8.0)


def test_wood_is_paid_as_it_is_sold():
    blank = (200.0, 60.0, 6.0)
    rough_mm3 = 210 * 63 * 8
    assert wood_price(board(), blank, rates()) == pytest.approx(12 * rough_mm3 / 2359737.216)
    assert wood_price(board(price={"value": 3000, "per": "m3"}), blank, rates()) == pytest.approx(3000 * rough_mm3 / 1e9)
    # A board paid whole: the blank's share of its face.
    assert wood_price(board(price={"value": 10, "per": "board"}), blank, rates()) == pytest.approx(10 * 200 * 60 / (500 * 100))
    assert wood_price(board(price={"value": 10, "per": "board"}), (500.0, 100.0, 6.0), rates()) == 10


def test_the_whole_account_by_hand():
    job = jobs()["hinged"]
    costs = account(job, rates())
    assert costs.currency == "EUR"
    assert costs.by_default == ()
    amounts = {line.what: line.amount for line in costs.lines}
    rough = [rough_size_mm(next(setup.board_size_mm for setup in job.setups if setup.part == part.name)) for part in job.assembly.parts]
    assert amounts["wood"] == pytest.approx(12 * sum(x * y * z for x, y, z in rough) / 2359737.216, abs=0.005)
    machine_h = sum(time.burn_s + time.travel_s for time in job.times) / 3600
    assert amounts["laser"] == pytest.approx(6 * machine_h, abs=0.005)
    assert amounts["watching the laser"] == pytest.approx(30 * 0.25 * machine_h, abs=0.005)
    # Six boards at 8 min; the setups at 3; eight jointed ends at 1.5; five steps at 2; four joints at 3 and two clamps at 2; four
    # corners at 4 and the faces at 100 min a m2; two coats at 60; two pins at 6.
    faces_m2 = both_faces_m2(job)
    minutes = 6 * 8 + len(job.setups) * 3 + 8 * 1.5 + 5 * 2 + (4 * 3 + 2 * 2) + (4 * 4 + 100 * faces_m2) + 2 * 60 * faces_m2 + 2 * 6
    assert costs.hands_s == pytest.approx(60 * minutes)
    assert amounts["hands"] == pytest.approx(30 * minutes / 60, abs=0.005)
    # A fifth spoiled: each good part takes 1.25 tries; milling and laying are done again, glue and finish are not.
    again = amounts["wood"] + amounts["laser"] + amounts["watching the laser"] + 30 * (6 * 8 + len(job.setups) * 3) / 60
    assert amounts["spoiled parts"] == pytest.approx(0.25 * again, abs=0.01)
    assert amounts["consumables"] == 3.5
    assert amounts["hardware"] == 4
    assert costs.cost == pytest.approx(sum(amounts.values()))
    assert costs.price == pytest.approx(1.5 * costs.cost, abs=0.005)
    assert costs.total_s == pytest.approx(3600 * machine_h + 60 * minutes)
    assert costs.amount(costs.price).startswith("EUR ")


def test_the_faces_by_hand():
    """180.4 x 54 and 180.4 x 60, twice 110.4 x 60, and what bottom and lid measure; both sides."""
    job = jobs()["hinged"]
    panels = [job.assembly.part(name).slab.bounds_mm() for name in ("bottom", "lid")]
    wanted_mm2 = 180.4 * 54 + 180.4 * 60 + 2 * 110.4 * 60 + sum((x1 - x0) * (y1 - y0) for x0, y0, x1, y1 in panels)
    assert both_faces_m2(job) == pytest.approx(2e-6 * wanted_mm2, rel=1e-3)


def verdict(*odds: float) -> Verdict:
    nothing = Estimate(0.0, 0.0, 0, "")
    rest = (nothing, nothing, nothing, nothing, (0.0, 0.0, 0.0), "low", {}, nothing, None, (), (), ())
    corners = tuple(CornerVerdict(f"c{k}", "front", "right", {}, each, *rest) for k, each in enumerate(odds))
    return Verdict("box", corners, None, 0.0, "", "quick", 100)


def test_odds_of_a_verdict_take_the_place_of_the_told_share():
    job = jobs()["ramp"]
    told, judged = account(job, rates()), account(job, rates(), verdict(0.95, 0.95, 0.95, 0.95))
    assert (told.spoiled_frac, judged.spoiled_frac) == (0.2, pytest.approx(0.05))
    by_name = [{line.what: line.amount for line in each.lines} for each in (told, judged)]
    # 0.2 / 0.8 against 0.05 / 0.95 of the same.
    assert by_name[1]["spoiled parts"] == pytest.approx(by_name[0]["spoiled parts"] * (0.05 / 0.95) / 0.25, abs=0.01)
    assert judged.spoiled_from == "by the verdict's odds"
    assert account(job, rates(), verdict(0.0, 0.0, 0.0, 0.0)).spoiled_frac == 0.9  # never a division by nothing


def test_what_was_not_given_is_told():
    job = jobs()["hinged"]
    assert job.costs is not None
    assert job.costs.by_default == ("machine_hour", "labour_hour", "watched", "wood", "consumables", "spoiled", "mark_up")
    assert job.costs.amount(3.0) == "3.00"
    priced = replace(job, boards={name: each.model_copy(update={"price": Rates().wood}) for name, each in job.boards.items()})
    assert "wood" not in account(priced, Rates()).by_default
    assert account(job, rates(hardware=None)).lines[-1].what == "consumables"


def test_nothing_built_costs_nothing():
    job = jobs()["ramp"]
    assert costs_of(replace(job, assembly=replace(job.assembly, parts=())), Rates()) is None


@pytest.mark.parametrize(("key", "value", "words"), [
    ("labour_hour", -1, "labour_hour"), ("spoiled", "95 %", "spoiled"), ("mark_up", "-5 %", "mark_up"),
    ("wood", {"value": 3, "per": "foot"}, "wood.per"), ("watched", 0.5, "has no unit"), ("wage", 3, "wage is not a known key"),
])  # fmt: skip
def test_bad_rates_are_named(key: str, value: object, words: str):
    with pytest.raises(InputError, match=words):
        rates(**{key: value})

"""Layouts on boards: nothing overlaps, defects and pins are respected, the grain runs round, and a rack too small is told."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

from kerfwright.core.errors import InputError, PlanError
from kerfwright.plan.layout.by_hand import by_hand, settled
from kerfwright.plan.layout.layout import CouponSize, lay_out, packing_of, price_of
from kerfwright.plan.layout.packing import Item, Packing, Sheet, largest_clear
from kerfwright.plan.layout.rack import RackBoard, rack_of
from kerfwright.plan.layout.solver import Effort, best_stack, least_board, pack
from kerfwright.wood.rough import BOARD_FOOT_MM3
from plan.layout_samples import QUICK, blank, board, check_layout, flaw, laid, wishes

WALLS = ("left", "front", "right", "back")


def box_blanks(n: int = 1) -> list:
    """Four walls, a bottom and a lid, n times."""
    sizes = {"front": (254, 48), "right": (114, 48), "back": (254, 48), "left": (114, 48), "bottom": (224, 84), "lid": (236, 96)}
    return [blank(f"{part} {k}" if n > 1 else part, *size) for k in range(1, n + 1) for part, size in sizes.items()]


FLAWED = [
    board("A", 760, 165, defects=[flaw("knot", 250, 40, 40, 30), flaw("sap", 560, 120, 60, 45)], trim={"left": "15 mm", "top": "5 mm"}),
    board("B", 600, 205, defects=[flaw("split", 480, 80, 40, 20), flaw("pin knot", 200, 100, 2, 2)]),
]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_blanks_keep_clear_of_each_other_of_defects_and_of_trim(seed: int):
    layout = laid(box_blanks(2), FLAWED, effort=Effort(work=0.6, wall_s=20, n_tries=60, seed=seed))
    check_layout(layout, FLAWED, 4.0)
    assert sorted(each.wanted.part for each in layout.placed) == sorted(each.part for each in box_blanks(2))


@pytest.mark.parametrize("seed", range(6))
def test_random_racks(seed: int):
    rng = np.random.default_rng(seed)
    flaws = [[flaw("knot", *map(float, rng.integers((0, 0, 1, 1), (250, 60, 40, 30)))) for _ in range(n)] for n in (0, 1, 2, 3)]
    boards = [board(f"board {k}", *map(float, rng.integers((300, 90), (700, 220))), defects=own) for k, own in enumerate(flaws)]
    blanks = [blank(f"part {k}", float(rng.integers(60, 250)), float(rng.integers(25, 80))) for k in range(8)]
    gap: dict[str, Any] = {"saw_kerf": f"{rng.integers(0, 4)} mm", "bridge": f"{rng.integers(0, 5)} mm"}
    layout = laid(blanks, boards, effort=Effort(work=0.3, wall_s=20, n_tries=40, seed=seed), **gap)
    check_layout(layout, boards, wishes(**gap).gap_mm)
    assert layout.gone_mm2 >= sum(each.length_mm * each.width_mm for each in blanks)


def test_a_blank_may_touch_a_defect_and_the_boards_end():
    """100 mm of clear wood on each side of a split hold a blank of 100 mm each, and not a tenth more."""
    split = [board("A", 210, 50, defects=[flaw("split", 100, 0, 10, 50)])]
    layout = laid([blank("one", 100, 50), blank("two", 100, 50)], split)
    assert sorted(each.x_mm for each in layout.placed) == [0.0, 110.0]
    with pytest.raises(PlanError, match="hold 1 of 2"):
        laid([blank("one", 100, 50), blank("two", 100.1, 50)], split)


def test_the_saws_way_is_kept_to_the_tenth():
    blanks = [blank("one", 100, 50), blank("two", 100, 50)]
    assert laid(blanks, [board("A", 204.5, 50)], saw_kerf="3 mm", bridge="1.5 mm").begun_gap_frac == 0
    with pytest.raises(PlanError, match="hold 1 of 2"):
        laid(blanks, [board("A", 204.4, 50)], saw_kerf="3 mm", bridge="1.5 mm")


def test_the_same_question_has_the_same_answer():
    one, two = (laid(box_blanks(2), FLAWED) for _ in range(2))
    assert not one.by_clock
    assert [(each.board, each.x_mm, each.y_mm) for each in one.placed] == [(each.board, each.x_mm, each.y_mm) for each in two.placed]
    assert one == two


def test_as_little_board_as_can_be():
    """One short board is enough, so the long one stays whole; closed form: 2 x 100 + 4 fills 204 x 50."""
    layout = laid([blank("one", 100, 50), blank("two", 100, 50)], [board("long", 900, 120), board("short", 204, 50)])
    assert [each.name for each in layout.boards] == ["short"]
    assert layout.begun_mm2 == pytest.approx(204 * 50)
    assert layout.gone_mm2 == pytest.approx(204 * 50)
    assert (layout.begun_gap_frac, layout.gone_gap_frac) == (0.0, 0.0)


def test_what_is_left_over_and_used_up():
    """A blank 100 long on a board of 300 leaves 300 - 100 - 4, and no layout leaves more."""
    layout = laid([blank("one", 100, 50)], [board("A", 300, 50)])
    (offcut,) = layout.offcuts
    assert (offcut.length_mm, offcut.width_mm) == pytest.approx((196, 50))
    assert layout.gone_mm2 == pytest.approx(104 * 50)
    assert layout.gone_gap_frac == 0


def test_a_squared_rectangle_is_packed_without_a_gap():
    """Moron's rectangle of 33 x 32 from nine different squares (Z. Moron, 1925; sizes from memory, their areas add up)."""
    squares = (18, 15, 14, 10, 9, 8, 7, 4, 1)
    assert sum(side**2 for side in squares) == 33 * 32
    items = tuple(Item(str(side), side, side, (0, 1)) for side in squares)
    # A second sheet makes a layout with gaps possible; the best one does without it.
    packed = least_board(Packing(items, (Sheet("one", 33, 32), Sheet("two", 40, 40)), 0, (33, 32)), Effort(work=20, wall_s=60, n_tries=40))
    assert packed is not None
    assert (packed.begun, packed.least_begun) == (33 * 32, 33 * 32)


@pytest.mark.parametrize("pinned", [None, "308 mm"])
def test_the_grain_runs_round(pinned: str | None):
    """In line in the order of the walls from outside; turned end for end, which the pin forces, in the opposite order."""
    blanks = [blank("front", 200, 48), blank("right", 100, 54), blank("back", 200, 54), blank("left", 100, 54)]
    pins: dict[str, Any] = {"pinned": {"front": {"board": "A", "at": [pinned, "10 mm"]}}} if pinned else {}
    layout = laid(blanks, [board("A", 640, 70), board("B", 500, 200)], WALLS, **pins)
    check_layout(layout, [board("A", 640, 70), board("B", 500, 200)], 4.0)
    place = {each.wanted.part: each for each in layout.placed}
    assert {each.board for each in layout.placed} == {"A"}
    order = WALLS[::-1] if pinned else WALLS
    for one, two in itertools.pairwise(order):
        assert place[two].x_mm - place[one].x_mm == pytest.approx(place[one].wanted.length_mm + 4)
        # The walls' feet lie level: the lower edges, or the upper ones when all are turned.
        feet = [place[part].y_mm + (place[part].wanted.width_mm if pinned else 0) for part in (one, two)]
        assert feet[0] == pytest.approx(feet[1])
    assert {each.turned for each in layout.placed} == {bool(pinned)}
    if pinned:
        assert (place["front"].x_mm, place["front"].y_mm) == pytest.approx((308, 10))


def test_no_board_is_long_enough_for_the_grain_to_run_round():
    with pytest.raises(PlanError, match=r"hold 0 of 4 parts.*lie apart \(grain_round"):
        laid([blank("front", 200, 48), blank("right", 100, 48), blank("back", 200, 48), blank("left", 100, 48)],
             [board("A", 500, 70), board("B", 500, 70)], WALLS)


@pytest.mark.parametrize(("length_mm", "width_mm", "way"), [(420, 60, "end to end"), (230, 110, "edge to edge")])
def test_matched_parts_lie_beside_one_another(length_mm: float, width_mm: float, way: str):
    boards = [board("A", length_mm, width_mm), board("B", length_mm - 1, width_mm - 1)]
    layout = laid([blank("lid 1", 200, 50), blank("other", 100, 20), blank("lid 2", 200, 50)], boards, matched=[["lid 1", "lid 2"]])
    place = {each.wanted.part: each for each in layout.placed}
    assert place["lid 1"].board == place["lid 2"].board
    step = (place["lid 2"].x_mm - place["lid 1"].x_mm, place["lid 2"].y_mm - place["lid 1"].y_mm)
    assert step == pytest.approx((204, 0) if way == "end to end" else (0, 54))


def test_a_pinned_part_stays():
    pin = {"lid": {"board": "A", "at": ["330 mm", "12.5 mm"]}}
    layout = laid(box_blanks(), FLAWED, pinned=pin)
    check_layout(layout, FLAWED, 4.0)
    (lid,) = (each for each in layout.placed if each.wanted.part == "lid")
    assert (lid.board, lid.x_mm, lid.y_mm) == ("A", pytest.approx(330), pytest.approx(12.5))


@pytest.mark.parametrize(
    ("pin", "error", "told"),
    [
        ({"board": "A", "at": ["200 mm", "20 mm"]}, PlanError, "would cover a knot"),
        ({"board": "A", "at": ["0 mm", "20 mm"]}, PlanError, "does not lie on the clear part"),
        ({"board": "C", "at": ["0 mm", "20 mm"]}, InputError, 'no board called "C" on the rack. Accepted: "A", "B"'),
    ],
)
def test_a_pin_that_cannot_be(pin: dict, error: type[Exception], told: str):
    with pytest.raises(error, match=told):
        laid(box_blanks(), FLAWED, pinned={"lid": pin})


@pytest.mark.parametrize(
    ("boards", "told"),
    [
        ([board("A", 900, 120, thickness=["8 mm"])],
         "front: no board on the rack is 6 mm thick; there are 8 mm. Accepted: 6 mm to within 0.3 mm"),
        ([board("A", 250, 120), board("B", 200, 150)],
         "front: no board 6 mm thick is long enough: the longest has 250 mm clear, the widest 150 mm. Accepted: 254 mm x 48 mm clear"),
        ([board("A", 900, 60)], "bottom: no board 6 mm thick is wide enough.*Accepted: 224 mm x 84 mm clear.*glue one up"),
        ([board("A", 900, 60), board("B", 230, 150)], "lid: no board 6 mm thick is both long and wide enough"),
        # 254, 224 and 254 find room beside the lid: the two short walls do not. 114 + 4 + 114 of board are missing.
        ([board("A", 500, 152)],
         "the rack: the boards hold 4 of 6 parts; no room for right, left. Accepted: in all 232 mm of board 48 mm wide and 6 mm"),
    ],
)  # fmt: skip
def test_a_rack_too_small_says_what_is_missing(boards: list, told: str):
    with pytest.raises(PlanError, match=told.replace("(", r"\(")):
        laid(box_blanks(), boards)


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"matched": [["lid", "tray"]]}, "matched names 'tray'"),
        ({"matched": [["lid", "bottom"], ["lid", "front"]]}, "lid is matched twice"),
        ({"thickness": {"tray": "6 mm"}}, "thickness names 'tray'"),
    ],
)
def test_wishes_for_parts_that_are_not(keys: dict, told: str):
    with pytest.raises(InputError, match=told):
        laid(box_blanks(), FLAWED, **keys)


def test_a_blank_has_the_thickness_measured_near_it():
    points = [(30, 20, 5.8), (60, 40, 5.9), (110, 30, 6.0), (700, 20, 6.1), (750, 30, 6.2), (790, 40, 6.3)]
    wood = board("A", 800, 50, thickness=[f"{t} mm" for *_, t in points], thickness_at=[[f"{x} mm", f"{y} mm"] for x, y, _ in points])
    layout = laid([blank("one", 120, 50), blank("two", 100, 50)], [wood], pinned={"two": {"board": "A", "at": ["700 mm", "0 mm"]},
                                                                                "one": {"board": "A", "at": ["0 mm", "0 mm"]}})
    thick = {each.wanted.part: each.blank.thickness_points_mm for each in layout.placed}
    assert thick == {"one": (5.8, 5.9, 6.0), "two": (6.1, 6.2, 6.3)}
    # In the middle only one point is near: all of them speak.
    assert RackBoard("A", wood).thickness_points_mm(300, 0, 100, 50) == wood.thickness_points_mm


def test_coupons_find_room_beside_the_parts():
    boards = [board("A", 300, 50), board("B", 104, 60, thickness=["6.1 mm"]), board("thin", 400, 60, thickness=["3 mm"])]
    asked = [blank("one", 100, 50), blank("two", 104, 60), blank("three", 300, 60, 3.0)]
    layout = lay_out(asked, rack_of(boards), wishes(), coupons=[CouponSize("kerf comb", (70, 40), 6.0)], effort=QUICK)
    check_layout(layout, boards, 4.0)
    assert [(each.board, each.coupon, each.length_mm, each.width_mm) for each in layout.coupons] == [("A", "kerf comb", 70, 40)]
    assert layout.no_room == ("kerf comb on B",)  # and none is wanted on wood of another thickness


def test_board_feet():
    """A board foot is a foot square and an inch thick; 1 in x 6 in x 8 ft is 4 of them (the trade's definition)."""
    foot_mm, inch_mm = 304.8, 25.4
    assert inch_mm * 6 * inch_mm * 8 * foot_mm / BOARD_FOOT_MM3 == pytest.approx(4, rel=1e-12)
    plank = board("A", 8 * foot_mm, 6 * inch_mm, thickness=["25.4 mm"], price={"value": 9.5, "per": "board foot"})
    assert price_of(plank) == pytest.approx(38.0)
    assert price_of(plank.model_copy(update={"price": None})) is None
    layout = laid([blank("one", 300, 100, 25.4)], [plank])
    assert layout.boards_mm3 / BOARD_FOOT_MM3 == pytest.approx(4)
    assert layout.blanks_mm3 / BOARD_FOOT_MM3 == pytest.approx(300 * 100 * 25.4 / 2359737.216)
    assert layout.price == pytest.approx(38.0)


def test_prices_by_volume_and_by_board():
    for per, value, price in (("m3", 1500, 1500 * 0.002), ("board", 7.0, 7.0)):
        assert price_of(board("A", 1000, 100, thickness=["20 mm"], price={"value": value, "per": per})) == pytest.approx(price)


def test_several_boards_alike_are_told_apart():
    layout = laid([blank("one", 100, 50), blank("two", 100, 50)], [board("strip", 120, 50, pieces=2)])
    assert sorted(each.board for each in layout.placed) == ["strip, 1 of 2", "strip, 2 of 2"]
    with pytest.raises(InputError, match='two boards are called "strip"'):
        rack_of([board("strip", 120, 50), board("strip", 100, 50)])


@pytest.mark.parametrize("seed", range(5))
def test_the_largest_clear_rectangle(seed: int):
    """Against counting all rectangles on a small grid."""
    rng = np.random.default_rng(seed)
    boxes = [(x, y, x + w, y + h) for x, y, w, h in rng.integers((0, 0, 1, 1), (10, 7, 5, 4), size=(5, 4)).tolist()]
    taken = np.zeros((12, 9), bool)
    for x0, y0, x1, y1 in boxes:
        taken[x0:x1, y0:y1] = True
    best = max(
        ((x1 - x0) * (y1 - y0) for x0, x1 in itertools.combinations(range(13), 2) for y0, y1 in itertools.combinations(range(10), 2)
         if x1 - x0 >= 2 and y1 - y0 >= 2 and not taken[x0:x1, y0:y1].any()), default=0,
    )  # fmt: skip
    found = largest_clear(12, 9, boxes, (2, 2))
    assert (0 if found is None else (found[2] - found[0]) * (found[3] - found[1])) == best
    assert found is None or not taken[found[0] : found[2], found[1] : found[3]].any()


def test_settling_uses_up_no_more_wood():
    packing = packing_of(box_blanks(2), rack_of(FLAWED), wishes(), ())
    first = by_hand(packing, 30, 1)
    assert first is not None
    after = settled(packing, first)
    assert after.gone <= first.gone
    assert sum(sum(place[1:]) for place in after.places if place) <= sum(sum(place[1:]) for place in first.places if place)


def test_stopping_gives_the_best_so_far():
    packing = packing_of(box_blanks(2), rack_of(FLAWED), wishes(), ())
    seen: list[tuple[float, float]] = []
    packed = pack(packing, Effort(work=1.0, wall_s=20, n_tries=30, progress=lambda *each: seen.append(each), stop=lambda: True))
    assert packed is not None
    assert None not in packed.places
    assert seen[0][0] == pytest.approx(packed.begun / 100)


def test_sums_of_widths():
    assert best_stack([52, 52, 52, 100], 160) == 156
    assert best_stack([52, 100], 160) == 152
    assert best_stack([200], 160) == 0

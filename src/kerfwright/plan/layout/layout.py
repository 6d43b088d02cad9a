"""Parts laid out on the boards of the rack: from wishes to places, what is left over, and how good it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kerfwright.core.errors import InputError, PlanError
from kerfwright.core.units import format_mm
from kerfwright.plan.layout.missing import boards_for, too_little
from kerfwright.plan.layout.packing import TENTHS, Item, Match, Packed, Packing, Place, Rect, Run, largest_clear
from kerfwright.plan.layout.rack import RackBoard
from kerfwright.plan.layout.solver import Effort, pack
from kerfwright.plan.layout.wanted import Wanted
from kerfwright.plan.layout.wishes import LayoutWishes
from kerfwright.wood.board import Board
from kerfwright.wood.rough import BOARD_FOOT_MM3

NAME_LETTERS = 60  # as long as a board's name may be


@dataclass(frozen=True)
class CouponSize:
    """A coupon that wants a place on each board begun of a thickness. size_mm: length and width of the wood it takes."""

    kind: str
    size_mm: tuple[float, float]
    thickness_mm: float


@dataclass(frozen=True)
class Placed:
    """One blank on its board, in the board's frame. turned: it lies end for end, its right end to the board's left.

    blank: the board file of the blank as the laser gets it, with the thickness measured near it.
    """

    wanted: Wanted
    board: str
    x_mm: float
    y_mm: float
    turned: bool
    blank: Board


@dataclass(frozen=True)
class Offcut:
    """A clear rectangle that is left, in the board's frame. coupon: what is to be burnt there, or nothing."""

    board: str
    x_mm: float
    y_mm: float
    length_mm: float
    width_mm: float
    coupon: str = ""


@dataclass(frozen=True)
class Layout:
    """boards: those that are begun. no_room: coupons, as "kind on board", that found no place.

    begun_mm2: clear area of the boards begun; gone_mm2: of it what is no offcut (of three a board): parts, waste, slits, scrap.
    By the gaps another layout may begin less board, or use up less of these, at most: 0 where this is proven to be the best.
    by_clock: stopped by the clock, so that another run may differ.
    """

    boards: tuple[RackBoard, ...]
    placed: tuple[Placed, ...]
    offcuts: tuple[Offcut, ...]
    coupons: tuple[Offcut, ...]
    no_room: tuple[str, ...]
    begun_mm2: float
    gone_mm2: float
    begun_gap_frac: float
    gone_gap_frac: float
    by_clock: bool

    def on(self, board: str) -> tuple[Placed, ...]:
        """What lies on a board, from its left end."""
        return tuple(sorted((each for each in self.placed if each.board == board), key=lambda each: (each.x_mm, each.y_mm)))

    @property
    def parts_mm3(self) -> float:
        """Volume of the parts' own rectangles."""
        return sum(each.wanted.part_mm[0] * each.wanted.part_mm[1] * each.blank.thickness_mm for each in self.placed)

    @property
    def blanks_mm3(self) -> float:
        """Volume of the blanks as sawn."""
        return sum(each.wanted.length_mm * each.wanted.width_mm * each.blank.thickness_mm for each in self.placed)

    @property
    def boards_mm3(self) -> float:
        """Volume of the boards begun, whole."""
        return sum(each.board.length_mm * each.board.width_mm * each.board.thickness_mm for each in self.boards)

    @property
    def price(self) -> float | None:
        """Of the boards begun, whole; None when one has no price."""
        prices = [price_of(each.board) for each in self.boards]
        return None if None in prices else sum(each for each in prices if each is not None)


def price_of(board: Board) -> float | None:
    """Of one whole board."""
    if board.price is None:
        return None
    volume_mm3 = board.length_mm * board.width_mm * board.thickness_mm
    per = {"board": 1.0, "m3": volume_mm3 / 1e9, "board foot": volume_mm3 / BOARD_FOOT_MM3}
    return board.price.value * per[board.price.per]


def lay_out(
    wanted: Sequence[Wanted],
    rack: Sequence[RackBoard],
    wishes: LayoutWishes,
    in_line: tuple[str, ...] = (),
    coupons: Sequence[CouponSize] = (),
    effort: Effort | None = None,
) -> Layout:
    """Lay blanks out on boards. in_line: walls round which the grain runs, where that is wished.

    Raises PlanError when the boards are too few or too small, saying what is missing; InputError for wishes that cannot be.
    """
    effort = effort or Effort()
    packing = packing_of(wanted, rack, wishes, in_line)
    try:
        packed = pack(packing, effort)
    except TimeoutError as bad:
        raise PlanError(
            f"no layout was found in {effort.wall_s:g} s, and it was not shown that there is none",
            remedy="Give it more time, or add a board to the rack",
            where="the rack",
        ) from bad
    if packed is None:
        raise too_little(packing, wanted, effort)
    return _layout(packing, packed, wanted, rack, coupons, wishes.tolerance_mm)


def packing_of(wanted: Sequence[Wanted], rack: Sequence[RackBoard], wishes: LayoutWishes, in_line: tuple[str, ...]) -> Packing:
    """The question in tenths of a millimetre."""
    index = {each.part: i for i, each in enumerate(wanted)}
    _check_names(wishes, index)
    items: list[Item] = []
    for each in wanted:
        pinned = _pinned(each, rack, wishes)
        sheets = (pinned[0],) if pinned is not None else boards_for(each, rack, wishes.tolerance_mm)
        items.append(Item(each.part, round(each.length_mm * TENTHS), round(each.width_mm * TENTHS), sheets, pinned))
    useful = (round(wishes.useful_mm[0] * TENTHS), round(wishes.useful_mm[1] * TENTHS))
    runs = (Run(tuple(index[part] for part in in_line)),) if in_line else ()
    matches = tuple(Match(tuple(index[part] for part in group)) for group in wishes.matched)
    gap = round(wishes.gap_mm * TENTHS)
    return Packing(tuple(items), tuple(each.sheet for each in rack), gap, useful, runs, matches)


def _check_names(wishes: LayoutWishes, parts: dict[str, int]) -> None:
    for key, names in (
        ("thickness", list(wishes.thickness_mm)),
        ("pinned", list(wishes.pinned)),
        ("matched", [part for group in wishes.matched for part in group]),
    ):
        unknown = [name for name in names if name not in parts and not (key == "thickness" and name == "all")]
        if unknown:
            raise InputError(f"{key} names {unknown[0]!r}, which is no part of this piece", accepted=", ".join(parts), where="wishes")
    matched = [part for group in wishes.matched for part in group]
    twice = sorted({part for part in matched if matched.count(part) > 1})
    if twice:
        raise InputError(f"{twice[0]} is matched twice", accepted="each part in one group", where="wishes")


def _pinned(wanted: Wanted, rack: Sequence[RackBoard], wishes: LayoutWishes) -> Place | None:
    """Where a person has placed a blank, in tenths on its sheet. Raises when it cannot lie there."""
    pin = wishes.pinned.get(wanted.part)
    if pin is None:
        return None
    where = f"pinned.{wanted.part}"
    k = next((k for k, each in enumerate(rack) if each.name == pin.board), None)
    if k is None:
        names = ", ".join(f'"{each.name}"' for each in rack)
        raise InputError(f'there is no board called "{pin.board}" on the rack', accepted=names, where=where)
    boards_for(wanted, [rack[k]], wishes.tolerance_mm)
    sheet, (clear_x_mm, clear_y_mm, *_) = rack[k].sheet, rack[k].board.clear_mm
    x, y = round((pin.at_mm[0] - clear_x_mm) * TENTHS), round((pin.at_mm[1] - clear_y_mm) * TENTHS)
    length, width = round(wanted.length_mm * TENTHS), round(wanted.width_mm * TENTHS)
    if x < 0 or y < 0 or x + length > sheet.length or y + width > sheet.width:
        reach = f"{format_mm(sheet.length / TENTHS)} x {format_mm(sheet.width / TENTHS)} from {clear_x_mm:g}, {clear_y_mm:g} mm"
        raise PlanError(
            f"its blank of {format_mm(wanted.length_mm)} x {format_mm(wanted.width_mm)} does not lie on the clear part of the board there",
            accepted=f"a place within {reach}",
            where=where,
        )
    for box, defect in zip(sheet.defects, rack[k].board.defects, strict=False):
        if x < box[2] and x + length > box[0] and y < box[3] and y + width > box[1]:
            raise PlanError(f"its blank would cover a {defect.what}", remedy="Pin it elsewhere, or unpin it", where=where)
    return k, x, y


def _layout(
    packing: Packing,
    packed: Packed,
    wanted: Sequence[Wanted],
    rack: Sequence[RackBoard],
    coupons: Sequence[CouponSize],
    tolerance_mm: float,
) -> Layout:
    turned = {i for run, said in zip(packing.runs, packed.turned, strict=True) if said for i in run.members}
    placed: list[Placed] = []
    for i, (each, place) in enumerate(zip(wanted, packed.places, strict=True)):
        assert place is not None
        board = rack[place[0]]
        x_mm, y_mm = (clear_mm + at / TENTHS for clear_mm, at in zip(board.board.clear_mm[:2], place[1:], strict=True))
        placed.append(Placed(each, board.name, x_mm, y_mm, i in turned, _blank(each, board, x_mm, y_mm)))
    offcuts: list[Offcut] = []
    burnt: list[Offcut] = []
    no_room: list[str] = []
    boxes = packing.boxes(packed.places)
    begun = [k for k, own in enumerate(boxes) if own]
    for k in begun:
        taken = list(boxes[k])
        for coupon in coupons:
            if abs(coupon.thickness_mm - rack[k].board.thickness_mm) > tolerance_mm:
                continue
            box = _coupon_box(packing, k, taken, coupon)
            if box is None:
                no_room.append(f"{coupon.kind} on {rack[k].name}")
                continue
            taken.append(box)
            burnt.append(_offcut(packing, rack[k], box, coupon.kind))
        offcuts += [_offcut(packing, rack[k], box) for box in packing.offcuts(k, taken)]
    clear_mm2 = sum(rack[k].sheet.length * rack[k].sheet.width for k in begun) / TENTHS**2
    counted = [_offcut(packing, rack[k], box) for k in begun for box in packing.offcuts(k, boxes[k])]
    return Layout(
        boards=tuple(rack[k] for k in begun),
        placed=tuple(placed),
        offcuts=tuple(offcuts),
        coupons=tuple(burnt),
        no_room=tuple(no_room),
        begun_mm2=clear_mm2,
        gone_mm2=clear_mm2 - sum(each.length_mm * each.width_mm for each in counted),
        begun_gap_frac=packed.begun_gap_frac,
        gone_gap_frac=packed.gone_gap_frac,
        by_clock=packed.by_clock,
    )


def _coupon_box(packing: Packing, k: int, taken: list[Rect], coupon: CouponSize) -> Rect | None:
    """In the smallest offcut that holds it, at its lower left; grown."""
    size = tuple(round(each * TENTHS) + packing.gap for each in coupon.size_mm)
    room: list[Rect] = []
    while (box := largest_clear(*packing.grown(k), [*packing.barred[k], *taken, *room], (size[0], size[1]))) is not None:
        room.append(box)
    if not room:
        return None
    x0, y0, *_ = min(room, key=lambda box: (box[2] - box[0]) * (box[3] - box[1]))
    return x0, y0, x0 + size[0], y0 + size[1]


def _offcut(packing: Packing, board: RackBoard, box: Rect, coupon: str = "") -> Offcut:
    clear_x_mm, clear_y_mm, *_ = board.board.clear_mm
    length, width = (box[2] - box[0] - packing.gap) / TENTHS, (box[3] - box[1] - packing.gap) / TENTHS
    return Offcut(board.name, clear_x_mm + box[0] / TENTHS, clear_y_mm + box[1] / TENTHS, length, width, coupon)


def _blank(wanted: Wanted, board: RackBoard, x_mm: float, y_mm: float) -> Board:
    points_mm = board.thickness_points_mm(x_mm, y_mm, wanted.length_mm, wanted.width_mm)
    name = f"{board.name}: {wanted.part}"
    if len(name) > NAME_LETTERS:
        name = board.name[: NAME_LETTERS - len(wanted.part) - 3].rstrip() + f"…: {wanted.part}"
    return Board.model_validate(
        {
            "schema": "kerfwright-board-1",
            "name": name,
            "species": board.board.species,
            "length": f"{wanted.finished_mm[0]:.9g} mm",
            "width": f"{wanted.finished_mm[1]:.9g} mm",
            "thickness": [f"{each:.9g} mm" for each in points_mm],
            "edges": "milled" if wanted.milled else "rough",
            "moisture": None if board.board.moisture_frac is None else f"{100 * board.board.moisture_frac:.9g} %",
            "sawn": board.board.sawn,
            "price": _share_of_price(wanted, board.board),
        }
    )


def _share_of_price(wanted: Wanted, board: Board) -> dict[str, object] | None:
    """A blank's price: its share of the board's face where a board has one price."""
    if board.price is None:
        return None
    share = wanted.length_mm * wanted.width_mm / (board.length_mm * board.width_mm) if board.price.per == "board" else 1.0
    return {"value": round(board.price.value * share, 2), "per": board.price.per}

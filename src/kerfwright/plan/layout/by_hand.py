"""A first layout as one would make it by hand, again and again in another order: quick, good, and no proof of anything.

Vocabulary: a *block* is what stays together: one blank, a run, or matched blanks, in one of a few *arrangements*.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from kerfwright.plan.layout.packing import Match, Packed, Packing, Place, Rect, Run

Offsets = tuple[tuple[int, int, int], ...]  # item, and where it lies from the block's lower left corner
N_SETTLINGS = 3
WARM_FRAC = 0.01  # of the wood gone: how much worse a try may be at first (ours)


@dataclass(frozen=True)
class Block:
    """arrangements: length, width and offsets of each. sheets: where all members may lie. run: its index, or None."""

    arrangements: tuple[tuple[int, int, Offsets], ...]
    sheets: tuple[int, ...]
    run: int | None
    pinned: tuple[int, Place] | None  # an item, and where a person has placed it


@dataclass
class _Board:
    """What lies on one sheet so far, grown; corners that a blank may be pushed into."""

    boxes: list[Rect] = field(default_factory=list[Rect])
    end: int = 0


@dataclass(frozen=True)
class _Way:
    """In which order blocks are laid, how each is arranged, and in which order sheets are begun."""

    order: tuple[int, ...]
    arranged: tuple[int, ...]
    sheets: tuple[int, ...]


@dataclass(frozen=True)
class _Laid:
    """What came of a way. guide: what the search goes by."""

    way: _Way
    places: tuple[Place | None, ...]
    begun: int
    gone: int

    @property
    def guide(self) -> int:
        return 2 * self.begun + self.gone


def by_hand(packing: Packing, n_tries: int, seed: int) -> Packed | None:
    """The best of many tries; None when none of them placed every blank."""
    tries = _Tries(packing)
    rng = np.random.default_rng(seed)
    laid = [(way, tries.lay(way)) for way in tries.first_ways()]
    way, now = min(laid, key=lambda each: (each[1] is None, each[1].guide if each[1] else 0))
    best = now
    for n in range(n_tries):
        new_way = tries.another(way, rng)
        new = tries.lay(new_way)
        if now is not None and (new is None or new.guide > now.guide):
            warm = WARM_FRAC * now.guide * (1 - n / n_tries)
            if new is None or rng.random() >= np.exp((now.guide - new.guide) / max(warm, 1.0)):
                continue
        way, now = new_way, new
        if new is not None and (best is None or (new.begun, new.gone) < (best.begun, best.gone)):
            best = new
    if best is None:
        return None
    turned = tuple(bool(best.way.arranged[b]) for b, block in enumerate(tries.blocks) if block.run is not None)
    return Packed(best.places, turned, best.begun, best.gone)


class _Tries:
    """Lays blocks in an order, each where it costs least, and remembers what sheets were worth."""

    def __init__(self, packing: Packing) -> None:
        self.packing = packing
        self.blocks = _blocks(packing)
        self.worth: dict[tuple[int, frozenset[Rect]], int] = {}

    def first_ways(self) -> list[_Way]:
        """Largest, widest or longest blocks first; smallest or largest sheets first."""
        sizes = [block.arrangements[0][:2] for block in self.blocks]
        keys: tuple[Callable[[int], object], ...] = (
            lambda b: -sizes[b][0] * sizes[b][1],
            lambda b: (-sizes[b][1], -sizes[b][0]),
            lambda b: (-sizes[b][0], -sizes[b][1]),
        )
        orders = [tuple(sorted(range(len(sizes)), key=key)) for key in keys]  # type: ignore[arg-type]
        small_first = tuple(sorted(range(len(self.packing.sheets)), key=self.packing.area))
        return [_Way(order, (0,) * len(sizes), sheets) for sheets in (small_first, small_first[::-1]) for order in orders]

    def another(self, way: _Way, rng: np.random.Generator) -> _Way:
        """Two blocks change places, or one goes elsewhere in the order; now and then one is arranged otherwise, or sheets
        are begun in another order."""
        order, arranged, sheets = list(way.order), list(way.arranged), list(way.sheets)
        a, b = (int(each) for each in rng.integers(len(order), size=2))
        if rng.random() < 0.5:
            order[a], order[b] = order[b], order[a]
        else:
            order.insert(b, order.pop(a))
        n = len(self.blocks[a].arrangements)
        if n > 1 and rng.random() < 0.5:
            arranged[a] = int(rng.integers(n))
        if rng.random() < 0.1:
            k, m = (int(each) for each in rng.integers(len(sheets), size=2))
            sheets[k], sheets[m] = sheets[m], sheets[k]
        return _Way(tuple(order), tuple(arranged), tuple(sheets))

    def lay(self, way: _Way) -> _Laid | None:
        """None when a block found no room."""
        packing = self.packing
        boards = [_Board() for _ in packing.sheets]
        places: list[Place | None] = [None] * len(packing.items)
        # What a person has pinned lies there before anything else is laid.
        for b in sorted(way.order, key=lambda b: self.blocks[b].pinned is None):
            length, width, offsets = self.blocks[b].arrangements[way.arranged[b]]
            spot = self._spot(boards, way, self.blocks[b], length, width, offsets)
            if spot is None:
                return None
            k, x, y = spot
            boards[k].end = max(boards[k].end, x + length)
            for i, dx, dy in offsets:
                item = packing.items[i]
                places[i] = (k, x + dx, y + dy)
                boards[k].boxes.append((x + dx, y + dy, x + dx + item.length + packing.gap, y + dy + item.width + packing.gap))
        begun = sum(packing.area(k) for k, board in enumerate(boards) if board.boxes)
        gone = sum(self._worth(k, board.boxes) for k, board in enumerate(boards) if board.boxes)
        return _Laid(way, tuple(places), begun, gone)

    def _worth(self, k: int, boxes: list[Rect]) -> int:
        key = (k, frozenset(boxes))
        if key not in self.worth:
            self.worth[key] = self.packing.gone(k, boxes)
        return self.worth[key]

    def _spot(self, boards: list[_Board], way: _Way, block: Block, length: int, width: int, offsets: Offsets) -> Place | None:
        """On a sheet that is begun if it can be, where it reaches least beyond what lies there."""
        if block.pinned is not None:
            item, (k, x, y) = block.pinned
            dx, dy = next((dx, dy) for i, dx, dy in offsets if i == item)
            free = self.free(boards[k], k, np.array([x - dx]), np.array([y - dy]), length, width)
            return (k, x - dx, y - dy) if x >= dx and y >= dy and bool(free[0, 0]) else None
        best: tuple[tuple[int, int, int], Place] | None = None
        for rank, k in enumerate(way.sheets):
            corner = self._corner(boards[k], k, length, width) if k in block.sheets else None
            if corner is not None:
                more = max(0, corner[0] + length - boards[k].end) * self.packing.sheets[k].width
                rated = (0 if boards[k].boxes else 1 + rank, more, corner[0])
                if best is None or rated < best[0]:
                    best = (rated, (k, *corner))
        return best[1] if best is not None else None

    def _corner(self, board: _Board, k: int, length: int, width: int) -> tuple[int, int] | None:
        """The leftmost corner, then the lowest, where it fits."""
        taken = [*self.packing.barred[k], *board.boxes]
        x = np.array(sorted({0, *(box[2] for box in taken)}))
        y = np.array(sorted({0, *(box[3] for box in taken)}))
        free = self.free(board, k, x, y, length, width)
        if not free.any():
            return None
        first = int(np.argmax(free.any(axis=1)))
        return int(x[first]), int(y[int(np.argmax(free[first]))])

    def free(
        self, board: _Board, k: int, x: np.ndarray[tuple[int, ...], np.dtype[np.int64]],
        y: np.ndarray[tuple[int, ...], np.dtype[np.int64]], length: int, width: int,
    ) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:  # fmt: skip
        """Whether a block fits with its corner at every x and y. (len(x), len(y))"""
        sheet, gap = self.packing.sheets[k], self.packing.gap
        inside = (x + length <= sheet.length)[:, None] & (y + width <= sheet.width)[None, :]
        taken = np.array([*self.packing.barred[k], *board.boxes]).reshape(-1, 4)
        over_x = (x[:, None] < taken[:, 2]) & (x[:, None] + length + gap > taken[:, 0])
        over_y = (y[:, None] < taken[:, 3]) & (y[:, None] + width + gap > taken[:, 1])
        return inside & ((over_x.astype(np.float32) @ over_y.T.astype(np.float32)) == 0)


def _blocks(packing: Packing) -> list[Block]:
    groups: list[tuple[Run | Match | None, tuple[int, ...]]] = [(each, each.members) for each in (*packing.runs, *packing.matches)]
    bound = {i for _, members in groups for i in members}
    groups += [(None, (i,)) for i in range(len(packing.items)) if i not in bound]
    return [_block(packing, group, members) for group, members in groups]


def _block(packing: Packing, group: Run | Match | None, members: tuple[int, ...]) -> Block:
    sheets = [k for k in packing.items[members[0]].sheets if all(k in packing.items[i].sheets for i in members)]
    pinned = next(((i, place) for i in members if (place := packing.items[i].pinned) is not None), None)
    if isinstance(group, Run):
        arrangements = (_in_line(packing, members), _in_line(packing, members[::-1], upper_level=True))
        return Block(arrangements, tuple(sheets), packing.runs.index(group), pinned)
    arrangements = (_in_line(packing, members),) if group is None else (_in_line(packing, members), _beside(packing, members))
    return Block(arrangements, tuple(sheets), None, pinned)


def _in_line(packing: Packing, members: tuple[int, ...], upper_level: bool = False) -> tuple[int, int, Offsets]:
    offsets: list[tuple[int, int, int]] = []
    x, width = 0, max(packing.items[i].width for i in members)
    for i in members:
        offsets.append((i, x, width - packing.items[i].width if upper_level else 0))
        x += packing.items[i].length + packing.gap
    return x - packing.gap, width, tuple(offsets)


def _beside(packing: Packing, members: tuple[int, ...]) -> tuple[int, int, Offsets]:
    offsets: list[tuple[int, int, int]] = []
    y = 0
    for i in members:
        offsets.append((i, 0, y))
        y += packing.items[i].width + packing.gap
    return max(packing.items[i].length for i in members), y - packing.gap, tuple(offsets)


def settled(packing: Packing, packed: Packed) -> Packed:
    """The same, every block slid to the left and down as far as it goes without using up more wood."""
    tries = _Tries(packing)
    places = list(packed.places)
    for _ in range(N_SETTLINGS):
        for block in sorted((each for each in tries.blocks if each.pinned is None), key=lambda each: _low(each, places)):
            _slide(tries, block, places)
    gone = sum(packing.gone(k, own) for k, own in enumerate(packing.boxes(places)) if own)
    return replace(packed, places=tuple(places), gone=gone, least_gone=min(packed.least_gone, gone))


def _low(block: Block, places: list[Place | None]) -> tuple[int, int, int]:
    return min(place for i, _, _ in block.arrangements[0][2] if (place := places[i]) is not None)


def _slide(tries: _Tries, block: Block, places: list[Place | None]) -> None:
    packing = tries.packing
    members = [i for i, _, _ in block.arrangements[0][2]]
    held = {i: place for i in members if (place := places[i]) is not None}
    k = held[members[0]][0]
    x = min(place[1] for place in held.values())
    y = min(place[2] for place in held.values())
    length = max(place[1] + packing.items[i].length for i, place in held.items()) - x
    width = max(place[2] + packing.items[i].width for i, place in held.items()) - y
    before = packing.gone(k, packing.boxes(places)[k])
    for i in members:
        places[i] = None
    board = _Board(packing.boxes(places)[k])
    taken = [*packing.barred[k], *board.boxes]
    xs = np.array(sorted({0, x, *(box[2] for box in taken if box[2] < x)}))
    ys = np.array(sorted({0, y, *(box[3] for box in taken if box[3] < y)}))
    free = tries.free(board, k, xs, ys, length, width)
    for a, b in np.argwhere(free).tolist():  # leftmost first, then lowest; where it lay is among them
        for i, place in held.items():
            places[i] = (k, place[1] - x + int(xs[a]), place[2] - y + int(ys[b]))
        if packing.gone(k, packing.boxes(places)[k]) <= before:
            return
    places[:] = [held.get(i, place) for i, place in enumerate(places)]

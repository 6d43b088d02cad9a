"""The constraint solver: begins with the layout made by hand, makes it better where it can, and says how good any could be.

It is imported when it is needed: that takes a second.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum, auto
from typing import TYPE_CHECKING, Any

from kerfwright.plan.layout.by_hand import by_hand, settled
from kerfwright.plan.layout.packing import N_OFFCUTS, TENTHS, Item, Match, Packed, Packing, Place, Rect, Run

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

Progress = Callable[[float, float], None]  # area of board begun and of wood gone, in mm2

N_TRIES = 500  # layouts made by hand, at most
N_TRIES_EACH = 40  # for each blank
BY_CLOCK_FRAC = 0.98  # of the time: from here on the clock has stopped it


@dataclass(frozen=True)
class Effort:
    """How long to think. work: in the solver's own units, about seconds of an idle computer, the same on every machine;
    wall_s: the clock's limit; where it strikes first another run may differ. stop: asked at each better layout."""

    work: float = 3.0
    wall_s: float = 30.0
    n_tries: int = N_TRIES
    seed: int = 1
    progress: Progress | None = None
    stop: Callable[[], bool] | None = None


def pack(packing: Packing, effort: Effort | None = None) -> Packed | None:
    """The layout that begins the least board, and of these the one with the least wood gone, as far as was found.

    None when it was shown that there is none. Raises TimeoutError when neither a layout nor a proof was found.
    """
    effort = effort or Effort()
    half = replace(effort, work=effort.work / 2, wall_s=effort.wall_s / 2)
    few = least_board(packing, half)
    if few is None or (effort.stop is not None and effort.stop()):
        return few
    return _least_gone(packing, few, half)


def least_board(packing: Packing, effort: Effort) -> Packed | None:
    """The layout that begins the least board; as for ``pack``."""
    first = by_hand(packing, _n_tries(packing, effort), effort.seed)
    model = _Model(packing, Aim.LEAST_BOARD)
    if first is not None:
        _tell(effort, first)
        model.begin_with(first)
    few = _thought(model, effort, first)
    if first is None or few is None or few.begun < first.begun:
        return few
    return replace(first, least_begun=few.least_begun, by_clock=few.by_clock)


def _least_gone(packing: Packing, few: Packed, effort: Effort) -> Packed:
    """The layout with the least wood gone on the sheets that ``few`` begins."""
    begun = {place[0] for place in few.places if place is not None}
    items = tuple(replace(item, sheets=tuple(k for k in item.sheets if k in begun)) for item in packing.items)
    on_these = replace(packing, items=items)
    again = by_hand(on_these, _n_tries(packing, effort), effort.seed)
    first = min((each for each in (few, again) if each is not None), key=lambda each: each.gone)
    _tell(effort, first)
    model = _Model(on_these, Aim.LEAST_GONE)
    model.begin_with(first)
    found = _thought(model, effort, first)
    assert found is not None  # it began with a layout
    best = settled(on_these, min((found, first), key=lambda each: each.gone))
    by_clock = few.by_clock or found.by_clock
    return replace(best, begun=few.begun, least_begun=few.least_begun, least_gone=min(found.least_gone, best.gone), by_clock=by_clock)


def _thought(model: _Model, effort: Effort, first: Packed | None) -> Packed | None:
    """What the solver finds; where that is nothing at all, what was laid by hand, with nothing proven."""
    try:
        return model.solve(effort)
    except TimeoutError:
        if first is None:
            raise
        return replace(first, by_clock=True)


def _n_tries(packing: Packing, effort: Effort) -> int:
    return min(effort.n_tries, N_TRIES_EACH * len(packing.items))


def most_that_fit(packing: Packing, effort: Effort | None = None) -> Packed:
    """The largest area of items that was found to fit: for telling what is missing. Runs and matches stay or go as one."""
    found = _Model(packing, Aim.MOST_PLACED).solve(effort or Effort(work=3.0, wall_s=15.0))
    assert found is not None  # leaving everything out always is a solution
    return found


def _tell(effort: Effort, packed: Packed) -> None:
    if effort.progress is not None:
        effort.progress(packed.begun / TENTHS**2, packed.gone / TENTHS**2)


class Aim(Enum):
    """What a model is for."""

    LEAST_BOARD = auto()
    LEAST_GONE = auto()
    MOST_PLACED = auto()


@dataclass(frozen=True)
class _Kept:
    """An offcut's variables, grown. there: whether it is kept; its area is 0 when it is not."""

    corners: tuple[Any, Any, Any, Any]
    size: tuple[Any, Any]
    full: Any
    area: Any
    there: Any
    along: Any
    across: Any


@dataclass
class _Model:
    """x, y: lower left corner by item; on: by item, a literal for each sheet it may lie on; kept: offcuts by sheet."""

    packing: Packing
    aim: Aim
    x: list[Any] = field(default_factory=list[Any])
    y: list[Any] = field(default_factory=list[Any])
    on: list[dict[int, Any]] = field(default_factory=list[dict[int, Any]])
    turned: list[Any] = field(default_factory=list[Any])
    in_line: list[Any] = field(default_factory=list[Any])
    begun: list[Any] = field(default_factory=list[Any])
    kept: list[list[_Kept]] = field(default_factory=list[list[_Kept]])

    def __post_init__(self) -> None:
        from ortools.sat.python import cp_model

        self.model: cp_model.CpModel = cp_model.CpModel()
        for item in self.packing.items:
            self._item(item)
        for k in range(len(self.packing.sheets)):
            self._sheet(k)
        for run in self.packing.runs:
            self._run(run)
        for match in self.packing.matches:
            self._match(match)
        self._aimed()

    def _item(self, item: Item) -> None:
        model, sheets = self.model, self.packing.sheets
        self.x.append(model.new_int_var(0, max((sheets[k].length - item.length for k in item.sheets), default=0), ""))
        self.y.append(model.new_int_var(0, max((sheets[k].width - item.width for k in item.sheets), default=0), ""))
        on = {k: model.new_bool_var("") for k in item.sheets}
        self.on.append(on)
        if self.aim is Aim.MOST_PLACED:
            model.add_at_most_one(on.values())
        else:
            model.add_exactly_one(on.values())
        for k, here in on.items():
            self._when([here], self.x[-1] + item.length <= sheets[k].length)
            self._when([here], self.y[-1] + item.width <= sheets[k].width)
        if item.pinned is not None:
            sheet, x, y = item.pinned
            for k, here in on.items():
                self._when([here], self.x[-1] == x)
                self._when([here], self.y[-1] == y)
                if k != sheet:
                    model.add(here == 0)

    def _sheet(self, k: int) -> None:
        """No overlap on one sheet, of blanks, defects and the offcuts that are kept."""
        gap, model = self.packing.gap, self.model
        here = [(i, item, self.on[i][k]) for i, item in enumerate(self.packing.items) if k in item.sheets]
        along = [model.new_optional_fixed_size_interval_var(self.x[i], item.length + gap, lit, "") for i, item, lit in here]
        across = [model.new_optional_fixed_size_interval_var(self.y[i], item.width + gap, lit, "") for i, item, lit in here]
        barred = self.packing.barred[k]
        length, width = self.packing.grown(k)
        for x0, y0, x1, y1 in barred:
            along.append(model.new_fixed_size_interval_var(x0, x1 - x0, ""))
            across.append(model.new_fixed_size_interval_var(y0, y1 - y0, ""))
        begun = model.new_bool_var("")
        self.begun.append(begun)
        kept: list[_Kept] = []
        self.kept.append(kept)
        for _, _, lit in here:
            model.add_implication(lit, begun)
        if self.aim is Aim.LEAST_GONE:
            if self.packing.useful[0] + gap <= length and self.packing.useful[1] + gap <= width:
                kept += [self._offcut(k, begun) for _ in range(N_OFFCUTS)]
            along += [each.along for each in kept]
            across += [each.across for each in kept]
        # Follows from the rest, and gives the bound its worth.
        blanks = sum((item.length + gap) * (item.width + gap) * lit for _, item, lit in here)
        flaws = sum((x1 - x0) * (y1 - y0) for x0, y0, x1, y1 in barred)
        model.add(blanks + sum(each.area for each in kept) <= (self.packing.area(k) - flaws) * begun)
        # Nor can blanks stand denser than their widths stack up across the sheet.
        model.add(blanks <= length * best_stack([item.width + gap for _, item, _ in here], width) * begun)
        model.add_no_overlap_2d(along, across)

    def _offcut(self, k: int, begun: Any) -> _Kept:
        """An offcut of one sheet, if that is begun."""
        model, gap = self.model, self.packing.gap
        length, width = self.packing.grown(k)
        least = (self.packing.useful[0] + gap, self.packing.useful[1] + gap)
        there = model.new_bool_var("")
        model.add_implication(there, begun)
        x0, y0, x1, y1 = (model.new_int_var(0, most, "") for most in (length, width, length, width))
        size = (model.new_int_var(least[0], length, ""), model.new_int_var(least[1], width, ""))
        full, area = model.new_int_var(0, length * width, ""), model.new_int_var(0, length * width, "")
        model.add_multiplication_equality(full, size)
        self._when([there], area == full)
        self._when([there.negated()], area == 0)
        along = model.new_optional_interval_var(x0, size[0], x1, there, "")
        across = model.new_optional_interval_var(y0, size[1], y1, there, "")
        return _Kept((x0, y0, x1, y1), size, full, area, there, along, across)

    def _run(self, run: Run) -> None:
        turned = self.model.new_bool_var("")
        self.turned.append(turned)
        items, gap = self.packing.items, self.packing.gap
        for a, b in zip(run.members, run.members[1:], strict=False):
            there = self._together(a, b)
            straight = [turned.negated(), *there]
            self._when(straight, self.x[b] == self.x[a] + items[a].length + gap)
            self._when(straight, self.y[b] == self.y[a])
            self._when([turned, *there], self.x[a] == self.x[b] + items[b].length + gap)
            self._when([turned, *there], self.y[b] + items[b].width == self.y[a] + items[a].width)

    def _match(self, match: Match) -> None:
        in_line = self.model.new_bool_var("")
        self.in_line.append(in_line)
        items, gap = self.packing.items, self.packing.gap
        for a, b in zip(match.members, match.members[1:], strict=False):
            there = self._together(a, b)
            self._when([in_line, *there], self.x[b] == self.x[a] + items[a].length + gap)
            self._when([in_line, *there], self.y[b] == self.y[a])
            self._when([in_line.negated(), *there], self.y[b] == self.y[a] + items[a].width + gap)
            self._when([in_line.negated(), *there], self.x[b] == self.x[a])

    def _together(self, a: int, b: int) -> list[Any]:
        """On one sheet, or both left out; gives the literal that they are there, where they may be left out."""
        for k in sorted({*self.on[a], *self.on[b]}):
            self.model.add(self.on[a].get(k, 0) == self.on[b].get(k, 0))
        if self.aim is not Aim.MOST_PLACED:
            return []
        there = self.model.new_bool_var("")
        self.model.add(sum(self.on[a].values()) == there)
        return [there]

    def _when(self, literals: list[Any], said: Any) -> None:
        """Something that holds when all the literals do."""
        constraint: Any = self.model.add(said)
        constraint.only_enforce_if(literals)

    def _aimed(self) -> None:
        board = sum(self.packing.area(k) * begun for k, begun in enumerate(self.begun))
        if self.aim is Aim.LEAST_BOARD:
            self.model.minimize(board)
        elif self.aim is Aim.LEAST_GONE:
            self.model.minimize(board - sum(each.area for kept in self.kept for each in kept))
        else:
            pairs = zip(self.packing.items, self.on, strict=True)
            self.model.maximize(sum(item.length * item.width * sum(on.values()) for item, on in pairs))

    def begin_with(self, packed: Packed) -> None:
        """A layout to begin with, offcuts included."""
        hint = self.model.add_hint
        for x, y, on, place in zip(self.x, self.y, self.on, packed.places, strict=True):
            assert place is not None
            hint(x, place[1])
            hint(y, place[2])
            for k, lit in on.items():
                hint(lit, k == place[0])
        for turned, said in zip(self.turned, packed.turned, strict=True):
            hint(turned, said)
        for in_line, match in zip(self.in_line, self.packing.matches, strict=True):
            hint(in_line, _is_in_line(match, packed.places))
        for k, boxes in enumerate(self.packing.boxes(packed.places)):
            hint(self.begun[k], bool(boxes))
            found = self.packing.offcuts(k, boxes) if boxes else []
            for n, kept in enumerate(self.kept[k]):
                self._hint_offcut(kept, found[n] if n < len(found) else None)

    def _hint_offcut(self, kept: _Kept, box: Rect | None) -> None:
        hint = self.model.add_hint
        hint(kept.there, box is not None)
        if box is None:
            hint(kept.area, 0)
            return
        size = (box[2] - box[0], box[3] - box[1])
        for var, value in zip((*kept.corners, *kept.size), (*box, *size), strict=True):
            hint(var, value)
        hint(kept.full, size[0] * size[1])
        hint(kept.area, size[0] * size[1])

    def solve(self, effort: Effort) -> Packed | None:
        """Think. None when there is no solution; raises TimeoutError when nothing was found out."""
        from ortools.sat.python import cp_model

        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = effort.seed
        solver.parameters.max_deterministic_time = effort.work
        solver.parameters.max_time_in_seconds = effort.wall_s
        watch = _watch(effort)
        status = solver.solve(self.model, watch)
        if status == cp_model.INFEASIBLE:
            return None
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            raise TimeoutError
        places = tuple(
            next(((k, int(solver.value(x)), int(solver.value(y))) for k, lit in on.items() if solver.value(lit)), None)
            for x, y, on in zip(self.x, self.y, self.on, strict=True)
        )
        by_clock = status != cp_model.OPTIMAL and (solver.wall_time >= BY_CLOCK_FRAC * effort.wall_s or watch.stopped)
        turned = tuple(bool(solver.value(each)) for each in self.turned)
        boxes = list(enumerate(self.packing.boxes(places)))
        begun = sum(self.packing.area(k) for k, own in boxes if own)
        gone = sum(self.packing.gone(k, own) for k, own in boxes if own)
        least = math.ceil(solver.best_objective_bound - 1e-6)
        least_begun, least_gone = (least, 0) if self.aim is Aim.LEAST_BOARD else (0, min(least, gone))
        return Packed(places, turned, begun, gone, least_begun, least_gone, by_clock)


def best_stack(widths: Sequence[int], room: int) -> int:
    """The most of ``room`` that a choice of the widths fills: sums of subsets, as the bits of one large number."""
    sums = 1
    for width in widths:
        sums |= sums << width
    return (sums & ((1 << (room + 1)) - 1)).bit_length() - 1


def _is_in_line(match: Match, places: Sequence[Place | None]) -> bool:
    first, second = places[match.members[0]], places[match.members[1]]
    return first is not None and second is not None and first[1] != second[1]


def _watch(effort: Effort) -> Any:
    """Stops the solver when the person has had enough."""
    from ortools.sat.python import cp_model

    class Watch(cp_model.CpSolverSolutionCallback):
        stopped = False

        def on_solution_callback(self) -> None:
            if effort.stop is not None and effort.stop():
                self.stopped = True
                self.stop_search()

    return Watch()

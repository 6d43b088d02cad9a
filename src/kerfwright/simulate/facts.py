"""Facts of a burn: what was burnt and what was seen, as plain numbers, out of coupons that were read or a typed recipe.

The burn law is identified from these alone, by its own route: no fit of ``calibrate`` and no law of ``coupons.response``
comes in, so that recipe and burn may disagree.
"""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from kerfwright.coupons.observable import Observable, Quantity
from kerfwright.coupons.readings import Reading
from kerfwright.coupons.record import CouponRecord
from kerfwright.process.recipe import Recipe, ThroughCut

# What one careful reading is off by, one standard deviation (common practice, no source).
READ_SD_MM = {"caliper": 0.02, "feeler": 0.02, "depth gauge": 0.03, "scan": 0.012}
OTHER_SD_MM = 0.02
RUNG_SD = 0.4  # an eye picks the finest rung to about this many rungs (common practice, no source)

What = Literal["slit", "line", "focus", "field", "field through", "through"]


@dataclass(frozen=True)
class BurntFact:
    """One thing seen.

    what: "slit" a slit's width, mm, at ``face`` ("show" the entry, "inner" the exit, "waist" its narrowest place); "line" a
    fine line's width dark edge to dark edge, mm; "focus" the focus, mm above the face, at which lines were finest; "field" the
    depth of many lines side by side, mm; "field through" such a field with no floor left, the board's thickness; "through" 1
    when light showed along a slit, else 0. sd: of the reading, in its unit. layers count as passes; spacing_mm is 0 but for
    fields. x_share: sin^2 of the stroke's angle to the bed's x. n: readings behind it.
    """

    what: What
    value: float
    sd: float
    power_frac: float
    speed_mm_s: float
    n_passes: int
    focus_mm: float
    focus_step_mm: float
    x_share: float
    thickness_mm: float
    spacing_mm: float = 0.0
    face: str = "show"
    board: str = ""
    n: int = 1


def facts_from_coupons(read: Iterable[tuple[CouponRecord, Sequence[Reading]]]) -> list[BurntFact]:
    """Facts of coupons with their readings, repeats and equal settings on one board brought together. Readings that say
    nothing of the burn (fits, flames, sloped walls, the machine's own trueness) give none."""
    pairs = [(record.observable(each.observable), each, record) for record, readings in read for each in readings if each.status == "read"]
    scale = _scale([(observable, reading) for observable, reading, _ in pairs])
    found: list[BurntFact] = []
    for observable, reading, record in pairs:
        make = _MAKERS.get(observable.quantity)
        if make is not None:
            found += make(observable, reading, record, scale)
    return together(found)


def facts_from_recipe(recipe: Recipe) -> list[BurntFact]:
    """The numbers typed in a recipe, taken for readings where nothing better is there: widths at the middle of the thickness
    they were burnt on, through at its thickest, and the ramp's depths."""
    found = [fact for cut in recipe.through for fact in _cut_facts(cut)]
    ramp = recipe.ramp
    if ramp is not None:
        deepest_mm = max(ramp.deepest_mm, ramp.through_thickness_mm or 0.0)
        focus = ramp.focus_mm, ramp.focus_step_mm
        base = BurntFact("field", 0.0, 0.0, 0.0, ramp.speed_mm_s, ramp.layers, *focus, 0.0, deepest_mm, ramp.spacing_mm)
        found += [replace(base, value=depth.value, sd=depth.sd, power_frac=power, n=max(depth.n, 1)) for power, depth in ramp.depth]
        if ramp.through_power_frac is not None and ramp.through_thickness_mm is not None:
            found.append(replace(base, what="field through", value=ramp.through_thickness_mm, sd=0.1, power_frac=ramp.through_power_frac))
    return found


def together(facts: Sequence[BurntFact]) -> list[BurntFact]:
    """Facts of one kind burnt alike on one board as one, their mean: what they share by place and form does not shrink with
    their number. Yes and no stay single; the odd one out of many is held by the median."""
    groups: dict[BurntFact, list[BurntFact]] = defaultdict(list)
    for fact in facts:
        groups[replace(fact, value=0.0, sd=0.0, n=1)].append(fact)
    merged: list[BurntFact] = []
    for same in groups.values():
        if same[0].what == "through" or len(same) == 1:
            merged += same
            continue
        values = [each.value for each in same]
        middle = statistics.median(values) if len(same) >= 3 else statistics.fmean(values)
        read_sd = statistics.fmean([each.sd for each in same]) / len(same) ** 0.5
        # Readings that spread further than their instrument tell of the wood's own spread from place to place.
        seen_sd = statistics.stdev(values) / len(same) ** 0.5
        merged.append(replace(same[0], value=middle, sd=max(read_sd, seen_sd), n=sum(each.n for each in same)))
    return merged


def _cut_facts(cut: ThroughCut) -> list[BurntFact]:
    thin_mm, thick_mm = cut.thickness_mm
    base = BurntFact("through", 1.0, 0.0, cut.power_frac, cut.speed_mm_s, cut.passes, cut.focus_mm, cut.focus_step_mm, 0.0, thick_mm)
    found = [base]
    for kerf in cut.kerf:
        slit = replace(base, what="slit", x_share=_x_share(kerf.travel), thickness_mm=(thin_mm + thick_mm) / 2)
        for face, width in (("show", kerf.top_mm), ("waist", kerf.waist_mm), ("inner", kerf.bottom_mm)):
            found.append(replace(slit, face=face, value=width.value, sd=width.sd, n=max(width.n, 1)))
    return found


def _scale(pairs: Sequence[tuple[Observable, Reading]]) -> dict[str, float]:
    """How much too far each bed axis goes, from the distances read: a tongue is that much too wide."""
    ratios: dict[str, list[float]] = {"x": [], "y": []}
    for observable, reading in pairs:
        if observable.quantity is Quantity.DISTANCE and str(observable.settings["axis"]) in ratios:
            nominal_mm = _number(observable, "nominal_mm")
            if nominal_mm > 0:
                ratios[str(observable.settings["axis"])].append(_median(reading) / nominal_mm - 1)
    return {axis: statistics.median(found) if found else 0.0 for axis, found in ratios.items()}


def _x_share(travel: str) -> float:
    return 0.0 if travel == "x" else 1.0


def _number(observable: Observable, key: str, default: float | None = None) -> float:
    value = observable.settings.get(key, default)
    if value is None:
        raise KeyError(f"{observable.id} does not say its {key}")
    return float(value)


def _median(reading: Reading) -> float:
    return statistics.median(float(value) for value in reading.values)


def _base(observable: Observable, reading: Reading, record: CouponRecord) -> BurntFact:
    sd = READ_SD_MM.get(observable.instrument, OTHER_SD_MM)
    if "scan" in observable.instrument:
        sd = READ_SD_MM["scan"]
    return BurntFact(
        "slit",
        0.0,
        sd / len(reading.values) ** 0.5,
        _number(observable, "power_frac"),
        _number(observable, "speed_mm_s"),
        round(_number(observable, "passes", _number(observable, "layers", 1.0))),
        _number(observable, "focus_mm", 0.0),
        _number(observable, "focus_step_mm", 0.0),
        _x_share(str(observable.settings.get("travel", "y" if record.turned else "x"))),  # fields run along the board
        record.thickness_mm,
        board=record.board,
        n=len(reading.values),
    )


Maker = Callable[[Observable, Reading, CouponRecord, dict[str, float]], list[BurntFact]]


def _slot(observable: Observable, reading: Reading, record: CouponRecord, scale: dict[str, float]) -> list[BurntFact]:
    return [replace(_base(observable, reading, record), value=_median(reading), face=observable.face)]


def _tongue(observable: Observable, reading: Reading, record: CouponRecord, scale: dict[str, float]) -> list[BurntFact]:
    """A tongue is its pitch less the waist; a stack shares the caliper's error among its tongues, and is as many readings."""
    n_tongues = _number(observable, "n_tongues", 1.0)
    base = _base(observable, reading, record)
    across = "x" if base.x_share else "y"
    width_mm = _number(observable, "pitch_mm") * (1 + scale[across]) - _median(reading) / n_tongues
    return [replace(base, value=width_mm, sd=base.sd / n_tongues, face="waist", n=base.n * round(n_tongues))]


def _line(observable: Observable, reading: Reading, record: CouponRecord, scale: dict[str, float]) -> list[BurntFact]:
    return [replace(_base(observable, reading, record), what="line", value=_median(reading))]


def _rung(observable: Observable, reading: Reading, record: CouponRecord, scale: dict[str, float]) -> list[BurntFact]:
    """The rung's travel axis is the last letter of its id."""
    step_mm = _number(observable, "step_mm")
    focus_mm = _number(observable, "first_focus_mm") + (_median(reading) - 1) * step_mm
    share = _x_share(observable.id[-1])
    return [BurntFact("focus", focus_mm, RUNG_SD * step_mm, 1.0, 1.0, 1, 0.0, 0.0, share, record.thickness_mm, board=record.board)]


def _field(observable: Observable, reading: Reading, record: CouponRecord, scale: dict[str, float]) -> list[BurntFact]:
    depth_mm = _median(reading)
    thickness_mm = observable.right_through_mm or record.thickness_mm
    what: What = "field through" if depth_mm >= thickness_mm - 1e-9 else "field"
    return [replace(_base(observable, reading, record), what=what, value=depth_mm, spacing_mm=_number(observable, "spacing_mm"))]


def _through(observable: Observable, reading: Reading, record: CouponRecord, scale: dict[str, float]) -> list[BurntFact]:
    base = replace(_base(observable, reading, record), what="through", sd=0.0, n=1)
    return [replace(base, value=float(word == "yes")) for word in reading.values]


_MAKERS: dict[Quantity, Maker] = {
    Quantity.SLOT_WIDTH: _slot,
    Quantity.TONGUE_WIDTH: _tongue,
    Quantity.STACK_WIDTH: _tongue,
    Quantity.LINE_WIDTH: _line,
    Quantity.RUNG: _rung,
    Quantity.DEPTH: _field,
    Quantity.THROUGH: _through,
}

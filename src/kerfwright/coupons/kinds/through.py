"""Through coupon: power, speed and passes on the real thickness, from gentle to hot, in several places of the board.

Vocabulary: a *cell* is one slit; a *row* is a ladder of cells that share power and passes and differ in speed; a
*place* is one group of all rows, named by a letter; every other place lies along the board, since an oblong spot and the grain
make one travel need more than the other. A cell's *push* is its line energy over the one that the recipe
(or the guess) takes for production. Cells are burnt gentlest first in all places, so the person may stop early.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np
from pydantic import Field, model_validator

from kerfwright.core.errors import InputError, RecipeRangeError
from kerfwright.core.finding import Finding, caution, note
from kerfwright.coupons import response as laws
from kerfwright.coupons.coupon import CouponDesign, CouponOptions, Site
from kerfwright.coupons.first_guess import PASS_KAPPA, first_guess, is_first_guess
from kerfwright.coupons.observable import Observable, Quantity, Setting
from kerfwright.coupons.sheet import GAP_MM, Sheet
from kerfwright.coupons.strokes import bed_axis, grain_word, stroke
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind
from kerfwright.process.recipe import ThroughCut

TITLE = "THROUGH"
SLIT_MM = 6.0
LYING_SLIT_MM = 4.6  # along the board: leaves wood between neighbours
CELL_MM = 6.2  # from slit to slit: room for a speed under each
ROW_MM = 2.0 + 0.8 + SLIT_MM + 1.2 + 2.0 + 2.2  # speed, slit, name of the row
SPREAD_MM = 20.0  # at most this much wood is left between places
HOT_PUSH = 1.8  # past this a cell is likely to flare, so it comes last (common practice, no source)
LEFT_OUT_PUSH = 3.0  # past this it is left out
# Push of the gentlest and the hottest cell: wide round a guess, narrower round a recipe that was burnt.
GUESS_PUSH, KNOWN_PUSH = (0.3, 2.4), (0.5, 1.5)


class ThroughOptions(CouponOptions):
    """places: how often the whole ladder is burnt; rungs: cells of the first row; push: gentlest and hottest."""

    places: int = Field(default=3, ge=1, le=6)
    rungs: int = Field(default=6, ge=3, le=12)
    push_ratio: tuple[float, float] | None = Field(default=None, alias="push")

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.push_ratio is not None and not 0.05 <= self.push_ratio[0] < self.push_ratio[1] <= LEFT_OUT_PUSH:
            raise InputError(f"push from {self.push_ratio[0]:g} to {self.push_ratio[1]:g}", accepted=f"0.05 to {LEFT_OUT_PUSH:g}, rising")
        return self


@dataclass(frozen=True)
class _Row:
    """cut: power, passes and focus of the row. speeds_mm_s: falling, so that cells go from gentle to hot."""

    cut: ThroughCut
    speeds_mm_s: tuple[float, ...]
    pushes: tuple[float, ...]


class ThroughCoupon:
    """Three rows a place: production's power and passes, fewer (or more) passes, less power."""

    kind = "through"
    title = TITLE
    options = ThroughOptions

    def lay_out(self, site: Site, options: ThroughOptions) -> CouponDesign:
        """As many places and rows as fit: at least two places (or what is asked for) of one row."""
        sheet = Sheet(site, options, TITLE)
        rows, dropped = _rows(site, options)
        for n_places, n_rows in _tries(options.places, len(rows)):
            size_mm = _place_size(rows[:n_rows], sheet.room_mm)
            n_along = min(n_places, int((sheet.room_mm[0] + GAP_MM) / (size_mm[0] + GAP_MM)))
            if n_along and -(-n_places // n_along) * (size_mm[1] + GAP_MM) - GAP_MM <= sheet.room_mm[1] + 1e-9:
                break
        else:
            raise sheet.too_small([_place_size(rows[:1], (1e9, 1e9))] * min(2, options.places))
        spread_mm = min(SPREAD_MM, (sheet.room_mm[0] - n_along * (size_mm[0] + GAP_MM)) / n_along) if n_along > 1 else 0.0
        corners, content_mm = sheet.arrange([(size_mm[0] + max(spread_mm, 0.0), size_mm[1])] * n_places)
        cells = [cell for k, corner in enumerate(corners) for cell in _cells(sheet, rows[:n_rows], k, corner, size_mm)]
        operations = _operations(cells, site.offcut.thickness_mm)
        findings = _findings(cells, dropped, (options.places, n_places), (len(rows), n_rows))
        steps = (
            "Keep eyes on the burn and note which cell flared; stop the program when a cell goes on burning after the beam has left",
            "You may stop once the last two cells of every row have gone through in every place: leave the rest of the form empty",
            "Afterwards hold the board against a lamp: a cell is through when light shows along its whole length",
        )
        found = [each for cell in cells for each in _observables(cell, site.offcut.thickness_mm, options.turned)]
        return sheet.design(self.kind, content_mm, operations, found, steps, findings)

    def predict(self, observable: Observable, response: Mapping[str, float]) -> float:
        """Equations 1 and 2."""
        return laws.predict(observable, response)


def _base(site: Site) -> tuple[ThroughCut, bool]:
    """The settings to ladder round, and whether they are only a guess."""
    thickness_mm = site.offcut.thickness_mm
    try:
        return site.recipe.through_for(thickness_mm), is_first_guess(site.recipe)
    except RecipeRangeError:
        return first_guess(site.machine, site.offcut.species, thickness_mm).through[0], True


def _rows(site: Site, options: ThroughOptions) -> tuple[list[_Row], int]:
    """The rows, and how many cells were left out as too hot or too fast for the machine."""
    base, guessed = _base(site)
    low, high = options.push_ratio or (GUESS_PUSH if guessed else KNOWN_PUSH)
    other = base.passes + 1 if base.passes == 1 else base.passes - 1
    less = base.model_copy(update={"power_frac": round(0.7 * base.power_frac, 3)})
    wanted = [
        (base, options.rungs),
        (base.model_copy(update={"passes": other}), -(-options.rungs // 2) + 1),
        (less, -(-options.rungs // 2)),
    ]
    rows: list[_Row] = []
    dropped = 0
    for cut, n in wanted:
        energy = base.power_frac * base.passes**PASS_KAPPA / base.speed_mm_s
        speeds: list[float] = []
        pushes: list[float] = []
        for push in np.geomspace(low, high, n):
            speed_mm_s = float(f"{cut.power_frac * cut.passes**PASS_KAPPA / (float(push) * energy):.2g}")
            if push > LEFT_OUT_PUSH or speed_mm_s > site.machine.top_speed_mm_s or speed_mm_s in speeds:
                dropped += 1
                continue
            speeds.append(speed_mm_s)
            pushes.append(float(push))
        if speeds:
            rows.append(_Row(cut, tuple(speeds), tuple(pushes)))
    return rows, dropped


def _tries(n_places: int, n_rows: int) -> list[tuple[int, int]]:
    """(places, rows) from all that was asked for down to two places of one row; places are given up last."""
    least = min(2, n_places)
    return [(places, rows) for rows in range(n_rows, 0, -1) for places in range(n_places, least - 1, -1)]


def _place_size(rows: list[_Row], room_mm: tuple[float, float]) -> tuple[float, float]:
    """Rows of one place stacked, in as many columns as the room's height asks for."""
    n_down = max(1, min(len(rows), int((room_mm[1] + 1e-9) / ROW_MM)))
    n_columns = -(-len(rows) // n_down)
    return n_columns * _row_width(rows) + (n_columns - 1) * GAP_MM, n_down * ROW_MM


def _row_width(rows: list[_Row]) -> float:
    return max(len(row.speeds_mm_s) for row in rows) * CELL_MM


@dataclass(frozen=True, eq=False)
class _Cell:
    place: str
    number: int
    row: _Row
    speed_mm_s: float
    push: float
    middle_mm: tuple[float, float]  # of the slit
    along_x: bool

    @property
    def ends_mm(self) -> list[tuple[float, float]]:
        """Of the slit."""
        x, y = self.middle_mm
        if self.along_x:
            return [(x - LYING_SLIT_MM / 2, y), (x + LYING_SLIT_MM / 2, y)]
        return [(x, y - SLIT_MM / 2), (x, y + SLIT_MM / 2)]


def _cells(sheet: Sheet, rows: list[_Row], k_place: int, corner: tuple[float, float], size_mm: tuple[float, float]) -> list[_Cell]:
    cells: list[_Cell] = []
    place = chr(65 + k_place)
    n_down = round(size_mm[1] / ROW_MM)
    for k, row in enumerate(rows):
        x0 = corner[0] + (k // n_down) * (_row_width(rows) + GAP_MM)
        y0 = corner[1] + size_mm[1] - (k % n_down + 1) * ROW_MM
        first = len(cells) + 1
        head = f"{place}{first}-{first + len(row.speeds_mm_s) - 1} {100 * row.cut.power_frac:.3g}% X{row.cut.passes} MM/S"
        sheet.label(head, x0, y0 + 2.8 + SLIT_MM + 1.2, 2.0)
        for i, (speed_mm_s, push) in enumerate(zip(row.speeds_mm_s, row.pushes, strict=True)):
            x = x0 + (i + 0.5) * CELL_MM
            sheet.label(f"{speed_mm_s:g}", x, y0, 1.8, centred=True)
            cells.append(_Cell(place, first + i, row, speed_mm_s, push, (x, y0 + 2.8 + SLIT_MM / 2), k_place % 2 == 1))
    return cells


def _operations(cells: list[_Cell], thickness_mm: float) -> list[CutOperation]:
    """One operation a setting, holding that cell of every place, gentlest first."""
    groups: dict[int, list[_Cell]] = {}
    for cell in sorted(cells, key=lambda cell: (cell.push, cell.number, cell.place)):
        groups.setdefault(cell.number, []).append(cell)
    operations: list[CutOperation] = []
    for number, group in groups.items():
        cut = group[0].row.cut
        speed_mm_s = group[0].speed_mm_s
        paths: tuple[BeamPath, ...] = tuple(stroke(cell.ends_mm, cut.power_frac, thickness_mm) for cell in group)
        names = ", ".join(f"{cell.place}{cell.number}" for cell in group)
        operations.append(CutOperation(f"cell-{number}", f"Cells {names}", OperationKind.THROUGH, paths, speed_mm_s, cut.passes_down()))
    return operations


def _observables(cell: _Cell, thickness_mm: float, turned: bool) -> list[Observable]:
    """Through for every cell; flame and char in the first place, so that the form stays short."""
    settings: dict[str, Setting] = {
        "power_frac": cell.row.cut.power_frac,
        "speed_mm_s": cell.speed_mm_s,
        "passes": float(cell.row.cut.passes),
        "focus_mm": cell.row.cut.focus_mm,
        "focus_step_mm": cell.row.cut.focus_step_mm,
        "depth_mm": thickness_mm,
        "place": cell.place,
        "travel": bed_axis(cell.along_x, turned),
        "grain": grain_word(cell.along_x),
        "length_mm": LYING_SLIT_MM if cell.along_x else SLIT_MM,
    }
    name, across_deg = f"{cell.place}{cell.number}", 90.0 if cell.along_x else 0.0
    n_passes = cell.row.cut.passes
    told = f"cell {name}: {100 * cell.row.cut.power_frac:.3g} %, {cell.speed_mm_s:g} mm/s, {n_passes} pass{'es' if n_passes > 1 else ''}"
    asked = [(Quantity.THROUGH, f"{told}; light along the whole slit?")]
    if cell.place == "A":
        asked.append((Quantity.FLAME, f"{told}; what was seen while it burnt"))
        asked.append((Quantity.CHAR, f"{told}; char beside the slit on the show face"))
    return [
        Observable(f"{quantity}-{name}", quantity, cell.middle_mm, "word", "eye", tells, across_deg=across_deg, settings=settings)
        for quantity, tells in asked
    ]


def _findings(cells: list[_Cell], dropped: int, places: tuple[int, int], rows: tuple[int, int]) -> list[Finding]:
    found: list[Finding] = []
    hot = [cell for cell in cells if cell.push > HOT_PUSH]
    if hot:
        names = ", ".join(f"{cell.place}{cell.number}" for cell in hot)
        found.append(
            caution(
                "hot-cells",
                f"cells {names} get more than {HOT_PUSH:g} times production's energy and may flare: they are burnt last, and may be "
                "left out by stopping the program",
            )
        )
    if dropped:
        found.append(note("cells-left-out", f"{dropped} cells a place were left out as too hot, too fast for the machine or double"))
    if places[1] < places[0] or rows[1] < rows[0]:
        found.append(
            note("smaller-coupon", f"the offcut has room for {places[1]} of {places[0]} places and {rows[1]} of {rows[0]} rows each")
        )
    return found


COUPON = ThroughCoupon()

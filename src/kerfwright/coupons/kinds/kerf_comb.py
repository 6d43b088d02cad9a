"""Kerf comb: slots and tongues along and across the grain at production's settings, and what a stack of tongues measures.

Vocabulary: a *slot* is one slit that stays in the board, measured at both faces; a *tongue* is the wood between two
slits one *pitch* apart. A caliper closes on a tongue's widest place, which is where the slits are narrowest: their
waist. The *stack* of all freed tongues of one comb, pushed together, shares the caliper's error among them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pydantic import Field

from kerfwright.core.document import Length, SignedLength
from kerfwright.coupons import response as laws
from kerfwright.coupons.coupon import CouponDesign, CouponOptions, Site
from kerfwright.coupons.first_guess import PASS_KAPPA
from kerfwright.coupons.observable import Observable, Quantity, Setting
from kerfwright.coupons.sheet import Sheet, Spot
from kerfwright.coupons.strokes import LEAD_MM, Axis, bed_axis, every_other, grain_word, stroke, through_operation
from kerfwright.process.operation import BeamPath, CutOperation
from kerfwright.process.recipe import ThroughCut

TITLE = "KERF COMB"
SLOT_STEP_MM = 4.0  # from the comb to the first slot and on to the next
SLOT_MM = 10.0  # length of a slot
N_SLOTS = 2
LETTERS_MM = 1.6
HEAD_MM = 4.0  # over a comb: its name and settings


class KerfCombOptions(CouponOptions):
    """passes, focus: further combs beside the recipe's own, one for each number of passes or focus named.

    Their speed is changed so that the line energy stays the same.
    """

    tongues: int = Field(default=6, ge=3, le=20)
    pitch_mm: Length = Field(default=4.0, alias="pitch", ge=2.5, le=12)
    length_mm: Length = Field(default=16.0, alias="length", ge=10, le=60)
    passes: tuple[int, ...] = Field(default=(), max_length=4)
    focus_mm: tuple[SignedLength, ...] = Field(default=(), alias="focus", max_length=4)


@dataclass(frozen=True, eq=False)
class _Comb:
    """One comb: n + 1 slits along one direction of the board, and its slots. letter: "" for the recipe's own settings."""

    letter: str
    cut: ThroughCut
    along_x: bool
    travel: Axis
    options: KerfCombOptions
    depth_mm: float

    @property
    def name(self) -> str:
        """``"x"``, or ``"ax"`` for the first variant."""
        return f"{self.letter}{self.travel}"

    @property
    def comb_mm(self) -> float:
        """Extent of the tongues across the slits."""
        return self.options.tongues * self.options.pitch_mm

    @property
    def size_mm(self) -> tuple[float, float]:
        """Of the block on the board, its head included. The slots stand right of the comb, so that the block stays low."""
        long_mm = self.options.length_mm + 2 * LEAD_MM
        if self.along_x:
            return long_mm + LEAD_MM + SLOT_MM, self.comb_mm + 2 * LEAD_MM + HEAD_MM
        return self.comb_mm + 2 * LEAD_MM + N_SLOTS * SLOT_STEP_MM, long_mm + HEAD_MM

    def slot_middle_mm(self, k: int) -> tuple[float, float]:
        """(u, v) of the middle of slot k."""
        if self.along_x:
            return self.options.length_mm + 2 * LEAD_MM + SLOT_MM / 2, (k + 0.5) * self.comb_mm / N_SLOTS
        return self.options.length_mm / 2, self.comb_mm + (k + 1) * SLOT_STEP_MM

    def point(self, corner: Spot, u_mm: float, v_mm: float) -> Spot:
        """A board point from u along the slits and v across them."""
        u, v = u_mm + LEAD_MM, v_mm + LEAD_MM
        return (corner[0] + u, corner[1] + v) if self.along_x else (corner[0] + v, corner[1] + u)

    def slit(self, corner: Spot, u_mm: tuple[float, float], v_mm: float) -> BeamPath:
        """A slit at v from one u to another."""
        return stroke([self.point(corner, u, v_mm) for u in u_mm], self.cut.power_frac, self.depth_mm)


class KerfComb:
    """All slits of all combs, then the two cuts that free each comb's tongues."""

    kind = "kerf comb"
    title = TITLE
    options = KerfCombOptions

    def lay_out(self, site: Site, options: KerfCombOptions) -> CouponDesign:
        """Raises RecipeRangeError when the recipe does not cover the offcut's thickness."""
        sheet = Sheet(site, options, TITLE)
        depth_mm = site.offcut.thickness_mm
        cuts = _variants(site.recipe.through_for(depth_mm), options)
        combs = [
            _Comb(letter, cut, along_x, bed_axis(along_x, options.turned), options, depth_mm)
            for letter, cut in cuts
            for along_x in (True, False)
        ]
        corners, content_mm = sheet.arrange([comb.size_mm for comb in combs])
        slits: list[CutOperation] = []
        ends: list[CutOperation] = []
        found: list[Observable] = []
        for comb, corner in zip(combs, corners, strict=True):
            _label(sheet, comb, corner)
            name = comb.name.upper()
            slits.append(through_operation(f"slits-{comb.name}", f"Slits of comb {name}", _slits(comb, corner), comb.cut))
            ends.append(through_operation(f"free-{comb.name}", f"Freeing the tongues of {name}", _ends(comb, corner), comb.cut))
            found += [*_slot_observables(comb, corner), *_tongue_observables(comb, corner)]
        steps = (
            "Let the freed tongues drop, keep each comb's tongues together and in order; brush off loose char, do not sand",
            "Push all tongues of a comb together face to face, squeeze lightly and measure the stack; then single tongues",
        )
        return sheet.design(self.kind, content_mm, [*slits, *ends], found, steps)

    def predict(self, observable: Observable, response: Mapping[str, float]) -> float:
        """Equations 3 and 4."""
        return laws.predict(observable, response)


def _variants(own: ThroughCut, options: KerfCombOptions) -> list[tuple[str, ThroughCut]]:
    changes: list[dict[str, object]] = []
    for passes in options.passes:
        reach_mm = own.focus_step_mm * (own.passes - 1)  # the focus goes down as far as with the recipe's own passes
        speed_mm_s = float(f"{own.speed_mm_s * (passes / own.passes) ** PASS_KAPPA:.3g}")
        changes.append({"passes": passes, "speed_mm_s": speed_mm_s, "focus_step_mm": reach_mm / (passes - 1) if passes > 1 else 0.0})
    for focus_mm in options.focus_mm:
        changes.append({"focus_mm": focus_mm})
    return [("", own), *((chr(97 + k), own.model_copy(update=change)) for k, change in enumerate(changes))]


def _slits(comb: _Comb, corner: Spot) -> list[BeamPath]:
    """The comb's slits, every other one first, each run out into the waste; then the slots."""
    reach_mm = -LEAD_MM, comb.options.length_mm + LEAD_MM
    slits = [comb.slit(corner, reach_mm, i * comb.options.pitch_mm) for i in range(comb.options.tongues + 1)]
    middles = [comb.slot_middle_mm(k) for k in range(N_SLOTS)]
    return every_other(slits) + [comb.slit(corner, (u - SLOT_MM / 2, u + SLOT_MM / 2), v) for u, v in middles]


def _ends(comb: _Comb, corner: Spot) -> list[BeamPath]:
    across_mm = comb.comb_mm + LEAD_MM
    return [
        stroke([comb.point(corner, u, -LEAD_MM), comb.point(corner, u, across_mm)], comb.cut.power_frac, comb.depth_mm)
        for u in (0.0, comb.options.length_mm)
    ]


def _label(sheet: Sheet, comb: _Comb, corner: Spot) -> None:
    cut = comb.cut
    head = f"{comb.name} {100 * cut.power_frac:.3g}% {cut.speed_mm_s:.3g}MM/S X{cut.passes}"
    if comb.options.focus_mm:
        head += f" F{cut.focus_mm:+.1f}"
    high_mm = min(LETTERS_MM, LETTERS_MM * comb.size_mm[0] / (0.92 * len(head) * LETTERS_MM))
    sheet.label(head, corner[0], corner[1] + comb.size_mm[1] - HEAD_MM + 1.6, high_mm)
    for i in range(comb.options.tongues):
        x, y = comb.point(corner, comb.options.length_mm / 2, (i + 0.5) * comb.options.pitch_mm)
        sheet.label(f"{comb.name}{i + 1}", x, y - 0.5 * LETTERS_MM, LETTERS_MM if len(comb.name) == 1 else 0.8 * LETTERS_MM, centred=True)


def _settings(comb: _Comb) -> dict[str, Setting]:
    cut = comb.cut
    return {
        "power_frac": cut.power_frac,
        "speed_mm_s": cut.speed_mm_s,
        "passes": float(cut.passes),
        "focus_mm": cut.focus_mm,
        "focus_step_mm": cut.focus_step_mm,
        "travel": comb.travel,
        "grain": grain_word(comb.along_x),
        "depth_mm": comb.depth_mm,
    }


def _slot_observables(comb: _Comb, corner: Spot) -> list[Observable]:
    found: list[Observable] = []
    for k in range(N_SLOTS):
        place = comb.point(corner, *comb.slot_middle_mm(k))
        for face in ("show", "inner"):
            tells = f"free width of slot {k + 1} of comb {comb.name.upper()} at its middle, on the {face} face"
            found.append(
                Observable(
                    f"slot-{comb.name}{k + 1}-{face}",
                    Quantity.SLOT_WIDTH,
                    place,
                    "mm",
                    "feeler or scan",
                    tells,
                    face,
                    90.0 if comb.along_x else 0.0,
                    0.02,
                    2.0,
                    _settings(comb),
                )
            )
    return found


def _tongue_observables(comb: _Comb, corner: Spot) -> list[Observable]:
    pitch_mm, n = comb.options.pitch_mm, comb.options.tongues
    across_deg = 90.0 if comb.along_x else 0.0
    settings = _settings(comb) | {"pitch_mm": pitch_mm}
    found = [
        Observable(
            f"stack-{comb.name}",
            Quantity.STACK_WIDTH,
            comb.point(corner, comb.options.length_mm / 2, n * pitch_mm / 2),
            "mm",
            "caliper",
            f"all {n} freed tongues of comb {comb.name.upper()} pushed together, across them",
            "waist",
            across_deg,
            round(n * (pitch_mm - 2.0), 1),
            round(n * (pitch_mm + 0.1), 1),
            settings | {"n_tongues": float(n)},
        )
    ]
    for i in range(n):
        found.append(
            Observable(
                f"tongue-{comb.name}{i + 1}",
                Quantity.TONGUE_WIDTH,
                comb.point(corner, comb.options.length_mm / 2, (i + 0.5) * pitch_mm),
                "mm",
                "caliper",
                f"tongue {comb.name.upper()}{i + 1} at its widest, near its middle",
                "waist",
                across_deg,
                round(pitch_mm - 2.0, 2),
                round(pitch_mm + 0.1, 2),
                settings,
            )
        )
    return found


COUPON = KerfComb()

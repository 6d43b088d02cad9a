"""Fit ladder: small pairs of the real joints at stepped clearances, tried by hand: which goes, which needs a tap.

Vocabulary: a *socket* at the board's left end and a *key* cut from the same offcut make a *pair*. The key stands upright
in its socket as the other board of a corner would, so that both slits' profiles meet crosswise as in a joint. A key for a
through dovetail carries one tail; a key for a box joint one finger.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from pydantic import BeforeValidator, Field

from kerfwright.core.document import Length, Slope
from kerfwright.core.errors import PlanError
from kerfwright.core.finding import Finding, note
from kerfwright.core.units import parse_length_mm
from kerfwright.coupons import response as laws
from kerfwright.coupons.coupon import CouponDesign, CouponOptions, Site
from kerfwright.coupons.observable import Observable, Quantity
from kerfwright.coupons.ramp_socket import RampSocket, core_stroke, half_kerfs_mm, wall_lines
from kerfwright.coupons.sheet import Sheet, Spot
from kerfwright.coupons.strokes import LEAD_MM, every_other, stroke, through_operation
from kerfwright.geometry.edge_offset import offset_ring
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind
from kerfwright.process.recipe import ThroughCut

TITLE = "FIT LADDER"
DOVETAIL, BOX = "through dovetail", "box joint"
BETWEEN_MM = 4.0  # wood between sockets
HANDLE_MM = 12.0  # of a key, to hold it by and for its label
SLACK_MM = 0.3  # a socket is this much deeper than the key is thick
LABEL_MM = 11.5  # between socket and key
LETTERS_MM = 1.6
STEPS_MM = (0.0, 0.05, -0.05, 0.10, -0.10, 0.15, 0.20, -0.15)  # the most telling first
LEAST_STEPS = 3

Clearance = Annotated[float, BeforeValidator(parse_length_mm), Field(ge=-0.3, le=0.6)]


class FitLadderOptions(CouponOptions):
    """joint: which pairs; clearances: total across a pin, as in a piece's fit; width: of a finger, or of a tail at its tip."""

    joint: Literal["both", "through dovetail", "box joint"] = "both"
    clearances_mm: tuple[Clearance, ...] = Field(default=(), alias="clearances", max_length=12)
    slope_frac: Slope = Field(default=0.125, alias="slope")
    width_mm: Length = Field(default=6.0, alias="width", ge=3, le=20)


@dataclass(frozen=True)
class _Pair:
    joint: str
    clearance_mm: float
    number: int

    @property
    def name(self) -> str:
        """``"T3"`` for the third tail, ``"F3"`` for the third finger."""
        return f"{'T' if self.joint == DOVETAIL else 'F'}{self.number}"


class FitLadder:
    """Sockets first, ramps next, keys last: they drop out."""

    kind = "fit ladder"
    title = TITLE
    options = FitLadderOptions

    def lay_out(self, site: Site, options: FitLadderOptions) -> CouponDesign:
        """As many clearances as the offcut's width has room for, at least three a joint."""
        sheet = Sheet(site, options, TITLE, at_end=True)
        thickness_mm = site.offcut.thickness_mm
        cut = site.recipe.through_for(thickness_mm)
        joints, findings = _joints(site, options)
        _check_tail(options, thickness_mm, joints)
        pitch_mm = options.width_mm + BETWEEN_MM
        reach_mm = thickness_mm + SLACK_MM
        long_mm = reach_mm + 1.0 + LABEL_MM + thickness_mm + HANDLE_MM + 2 * LEAD_MM
        n_room = int((sheet.room_mm[1] + 1e-9) / pitch_mm)
        wanted = options.clearances_mm or STEPS_MM[:6]
        least = min(LEAST_STEPS, len(wanted))
        if len(joints) == 2 and n_room < 2 * least:
            joints = joints[:1]
            findings.append(note("one-joint", 'room for one joint only: box joint pairs want a coupon of their own (joint = "box joint")'))
        n_fit = n_room // len(joints)
        if n_fit < least or long_mm > sheet.room_mm[0]:
            raise sheet.too_small([(long_mm, least * pitch_mm)])
        steps_mm = sorted(wanted[:n_fit])
        if len(steps_mm) < len(wanted):
            findings.append(note("smaller-coupon", f"the offcut has room for {len(steps_mm)} of {len(wanted)} clearances"))
        pairs = [_Pair(joint, clearance, k + 1) for joint in joints for k, clearance in enumerate(steps_mm)]
        content = long_mm, len(pairs) * pitch_mm
        operations, found = self._draw(site, sheet, options, pairs, cut, (reach_mm, pitch_mm))
        steps = (
            "Stand each key upright in the socket of its own name: fingers straight in from the end; tails with the wide tip toward "
            "the show face, slid in from the end",
            "Try each pair once, gently, before it wears; brush off loose char first, as before gluing",
        )
        return sheet.design(self.kind, content, operations, found, steps, findings)

    def predict(self, observable: Observable, response: Mapping[str, float]) -> float:
        """Equation 10."""
        return laws.predict(observable, response)

    def _draw(
        self, site: Site, sheet: Sheet, options: FitLadderOptions, pairs: list[_Pair], cut: ThroughCut, size: tuple[float, float]
    ) -> tuple[list[CutOperation], list[Observable]]:
        reach_mm, pitch_mm = size
        thickness_mm, ramp = site.offcut.thickness_mm, site.recipe.ramp
        sockets: list[BeamPath] = []
        lines: list[BeamPath] = []
        keys: list[BeamPath] = []
        found: list[Observable] = []
        for k, pair in enumerate(pairs):
            middle_mm = sheet.corner_mm[1] + (k + 0.5) * pitch_mm
            slope_frac = options.slope_frac if pair.joint == DOVETAIL else 0.0
            narrow_mm = options.width_mm - 2 * slope_frac * thickness_mm
            socket = RampSocket(middle_mm, narrow_mm, reach_mm, slope_frac, thickness_mm, pair.clearance_mm)
            sockets.append(core_stroke(socket, cut, sheet.turned))
            if pair.joint == DOVETAIL and ramp is not None:
                lines += wall_lines(socket, cut, ramp, sheet.turned)
            label = f"{pair.name} {pair.clearance_mm:+.2f}".replace("0.", ".") if pair.clearance_mm else f"{pair.name} 0"
            sheet.label(label, reach_mm + 1.2, middle_mm - LETTERS_MM / 2, LETTERS_MM)
            key_left = reach_mm + 1.0 + LABEL_MM + LEAD_MM
            keys.append(_key((key_left, middle_mm), options.width_mm, slope_frac, thickness_mm, pair.clearance_mm, cut, sheet.turned))
            sheet.label(label, key_left + thickness_mm + 0.8, middle_mm - LETTERS_MM / 2, LETTERS_MM)
            found.append(_fit(pair, (reach_mm / 2, middle_mm)))
        operations = [through_operation("sockets", "Sockets, cores dropping out", every_other(sockets), cut)]
        if lines and ramp is not None:
            layers = ramp.passes_down()
            operations.append(CutOperation("ramps", "Sloped walls as ramps", OperationKind.RAMP, tuple(lines), ramp.speed_mm_s, layers))
        operations.append(through_operation("keys", "Keys, dropping out", every_other(keys), cut))
        return operations, found


def _joints(site: Site, options: FitLadderOptions) -> tuple[list[str], list[Finding]]:
    if site.recipe.ramp is None and options.joint == DOVETAIL:
        raise PlanError("the recipe has no ramp for the sloped walls", remedy="Burn the ramp staircase first", where=TITLE)
    if site.recipe.ramp is None and options.joint == "both":
        return [BOX], [note("no-ramp", "the recipe has no ramp, so only box joint pairs are cut")]
    return ([DOVETAIL, BOX] if options.joint == "both" else [options.joint]), []


def _check_tail(options: FitLadderOptions, thickness_mm: float, joints: list[str]) -> None:
    narrow_mm = options.width_mm - 2 * options.slope_frac * thickness_mm
    if DOVETAIL in joints and narrow_mm < 2.0:
        raise PlanError(
            f"a tail {options.width_mm:g} mm wide would be {narrow_mm:.1f} mm at its baseline on {thickness_mm:.1f} mm wood",
            accepted=f"a width of {2.0 + 2 * options.slope_frac * thickness_mm:.1f} mm or more",
            remedy="Give a wider key or a gentler slope",
            where=TITLE,
        )


def _key(
    left_middle: Spot, width_mm: float, slope_frac: float, thickness_mm: float, clearance_mm: float, cut: ThroughCut, turned: bool
) -> BeamPath:
    """The key's outline, begun in the waste beside its handle and closed. Its tip lies at the left, its grain along the board."""
    x, y = left_middle
    tip, narrow = width_mm / 2, width_mm / 2 - slope_frac * thickness_mm
    right = x + thickness_mm + HANDLE_MM
    points = np.array([(x, -tip), (x + thickness_mm, -narrow), (right, -narrow), (right, narrow), (x + thickness_mm, narrow), (x, tip)])
    places = [Place.FLANK, Place.LONG, Place.TIP, Place.LONG, Place.FLANK, Place.TIP]
    edges = tuple(Edge(Role.MATE if place is Place.FLANK else Role.FREE, place, f"key{i}") for i, place in enumerate(places))
    along_mm, across_mm = half_kerfs_mm(cut, turned)
    # Handle and flank move together, so that a straight finger's side stays one straight line.
    offsets_mm = np.array([across_mm if place is Place.TIP else along_mm - clearance_mm / 4 for place in places])
    ring = offset_ring(Ring(points + np.array([0.0, y]), edges), offsets_mm).points_mm
    middle = 0.5 * (ring[1] + ring[2])
    start = middle - np.array([0.0, LEAD_MM])
    return stroke(np.vstack([start, middle, ring[2:], ring[:2], middle]), cut.power_frac, thickness_mm)


def _fit(pair: _Pair, at: Spot) -> Observable:
    return Observable(
        f"fit-{pair.name}",
        Quantity.FIT,
        at,
        "word",
        "hand",
        f"key {pair.name} in socket {pair.name}, {pair.clearance_mm:+.2f} mm across: loose (falls out), by hand, by tap, or not at all",
        settings={"clearance_mm": pair.clearance_mm, "joint": pair.joint},
    )


COUPON = FitLadder()

"""What every coupon promises, and the registry that finds each kind by itself.

A coupon is a small piece: it is burnt on an offcut with the same operations, order and settings that production
uses, and comes with a form of observables. It can *predict* its readings from response parameters, which is what
the fits turn round.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Protocol

from pydantic import Field

from kerfwright.core.document import Document, Length, LengthOrZero
from kerfwright.core.finding import Finding
from kerfwright.core.registry import entries
from kerfwright.coupons.observable import Observable
from kerfwright.machine.machine import Machine
from kerfwright.process.operation import CutOperation
from kerfwright.process.recipe import Recipe
from kerfwright.wood.board import Board


@dataclass(frozen=True, eq=False)
class Site:
    """Where a coupon is burnt. offcut: board coordinates, show face up; recipe: what is known or guessed so far."""

    offcut: Board
    machine: Machine
    recipe: Recipe


class CouponOptions(Document):
    """Choices common to all coupons.

    at: the lower left corner of the wood it takes, so that an offcut serves twice. turned: the offcut lies a quarter
    turned, its grain along the bed's y; with one coupon burnt straight and one turned, travel and grain come apart.
    """

    at_mm: tuple[LengthOrZero, LengthOrZero] = Field(default=(0.0, 0.0), alias="at")
    turned: bool = False
    letters_mm: Length = Field(default=2.0, alias="letters", ge=1.2, le=6, description="height of the engraved letters")


@dataclass(frozen=True, eq=False)
class CouponDesign:
    """A coupon laid out on its offcut, everything in board coordinates.

    used_mm: (x0, y0, x1, y1) the wood it takes; marks_mm: centres of the four corner marks, the boxed one first, then
    counter-clockwise; turned: the offcut must lie a quarter turned; steps: what the person does, in order.
    """

    kind: str
    title: str
    operations: tuple[CutOperation, ...]
    observables: tuple[Observable, ...]
    used_mm: tuple[float, float, float, float]
    marks_mm: tuple[tuple[float, float], ...]
    turned: bool
    steps: tuple[str, ...]
    findings: tuple[Finding, ...] = ()


class Coupon(Protocol):
    """A kind of coupon: a known response gives predicted readings; with noise added it is recovered."""

    kind: str
    title: str
    options: type[CouponOptions]

    def lay_out(self, site: Site, options: Any) -> CouponDesign:
        """The coupon on this offcut. Raises PlanError when the offcut is too small, saying what size it needs."""
        ...

    def predict(self, observable: Observable, response: Mapping[str, float]) -> float:
        """Expected reading (or probability, for words) from response parameters."""
        ...


@cache
def all_coupons() -> dict[str, Coupon]:
    """Every coupon by kind: each module in coupons/kinds holds one ``COUPON``."""
    coupons: list[Coupon] = entries("kerfwright.coupons.kinds", "COUPON")
    return {coupon.kind: coupon for coupon in coupons}

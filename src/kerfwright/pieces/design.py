"""What building a piece gives: the exact assembly, and for each corner who carries the tails and how tight it is."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwright.core.finding import Finding
from kerfwright.geometry.assembly import Assembly


@dataclass(frozen=True)
class Corner:
    """One corner. clearance_mm: wanted total clearance across a pin (two flanks)."""

    name: str
    kind: str
    tail_part: str
    tail_end: str
    pin_part: str
    pin_end: str
    clearance_mm: float


@dataclass(frozen=True, eq=False)
class Design:
    """A built piece; still knows no laser."""

    assembly: Assembly
    corners: tuple[Corner, ...]
    findings: tuple[Finding, ...]

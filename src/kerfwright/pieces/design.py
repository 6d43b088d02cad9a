"""What building a piece gives: the exact assembly, and for each corner who carries the tails and how tight it is."""

from __future__ import annotations

from dataclasses import dataclass, replace

from kerfwright.core.finding import Finding
from kerfwright.core.pose import Pose
from kerfwright.geometry.assembly import Assembly
from kerfwright.process.hardware import Hardware


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
    """A built piece; still knows no laser. hardware: what must be bought or made besides its boards."""

    assembly: Assembly
    corners: tuple[Corner, ...]
    findings: tuple[Finding, ...]
    hardware: tuple[Hardware, ...] = ()

    def turned(self, pose: Pose) -> Design:
        """The same piece stood another way."""
        assembly = replace(
            self.assembly,
            parts=tuple(replace(part, assembly_from_part=pose @ part.assembly_from_part) for part in self.assembly.parts),
            freedoms=tuple(replace(each, directions=pose.turned(each.directions)) for each in self.assembly.freedoms),
            steps=tuple(replace(step, direction=pose.turned(step.direction)) for step in self.assembly.steps),
        )
        return replace(self, assembly=assembly)

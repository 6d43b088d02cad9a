"""What every corner joint promises, and the registry that finds each kind by itself.

A joint is drawn in the *end frame* of a board: u runs from the board's end inward, v up the wall from its bottom
edge. The *first* board meets the corner with its right end, the *second* with its left end, both seen from outside.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.document import Document
from kerfwright.core.errors import InputError
from kerfwright.core.finding import Finding
from kerfwright.core.registry import entries
from kerfwright.geometry.ring import Place

Array = NDArray[np.float64]
Side = Literal["first", "second"]

SOCKET = "socket"  # the mate of walls that meet inside a hollow, where no outline shows them


@dataclass(frozen=True)
class CornerSize:
    """The two boards at a corner. proud_mm: how far ends stand out before they are planed flush."""

    corner: str
    first: str
    second: str
    height_mm: float
    first_thickness_mm: float
    second_thickness_mm: float
    proud_mm: float

    def side_of(self, boards: tuple[str, ...], what: str) -> Side:
        """Which of the two boards is named in ``boards``; exactly one must be."""
        named = [name for name in (self.first, self.second) if name in boards]
        if len(named) != 1:
            arrived = "both of them are" if named else "neither is"
            raise InputError(
                f"{what} must name one of {self.first} and {self.second}, but {arrived} named",
                accepted=f'for example {what} = ["{self.first}"]',
                where=f"joint at {self.corner}",
            )
        return "first" if named[0] == self.first else "second"


@dataclass(frozen=True)
class ProfileEdge:
    """One edge of a board's end. mate: the name of the edge it meets on the other board, "inner face" or SOCKET."""

    place: Place
    name: str
    mate: str


@dataclass(frozen=True, eq=False)
class Socket:
    """A hollow in the inner face at a board's end. uv_mm: (n, 2), turning from u toward v; it may run out over the end, u < 0."""

    uv_mm: Array
    edges: tuple[ProfileEdge, ...]
    depth_mm: float


@dataclass(frozen=True, eq=False)
class EndProfile:
    """The outline of one board's end from v = 0 to v = height, at the show face and at the inner face.

    show_uv_mm, inner_uv_mm: (n, 2); edges: n - 1.
    """

    show_uv_mm: Array
    inner_uv_mm: Array
    edges: tuple[ProfileEdge, ...]
    sockets: tuple[Socket, ...] = ()


@dataclass(frozen=True, eq=False)
class JointPair:
    """Both ends of a corner. tail: the side with square walls that carries the tails (or starts, for box joints).

    slides_off: the sides that may leave the other one straight out along their own show face's normal.
    """

    first: EndProfile
    second: EndProfile
    tail: Side
    slides_off: tuple[Side, ...]
    findings: tuple[Finding, ...] = ()


class Joint(Protocol):
    """A kind of corner joint: mates complementary at every depth, areas conserved, an assembly path exists."""

    kind: str
    options: type[Document]

    def build(self, size: CornerSize, options: Any) -> JointPair:
        """The two ends. Raises BuildError when the joint cannot be built at this size."""
        ...


@cache
def all_joints() -> dict[str, Joint]:
    """Every joint by kind: each module in joints/kinds holds one ``JOINT``."""
    joints: list[Joint] = entries("kerfwright.joints.kinds", "JOINT")
    return {joint.kind: joint for joint in joints}


def comb(is_tip: list[bool], at_tip_mm: Array, at_floor_mm: Array, depth_mm: float, height_mm: float) -> Array:
    """A comb-shaped end: (2 * n_boundaries + 2, 2) points in (u, v).

    is_tip[i]: segment i reaches the board's end; at_tip_mm, at_floor_mm: (n_boundaries,) where each boundary
    between neighbouring segments crosses the end and the baseline.
    """
    u_of = [0.0 if tip else depth_mm for tip in is_tip]
    points = [(u_of[0], 0.0)]
    for k in range(len(at_tip_mm)):
        for segment in (k, k + 1):
            points.append((u_of[segment], float(at_tip_mm[k] if is_tip[segment] else at_floor_mm[k])))
    points.append((u_of[-1], height_mm))
    return np.array(points)


def comb_edges(is_tip: list[bool]) -> tuple[ProfileEdge, ...]:
    """Names of a comb's edges: flank k of one board meets flank k of the other; floors meet the inner face."""
    edges: list[ProfileEdge] = []
    for segment, tip in enumerate(is_tip):
        if segment:
            edges.append(ProfileEdge(Place.FLANK, f"flank{segment}", f"flank{segment}"))
        edges.append(
            ProfileEdge(Place.TIP, f"tip{segment + 1}", "") if tip else ProfileEdge(Place.FLOOR, f"floor{segment + 1}", "inner face")
        )
    return tuple(edges)

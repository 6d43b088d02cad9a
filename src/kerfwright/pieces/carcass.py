"""Four walls with joints at their corners: what boxes, drawers and trays are built from.

Front and back run the length, left and right the width; corners are named by the two boards they join. Frame of the
finished carcass: x right, y back, z up, origin at the outer front left bottom corner.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from kerfwright.core.document import Document, Length, LengthOrZero, build
from kerfwright.core.errors import BuildError, InputError
from kerfwright.core.finding import Finding
from kerfwright.core.pose import Pose, axes
from kerfwright.geometry.assembly import Assembly, Freedom, Mate, Part
from kerfwright.geometry.region import is_simple
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Recess, Slab
from kerfwright.joints.joint import CornerSize, EndProfile, JointPair, ProfileEdge, all_joints
from kerfwright.pieces.design import Corner, Design
from kerfwright.pieces.order import assembly_steps
from kerfwright.pieces.piece import PieceDocument
from kerfwright.process.fit import Fit, parse_fit_mm

Array = NDArray[np.float64]

PANELS = ("front", "right", "back", "left")  # round the box as seen from above, counter-clockwise
CORNERS = tuple(f"{first}-{second}" for first, second in zip(PANELS, PANELS[1:] + PANELS[:1], strict=True))
SMALLEST_INSIDE_MM = 5.0


class CarcassDocument(PieceDocument):
    """Four walls. ``joints.all`` serves every corner without an entry of its own, such as ``joints.front-right``."""

    schema_: Literal["kerfwright-piece-1"] = Field(alias="schema")
    name: str = Field(min_length=1, max_length=60)
    measured: Literal["outside", "inside"] = "outside"
    length_mm: Length = Field(alias="length")
    width_mm: Length = Field(alias="width")
    height_mm: Length = Field(alias="height")
    proud_mm: LengthOrZero = Field(default=0.2, alias="proud", le=3)  # planed flush later: 0.1-0.3 (common practice, no source)
    fit_mm: Fit = Field(default_factory=lambda: parse_fit_mm("snug"), alias="fit")
    joints: dict[str, dict[str, Any]] = Field(min_length=1)


@dataclass(frozen=True, eq=False)
class Carcass:
    """Four walls that go together. parts: in the order of PANELS; freedoms: their ways apart, corner by corner."""

    name: str
    height_mm: float
    outside_mm: tuple[float, float]
    thickness_mm: Mapping[str, float]
    parts: tuple[Part, ...]
    corners: tuple[Corner, ...]
    freedoms: tuple[Freedom, ...]
    findings: tuple[Finding, ...]

    @property
    def inside_mm(self) -> tuple[float, float]:
        """Length and width between the walls' inner faces."""
        return (
            self.outside_mm[0] - self.thickness_mm["left"] - self.thickness_mm["right"],
            self.outside_mm[1] - self.thickness_mm["front"] - self.thickness_mm["back"],
        )

    def hollowed(self, recesses: Mapping[str, tuple[Recess, ...]]) -> Carcass:
        """The same walls with recesses, by panel, added."""
        parts = tuple(
            replace(part, slab=replace(part.slab, recesses=(*part.slab.recesses, *recesses.get(part.name, ())))) for part in self.parts
        )
        return replace(self, parts=parts)

    def design(
        self, more_parts: tuple[Part, ...] = (), more_freedoms: tuple[Freedom, ...] = (), findings: tuple[Finding, ...] = ()
    ) -> Design:
        """The piece: these walls and whatever else goes into it. Raises BuildError when no order of assembly exists."""
        parts, freedoms = (*self.parts, *more_parts), (*self.freedoms, *more_freedoms)
        steps = assembly_steps(tuple(part.name for part in parts), freedoms)
        assembly = Assembly(self.name, parts, _mates(self.parts), freedoms, steps)
        return Design(assembly, self.corners, (*self.findings, *findings))


def build_carcass(document: CarcassDocument, thickness_mm: Mapping[str, float], lowered_mm: Mapping[str, float] | None = None) -> Carcass:
    """The exact walls. thickness_mm: measured, by panel; lowered_mm: walls that stop this far below the others' top.

    Raises BuildError when they cannot be built in wood.
    """
    heights_mm = {panel: document.height_mm - (lowered_mm or {}).get(panel, 0.0) for panel in PANELS}
    outside_mm = _outside_mm(document, thickness_mm)
    joints = _joints_by_corner(document)
    pairs: dict[str, JointPair] = {}
    corners: list[Corner] = []
    for corner, first, second in zip(CORNERS, PANELS, PANELS[1:] + PANELS[:1], strict=True):
        corner_mm = min(heights_mm[first], heights_mm[second])
        size = CornerSize(corner, first, second, corner_mm, thickness_mm[first], thickness_mm[second], document.proud_mm)
        kind, options, fit_mm = joints[corner]
        pair = all_joints()[kind].build(size, options)
        pairs[corner] = pair
        ends = (first, "right", second, "left") if pair.tail == "first" else (second, "left", first, "right")
        corners.append(Corner(corner, kind, *ends, clearance_mm=fit_mm))
    parts: list[Part] = []
    for i, panel in enumerate(PANELS):
        length_mm = outside_mm[i % 2] + 2 * document.proud_mm
        slab = _panel_slab(panel, length_mm, heights_mm[panel], thickness_mm[panel], pairs[CORNERS[i - 1]], pairs[CORNERS[i]], i)
        parts.append(Part(panel, slab, _pose(i, outside_mm, document.proud_mm)))
    findings = tuple(finding for pair in pairs.values() for finding in pair.findings)
    freedoms = _freedoms(tuple(parts), pairs)
    return Carcass(document.name, document.height_mm, outside_mm, thickness_mm, tuple(parts), tuple(corners), freedoms, findings)


def _outside_mm(document: CarcassDocument, thickness_mm: Mapping[str, float]) -> tuple[float, float]:
    walls_mm = (thickness_mm["left"] + thickness_mm["right"], thickness_mm["front"] + thickness_mm["back"])
    sizes_mm = (document.length_mm, document.width_mm)
    for what, size_mm, wall_mm in zip(("length", "width"), sizes_mm, walls_mm, strict=True):
        inside_mm = size_mm if document.measured == "inside" else size_mm - wall_mm
        if inside_mm < SMALLEST_INSIDE_MM:
            raise BuildError(
                f"the {what} of {size_mm:g} mm leaves {inside_mm:.1f} mm inside",
                accepted=f"{SMALLEST_INSIDE_MM:g} mm inside or more",
                remedy=f"Make the box longer than {wall_mm + SMALLEST_INSIDE_MM:.1f} mm outside, or use thinner boards",
            )
    if document.measured == "inside":
        return sizes_mm[0] + walls_mm[0], sizes_mm[1] + walls_mm[1]
    return sizes_mm


def _joints_by_corner(document: CarcassDocument) -> dict[str, tuple[str, Any, float]]:
    unknown = [name for name in document.joints if name not in ("all", *CORNERS)]
    if unknown:
        raise InputError(f'there is no corner called "{unknown[0]}"', accepted="all, " + ", ".join(CORNERS), where="joints")
    found: dict[str, tuple[str, Any, float]] = {}
    for corner in CORNERS:
        name = corner if corner in document.joints else "all"
        if name not in document.joints:
            raise InputError(f"the corner {corner} has no joint", accepted=f"a table [joints.{corner}] or [joints.all]")
        found[corner] = _joint(dict(document.joints[name]), f"joints.{name}", document.fit_mm)
    return found


def _joint(table: dict[str, Any], where: str, fit_mm: float) -> tuple[str, Any, float]:
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in all_joints():
        raise InputError(
            f"there is no joint called {kind!r}" if kind is not None else "the key kind is missing",
            accepted=", ".join(f'"{each}"' for each in all_joints()),
            where=where,
        )
    if "fit" in table:
        fit_mm = build({"fit": table.pop("fit")}, _FitOnly, where).fit_mm
    return kind, build(table, all_joints()[kind].options, where), fit_mm


class _FitOnly(Document):
    fit_mm: Fit = Field(alias="fit")


def _panel_slab(
    panel: str, length_mm: float, height_mm: float, thickness_mm: float, at_left: JointPair, at_right: JointPair, i: int
) -> Slab:
    right, left = at_right.first, at_left.second
    after, before = PANELS[(i + 1) % 4], PANELS[i - 1]
    right_edges = [_edge(each, "right", after, "left") for each in right.edges]
    left_edges = [_edge(each, "left", before, "right") for each in left.edges]
    edges = (
        *right_edges, *_rise_edges(right, height_mm, "right"),
        Edge(Role.FREE, Place.LONG, "top"),
        *reversed([*left_edges, *_rise_edges(left, height_mm, "left")]),
        Edge(Role.FREE, Place.LONG, "bottom"),
    )  # fmt: skip
    rings: list[Ring] = []
    for right_uv, left_uv in (
        (_risen(right.show_uv_mm, height_mm), _risen(left.show_uv_mm, height_mm)),
        (_risen(right.inner_uv_mm, height_mm), _risen(left.inner_uv_mm, height_mm)),
    ):
        at_right_mm = np.stack([length_mm - right_uv[:, 0], right_uv[:, 1]], axis=1)
        points = np.concatenate([at_right_mm, left_uv[::-1]])
        if not is_simple(points):
            raise BuildError(
                f"the {panel} board's two joints run into each other: it is {length_mm:.1f} mm long",
                remedy="Make the box larger or the boards thinner",
            )
        rings.append(Ring(points, edges))
    return Slab((rings[0], rings[1]), (0.0, thickness_mm))


def _risen(uv_mm: Array, height_mm: float) -> Array:
    """An end profile (n, 2) carried on straight up, flush with the end, where the wall is higher than its neighbour."""
    u, v = uv_mm[-1]
    if height_mm <= v:
        return uv_mm
    if u == 0:
        return np.vstack([uv_mm[:-1], [(0.0, height_mm)]])
    return np.vstack([uv_mm, [(0.0, v), (0.0, height_mm)]])


def _rise_edges(profile: EndProfile, height_mm: float, end: str) -> list[Edge]:
    """The edges that ``_risen`` adds: over the neighbour's top edge, and up."""
    u, v = profile.show_uv_mm[-1]
    if height_mm <= v or u == 0:
        return []
    return [Edge(Role.FREE, Place.FLANK, f"{end}.step"), Edge(Role.FREE, Place.TIP, f"{end}.rise")]


def _edge(edge: ProfileEdge, end: str, other: str, other_end: str) -> Edge:
    role = Role.FREE if edge.place is Place.TIP else Role.MATE
    mate = f"{other}/{other_end}.{edge.mate}" if edge.place is Place.FLANK else f"{other}/{edge.mate}" if edge.mate else ""
    return Edge(role, edge.place, f"{end}.{edge.name}", mate)


def _pose(i: int, outside_mm: tuple[float, float], proud_mm: float) -> Pose:
    """Panel i's frame in the box: x right, y back, z up, origin at the outer front left bottom corner."""
    length_mm, width_mm = outside_mm
    out = np.array([[0, -1, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0]], dtype=float)[i]
    along = np.array([-out[1], out[0], 0.0])
    corner = np.array([[0, 0, 0], [length_mm, 0, 0], [length_mm, width_mm, 0], [0, width_mm, 0]], dtype=float)[i]
    return axes(along, np.array([0.0, 0.0, 1.0]), out, corner - proud_mm * along)


def _freedoms(parts: tuple[Part, ...], pairs: dict[str, JointPair]) -> tuple[Freedom, ...]:
    found: list[Freedom] = []
    for i, corner in enumerate(CORNERS):
        sides = {"first": parts[i], "second": parts[(i + 1) % 4]}
        for side in pairs[corner].slides_off:
            part = sides[side]
            other = sides["second" if side == "first" else "first"]
            found.append(Freedom(corner, part.name, other.name, part.assembly_from_part.turned(np.array([[0.0, 0.0, 1.0]]))))
    return tuple(found)


def _mates(parts: tuple[Part, ...]) -> tuple[Mate, ...]:
    found: list[Mate] = []
    for i, corner in enumerate(CORNERS):
        first = parts[i]
        for edge in first.slab.edges:
            if edge.place is Place.FLANK and edge.name.startswith("right.") and edge.mate:
                other, name = edge.mate.split("/")
                found.append(Mate(corner, first.name, edge.name, other, name))
    return tuple(found)

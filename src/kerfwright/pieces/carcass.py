"""Four walls with joints at their corners: what boxes, drawers and trays are built from.

Front and back run the length, left and right the width; corners are named by the two boards they join. Frame of the
finished carcass: x right, y back, z up, origin at the outer front left bottom corner.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from kerfwright.core.document import Document, Length, LengthOrZero, build
from kerfwright.core.errors import BuildError, InputError
from kerfwright.core.finding import Finding
from kerfwright.core.pose import Pose, axes, shift
from kerfwright.geometry.assembly import Assembly, Bond, Freedom, Mate, Part
from kerfwright.geometry.region import is_simple
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, Recess, Slab
from kerfwright.joints.joint import SOCKET, CornerSize, EndProfile, JointPair, ProfileEdge, Socket, all_joints
from kerfwright.pieces.design import Corner, Design
from kerfwright.pieces.details import FeetWishes, NotchWishes, with_details
from kerfwright.pieces.order import assembly_steps
from kerfwright.pieces.piece import PieceDocument
from kerfwright.process.fit import Fit, parse_fit_mm
from kerfwright.process.hardware import Hardware

Array = NDArray[np.float64]

Walls = tuple[str, str, str, str]
PANELS: Walls = ("front", "right", "back", "left")  # round the box as seen from above, counter-clockwise
SMALLEST_INSIDE_MM = 5.0
REACHED_MM = 1e-9  # heights nearer than this are one height


class JointedDocument(PieceDocument):
    """Four walls of any size. ``joints.all`` serves every corner without an entry of its own, such as ``joints.front-right``."""

    schema_: Literal["kerfwright-piece-1"] = Field(alias="schema", description="which kind of file this is; write it as it stands")
    name: str = Field(min_length=1, max_length=60, description="what the piece is called in every file")
    # Planed flush later: 0.1-0.3 (common practice, no source).
    proud_mm: LengthOrZero = Field(
        default=0.2, alias="proud", le=3, description="how far the ends stand out at each corner, to be planed flush"
    )
    fit_mm: Fit = Field(
        default_factory=lambda: parse_fit_mm("snug"),
        alias="fit",
        description="how tight the joints are: a trade word, or the clearance across one pin",
    )
    joints: dict[str, dict[str, Any]] = Field(
        min_length=1, description="`[joints.all]` serves every corner without a table of its own, such as `[joints.front-right]`"
    )


class CarcassDocument(JointedDocument):
    """Four walls of given sizes."""

    measured: Literal["outside", "inside"] = Field(default="outside", description="whether length and width are outside or inside sizes")
    length_mm: Length = Field(alias="length", description="of the box, along front and back")
    width_mm: Length = Field(alias="width", description="of the box, along left and right")
    height_mm: Length = Field(alias="height", description="of the walls")
    notch: NotchWishes | None = Field(default=None, description="`[notch]`: a finger notch in a wall's upper edge")
    feet: FeetWishes | None = Field(default=None, description="`[feet]`: left at the corners by cuts along the lower edges")


@dataclass(frozen=True)
class WallSizes:
    """outside_mm: length and width. lowered_mm, raised_mm: walls that stop below the others' top or begin above their foot.

    panels: the walls' names, in the order of PANELS.
    """

    outside_mm: tuple[float, float]
    height_mm: float
    lowered_mm: Mapping[str, float] = field(default_factory=dict[str, float])
    raised_mm: Mapping[str, float] = field(default_factory=dict[str, float])
    panels: Walls = PANELS

    def span_mm(self, panel: str) -> tuple[float, float]:
        """A wall's lower and upper edge."""
        return self.raised_mm.get(panel, 0.0), self.height_mm - self.lowered_mm.get(panel, 0.0)


@dataclass(frozen=True, eq=False)
class Carcass:
    """Four walls that go together. parts: in the order of panels; freedoms: their ways apart, corner by corner."""

    name: str
    height_mm: float
    outside_mm: tuple[float, float]
    thickness_mm: Mapping[str, float]
    parts: tuple[Part, ...]
    corners: tuple[Corner, ...]
    freedoms: tuple[Freedom, ...]
    findings: tuple[Finding, ...]
    panels: Walls = PANELS
    proud_mm: float = 0.0  # how far each wall's ends stand out until they are planed flush

    @property
    def inside_mm(self) -> tuple[float, float]:
        """Length and width between the walls' inner faces."""
        front, right, back, left = (self.thickness_mm[panel] for panel in self.panels)
        return self.outside_mm[0] - left - right, self.outside_mm[1] - front - back

    def hollowed(self, recesses: Mapping[str, tuple[Recess, ...]]) -> Carcass:
        """The same walls with recesses, by panel, added."""
        parts = tuple(
            replace(part, slab=replace(part.slab, recesses=(*part.slab.recesses, *recesses.get(part.name, ())))) for part in self.parts
        )
        return replace(self, parts=parts)

    def detailed(self, document: CarcassDocument) -> Carcass:
        """The same walls, grooves and slots in them already, with the notches and feet that the document wishes."""
        return with_details(self, document.notch, document.feet)

    def design(
        self,
        more_parts: tuple[Part, ...] = (),
        more_freedoms: tuple[Freedom, ...] = (),
        findings: tuple[Finding, ...] = (),
        hardware: tuple[Hardware, ...] = (),
    ) -> Design:
        """The piece: these walls and whatever else goes into it. Raises BuildError when no order of assembly exists."""
        parts, freedoms = (*self.parts, *more_parts), (*self.freedoms, *more_freedoms)
        steps = assembly_steps(tuple(part.name for part in parts), freedoms)
        assembly = Assembly(self.name, parts, _mates(self.parts), freedoms, steps)
        return Design(assembly, self.corners, (*self.findings, *findings), hardware)


def build_carcass(document: CarcassDocument, thickness_mm: Mapping[str, float], lowered_mm: Mapping[str, float] | None = None) -> Carcass:
    """The exact walls. thickness_mm: measured, by panel; lowered_mm: walls that stop this far below the others' top.

    Raises BuildError when they cannot be built in wood.
    """
    return carcass_of(document, thickness_mm, WallSizes(_outside_mm(document, thickness_mm), document.height_mm, lowered_mm or {}))


def carcass_of(document: JointedDocument, thickness_mm: Mapping[str, float], sizes: WallSizes) -> Carcass:
    """The exact walls at these sizes. Raises BuildError when they cannot be built in wood."""
    panels, outside_mm = sizes.panels, sizes.outside_mm
    names = tuple(f"{first}-{second}" for first, second in zip(panels, panels[1:] + panels[:1], strict=True))
    joints = _joints_by_corner(document, names)
    pairs: dict[str, JointPair] = {}
    corners: list[Corner] = []
    feet_mm: dict[str, float] = {}
    for corner, first, second in zip(names, panels, panels[1:] + panels[:1], strict=True):
        (low_1, high_1), (low_2, high_2) = sizes.span_mm(first), sizes.span_mm(second)
        feet_mm[corner] = max(low_1, low_2)
        corner_mm = min(high_1, high_2) - feet_mm[corner]
        size = CornerSize(corner, first, second, corner_mm, thickness_mm[first], thickness_mm[second], document.proud_mm)
        kind, options, fit_mm = joints[corner]
        pair = all_joints()[kind].build(size, options)
        pairs[corner] = pair
        ends = (first, "right", second, "left") if pair.tail == "first" else (second, "left", first, "right")
        corners.append(Corner(corner, kind, *ends, clearance_mm=fit_mm))
    parts: list[Part] = []
    for i, panel in enumerate(panels):
        length_mm = outside_mm[i % 2] + 2 * document.proud_mm
        low_mm, high_mm = sizes.span_mm(panel)
        profiles = (pairs[names[i - 1]].second, pairs[names[i]].first)
        ends = [_reaching(each, feet_mm[names[i - 1 + k]] - low_mm, high_mm - low_mm) for k, each in enumerate(profiles)]
        slab = _panel_slab(panel, length_mm, thickness_mm[panel], ends[0], ends[1], (panels[i - 1], panels[(i + 1) % 4]))
        parts.append(Part(panel, slab, _pose(i, outside_mm, document.proud_mm) @ shift(0.0, low_mm)))
    findings = tuple(finding for pair in pairs.values() for finding in pair.findings)
    freedoms = _freedoms(tuple(parts), pairs)
    return Carcass(document.name, sizes.height_mm, outside_mm, thickness_mm, tuple(parts), tuple(corners), freedoms, findings, panels,
                   document.proud_mm)  # fmt: skip


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


def _joints_by_corner(document: JointedDocument, corners: tuple[str, ...]) -> dict[str, tuple[str, Any, float]]:
    unknown = [name for name in document.joints if name not in ("all", *corners)]
    if unknown:
        raise InputError(f'there is no corner called "{unknown[0]}"', accepted="all, " + ", ".join(corners), where="joints")
    found: dict[str, tuple[str, Any, float]] = {}
    for corner in corners:
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
    panel: str, length_mm: float, thickness_mm: float, left: EndProfile, right: EndProfile, neighbours: tuple[str, str]
) -> Slab:
    """neighbours: at its left and its right end."""
    before, after = neighbours
    edges = (
        *(_edge(each, "right", after, "left") for each in right.edges),
        Edge(Role.FREE, Place.LONG, "top"),
        *reversed([_edge(each, "left", before, "right") for each in left.edges]),
        Edge(Role.FREE, Place.LONG, "bottom"),
    )
    rings: list[Ring] = []
    for right_uv, left_uv in ((right.show_uv_mm, left.show_uv_mm), (right.inner_uv_mm, left.inner_uv_mm)):
        at_right_mm = np.stack([length_mm - right_uv[:, 0], right_uv[:, 1]], axis=1)
        points = np.concatenate([at_right_mm, left_uv[::-1]])
        if not is_simple(points):
            raise BuildError(
                f"the {panel} board's two joints run into each other: it is {length_mm:.1f} mm long",
                remedy="Make the box larger or the boards thinner",
            )
        rings.append(Ring(points, edges))
    sockets = (
        *(_socket(each, "left", before, False, 0.0) for each in left.sockets),
        *(_socket(each, "right", after, True, length_mm) for each in right.sockets),
    )
    return Slab((rings[0], rings[1]), (0.0, thickness_mm), sockets)


def _socket(socket: Socket, end: str, other: str, mirrored: bool, at_mm: float) -> Recess:
    """In the board's frame, its end at ``at_mm``, where u runs the other way for the right end."""
    points = socket.uv_mm * [-1.0 if mirrored else 1.0, 1.0] + [at_mm, 0.0]
    edges = [_edge(each, end, other, "") for each in socket.edges]
    if mirrored:  # keeps turning round the hollow the same way: corners in the other order, each edge with its own two
        points, edges = points[::-1], [*edges[-2::-1], edges[-1]]
    return Recess(f"socket for the {other}", Face.INNER, Ring(points, tuple(edges)), socket.depth_mm)


def _reaching(profile: EndProfile, foot_mm: float, height_mm: float) -> EndProfile:
    """The profile begun ``foot_mm`` up the wall and carried on, flush with the end, to the wall's own lower and upper edge."""
    show, inner = (uv + [0.0, foot_mm] for uv in (profile.show_uv_mm, profile.inner_uv_mm))
    edges = profile.edges
    if height_mm > show[-1, 1] + REACHED_MM:
        if show[-1, 0] == 0:
            show, inner = (np.vstack([uv[:-1], [(0.0, height_mm)]]) for uv in (show, inner))
        else:
            show, inner = (np.vstack([uv, [(0.0, uv[-1, 1]), (0.0, height_mm)]]) for uv in (show, inner))
            edges = (*edges, ProfileEdge(Place.FLANK, "step", ""), ProfileEdge(Place.TIP, "rise", ""))
    if foot_mm > REACHED_MM:
        if show[0, 0] == 0:
            show, inner = (np.vstack([[(0.0, 0.0)], uv[1:]]) for uv in (show, inner))
        else:
            show, inner = (np.vstack([[(0.0, 0.0), (0.0, foot_mm)], uv]) for uv in (show, inner))
            edges = (ProfileEdge(Place.TIP, "drop", ""), ProfileEdge(Place.FLANK, "ledge", ""), *edges)
    sockets = tuple(replace(each, uv_mm=each.uv_mm + [0.0, foot_mm]) for each in profile.sockets)
    return EndProfile(show, inner, edges, sockets)


def _edge(edge: ProfileEdge, end: str, other: str, other_end: str) -> Edge:
    if not edge.mate:
        return Edge(Role.FREE, edge.place, f"{end}.{edge.name}")
    mate = f"{other}/{other_end}.{edge.mate}" if edge.place is Place.FLANK and edge.mate != SOCKET else f"{other}/{edge.mate}"
    return Edge(Role.MATE, edge.place, f"{end}.{edge.name}", mate)


def _pose(i: int, outside_mm: tuple[float, float], proud_mm: float) -> Pose:
    """Panel i's frame in the box: x right, y back, z up, origin at the outer front left bottom corner."""
    length_mm, width_mm = outside_mm
    out = np.array([[0, -1, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0]], dtype=float)[i]
    along = np.array([-out[1], out[0], 0.0])
    corner = np.array([[0, 0, 0], [length_mm, 0, 0], [length_mm, width_mm, 0], [0, width_mm, 0]], dtype=float)[i]
    return axes(along, np.array([0.0, 0.0, 1.0]), out, corner - proud_mm * along)


def _freedoms(parts: tuple[Part, ...], pairs: dict[str, JointPair]) -> tuple[Freedom, ...]:
    found: list[Freedom] = []
    for i, corner in enumerate(pairs):
        sides = {"first": parts[i], "second": parts[(i + 1) % 4]}
        for side in pairs[corner].slides_off:
            part = sides[side]
            other = sides["second" if side == "first" else "first"]
            out = part.assembly_from_part.turned(np.array([[0.0, 0.0, 1.0]]))
            found.append(Freedom(corner, part.name, other.name, out, Bond.GLUED))
    return tuple(found)


def _mates(parts: tuple[Part, ...]) -> tuple[Mate, ...]:
    found: list[Mate] = []
    for i, first in enumerate(parts):
        corner = f"{first.name}-{parts[(i + 1) % 4].name}"
        for edge in first.slab.edges:
            if edge.place is Place.FLANK and edge.name.startswith("right.") and edge.mate and not edge.mate.endswith(f"/{SOCKET}"):
                other, name = edge.mate.split("/")
                found.append(Mate(corner, first.name, edge.name, other, name))
    return tuple(found)

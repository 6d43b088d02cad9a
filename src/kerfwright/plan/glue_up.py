"""The glue-up worked out from the piece: which parts meet and how, how much glue, which clamps, and when it is square.

Words: a *meeting* is two parts that touch when the piece is together; a *caul* is a block between clamp and work.
Law (1), square: a frame a x b that leans by v over each mm has diagonals that differ by 2 a b v / hypot(a, b), for small v.
Example: 168 x 98 mm, v = 0.002: 0.34 mm. Plane geometry, own derivation.
Clamp pressure: 0.7-1.0 MPa for softwood, up to 1.4-1.7 for dense hardwood (USDA FPL Wood Handbook ch. 10, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.assembly import Assembly, Bond, Freedom, Part
from kerfwright.geometry.ring import Place, Role
from kerfwright.geometry.slab import Recess
from kerfwright.wood.board import Board
from kerfwright.wood.species import find_species

Array = NDArray[np.float64]

SPREAD_G_M2 = (150.0, 250.0)  # white glue on one glue line (common practice, no source)
BRUSH_SHARE = 2.0  # pour this much of what the joints take: brush, dish and squeeze-out keep the rest (judgement of ours)
LIGHT_WOOD, DENSE_WOOD = 0.50, 0.60  # relative density at 12 %: softwood's pressure below, dense hardwood's above (judgement of ours)
PRESSURES_MPA = ((0.7, 1.0), (1.0, 1.4), (1.4, 1.7))  # the middle one is ours: between what the handbook gives
CLAMP_EVERY_MM = 100.0  # of a joint's height (common practice, no source)
CAUL_MM = 20.0  # thick (common practice, no source)
OUT_OF_SQUARE = 0.002  # 0.2 mm over 100: what a fitted lid or drawer forgives (judgement of ours)
FACING = 0.99  # cosine: faces that lie on each other
OVERLAP_MM = 0.5  # parts that stand this far in each other's boxes are halved into each other


@dataclass(frozen=True, eq=False)
class Meeting:
    """Two parts that meet. kind: "joint", "recess", "lap" or "rest"; recess: the hollow of ``into`` that ``part`` stands in.

    area_mm2: of the glue line, 0 when it stays dry. corner: of a joint.
    """

    part: str
    into: str
    kind: str
    bond: Bond
    area_mm2: float = 0.0
    corner: str = ""
    recess: Recess | None = None

    def between(self, some: tuple[str, ...], others: tuple[str, ...]) -> bool:
        """True when it joins one of ``some`` and one of ``others``."""
        return (self.part in some and self.into in others) or (self.part in others and self.into in some)


@dataclass(frozen=True)
class Clamps:
    """Clamps along one way. axis: 0 x, 1 y, 2 z of the piece; n_cauls: one a joint and side, caul_mm long; force_n: of each clamp."""

    axis: int
    n_clamps: int
    opening_mm: float
    n_cauls: int
    caul_mm: float
    force_n: tuple[float, float]


@dataclass(frozen=True)
class Square:
    """The frame inside: sizes_mm, its diagonal, and by how much the two diagonals may differ."""

    sizes_mm: tuple[float, float]
    diagonal_mm: float
    may_differ_mm: float


@dataclass(frozen=True, eq=False)
class GlueUp:
    """glue_g: from and to, to pour; pressure_mpa: from and to, of the piece's densest wood."""

    meetings: tuple[Meeting, ...]
    glue_g: tuple[float, float]
    pressure_mpa: tuple[float, float]
    clamps: tuple[Clamps, ...]
    square: Square | None

    @property
    def area_mm2(self) -> float:
        """Of all glue lines."""
        return math.fsum(meeting.area_mm2 for meeting in self.meetings)


def glue_up(assembly: Assembly, boards: Mapping[str, Board]) -> GlueUp:
    """For a piece of these boards, by part."""
    found = meetings(assembly)
    area_m2 = math.fsum(meeting.area_mm2 for meeting in found) / 1e6
    glue_g = (BRUSH_SHARE * SPREAD_G_M2[0] * area_m2, BRUSH_SHARE * SPREAD_G_M2[1] * area_m2)
    pressure_mpa = pressure_for(max((find_species(board.species).relative_density.value for board in boards.values()), default=DENSE_WOOD))
    joints = [each for each in found if each.kind == "joint"]
    return GlueUp(found, glue_g, pressure_mpa, tuple(_clamps(assembly, joints, pressure_mpa)), _square(assembly, joints))


def pressure_for(density: float) -> tuple[float, float]:
    """Clamp pressure, from and to in MPa, for wood of this relative density."""
    return PRESSURES_MPA[int(density >= LIGHT_WOOD) + int(density > DENSE_WOOD)]


def meetings(assembly: Assembly) -> tuple[Meeting, ...]:
    """Every pair of parts that meet, in the order of the piece's own freedoms."""
    found: dict[frozenset[str], Meeting] = {}
    corners = {mate.corner for mate in assembly.mates}
    for freedom in assembly.freedoms:
        pair = frozenset((freedom.part, freedom.from_part))
        if pair not in found:
            found[pair] = _meeting(assembly, freedom, corners)
    return tuple(found.values())


def _meeting(assembly: Assembly, freedom: Freedom, corners: set[str]) -> Meeting:
    part, into = assembly.part(freedom.part), assembly.part(freedom.from_part)
    glued = freedom.bond is Bond.GLUED
    if freedom.corner in corners:
        return Meeting(part.name, into.name, "joint", freedom.bond, glued * _joint_area_mm2(assembly, freedom.corner), freedom.corner)
    hollows = hollows_for(part, into)
    if hollows:
        kind = "joint" if any(edge.role is Role.MATE for each in hollows for edge in each.ring.edges) else "recess"
        area_mm2 = glued * math.fsum(map(_recess_area_mm2, hollows))
        return Meeting(part.name, into.name, kind, freedom.bond, area_mm2, freedom.corner if kind == "joint" else "", hollows[0])
    if bool(np.all(_overlap_mm(part, into) > OVERLAP_MM)):
        return Meeting(part.name, into.name, "lap", freedom.bond)
    if glued and not _face_to_face(part, into):  # a mitre, say: end to end, without edges that mate
        end_mm2 = min(each.slab.thickness_mm * _width_mm(each) for each in (part, into))
        return Meeting(part.name, into.name, "joint", freedom.bond, end_mm2, freedom.corner)
    face_mm2 = min(_length_mm(each) * _width_mm(each) for each in (part, into))
    return Meeting(part.name, into.name, "rest", freedom.bond, glued * face_mm2)


def hollows_for(part: Part, into: Part) -> list[Recess]:
    """Recesses of ``into`` that are named for ``part``."""
    return [each for each in into.slab.recesses if each.name.split(" for ")[-1].removeprefix("the ") == part.name]


def _face_to_face(part: Part, into: Part) -> bool:
    ways = [each.assembly_from_part.turned(np.array([0.0, 0.0, 1.0])) for each in (part, into)]
    return abs(float(np.dot(*ways))) > FACING


def _joint_area_mm2(assembly: Assembly, corner: str) -> float:
    """Flanks, each once, and the floors of both boards."""
    mates = [mate for mate in assembly.mates if mate.corner == corner]
    flanks = [wall_area_mm2(assembly.part(mate.part_a), mate.edge_a) for mate in mates]
    return math.fsum(flanks) + sum(floor_area_mm2(assembly, corner, name) for name in dict.fromkeys(_boards(assembly, corner)))


def _boards(assembly: Assembly, corner: str) -> list[str]:
    return [name for mate in assembly.mates if mate.corner == corner for name in (mate.part_a, mate.part_b)]


def floor_area_mm2(assembly: Assembly, corner: str, name: str) -> float:
    """What the other board's tips press against, on this board."""
    others = {each for each in _boards(assembly, corner) if each != name}
    part = assembly.part(name)
    edges = [edge for edge in part.slab.edges if edge.place is Place.FLOOR and edge.mate.split("/")[0] in others]
    return math.fsum(wall_area_mm2(part, edge.name) for edge in edges)


def wall_area_mm2(part: Part, edge: str) -> float:
    """Of the ruled wall from show face to inner face, as two triangles."""
    slab = part.slab
    i = next(k for k, each in enumerate(slab.edges) if each.name == edge)
    j = (i + 1) % len(slab.edges)
    up, low = (np.column_stack([ring.points_mm, np.full(len(ring.points_mm), z)]) for ring, z in (
        (slab.show_ring, 0.0), (slab.inner_ring, -slab.thickness_mm)))  # fmt: skip
    halves = [np.cross(up[j] - up[i], low[i] - up[i]), np.cross(low[j] - up[j], low[i] - up[j])]
    return float(sum(np.linalg.norm(each) for each in halves)) / 2


def _recess_area_mm2(recess: Recess) -> float:
    """Its floor and its two long sides."""
    points = recess.ring.points_mm
    sides = np.sort(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1))
    return _ring_mm2(recess) + recess.depth_mm * float(sides[-2:].sum())


def _ring_mm2(recess: Recess) -> float:
    x, y = recess.ring.points_mm.T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def _length_mm(part: Part) -> float:
    x0, _, x1, _ = part.slab.bounds_mm()
    return x1 - x0


def _width_mm(part: Part) -> float:
    _, y0, _, y1 = part.slab.bounds_mm()
    return y1 - y0


def box_mm(part: Part) -> Array:
    """Lowest and highest corner in the piece. (2, 3)"""
    rings = [np.column_stack([ring.points_mm, np.full(len(ring.points_mm), -depth)])
             for ring, depth in zip(part.slab.rings, part.slab.depths_mm, strict=True)]  # fmt: skip
    points = part.assembly_from_part.apply(np.concatenate(rings))
    return np.stack([points.min(axis=0), points.max(axis=0)])


def _overlap_mm(a: Part, b: Part) -> Array:
    box_a, box_b = box_mm(a), box_mm(b)
    return np.minimum(box_a[1], box_b[1]) - np.maximum(box_a[0], box_b[0])


def _bearing_mm2(assembly: Assembly, joint: Meeting, pressed: str, pressing: str) -> float:
    """What a clamp presses on at one joint: the floors of the board pressed on, in its end or in its face."""
    hollows = hollows_for(assembly.part(pressing), assembly.part(pressed))
    return floor_area_mm2(assembly, joint.corner, pressed) or math.fsum(map(_ring_mm2, hollows)) or joint.area_mm2


def _clamps(assembly: Assembly, joints: list[Meeting], pressure_mpa: tuple[float, float]) -> list[Clamps]:
    """Along each axis on which glued joints are pushed home: one clamp reaches over two corners."""
    pushed: dict[int, dict[str, float]] = {}  # by axis, the corners and what each presses on
    parts = {each.corner: (each.part, each.into) for each in joints}
    for joint in joints:
        for freedom in (each for each in assembly.freedoms if each.corner == joint.corner and each.bond is Bond.GLUED):
            for way in freedom.directions:
                bearing_mm2 = _bearing_mm2(assembly, joint, freedom.from_part, freedom.part)
                pushed.setdefault(int(np.argmax(np.abs(way))), {})[joint.corner] = bearing_mm2
    found: list[Clamps] = []
    for axis, corners in sorted(pushed.items()):
        walls = [assembly.part(name) for corner in corners for name in parts[corner]]
        boxes = np.stack([box_mm(part) for part in walls])
        caul_mm = min(_width_mm(part) for part in walls)
        n_high = max(1, math.ceil(caul_mm / CLAMP_EVERY_MM))
        on_mm2 = max(corners.values()) / n_high
        opening_mm = float(boxes[:, 1, axis].max() - boxes[:, 0, axis].min()) + 2 * CAUL_MM
        force_n = (pressure_mpa[0] * on_mm2, pressure_mpa[1] * on_mm2)
        found.append(Clamps(axis, math.ceil(len(corners) / 2) * n_high, opening_mm, len(corners), caul_mm, force_n))
    return found


def _square(assembly: Assembly, joints: list[Meeting]) -> Square | None:
    """From the inner faces of the jointed walls, where there are two pairs of them."""
    jointed = dict.fromkeys(name for each in joints for name in (each.part, each.into))
    faces: dict[int, list[float]] = {}
    for part in (assembly.part(name) for name in jointed):
        out = part.assembly_from_part.turned(np.array([0.0, 0.0, 1.0]))
        inner = part.assembly_from_part.apply(np.array([[0.0, 0.0, -part.slab.thickness_mm]]))[0]
        axis = int(np.argmax(np.abs(out)))
        faces.setdefault(axis, []).append(float(inner[axis]))
    sizes = [max(each) - min(each) for _, each in sorted(faces.items()) if len(each) == 2]
    if len(sizes) != 2:
        return None
    return Square((sizes[0], sizes[1]), math.hypot(*sizes), may_differ_mm((sizes[0], sizes[1])))


def may_differ_mm(sizes_mm: tuple[float, float]) -> float:
    """Law (1) at what is forgiven."""
    return 2 * sizes_mm[0] * sizes_mm[1] * OUT_OF_SQUARE / math.hypot(*sizes_mm)

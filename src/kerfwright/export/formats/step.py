"""The piece as a STEP file: one product a part, placed in one assembly, every face planar.

Written to ISO 10303-21 (the text) with the schema of ISO 10303-214, automotive_design. Vocabulary of the standard:
a *vertex point* is a corner, an *edge curve* the straight line between two, an *oriented edge* its use by a face in
one direction, an *advanced face* a bounded plane, a *manifold solid brep* the solid inside a closed shell. Two faces
share each edge and run along it in opposite directions: that is what makes the shell closed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import cast

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.pose import Pose, identity
from kerfwright.export.exporter import JobFile
from kerfwright.export.wood_colour import Colour, part_colours
from kerfwright.geometry.assembly import Assembly, Part
from kerfwright.geometry.mesh import FlatFace, face_normal, flat_faces
from kerfwright.process.job import Job

Array = NDArray[np.float64]

PATH = "piece.step"
FIXED_TIME = "2000-01-01T00:00:00"  # a real time would make two runs differ
CLOSE_MM = 1e-6  # points nearer than this count as one


class StepExporter:
    """Writes ``piece.step``."""

    name = "STEP"

    def files(self, job: Job) -> Iterator[JobFile]:
        """The whole piece in one file."""
        if job.assembly.parts:
            yield JobFile(PATH, step_bytes(job.assembly, part_colours(job)), "the piece as exact solids")


def step_bytes(assembly: Assembly, colours: dict[str, Colour]) -> bytes:
    """The assembly as an ISO 10303-21 file. colours: sRGB 0-1 by part name."""
    lines = _Lines()
    common = _common(lines)
    frame = _product(lines, common, assembly.name, "SHAPE_REPRESENTATION", [_placement(lines, identity())])
    styles: list[_Word] = []
    for part in assembly.parts:
        solid = _solid(lines, part)
        styles.append(_style(lines, solid, colours[part.name]))
        product = _product(lines, common, part.name, "ADVANCED_BREP_SHAPE_REPRESENTATION", [_placement(lines, identity()), solid])
        _place(lines, part.name, part.assembly_from_part, product, frame)
    lines.add("MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION", "", styles, common.context)
    header = (
        f"HEADER;\nFILE_DESCRIPTION(({_text('planar solids, millimetres')}),'2;1');\n"
        f"FILE_NAME({_text(PATH)},'{FIXED_TIME}',(''),(''),'kerfwright','kerfwright','');\n"
        "FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'));\nENDSEC;\n"
    )
    return f"ISO-10303-21;\n{header}DATA;\n{''.join(lines.text)}ENDSEC;\nEND-ISO-10303-21;\n".encode("ascii")


class _Word(str):
    """Written as it stands: a reference such as #12, an enumeration such as .T., the marks $ and *."""


TRUE, NONE = _Word(".T."), _Word("$")


@dataclass
class _Lines:
    """The numbered lines of the DATA section."""

    text: list[str] = field(default_factory=list[str])

    def add(self, entity: str, *values: object) -> _Word:
        """One simple instance, such as ``#7=CARTESIAN_POINT('',(0.,0.,0.));``."""
        return self.several((entity, values))

    def several(self, *entities: tuple[str, Sequence[object]]) -> _Word:
        """One instance of several entities at once; the standard wants them in alphabetical order."""
        bodies = [f"{entity}({','.join(_value(each) for each in values)})" for entity, values in entities]
        body = bodies[0] if len(bodies) == 1 else f"({''.join(bodies)})"
        self.text.append(f"#{len(self.text) + 1}={body};\n")
        return _Word(f"#{len(self.text)}")


def _value(value: object) -> str:
    if isinstance(value, _Word):
        return value
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, float):
        return _real(value)
    if isinstance(value, list | tuple | np.ndarray):
        return "(" + ",".join(_value(each) for each in cast(Sequence[object], value)) + ")"
    return str(value)


def _real(value: float) -> str:
    """A real always shows its point; 12 decimals keep directions of unit length."""
    text = f"{value:.12f}".rstrip("0")
    return "0." if text == "-0." else text


def _text(value: str) -> str:
    """A string: apostrophes and backslashes doubled, all but plain letters as their code in hexadecimal."""
    out: list[str] = []
    for letter in value:
        if " " <= letter <= "~":
            out.append({"'": "''", "\\": "\\\\"}.get(letter, letter))
        else:
            out.append(f"\\X2\\{ord(letter):04X}\\X0\\" if ord(letter) < 0x10000 else f"\\X4\\{ord(letter):08X}\\X0\\")
    return "'" + "".join(out) + "'"


@dataclass(frozen=True)
class _Common:
    """What every product refers to: the contexts of its meaning and of its geometry (millimetre, radian, steradian)."""

    product_context: _Word
    design_context: _Word
    context: _Word


def _common(lines: _Lines) -> _Common:
    application = lines.add("APPLICATION_CONTEXT", "core data for automotive mechanical design processes")
    lines.add("APPLICATION_PROTOCOL_DEFINITION", "international standard", "automotive_design", 2000, application)
    star = _Word("*")
    length = lines.several(("LENGTH_UNIT", ()), ("NAMED_UNIT", (star,)), ("SI_UNIT", (_Word(".MILLI."), _Word(".METRE."))))
    angle = lines.several(("NAMED_UNIT", (star,)), ("PLANE_ANGLE_UNIT", ()), ("SI_UNIT", (NONE, _Word(".RADIAN."))))
    solid = lines.several(("NAMED_UNIT", (star,)), ("SI_UNIT", (NONE, _Word(".STERADIAN."))), ("SOLID_ANGLE_UNIT", ()))
    close = lines.add(
        "UNCERTAINTY_MEASURE_WITH_UNIT",
        _Word(f"LENGTH_MEASURE({_real(CLOSE_MM)})"),
        length,
        "distance_accuracy_value",
        "points nearer than this count as one",
    )
    context = lines.several(
        ("GEOMETRIC_REPRESENTATION_CONTEXT", (3,)),
        ("GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT", ([close],)),
        ("GLOBAL_UNIT_ASSIGNED_CONTEXT", ([length, angle, solid],)),
        ("REPRESENTATION_CONTEXT", ("", "")),
    )
    return _Common(
        lines.add("PRODUCT_CONTEXT", "", application, "mechanical"),
        lines.add("PRODUCT_DEFINITION_CONTEXT", "part definition", application, "design"),
        context,
    )


@dataclass(frozen=True)
class _Product:
    """definition: the product as designed; shape: its representation; origin: the placement it is held by."""

    definition: _Word
    shape: _Word
    origin: _Word


def _product(lines: _Lines, common: _Common, name: str, shape_entity: str, items: list[_Word]) -> _Product:
    """A named product whose shape holds ``items``, its origin first."""
    product = lines.add("PRODUCT", name, name, "", [common.product_context])
    lines.add("PRODUCT_RELATED_PRODUCT_CATEGORY", "part", NONE, [product])
    formation = lines.add("PRODUCT_DEFINITION_FORMATION", "", "", product)
    definition = lines.add("PRODUCT_DEFINITION", "design", "", formation, common.design_context)
    meaning = lines.add("PRODUCT_DEFINITION_SHAPE", "", "", definition)
    shape = lines.add(shape_entity, name, items, common.context)
    lines.add("SHAPE_DEFINITION_REPRESENTATION", meaning, shape)
    return _Product(definition, shape, items[0])


def _place(lines: _Lines, name: str, pose: Pose, part: _Product, frame: _Product) -> None:
    """Put a part into the frame product: its origin goes to the pose's placement."""
    use = lines.add("NEXT_ASSEMBLY_USAGE_OCCURRENCE", name, name, "", frame.definition, part.definition, NONE)
    meaning = lines.add("PRODUCT_DEFINITION_SHAPE", "", "", use)
    move = lines.add("ITEM_DEFINED_TRANSFORMATION", "", "", part.origin, _placement(lines, pose))
    relation = lines.several(
        ("REPRESENTATION_RELATIONSHIP", ("", "", part.shape, frame.shape)),
        ("REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION", (move,)),
        ("SHAPE_REPRESENTATION_RELATIONSHIP", ()),
    )
    lines.add("CONTEXT_DEPENDENT_SHAPE_REPRESENTATION", relation, meaning)


def _placement(lines: _Lines, pose: Pose) -> _Word:
    matrix = pose.matrix
    return _axes(lines, lines.add("CARTESIAN_POINT", "", matrix[:3, 3]), matrix[:3, 2], matrix[:3, 0])


def _axes(lines: _Lines, point: _Word, z_to: Array, x_to: Array) -> _Word:
    return lines.add("AXIS2_PLACEMENT_3D", "", point, lines.add("DIRECTION", "", z_to), lines.add("DIRECTION", "", x_to))


def _solid(lines: _Lines, part: Part) -> _Word:
    """A part as a solid in its own frame."""
    edges = _Edges(lines)
    faces = [_face(lines, edges, face) for face in flat_faces(part.slab)]
    edges.check_closed(part.name)
    return lines.add("MANIFOLD_SOLID_BREP", part.name, lines.add("CLOSED_SHELL", "", faces))


def _face(lines: _Lines, edges: _Edges, face: FlatFace) -> _Word:
    def loop(loop_mm: Array) -> _Word:
        uses = [edges.use(start, end) for start, end in zip(loop_mm, np.roll(loop_mm, -1, axis=0), strict=True)]
        return lines.add("EDGE_LOOP", "", uses)

    bounds = [lines.add("FACE_OUTER_BOUND", "", loop(face.outer_mm), TRUE)]
    bounds += [lines.add("FACE_BOUND", "", loop(hole), TRUE) for hole in face.holes_mm]
    corner, along = face.outer_mm[0], face.outer_mm[1] - face.outer_mm[0]
    plane = lines.add("PLANE", "", _axes(lines, edges.point(corner), face_normal(face.outer_mm), along / np.linalg.norm(along)))
    return lines.add("ADVANCED_FACE", "", bounds, plane, TRUE)


@dataclass
class _Edges:
    """Corners and edges of one solid, each written once and shared by the faces that meet there."""

    lines: _Lines
    points: dict[bytes, _Word] = field(default_factory=dict[bytes, _Word])
    vertices: dict[bytes, _Word] = field(default_factory=dict[bytes, _Word])
    curves: dict[tuple[bytes, bytes], _Word] = field(default_factory=dict[tuple[bytes, bytes], _Word])
    uses: set[tuple[bytes, bytes]] = field(default_factory=set[tuple[bytes, bytes]])

    def point(self, at_mm: Array) -> _Word:
        """The corner's coordinates."""
        key = _key(at_mm)
        if key not in self.points:
            self.points[key] = self.lines.add("CARTESIAN_POINT", "", at_mm)
        return self.points[key]

    def vertex(self, at_mm: Array) -> _Word:
        """The corner as a vertex."""
        key = _key(at_mm)
        if key not in self.vertices:
            self.vertices[key] = self.lines.add("VERTEX_POINT", "", self.point(at_mm))
        return self.vertices[key]

    def use(self, start_mm: Array, end_mm: Array) -> _Word:
        """A face runs from ``start_mm`` to ``end_mm``: forward on a fresh edge, backward on the neighbour's."""
        start, end = _key(start_mm), _key(end_mm)
        self.uses.add((start, end))
        backward = (end, start) in self.curves
        if not backward:
            self.curves[start, end] = self._curve(start_mm, end_mm)
        curve = self.curves[end, start] if backward else self.curves[start, end]
        return self.lines.add("ORIENTED_EDGE", "", _Word("*"), _Word("*"), curve, _Word(".F.") if backward else TRUE)

    def check_closed(self, name: str) -> None:
        """Every edge is used by two faces, once each way."""
        if any((end, start) not in self.uses for start, end in self.uses) or len(self.uses) != 2 * len(self.curves):
            raise ValueError(f"the faces of {name} do not close")

    def _curve(self, start_mm: Array, end_mm: Array) -> _Word:
        along = end_mm - start_mm
        length_mm = float(np.linalg.norm(along))
        vector = self.lines.add("VECTOR", "", self.lines.add("DIRECTION", "", along / length_mm), 1.0)
        line = self.lines.add("LINE", "", self.point(start_mm), vector)
        return self.lines.add("EDGE_CURVE", "", self.vertex(start_mm), self.vertex(end_mm), line, TRUE)


def _key(at_mm: Array) -> bytes:
    return (at_mm + 0.0).tobytes()  # + 0.0 makes one zero of two


def _style(lines: _Lines, solid: _Word, colour: Colour) -> _Word:
    """The solid's surface colour."""
    fill = lines.add("FILL_AREA_STYLE", "", [lines.add("FILL_AREA_STYLE_COLOUR", "", lines.add("COLOUR_RGB", "", *colour))])
    side = lines.add("SURFACE_SIDE_STYLE", "", [lines.add("SURFACE_STYLE_FILL_AREA", fill)])
    style = lines.add("PRESENTATION_STYLE_ASSIGNMENT", [lines.add("SURFACE_STYLE_USAGE", _Word(".BOTH."), side)])
    return lines.add("STYLED_ITEM", "colour", [style], solid)


EXPORTER = StepExporter()

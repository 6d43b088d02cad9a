"""The piece as a 3MF package: one named object a part, placed in the piece, millimetres.

Written to the 3MF Core Specification: a zip with a content-type list, one relationship and one model part.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from xml.sax.saxutils import quoteattr

import numpy as np

from kerfwright.core.pose import Pose
from kerfwright.export.exporter import JobFile
from kerfwright.export.wood_colour import Colour, hex_colour, part_colours
from kerfwright.geometry.assembly import Assembly, Part
from kerfwright.geometry.mesh import slab_mesh
from kerfwright.process.job import Job

PATH = "piece.3mf"
FIXED_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can say: a real time would make two runs differ
DIGITS = 6  # a nanometre

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
CONTENT_TYPES = (
    HEAD + '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n'
)
RELATIONSHIPS = (
    HEAD + '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)
MODEL_SPACE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
COLOURS_ID = 1  # resource ids count on from here: the colours, then one object a part


class ThreeMfExporter:
    """Writes ``piece.3mf``."""

    name = "3MF"

    def files(self, job: Job) -> Iterator[JobFile]:
        """The whole piece in one file."""
        if job.assembly.parts:
            yield JobFile(PATH, threemf_bytes(job.assembly, part_colours(job)), "the piece for a slicer or a viewer")


def threemf_bytes(assembly: Assembly, colours: dict[str, Colour]) -> bytes:
    """The assembly as a 3MF package. colours: sRGB 0-1 by part name."""
    package = io.BytesIO()
    entries = {"[Content_Types].xml": CONTENT_TYPES, "_rels/.rels": RELATIONSHIPS, "3D/3dmodel.model": _model(assembly, colours)}
    with zipfile.ZipFile(package, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, text in entries.items():
            entry = zipfile.ZipInfo(path, FIXED_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3  # else the system that writes shows
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, text.encode("utf-8"))
    return package.getvalue()


def _model(assembly: Assembly, colours: dict[str, Colour]) -> str:
    first_id = COLOURS_ID + 1
    bases = "".join(
        f'<base name={quoteattr(part.name)} displaycolor="{hex_colour(colours[part.name]).upper()}"/>\n' for part in assembly.parts
    )
    objects = "".join(_object(part, first_id + i, i) for i, part in enumerate(assembly.parts))
    items = "".join(
        f'<item objectid="{first_id + i}" transform="{_transform(part.assembly_from_part)}"/>\n' for i, part in enumerate(assembly.parts)
    )
    return (
        f'{HEAD}<model unit="millimeter" xml:lang="en" xmlns="{MODEL_SPACE}">\n'
        f'<metadata name="Title">{_escaped(assembly.name)}</metadata>\n<metadata name="Application">kerfwright</metadata>\n'
        f'<resources>\n<basematerials id="{COLOURS_ID}">\n{bases}</basematerials>\n{objects}</resources>\n'
        f"<build>\n{items}</build>\n</model>\n"
    )


def _object(part: Part, object_id: int, colour_index: int) -> str:
    mesh = slab_mesh(part.slab)
    vertices = "".join(f'<vertex x="{_number(x)}" y="{_number(y)}" z="{_number(z)}"/>\n' for x, y, z in mesh.vertices_mm.tolist())
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>\n' for a, b, c in mesh.faces.tolist())
    return (
        f'<object id="{object_id}" type="model" name={quoteattr(part.name)} pid="{COLOURS_ID}" pindex="{colour_index}">\n'
        f"<mesh>\n<vertices>\n{vertices}</vertices>\n<triangles>\n{triangles}</triangles>\n</mesh>\n</object>\n"
    )


def _transform(pose: Pose) -> str:
    """Twelve numbers; the format multiplies row vectors, so the turn stands transposed and the shift comes last."""
    rows = np.vstack([pose.matrix[:3, :3].T, pose.matrix[:3, 3]])
    return " ".join(_number(each, 12) for each in rows.ravel().tolist())


def _number(value: float, digits: int = DIGITS) -> str:
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


EXPORTER = ThreeMfExporter()

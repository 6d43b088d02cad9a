"""The piece as a binary glTF picture in space: metres, y up, one named node a part, wood colours.

Written to the Khronos glTF 2.0 specification. Vocabulary of the standard: an *accessor* is a typed view of the one
binary buffer; a *node* places a mesh; a *material* colours it. Corners are not shared between triangles, so every
face keeps its own normal and edges look crisp; end grain is a little darker by its vertex colour.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.pose import Pose
from kerfwright.export.exporter import JobFile
from kerfwright.export.gltf import FLOAT, M_PER_MM, UNSIGNED_BYTE, Y_UP_FROM_Z_UP, Buffer, container, material
from kerfwright.export.wood_colour import Colour, end_grain, part_colours, shaded
from kerfwright.geometry.assembly import Assembly, Part
from kerfwright.geometry.mesh import slab_mesh
from kerfwright.process.job import Job

Array = NDArray[np.float64]

PATH = "piece.glb"
END_GRAIN_LIGHT = 0.62  # linear light of end grain beside face grain (ours, chosen by eye)


class GlbExporter:
    """Writes ``piece.glb``."""

    name = "GLB"

    def files(self, job: Job) -> Iterator[JobFile]:
        """The whole piece in one file."""
        if job.assembly.parts:
            yield JobFile(PATH, glb_bytes(job.assembly, part_colours(job)), "the piece for a 3D viewer")


def glb_bytes(assembly: Assembly, colours: dict[str, Colour]) -> bytes:
    """The assembly as a GLB file. colours: sRGB 0-1 by part name."""
    parts = range(len(assembly.parts))
    buffer = Buffer()
    meshes = [_mesh(buffer, part, i) for i, part in enumerate(assembly.parts)]
    whole = {"name": assembly.name, "matrix": Y_UP_FROM_Z_UP, "children": [i + 1 for i in parts]}
    placed = [{"name": part.name, "mesh": i, "matrix": _matrix(part.assembly_from_part)} for i, part in enumerate(assembly.parts)]
    document = {
        "asset": {"version": "2.0", "generator": "kerfwright"},
        "scene": 0,
        "scenes": [{"name": assembly.name, "nodes": [0]}],
        "nodes": [whole, *placed],
        "meshes": meshes,
        "materials": [material(part.name, colours[part.name]) for part in assembly.parts],
        "accessors": buffer.accessors,
        "bufferViews": buffer.views,
        "buffers": [{"byteLength": len(buffer.data)}],
    }
    text = json.dumps(document, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode("utf-8")
    return container(text, bytes(buffer.data))


def _mesh(buffer: Buffer, part: Part, material: int) -> dict[str, Any]:
    mesh = slab_mesh(part.slab)
    normals = mesh.normals()
    points = (mesh.vertices_mm[mesh.faces].reshape(-1, 3) * M_PER_MM).astype("<f4")  # (3 m, 3)
    across = np.array([*shaded((1.0, 1.0, 1.0), END_GRAIN_LIGHT), 1.0])
    shade = np.round(255 * np.where(end_grain(normals)[:, None], across, 1.0)).astype("u1")  # (m, 4)
    attributes = {
        "POSITION": buffer.add(points, "VEC3", FLOAT, min=points.min(axis=0).tolist(), max=points.max(axis=0).tolist()),
        "NORMAL": buffer.add(np.repeat(normals, 3, axis=0).astype("<f4"), "VEC3", FLOAT),
        "COLOR_0": buffer.add(np.repeat(shade, 3, axis=0), "VEC4", UNSIGNED_BYTE, normalized=True),
    }
    return {"name": part.name, "primitives": [{"attributes": attributes, "material": material}]}


def _matrix(pose: Pose) -> list[float]:
    """Column by column, the shift in metres."""
    matrix = pose.matrix.copy()
    matrix[:3, 3] *= M_PER_MM
    return [round(float(each), 12) + 0.0 for each in matrix.T.ravel()]


EXPORTER = GlbExporter()

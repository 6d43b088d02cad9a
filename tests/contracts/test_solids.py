"""The solid formats read back by readers that are not ours.

Sources: ISO 10303-21 (the text of a STEP file) and ISO 10303-214 (automotive_design), read by an independent CAD kernel
through cascadio; the 3MF Core Specification, read by trimesh and by its schema words; the Khronos glTF 2.0
specification, read by trimesh and by its chunk layout.
"""

from __future__ import annotations

import io
import json
import re
import struct
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path
from typing import Any

import cascadio
import numpy as np
import pytest
import trimesh

from kerfwright.core.pose import identity, shift, turn_x, turn_z
from kerfwright.export.formats import glb, step, threemf
from kerfwright.export.wood_colour import parse_colour, part_colours, part_shades, shaded
from kerfwright.geometry.assembly import Assembly, Part
from kerfwright.geometry.mesh import slab_volume_mm3
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Slab, straight_slab
from kerfwright.process.job import Job
from kerfwright.wood.species import find_species
from solid_samples import PANELS, SIZE_MM, box, job_of

DOVETAIL = {"kind": "through dovetail", "tails": 3}
FINGERS = {"kind": "box joint"}


def loose_parts() -> Assembly:
    """Two boards at odd angles with names that try the writers: quotes, a backslash, an ampersand, letters outside ASCII."""
    points = np.array([(0, 0), (40, 0), (40, 15), (40, 30), (0, 30)], dtype=float)
    edges = tuple(Edge(Role.FREE, Place.LONG, f"e{i}") for i in range(5))
    waist = Ring(points * 0.9 + 1.0, edges)
    hourglass = Slab((Ring(points, edges), waist, Ring(points, edges)), (0.0, 2.5, 8.0))
    parts = (
        Part('O\'Brien <&> \\ "über" Ω', hourglass, shift(1000.0, -250.0, 3.3) @ turn_z(31.0) @ turn_x(-17.0)),
        Part("#12", straight_slab(Ring(points, edges), 0.6), identity()),
    )
    return Assembly("Łady's \U0001f4e6 box", parts, (), (), ())


ASSEMBLIES = {
    "dovetails": box({"all": DOVETAIL}, proud_mm=0.0),
    "box joints": box({"all": FINGERS}, proud_mm=0.2),
    "mixed": box({"all": DOVETAIL, "left-front": FINGERS}, (6.13, 5.8, 6.3, 9.0)),
    "loose": loose_parts(),
}
BYTES = {
    "piece.step": lambda job: step.step_bytes(job.assembly, part_colours(job)),
    "piece.3mf": lambda job: threemf.threemf_bytes(job.assembly, part_colours(job)),
    "piece.glb": lambda job: glb.glb_bytes(job.assembly, part_colours(job)),
}


@pytest.fixture(params=ASSEMBLIES)
def job(request: pytest.FixtureRequest) -> Job:
    return job_of(ASSEMBLIES[request.param], {"right": "black walnut"})


def placed_corners_mm(part: Part) -> np.ndarray:
    rings = [
        np.column_stack([ring.points_mm, np.full(len(ring.points_mm), -depth)])
        for ring, depth in zip(part.slab.rings, part.slab.depths_mm, strict=True)
    ]
    return part.assembly_from_part.apply(np.concatenate(rings))


def solids_of(scene: trimesh.Scene, mm_per_unit: float) -> dict[str, trimesh.Trimesh]:
    """Every placed solid of a scene by its node's name, in millimetres, corners merged."""
    found: dict[str, trimesh.Trimesh] = {}
    for node in scene.graph.nodes_geometry:
        matrix, geometry = scene.graph[node]
        mesh = scene.geometry[geometry]
        moved = trimesh.Trimesh(mesh.vertices * mm_per_unit, mesh.faces, process=False)
        moved.merge_vertices(merge_tex=True, merge_norm=True)
        moved.metadata["volume_mm3"] = moved.volume  # before it is placed far from the origin, where digits are lost
        pose = np.array(matrix, dtype=float)
        pose[:3, 3] *= mm_per_unit
        found[node] = moved.apply_transform(pose)
    return found


def check_solids(solids: dict[str, trimesh.Trimesh], assembly: Assembly, volume_rel: float, place_mm: float) -> None:
    assert set(solids) == {part.name for part in assembly.parts}
    for part in assembly.parts:
        solid = solids[part.name]
        assert solid.is_watertight
        assert solid.is_winding_consistent
        assert solid.metadata["volume_mm3"] == pytest.approx(slab_volume_mm3(part.slab), rel=volume_rel)
        wanted_mm = placed_corners_mm(part)
        assert np.allclose(solid.bounds, [wanted_mm.min(axis=0), wanted_mm.max(axis=0)], rtol=0, atol=place_mm)
        away_mm = np.linalg.norm(wanted_mm[:, None] - solid.vertices[None], axis=2)
        assert away_mm.min(axis=0).max() < place_mm  # every corner read is a corner of the slab


@pytest.mark.parametrize("path", BYTES)
def test_two_runs_are_byte_equal(path: str, job: Job):
    assert BYTES[path](job) == BYTES[path](job)


@pytest.mark.parametrize("module", [step, threemf, glb])
def test_the_exporter_writes_its_one_file(module: Any):
    job = job_of(ASSEMBLIES["mixed"])
    (written,) = module.EXPORTER.files(job)
    assert written.path == module.PATH
    assert written.data == BYTES[module.PATH](job)


def test_3mf_is_read_back_in_millimetres(job: Job):
    scene = trimesh.load_scene(io.BytesIO(BYTES["piece.3mf"](job)), file_type="3mf")
    assert scene.units == "millimeter"
    check_solids(solids_of(scene, 1.0), job.assembly, volume_rel=1e-6, place_mm=1e-5)


def test_glb_is_read_back_in_metres_y_up(job: Job):
    scene = trimesh.load_scene(io.BytesIO(BYTES["piece.glb"](job)), file_type="glb")
    z_up = trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0])
    solids = {name: mesh.apply_transform(z_up) for name, mesh in solids_of(scene, 1000.0).items()}
    # Each board's corners are float32 in its own frame (1e-7 of its size); the placing is double.
    check_solids(solids, job.assembly, volume_rel=1e-6, place_mm=1e-3)


def test_step_is_read_back_by_an_independent_kernel(job: Job, tmp_path: Path):
    (tmp_path / "piece.step").write_bytes(BYTES["piece.step"](job))
    cascadio.step_to_glb(str(tmp_path / "piece.step"), str(tmp_path / "read.glb"))
    scene = trimesh.load_scene(tmp_path / "read.glb")
    solids = solids_of(scene, 1000.0)  # the kernel hands over metres in float32
    assert len(solids) == len(job.assembly.parts)
    check_solids(solids, job.assembly, volume_rel=1e-5, place_mm=1e-3)


def test_step_carries_the_wood_colours(tmp_path: Path):
    job = job_of(ASSEMBLIES["dovetails"], {"right": "black walnut"})
    (tmp_path / "piece.step").write_bytes(BYTES["piece.step"](job))
    cascadio.step_to_glb(str(tmp_path / "piece.step"), str(tmp_path / "read.glb"))
    scene = trimesh.load_scene(tmp_path / "read.glb")
    read = {name: scene.geometry[scene.graph[name][1]].visual.material.baseColorFactor for name in PANELS}
    assert read["right"][0] < read["left"][0] - 60  # walnut is darker than maple
    assert read["left"][0] != read["front"][0]  # and neighbours of one wood differ a little


def test_step_text_is_whole():
    """ISO 10303-21: every reference is defined once, and earlier; only ASCII; one fixed time."""
    job = job_of(ASSEMBLIES["loose"])
    text = BYTES["piece.step"](job).decode("ascii")
    header, data = text.split("DATA;\n")
    assert header.startswith("ISO-10303-21;\nHEADER;\n")
    assert "FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'));" in header
    assert re.findall(r"\d{4}-\d{2}-\d{2}T[\d:]+", text) == [step.FIXED_TIME]
    assert data.endswith("ENDSEC;\nEND-ISO-10303-21;\n")
    lines = data.splitlines()[:-2]
    for number, line in enumerate(lines, start=1):
        name, body = line.split("=", 1)
        assert name == f"#{number}"
        outside_strings = re.sub(r"'(?:[^']|'')*'", "", body)
        assert outside_strings.endswith(";")
        assert outside_strings.count("(") == outside_strings.count(")")
        assert all(int(each) < number for each in re.findall(r"#(\d+)", outside_strings))
    assert sum("=MANIFOLD_SOLID_BREP(" in line for line in lines) == len(job.assembly.parts)
    assert sum(".MILLI.,.METRE." in line for line in lines) == 1
    assert "'O''Brien <&> \\\\ \"\\X2\\00FC\\X0\\ber\" \\X2\\03A9\\X0\\'" in data
    assert "'\\X2\\0141\\X0\\ady''s \\X4\\0001F4E6\\X0\\ box'" in data


def test_step_edges_are_shared_by_two_faces_one_each_way():
    """What makes a shell closed: each EDGE_CURVE in exactly two ORIENTED_EDGEs, .T. and .F."""
    data = BYTES["piece.step"](job_of(ASSEMBLIES["mixed"])).decode("ascii")
    curves = set(re.findall(r"(#\d+)=EDGE_CURVE\(", data))
    uses = re.findall(r"=ORIENTED_EDGE\('',\*,\*,(#\d+),\.([TF])\.\)", data)
    assert len(uses) == 2 * len(curves)
    assert set(uses) == {(curve, way) for curve in curves for way in "TF"}


def test_3mf_package_is_as_the_core_specification_says():
    job = job_of(ASSEMBLIES["mixed"])
    with zipfile.ZipFile(io.BytesIO(BYTES["piece.3mf"](job))) as package:
        assert package.testzip() is None
        assert package.namelist() == ["[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"]
        assert {entry.date_time for entry in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        types, rels, model = (ET.fromstring(package.read(name)) for name in package.namelist())
    assert {each.get("Extension"): each.get("ContentType") for each in types} == {
        "rels": "application/vnd.openxmlformats-package.relationships+xml",
        "model": "application/vnd.ms-package.3dmanufacturing-3dmodel+xml",
    }
    assert [each.get("Target") for each in rels] == ["/3D/3dmodel.model"]
    space = f"{{{threemf.MODEL_SPACE}}}"
    assert model.tag == f"{space}model"
    assert model.get("unit") == "millimeter"
    objects = model.findall(f".//{space}object")
    assert [each.get("name") for each in objects] == list(PANELS)
    assert [each.get("objectid") for each in model.findall(f".//{space}item")] == [each.get("id") for each in objects]
    colours = [each.get("displaycolor") for each in model.findall(f".//{space}base")]
    assert [str(colour).lower() for colour in colours] == hex_of(job)


def hex_of(job: Job) -> list[str]:
    return ["#" + "".join(f"{round(255 * share):02x}" for share in colour) for colour in part_colours(job).values()]


def chunks(data: bytes) -> tuple[dict[str, Any], bytes]:
    """The two chunks of a GLB file (glTF 2.0 specification, section on the GLB file format)."""
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size, kind = struct.unpack_from("<I4s", data, 12)
    assert (kind, size % 4) == (b"JSON", 0)
    text = json.loads(data[20 : 20 + size])
    rest, kind = struct.unpack_from("<I4s", data, 20 + size)
    assert (kind, rest % 4) == (b"BIN\0", 0)
    assert 20 + size + 8 + rest == len(data)
    return text, data[28 + size :]


def test_glb_accessors_are_as_the_specification_says(job: Job):
    document, binary = chunks(BYTES["piece.glb"](job))
    assert document["buffers"] == [{"byteLength": len(binary)}]
    for mesh, part in zip(document["meshes"], job.assembly.parts, strict=True):
        assert mesh["name"] == part.name
        attributes = mesh["primitives"][0]["attributes"]
        read = {}
        for name, kind, width in (("POSITION", "<f4", 3), ("NORMAL", "<f4", 3), ("COLOR_0", "u1", 4)):
            accessor = document["accessors"][attributes[name]]
            view = document["bufferViews"][accessor["bufferView"]]
            assert view["byteOffset"] % 4 == 0
            read[name] = np.frombuffer(binary, kind, accessor["count"] * width, view["byteOffset"]).reshape(-1, width)
        position = document["accessors"][attributes["POSITION"]]
        assert position["min"] == read["POSITION"].min(axis=0).tolist()
        assert position["max"] == read["POSITION"].max(axis=0).tolist()
        assert np.allclose(np.linalg.norm(read["NORMAL"], axis=1), 1.0, atol=1e-6)
        corners = read["POSITION"].reshape(-1, 3, 3).astype(float)
        across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        across /= np.linalg.norm(across, axis=1, keepdims=True)
        assert np.allclose(read["NORMAL"].reshape(-1, 3, 3), across[:, None], atol=1e-3)  # flat: each face its own normal
        is_end = np.abs(read["NORMAL"][:, 0]) > 0.75
        is_face = np.abs(read["NORMAL"][:, 0]) < 0.65
        assert set(read["COLOR_0"][is_face].ravel()) == {255}
        assert set(read["COLOR_0"][is_end, 1]) == {round(255 * glb.END_GRAIN_LIGHT)}


def test_colours_come_from_the_boards_wood_and_neighbours_differ():
    job = job_of(ASSEMBLIES["dovetails"], {"right": "black walnut"})
    colours = part_colours(job)
    shades = part_shades(job.assembly)
    for corner in ("front-right", "right-back", "back-left", "left-front"):
        first, second = corner.split("-")
        assert shades[first] != shades[second]
    maple, walnut = (parse_colour(find_species(name).colour) for name in ("sugar maple", "black walnut"))
    assert colours["front"] == maple
    assert colours["right"] == shaded(walnut, shades["right"])
    document, _ = chunks(BYTES["piece.glb"](job))
    red, green, blue, alpha = document["materials"][0]["pbrMetallicRoughness"]["baseColorFactor"]
    # sRGB to linear light, IEC 61966-2-1 (formula from memory of the standard)
    assert [red, green, blue, alpha] == pytest.approx([((each + 0.055) / 1.055) ** 2.4 for each in maple] + [1.0], abs=1e-6)


def test_the_box_has_its_size_in_every_format(tmp_path: Path):
    job = job_of(ASSEMBLIES["dovetails"])
    (tmp_path / "piece.step").write_bytes(BYTES["piece.step"](job))
    cascadio.step_to_glb(str(tmp_path / "piece.step"), str(tmp_path / "read.glb"))
    step_size = trimesh.load_scene(tmp_path / "read.glb").extents
    glb_size = trimesh.load_scene(io.BytesIO(BYTES["piece.glb"](job)), file_type="glb").extents
    threemf_size = trimesh.load_scene(io.BytesIO(BYTES["piece.3mf"](job)), file_type="3mf").extents
    length, width, height = SIZE_MM
    assert step_size * 1000 == pytest.approx([length, width, height], abs=1e-4)
    assert glb_size * 1000 == pytest.approx([length, height, width], abs=1e-4)  # y up
    assert threemf_size == pytest.approx([length, width, height], abs=1e-6)

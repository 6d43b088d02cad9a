"""What every laser file promises: an independent reader recovers the geometry within 1 um, scale right, y up, byte-equal."""

from __future__ import annotations

import hashlib
import io
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from functools import cache
from pathlib import Path

import ezdxf.filemanagement
import numpy as np
import pytest
import resvg_py
import svgelements
from ezdxf.entities.lwpolyline import LWPolyline
from PIL import Image

from format_readers import Png, read_dxf, read_png
from format_samples import SPACING_MM, job, machine, setup, setups
from kerfwright.export.exporter import Exporter
from kerfwright.export.formats import dxf, grey_png, rs274, svg
from kerfwright.export.grey_picture import picture_placings
from kerfwright.process.operation import OperationKind
from kerfwright.process.setup import Setup

EXPORTERS: dict[str, Exporter] = {each.EXPORTER.name: each.EXPORTER for each in (dxf, grey_png, rs274, svg)}
UM = 0.001
PX_MM = 10  # 254 dpi: ten pixels a millimetre


@cache
def files() -> dict[str, bytes]:
    return {file.path: file.data for exporter in EXPORTERS.values() for file in exporter.files(job())}


def stem(one: Setup) -> str:
    return f"setups/{one.number:02d}-{one.name}"


def bed_paths(one: Setup, kind: OperationKind | None = None) -> list[np.ndarray]:
    """Paths on the bed, (n, 2) each, by plain matrix arithmetic."""
    matrix = one.bed_from_board.matrix
    return [np.array([(matrix @ [*point, 1.0])[:2] for point in path.points_mm])
            for op in one.operations if kind in (None, op.kind) for path in op.paths]


# --- all of them ---------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("name", EXPORTERS)
def test_two_runs_are_byte_equal(name: str) -> None:
    first, second = ([(file.path, file.data) for file in EXPORTERS[name].files(job())] for _ in range(2))
    assert first
    assert first == second
    assert len({path for path, _ in first}) == len(first)


def test_another_process_writes_the_same_bytes() -> None:
    script = ("import hashlib\nfrom contracts.test_formats import files\n"
              "print(hashlib.sha256(b''.join(path.encode() + data for path, data in files().items())).hexdigest())")
    here = Path(__file__).resolve().parents[1]
    env = os.environ | {"PYTHONHASHSEED": "7", "PYTHONPATH": os.pathsep.join([str(here), *filter(None, sys.path)])}
    told = subprocess.run([sys.executable, "-c", script], env=env, capture_output=True, text=True, check=True)
    ours = hashlib.sha256(b"".join(path.encode() + data for path, data in files().items())).hexdigest()
    assert told.stdout.strip() == ours


@pytest.mark.parametrize("name", EXPORTERS)
def test_no_number_is_lost(name: str) -> None:
    text = b"\n".join(file.data for file in EXPORTERS[name].files(job()) if not file.path.endswith("png"))
    assert not re.search(rb"(?i)(?<![a-z])(nan|inf)(?![a-z])", text)


# --- SVG -----------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("which", setups())
def test_svg_geometry_by_another_reader(which: str) -> None:
    one = setups()[which]
    read = svgelements.SVG.parse(io.BytesIO(files()[stem(one) + ".svg"]), ppi=25.4, reify=True)
    assert (read.width, read.height) == pytest.approx((400, 300), rel=1e-6)  # its own millimetre is 0.5 ppm long
    drawn = [each for each in read.elements() if isinstance(each, svgelements.Path)]
    wanted = bed_paths(one)
    assert len(drawn) == len(wanted)
    for path, points in zip(drawn, wanted, strict=True):
        found = np.array([[step.end.x, 300 - step.end.y] for step in path])
        assert np.abs(found - points).max() < UM


def ink_box_mm(picture: np.ndarray) -> tuple[float, float, float, float]:
    """(left, bottom, right, top) of all ink on a 254 dpi picture of the bed, in bed mm."""
    rows, columns = np.nonzero(picture[:, :, 3] > 127)
    return columns.min() / PX_MM, (3000 - rows.max() - 1) / PX_MM, (columns.max() + 1) / PX_MM, (3000 - rows.min()) / PX_MM


def render(data: bytes) -> np.ndarray:
    return np.array(Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=data.decode(), dpi=254)))).convert("RGBA"))


@pytest.mark.parametrize("which", ["flat", "quarter", "flipped"])
def test_svg_measured_on_an_independent_rendering(which: str) -> None:
    one = setups()[which]
    picture = render(files()[stem(one) + ".svg"])
    assert picture.shape == (3000, 4000, 4)
    points = np.concatenate(bed_paths(one))
    wanted = [*points.min(axis=0), *points.max(axis=0)]
    # A line is 0.1 mm wide and a pixel 0.1 mm: the ink's edge lies within 0.1 mm of the path.
    assert ink_box_mm(picture) == pytest.approx(wanted, abs=0.11)
    label = bed_paths(one, OperationKind.ENGRAVE)[0]
    for x_mm, y_mm in (label[:-1] + label[1:]) / 2:  # the sign has no mirror image onto itself: the middle of each of its strokes
        row, column = round((300 - y_mm) * PX_MM), round(x_mm * PX_MM)
        assert picture[row - 2:row + 2, column - 2:column + 2, 3].max() > 127


def test_burn_drawing_holds_nothing_that_is_not_burnt() -> None:
    for one in setups().values():
        root = ET.fromstring(files()[stem(one) + ".svg"])
        assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("400mm", "300mm", "0 0 400 300")
        tags = [each.tag.rpartition("}")[2] for each in root.iter()]
        assert set(tags) == {"svg", "title", "desc", "g", "path"}
        assert tags.count("path") == sum(len(op.paths) for op in one.operations)
        assert b"dash" not in files()[stem(one) + ".svg"]
        assert b"transform" not in files()[stem(one) + ".svg"]


def test_svg_groups_say_their_settings() -> None:
    root = ET.fromstring(files()[stem(setup()) + ".svg"])
    space = "{http://www.w3.org/2000/svg}"
    groups = root.findall(space + "g")
    assert [group.get("data-kind") for group in groups] == ["engrave", "through", "ramp", "through"]
    assert [group.get("data-power-percent") for group in groups] == ["25", "90", "11.67 85", "90"]
    assert [group.get("data-speed-mm-s") for group in groups] == ["60", "4", "40", "4"]
    assert [group.get("data-passes") for group in groups] == ["1", "3", "2", "2"]
    assert [group.get("data-focus-mm") for group in groups] == ["0", "0.5 -1 -2.5", "0 -0.5", "0 -1.5"]
    assert {(group.get("fill"), group.get("stroke-width")) for group in groups} == {("none", "0.1")}
    titles = [group.findtext(space + "title", "") for group in groups]
    assert titles[0] == "1. label: power 25 %; 60 mm/s; 1 pass; focus at the face"
    assert titles[1].endswith("focus 0.5 mm above the face, then 1.5 mm lower each pass; set the focus by hand, a drawing cannot")
    lines = groups[2].findall(space + "path")
    assert [line.get("data-power-percent") for line in lines[:3]] == ["85", "78.33", "71.67"]
    tilted = ET.fromstring(files()[stem(setups()["tilted"]) + ".svg"]).findtext(f"{space}g/{space}title", "")
    assert "the face is tilted and the focus must follow it" in tilted


def test_look_picture_is_true_to_scale_and_says_not_to_burn_it() -> None:
    data = files()[stem(setup()) + "-look.svg"]
    root = ET.fromstring(data)
    assert "Do not burn it" in root.findtext("{http://www.w3.org/2000/svg}desc", "")
    words = [each.text for each in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"1", "2", "3", "4", "focus gauge, Z 0", "board from X 31.25, Y 42.5"} <= set(words)
    picture = render(data)[:, :, :3].astype(int)
    part = 0.75 * np.array([0xfa, 0xf1, 0xdc]) + 0.25 * np.array([0xef, 0xdc, 0xb8])  # the kept part's tint over the board's
    rows, columns = np.nonzero(np.abs(picture - part).max(axis=2) <= 2)
    # The outline's own line covers up to 0.2 mm at each side.
    assert (columns.max() - columns.min()) / PX_MM == pytest.approx(118.0, abs=0.45)
    assert (rows.max() - rows.min()) / PX_MM == pytest.approx(61.0, abs=0.45)


# --- DXF -----------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("which", setups())
def test_dxf_by_a_raw_group_code_reader(which: str) -> None:
    one = setups()[which]
    read = read_dxf(files()[stem(one) + ".dxf"])
    assert (read.version, read.insert_units, read.kinds) == ("AC1024", 4, {"LWPOLYLINE"})  # AC1024 is R2010; 4 is mm
    wanted = bed_paths(one)
    assert len(read.lines) == len(wanted)
    for line, points in zip(read.lines, wanted, strict=True):
        found = np.array([*line.points, line.points[0]] if line.closed else line.points)
        assert line.n_points == len(line.points)
        assert found.shape == points.shape
        assert np.abs(found - points).max() < UM
    powers = [100 * path.power_frac for op in one.operations for path in op.paths]
    assert [line.percent for line in read.lines] == pytest.approx(powers, abs=1e-3)


def test_dxf_by_a_library() -> None:
    read = ezdxf.filemanagement.read(io.StringIO(files()[stem(setup()) + ".dxf"].decode("utf-8")))
    auditor = read.audit()
    assert (auditor.errors, auditor.fixes) == ([], [])
    assert read.units == 4
    names = ["01 ENGRAVE label", "02 THROUGH sockets", "03 RAMP ramps", "04 THROUGH free"]
    assert [layer.dxf.name for layer in read.layers if layer.dxf.name[0] == "0" and layer.dxf.name != "0"] == names
    for name, op in zip(names, setup().operations, strict=True):
        lines = list(read.modelspace().query(f'LWPOLYLINE[layer=="{name}"]'))
        assert len(lines) == len(op.paths)
        assert read.layers.get(name).get_xdata("KERFWRIGHT")[0].value.startswith(op.title)
    first = next(iter(read.modelspace().query("LWPOLYLINE")))
    assert isinstance(first, LWPolyline)
    np.testing.assert_allclose([point[:2] for point in first], bed_paths(setup())[0], atol=UM)


# --- grey PNG ------------------------------------------------------------------------------------------------------

def read_picture(path: str) -> tuple[Png, np.ndarray, tuple[float, float]]:
    """The file, its commanded powers with row 0 at the front of the bed, and its lower left corner from its own text."""
    png = read_png(files()[path])
    assert png.unit == 1
    assert png.pixels_per_unit[0] == png.pixels_per_unit[1]
    scale = re.match(r"power share = 1 - grey / (\d+): white = laser off", png.texts["Scale"])
    corner = re.match(r"lower left corner at X ([\d.]+) mm, Y ([\d.]+) mm", png.texts["Placing"])
    assert scale is not None
    assert corner is not None
    full = int(scale[1])
    assert full == 2**png.bits - 1
    return png, 1 - png.grey[::-1] / full, (float(corner[1]), float(corner[2]))


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("which", ["flat", "flipped", "quarter"])
def test_every_ramp_line_is_recovered_from_the_pictures_alone(which: str, bits: int) -> None:
    one = setups()[which]
    found: list[tuple[float, float, float, float]] = []
    for name in "ab":
        png, power, (left_mm, bottom_mm) = read_picture(f"{stem(one)}-{name}-grey{bits}.png")
        pixel_mm = 1000 / png.pixels_per_unit[0]
        assert SPACING_MM / 2 - 1e-4 < pixel_mm <= SPACING_MM / 2
        if which == "quarter":
            power, left_mm, bottom_mm = power.T, bottom_mm, left_mm
        for row in np.nonzero(power.any(axis=1))[0]:
            lit = np.nonzero(power[row])[0]
            assert np.array_equal(lit, np.arange(lit[0], lit[-1] + 1))
            assert len(set(power[row, lit])) == 1
            start_mm, end_mm = left_mm + np.array([lit[0], lit[-1] + 1]) * pixel_mm
            found.append((start_mm, end_mm, bottom_mm + (row + 0.5) * pixel_mm, power[row, lit[0]]))
    ramps = [path for op in one.operations if op.kind is OperationKind.RAMP for path in op.paths]
    wanted = []
    for points, path in zip(bed_paths(one, OperationKind.RAMP), ramps, strict=True):
        along, across = (points[:, 1], points[:, 0]) if which == "quarter" else (points[:, 0], points[:, 1])
        wanted.append((along.min(), along.max(), across[0], path.power_frac))
    assert len(found) == len(wanted) == 144
    read, meant = (np.array(sorted(lines, key=lambda line: (line[0] > 90, line[2]))) for lines in (found, wanted))
    error = read - meant
    # Half a pixel is a quarter of the spacing; the stated corner is rounded to 0.1 um.
    assert np.abs(error[:, :3]).max() <= SPACING_MM / 4 + 0.0001
    assert np.abs(error[:, 3]).max() <= 0.5 / (2**bits - 1) + 1e-7


def test_a_nudged_board_keeps_every_line_within_half_a_pixel() -> None:
    one = setups()["nudged"]
    ramps = np.array([points[np.argsort(points[:, 0])] for points in bed_paths(one, OperationKind.RAMP)])  # (lines, 2 ends, x y)
    powers = np.array([path.power_frac for op in one.operations if op.kind is OperationKind.RAMP for path in op.paths])
    rise = (ramps[:, 1, 1] - ramps[:, 0, 1]) / (ramps[:, 1, 0] - ramps[:, 0, 0])
    n_lit = 0
    for name in "ab":
        png, power, (left_mm, bottom_mm) = read_picture(f"{stem(one)}-{name}-grey16.png")
        pixel_mm = 1000 / png.pixels_per_unit[0]
        rows, columns = np.nonzero(power)
        x_mm, y_mm = left_mm + (columns[:, None] + 0.5) * pixel_mm, bottom_mm + (rows[:, None] + 0.5) * pixel_mm
        on_line = ((ramps[:, 0, 0] - pixel_mm < x_mm) & (x_mm < ramps[:, 1, 0] + pixel_mm)
                   & (np.abs(ramps[:, 0, 1] + rise * (x_mm - ramps[:, 0, 0]) - y_mm) <= pixel_mm / 2 + 1e-4))
        assert np.all(np.any(on_line & (np.abs(powers - power[rows, columns][:, None]) < 1e-5), axis=1))
        n_lit += len(rows)
    # A pixel stands for its own width along the line; ends are rounded to half a pixel.
    assert n_lit * pixel_mm == pytest.approx(float(np.sum(np.ptp(ramps[:, :, 0], axis=1))), abs=pixel_mm / 2 * len(ramps))


def test_picture_texts_say_how_to_burn_it() -> None:
    png = read_png(files()[stem(setup()) + "-a-grey8.png"])
    assert png.bits == 8
    assert png.texts["Speed"] == "40 mm/s"
    assert png.texts["Layers"] == "2 passes: burn the whole picture once for each"
    assert png.texts["Focus"] == "at the face, then 0.5 mm lower each pass"
    # 0.06 mm spacing: 33334 pixels a metre are 29.9994 um; the board's corner is at 31.25, 42.5 and the lowest line 10.51 up.
    assert png.texts["Placing"] == ("lower left corner at X 31.25 mm, Y 52.995 mm of the bed; "
                                    "204 x 1334 pixels of 0.029999 mm (33334 a metre)")
    assert "black = 100 % of the machine's power" in png.texts["Scale"]


@pytest.mark.parametrize("bits", [8, 16])
def test_pillow_reads_the_same_picture(bits: int) -> None:
    path = f"{stem(setup())}-b-grey{bits}.png"
    np.testing.assert_array_equal(np.array(Image.open(io.BytesIO(files()[path]))).astype(np.uint16), read_png(files()[path]).grey)


def test_placing_is_what_the_file_says() -> None:
    for one in setups().values():
        for placing in picture_placings(one):
            png, _, corner = read_picture(f"{stem(one)}-{placing.name}-grey8.png")
            assert png.grey.shape == (placing.n_rows, placing.n_columns)
            assert corner == pytest.approx((placing.left_mm, placing.bottom_mm), abs=6e-5)
            assert png.pixels_per_unit == (placing.pixels_per_m, placing.pixels_per_m)
            assert placing.pixel_mm * placing.pixels_per_m == pytest.approx(1000, rel=1e-12)


def test_chart_has_21_even_steps() -> None:
    png = read_png(files()["ramp-grey-chart.png"])
    pixel_mm = 1000 / png.pixels_per_unit[0]
    assert np.array(png.grey.shape) * pixel_mm == pytest.approx([30.0, 59.5], abs=pixel_mm)
    power = 1 - png.grey[::-1] / 255
    assert not power[1::2].any()
    for index in range(21):  # seven a row, the first top left; patches are 6 x 5 mm in cells of 8.5 x 10
        row, column = divmod(index, 7)
        left_mm, bottom_mm = column * 8.5 + 1.25, (3 - row) * 10 - 5.5
        middle = power[round((bottom_mm + 0.2) / pixel_mm):round((bottom_mm + 4.8) / pixel_mm),
                       round((left_mm + 0.2) / pixel_mm):round((left_mm + 5.8) / pixel_mm)]
        assert np.unique(middle) == pytest.approx([0.0] if index == 0 else [0.0, index * 0.05], abs=0.5 / 255 + 1e-7)


def test_machines_without_pictures_get_none() -> None:
    assert list(grey_png.EXPORTER.files(job(machine(takes_pictures=False)))) == []
    assert list(grey_png.EXPORTER.files(job(chosen=(setups()["tilted"],)))) == []

"""The cut list read back as CSV: every part once, sizes right in both measures."""

from __future__ import annotations

import csv
import io
from fractions import Fraction

import pytest

from kerfwright.export.formats.cut_list import EXPORTER, HEADS, inches
from sheet_samples import jobs

AXES = ("length", "width", "thickness")


def rows(name: str) -> list[dict[str, str]]:
    [file] = EXPORTER.files(jobs()[name])
    assert file.path == "cut-list.csv"
    return list(csv.DictReader(io.StringIO(file.data.decode("utf-8"), newline=""), strict=True))


def inches_back(text: str) -> float:
    return float(sum(Fraction(each) for each in text.split()))


@pytest.mark.parametrize("name", ["ramp", "cradle", "fingers", "by hand", "two faces", "tall", "upright", "hinged", "divided", "drawer"])
def test_one_row_a_part_with_its_sizes(name: str) -> None:
    job = jobs()[name]
    found = {row["part"]: row for row in rows(name) if row["use"] == "piece"}
    assert list(found) == [part.name for part in job.assembly.parts]
    for part in job.assembly.parts:
        row, board = found[part.name], job.boards[part.name]
        setups = [setup for setup in job.setups if setup.part == part.name]
        assert (row["board"], row["species"], row["pieces"]) == (board.name, board.species, "1")
        assert row["setups"] == " ".join(str(setup.number) for setup in setups)
        x0, y0, x1, y1 = part.slab.bounds_mm()
        for kind, size_mm in (("finished", (x1 - x0, y1 - y0, part.slab.thickness_mm)), ("blank", setups[0].board_size_mm)):
            for axis, length_mm in zip(AXES, size_mm, strict=True):
                assert float(row[f"{kind}_{axis}_mm"]) == pytest.approx(length_mm, abs=0.005 + 1e-9)
                assert inches_back(row[f"{kind}_{axis}_in"]) == pytest.approx(length_mm / 25.4, abs=1 / 128 + 1e-9)


def test_rough_wood_in_board_feet_and_square_metres() -> None:
    """A board foot is 2359.737 cm3 (144 cubic inches by definition; the handbook's figure)."""
    found = rows("hinged")
    parts = [row for row in found if row["use"] == "piece"]
    for row in parts:
        rough = [float(row[f"rough_{axis}_mm"]) for axis in AXES]
        blank = [float(row[f"blank_{axis}_mm"]) for axis in AXES]
        assert [a - b for a, b in zip(rough, blank, strict=True)] == pytest.approx([10.0, 3.0, 2.0])
        assert float(row["rough_board_feet"]) == pytest.approx(rough[0] * rough[1] * rough[2] / 2359737, abs=6e-4)
        assert float(row["rough_area_m2"]) == pytest.approx(rough[0] * rough[1] / 1e6, abs=6e-5)
    (wood,) = (row for row in found if row["use"] == "wood needed")
    assert (wood["part"], wood["species"], wood["pieces"]) == ("all parts", "sugar maple", "6")
    for key in ("rough_board_feet", "rough_area_m2"):
        assert float(wood[key]) == pytest.approx(sum(float(row[key]) for row in parts), abs=4e-3)


def test_proud_ends_are_taken_off_and_hollows_are_listed() -> None:
    found = {row["part"]: row for row in rows("hinged")}
    assert float(found["front"]["finished_length_mm"]) - float(found["front"]["planed_length_mm"]) == pytest.approx(0.4)
    assert found["front"]["planed_length_mm"] == "180.00"
    assert found["lid"]["planed_length_mm"] == found["lid"]["finished_length_mm"]
    assert found["lid"]["hollows"] == ""
    assert found["left"]["hollows"].startswith("groove for the bottom: inner face, 2 mm deep, ")
    assert "hole for a pin: right through, " in found["left"]["hollows"]


def test_the_cradle_s_parts_are_helpers() -> None:
    helpers = [row for row in rows("cradle") if row["use"] == "helper"]
    assert [row["part"] for row in helpers] == ["cradle 1", "cradle 2", "cradle 3", "cradle 4"]
    assert [row for row in rows("ramp") if row["use"] == "helper"] == []
    # Two ribs and two rails, alike in pairs.
    sizes = [tuple(row[f"finished_{axis}_mm"] for axis in AXES) for row in helpers]
    assert sizes[0] == sizes[1] != sizes[2] == sizes[3]


@pytest.mark.parametrize(("length_mm", "text"), [
    (25.4, "1"), (12.7, "1/2"), (6.35, "1/4"), (25.4 * (7 + 5 / 64), "7 5/64"), (0.0, "0"), (25.4 / 128 * 0.99, "0"),
    (25.4 * 63.6 / 64, "1"), (25.4 * (2 + 32 / 64), "2 1/2"),
])
def test_inches_to_the_nearest_64th(length_mm: float, text: str) -> None:
    assert inches(length_mm) == text


def test_rfc_4180_form() -> None:
    """RFC 4180 (from memory): CRLF after every record, as many fields in each, quotes round a field that holds a comma."""
    [file] = EXPORTER.files(jobs()["two faces"])
    text = file.data.decode("utf-8")
    assert text.endswith("\r\n")
    assert text.count("\n") == text.count("\r\n") == 1 + 4 + 1  # heads, parts, wood needed
    assert text.split("\r\n")[0] == ",".join(HEADS)
    assert '"a plank kept since the old workshop was cleared out, marked B"' in text
    assert {len(record) for record in csv.reader(io.StringIO(text, newline=""), strict=True)} == {len(HEADS)}
    assert next(iter(EXPORTER.files(jobs()["two faces"]))).data == file.data

"""A person's file becomes a strict model, or one error that names every fault and the nearest known key."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import pytest
from pydantic import Field

from kerfwright.core.document import MAX_DOCUMENT_BYTES, Document, Length, Share, build, load, read_toml, refuse_other_kind
from kerfwright.core.errors import FolderError, InputError


class Foot(Document):
    kind: Literal["foot"]
    height_mm: Length = Field(alias="height")


class Wheel(Document):
    kind: Literal["wheel"]
    diameter_mm: Length = Field(alias="diameter")


class Stand(Document):
    name: str
    width_mm: Length = Field(alias="width")
    infill_frac: Share = Field(default=0.5, alias="infill")
    parts: tuple[Annotated[Foot | Wheel, Field(discriminator="kind")], ...] = ()
    by_place: dict[str, Foot] = Field(default_factory=dict)


GOOD = {"name": "a", "width": "10 mm",
        "parts": [{"kind": "foot", "height": "1 in"}], "by_place": {"left": {"kind": "foot", "height": "4 mm"}}}


def faults(tables: dict[str, object]) -> str:
    with pytest.raises(InputError) as caught:
        build(tables, Stand, where="stand.toml")
    assert caught.value.exit_code == 2
    return str(caught.value)


def test_a_good_document():
    stand = build(GOOD, Stand, where="here")
    assert (stand.width_mm, stand.infill_frac) == (10.0, 0.5)
    foot = stand.parts[0]
    assert isinstance(foot, Foot)
    assert foot.height_mm == 25.4


def test_values_are_frozen():
    stand = build(GOOD, Stand, where="here")
    with pytest.raises(ValueError, match="frozen"):
        stand.width_mm = 3.0  # type: ignore[misc]


@pytest.mark.parametrize(("key", "nearest"), [("widht", "width"), ("Name", "name"), ("in_fill", "infill"), ("part", "parts")])
def test_an_unknown_key_suggests_the_nearest(key: str, nearest: str):
    assert f'{key} is not a known key (did you mean "{nearest}"?)' in faults({**GOOD, key: 1})


def test_an_unknown_key_near_nothing_lists_the_known_keys():
    assert "zzzz is not a known key (known keys: by_place, infill, name, parts, width)" in faults({**GOOD, "zzzz": 1})


def test_an_unknown_key_deep_inside_is_placed_and_suggested():
    message = faults({**GOOD, "parts": [{"kind": "foot", "height": "1 mm", "heigth": "2 mm"}]})
    assert 'parts.0.foot.heigth is not a known key (did you mean "height"?)' in message
    message = faults({**GOOD, "by_place": {"left": {"kind": "foot", "height": "1 mm", "hight": 1}}})
    assert 'by_place.left.hight is not a known key (did you mean "height"?)' in message


def test_all_faults_come_at_once_behind_the_files_name():
    message = faults({"width": "-3 mm", "infill": "120 %", "extra": 1, "parts": [{"kind": "foot", "height": 4}]})
    assert message.startswith("stand.toml: ")
    for each in ("name is missing", "width: ", "infill: ", "extra is not a known key", "parts.0.foot.height: 4 has no unit"):
        assert each in message


@pytest.mark.parametrize("bad", ["0 mm", "-1 mm", "10.001 m", "nan mm", "inf mm", 7, True, None, "wide"])
def test_absurd_lengths_are_refused(bad: object):
    assert "width: " in faults({**GOOD, "width": bad})


class Lamp(Document):
    lit: bool
    foot: Foot
    sizes_mm: tuple[Length, ...] = Field(alias="sizes")


def test_what_was_wanted_is_said_in_the_words_of_the_file():
    with pytest.raises(InputError) as caught:
        build({"lit": "maybe", "foot": "9 mm", "sizes": "6 mm"}, Lamp, where="lamp.toml")
    assert str(caught.value) == (
        "lamp.toml: lit: 'maybe' is not true or false without quotes; foot: '9 mm' is not a table: write { key = value }; "
        "sizes: '6 mm' is not a list: write it in brackets, as in [\"6.0 mm\", \"6.1 mm\"]."
    )
    with pytest.raises(InputError, match=r"foot is missing \(a table of height, kind\)"):
        build({"lit": True, "sizes": []}, Lamp, where="lamp.toml")


def test_reading_a_file(tmp_path: Path):
    path = tmp_path / "stand.toml"
    path.write_text('name = "ä"\nwidth = "1/2 in"\n', encoding="utf-8")
    assert load(path, Stand).width_mm == 12.7
    assert load(path, Stand).name == "ä"


def test_files_that_cannot_be_used(tmp_path: Path):
    missing, folder = tmp_path / "none.toml", tmp_path
    for each in (missing, folder):
        with pytest.raises(FolderError, match="a readable TOML file") as caught:
            read_toml(each)
        assert str(each) in str(caught.value)
        assert caught.value.exit_code == 6
    broken = tmp_path / "broken.toml"
    broken.write_text("width = 6 mm\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"not valid TOML.*line 1.*need quotes"):
        read_toml(broken)
    latin = tmp_path / "latin.toml"
    latin.write_bytes('name = "ä"'.encode("latin-1"))
    with pytest.raises(InputError, match="not UTF-8"):
        read_toml(latin)
    huge = tmp_path / "huge.toml"
    huge.write_bytes(b"#" * (MAX_DOCUMENT_BYTES + 1))
    with pytest.raises(InputError, match=f"at most {MAX_DOCUMENT_BYTES}"):
        read_toml(huge)


class Crate(Document):
    schema_: Literal["kerfwright-crate-2"] = Field(alias="schema")


@pytest.mark.parametrize(("schema", "reason"), [
    ("kerfwright-board-1", "this is a board file. Give the crate file."),
    ("kerfwright-board-9", "this is a board file. Give the crate file."),
    ("kerfwright-crate-1", "kerfwright-crate-2"),  # its own kind in another version is the model's to refuse
    ("board", "kerfwright-crate-2"),
])  # fmt: skip
def test_a_file_of_another_kind_is_called_by_its_name(tmp_path: Path, schema: str, reason: str):
    path = tmp_path / "crate.toml"
    path.write_text(f'schema = "{schema}"\nlength = "9 mm"\n')
    with pytest.raises(InputError, match=r"crate\.toml") as refused:
        load(path, Crate)
    assert reason in refused.value.message
    assert ("board file" in refused.value.message) == schema.startswith("kerfwright-board")


def test_only_a_schema_of_another_kind_is_refused():
    for tables in ({}, {"schema": 3}, {"schema": "kerfwright-crate-7"}, {"schema": "of my own"}):
        refuse_other_kind(tables, "crate", "crate.toml")

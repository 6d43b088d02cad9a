"""Readings forms: what a person may write, and what is refused with its line and the reason."""

from __future__ import annotations

import csv
import io
import json
import tomllib
from pathlib import Path

import pytest

from coupon_samples import record, site
from kerfwright.core.errors import FolderError, InputError
from kerfwright.coupons.form import COLUMNS, csv_form, toml_form
from kerfwright.coupons.readings import Reading, check_values, read_form, read_form_text
from kerfwright.coupons.record import read_record, record_json

COMB, THROUGH, FOCUS = record("kerf comb"), record("through"), record("focus")


def filled(answers: dict[str, str], of=COMB) -> str:
    text = toml_form(of)
    for name, value in answers.items():
        assert f'\n{name} = ""' in text
        text = text.replace(f'\n{name} = ""', f"\n{name} = {value}")
    return text


def line_of(text: str, name: str) -> int:
    return next(i for i, line in enumerate(text.splitlines(), 1) if line.startswith(f"{name} ="))


def read(text: str, of=COMB) -> dict[str, Reading]:
    return {each.observable: each for each in read_form_text(text, ".toml", of)}


def test_a_blank_form_reads_as_nothing_in_both_formats():
    assert read_form_text(toml_form(COMB), ".toml", COMB) == ()
    assert read_form_text(csv_form(COMB), ".csv", COMB) == ()


def test_every_observable_stands_on_both_forms_in_order():
    ids = [each.id for each in COMB.observables]
    assert list(tomllib.loads(toml_form(COMB))["readings"]) == ids
    rows = list(csv.reader(io.StringIO(csv_form(COMB))))
    assert tuple(rows[0]) == COLUMNS
    assert [row[2] for row in rows[1:]] == ids
    assert {(row[0], row[1]) for row in rows[1:]} == {(COMB.id, COMB.digest)}


def test_what_a_person_may_write():
    found = read(filled({
        "slot-x1-show": '"0.21, 0.22"',
        "slot-x1-inner": '"8 thou"',
        "slot-x2-show": '"0.21 mm; 0.2mm"',
        "slot-x2-inner": "0.19",
        "stack-x": "[23.1, 23.14]",
        "tongue-x1": '"  Not  Sure "',
        "tongue-x2": '"spoilt"',
        "tongue-x3": '"5/32 in"',
    }))  # fmt: skip
    assert found["slot-x1-show"] == Reading("slot-x1-show", (0.21, 0.22), "read")
    assert found["slot-x1-inner"].values == pytest.approx((0.2032,))
    assert found["slot-x2-show"].values == (0.21, 0.2)
    assert found["slot-x2-inner"].values == (0.19,)
    assert found["stack-x"].values == (23.1, 23.14)
    assert found["tongue-x1"] == Reading("tongue-x1", (), "not sure")
    assert found["tongue-x2"] == Reading("tongue-x2", (), "spoilt")
    assert found["tongue-x3"].values == pytest.approx((3.96875,))
    assert len(found) == 8


def test_words_rungs_and_script_values():
    found = read(filled({"through-A1": '"No"', "through-A2": "true", "flame-A3": '"flash"', "char-A3": '"light, heavy"'}, THROUGH), THROUGH)
    assert [found[name].values for name in ("through-A1", "through-A2", "flame-A3", "char-A3")] == [
        ("no",), ("yes",), ("flash",), ("light", "heavy"),
    ]  # fmt: skip
    assert read(filled({"rung-x": '"6.5"', "rung-y": '"7 rung"'}, FOCUS), FOCUS)["rung-x"].values == (6.5,)
    assert check_values({"slot-x1-show": 0.2, "tongue-x2": "spoilt", "tongue-x3": None}, COMB) == (
        Reading("slot-x1-show", (0.2,)), Reading("tongue-x2", (), "spoilt"),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        ('"2.4"', "2.4 mm is not possible here"),
        ('"0.21 in"', '5.334 mm (from "0.21 in") is not possible here'),
        ('"0"', "0 mm is not possible here"),
        ('"-0.2"', "-0.2 mm is not possible here"),
        ("nan", "nan mm is not possible here"),
        ("inf", "inf mm is not possible here"),
        ('"0.2 s"', 'the unit "s" in "0.2 s" is not known'),
        ('"0.2 deg"', 'the unit "deg"'),
        ('"wide"', '"wide" is not a length'),
        ('"0.2, spoilt"', '"spoilt" stands beside other answers'),
        ('"0.2,,0.3"', "an empty place between commas"),
        ("true", "True is not a number"),
        ('"0,21"', '"0,21" may be one number or several. Accepted: a decimal point'),
        ('"0.21, 0,22"', "may be one number or several"),
        ('"1/0 in"', "not a finite number"),
        ("[[0.2]]", "[0.2] is not a number"),
        ('"' + ", ".join(["0.2"] * 60) + '"', "60 repeats"),
    ],
)
def test_impossible_answers_are_refused_by_line(value: str, reason: str):
    text = filled({"slot-y1-show": value})
    with pytest.raises(InputError) as refused:
        read(text)
    assert f"line {line_of(text, 'slot-y1-show')}, slot-y1-show: " in refused.value.message
    assert reason in refused.value.message
    assert "nothing of it was kept" in refused.value.message


def test_every_fault_is_listed_at_once():
    text = filled({"slot-x1-show": '"9"', "tongue-x4": '"3 kg"', "stack-y": '"yes"'}) + 'slot-x9-show = "0.2"\n'
    with pytest.raises(InputError) as refused:
        read(text)
    for name in ("slot-x1-show", "tongue-x4", "stack-y", "slot-x9-show"):
        assert f"line {line_of(text, name)}, {name}: " in refused.value.message
    assert 'did you mean "slot-x2-show"?' in refused.value.message or 'did you mean "slot-x1-show"?' in refused.value.message


def test_other_ways_to_write_a_word():
    text = filled({"through-B2": '"y"', "through-B3": '"N, yes"', "char-A1": '"Spoiled"'}, THROUGH)
    found = read(text, THROUGH)
    assert found["through-B2"].values == ("yes",)
    assert found["through-B3"].values == ("no", "yes")
    assert (found["char-A1"].status, found["char-A1"].values) == ("spoilt", ())


def test_word_questions_refuse_other_words():
    with pytest.raises(InputError, match="'maybe' is not an answer here. Accepted: yes, no, not sure, spoilt"):
        read(filled({"through-B2": '"maybe"'}, THROUGH), THROUGH)
    with pytest.raises(InputError, match="3.0 is not an answer here"):
        read(filled({"flame-A1": "3.0"}, THROUGH), THROUGH)
    with pytest.raises(InputError, match="is not a number of rung"):
        read(filled({"rung-x": '"6 mm"'}, FOCUS), FOCUS)
    with pytest.raises(InputError, match="14 rung is not possible here"):
        read(filled({"rung-x": '"14"'}, FOCUS), FOCUS)


def test_readings_of_another_coupon_are_refused():
    with pytest.raises(InputError, match=f'these are readings of coupon "{THROUGH.id}", not of "{COMB.id}"'):
        read(toml_form(THROUGH))
    other = record("kerf comb", site("diode", "narrow"))
    assert other.digest != COMB.digest
    with pytest.raises(InputError, match="not of"):
        read(toml_form(other))
    with pytest.raises(InputError, match="made for another layout"):
        read(toml_form(COMB).replace(COMB.digest, "0" * 16))
    mixed = csv_form(COMB) + csv_form(THROUGH).split("\n", 2)[1] + "\n"
    with pytest.raises(InputError, match=f"line {len(COMB.observables) + 2}: these are readings of coupon"):
        read_form_text(mixed, ".csv", COMB)


def test_broken_toml_names_the_line():
    for broken, match in (
        (filled({"slot-x1-show": "0,2"}), "not valid TOML"),
        (filled({"slot-x1-show": "not sure"}), "not valid TOML"),
        (toml_form(COMB) + 'stack-x = "23"\n', "not valid TOML"),  # the same key twice
        (toml_form(COMB).replace("kerfwright-readings-1", "kerfwright-readings-9"), "kerfwright-readings-9"),
        (toml_form(COMB).replace("[readings]", "[reading]"), "reading is not a known key"),
        ("", "the schema is None"),
    ):
        with pytest.raises(InputError, match=match):
            read(broken)


def csv_filled(answers: dict[str, str], delimiter: str = ",") -> str:
    rows = list(csv.reader(io.StringIO(csv_form(COMB))))
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter)
    writer.writerows([*row[:-1], answers.get(row[2], row[-1])] for row in rows)
    return text.getvalue()


@pytest.mark.parametrize("delimiter", [",", ";"])
def test_csv_as_a_spreadsheet_saves_it(delimiter: str):
    text = csv_filled({"slot-x1-show": "0.21, 0.22", "tongue-y2": "spoilt", "stack-y": "23.05 mm"}, delimiter)
    lines = text.splitlines()
    shuffled = "\r\n".join([lines[0], *reversed(lines[1:])])
    for form in (text, shuffled):
        found = {each.observable: each for each in read_form_text(form, ".csv", COMB)}
        assert found == {
            "slot-x1-show": Reading("slot-x1-show", (0.21, 0.22)),
            "tongue-y2": Reading("tongue-y2", (), "spoilt"),
            "stack-y": Reading("stack-y", (23.05,)),
        }


def test_csv_repeats_typed_without_quotes_and_part_of_a_form():
    rows = csv_form(COMB).splitlines()
    text = "\n".join([rows[0], rows[1] + "0.21, 0.22", rows[5] + "23.1"])
    assert read_form_text(text, ".csv", COMB) == (Reading("slot-x1-show", (0.21, 0.22)), Reading("stack-x", (23.1,)))
    with pytest.raises(InputError, match='"23,1" may be one number or several'):
        read_form_text(text.replace("23.1", "23,1"), ".csv", COMB)


def test_csv_faults_by_line():
    rows = csv_form(COMB).splitlines()
    text = "\n".join([rows[0], rows[1] + "5", "", rows[1] + "0.2", rows[2] + "wide", "a,b"])
    with pytest.raises(InputError) as refused:
        read_form_text(text, ".csv", COMB)
    for words in (
        "line 2, slot-x1-show: 5 mm is not possible here",
        "line 4, slot-x1-show: answered twice, first on line 2",
        'line 5, slot-x1-inner: "wide" is not a length',
        "line 6: only 2 cells",
    ):
        assert words in refused.value.message
    with pytest.raises(InputError, match="the first row has no column coupon, digest, id, value"):
        read_form_text("x,y\n1,2\n", ".csv", COMB)
    with pytest.raises(InputError, match="the first row has no column"):
        read_form_text("", ".csv", COMB)


def test_files_that_cannot_be_read(tmp_path: Path):
    with pytest.raises(FolderError):
        read_form(tmp_path / "none.toml", COMB)
    odd = tmp_path / "form.xls"
    odd.write_text("")
    with pytest.raises(InputError, match=r'"\.xls"'):
        read_form(odd, COMB)
    latin = tmp_path / "form.toml"
    latin.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8"):
        read_form(latin, COMB)
    good = tmp_path / "readings.toml"
    good.write_text("\ufeff" + filled({"stack-x": '"23.1"'}), encoding="utf-8")  # some editors put a mark first
    assert read_form(good, COMB) == (Reading("stack-x", (23.1,)),)


def test_a_record_changed_by_hand_is_refused():
    text = record_json(COMB)
    assert read_record(text) == COMB
    fields = json.loads(text)
    fields["observables"][0]["settings"]["speed_mm_s"] = 1.0
    with pytest.raises(InputError, match="changed after it was made"):
        read_record(json.dumps(fields))
    for broken, match in (
        ("{", "not JSON"),
        ("[]", "the schema is None"),
        (text.replace("kerfwright-coupon-1", "kerfwright-coupon-2"), "kerfwright-coupon-2"),
        (text.replace('"slot_width"', '"slot_wide"'), "damaged"),
    ):
        with pytest.raises(InputError, match=match):
            read_record(broken)

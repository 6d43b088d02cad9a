"""The verbs of learning at the command line: each one's good path, and mistakes: one sentence, an exit code, nothing kept."""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
import tomllib
from pathlib import Path

import pytest

from app.learning_bench import BOARD, LASER, Bench, answers, fill, record_of
from app.shop_files import change
from kerfwright.notebook.fact import Kind
from kerfwright.notebook.notebook import open_notebook


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Bench:
    return Bench(tmp_path, capsys)


def test_a_coupon_says_what_it_takes_and_its_form_is_enough_for_a_stranger(bench: Bench):
    folder = bench.root / "through"
    made = bench.done("coupon", "through", *bench.known, "--out", folder)
    assert made["schema"] == "kerfwright-coupon-summary-1"
    assert made["folder"] == str(folder)
    assert made["wood_mm"][0] <= 280
    assert made["time_s"] > 30
    record = json.loads((folder / "coupon.json").read_text(encoding="utf-8"))
    assert made["readings"] == len(record["observables"]) == 65
    form = tomllib.loads((folder / "readings.toml").read_text(encoding="utf-8"))
    assert (form["coupon"], form["digest"]) == (record["id"], record["digest"])
    assert set(form["readings"].values()) == {""}
    rows = list(csv.DictReader(io.StringIO((folder / "readings.csv").read_text(encoding="utf-8"))))
    for row, each in zip(rows, record["observables"], strict=True):
        assert row["id"] == each["id"]
        assert row["kind"] == each["quantity"]
        assert row["face"] == each["face"]
        assert (float(row["x_mm"]), float(row["y_mm"])) == pytest.approx(each["place_mm"], abs=1e-3)
        assert float(row["direction_deg"]) == each["across_deg"]
        assert row["instrument"]
        assert row["unit"]
        assert row["measure"]
        assert row["accepted"] == {"through": "yes, no", "flame": "none, glow, flash, sustained", "char": "none, light, heavy"}[row["kind"]]
        assert each["settings"]["length_mm"] == (4.6 if each["across_deg"] else 6.0)
    assert {each["settings"]["travel"] for each in record["observables"]} == {"x", "y"}


def test_a_coupon_in_the_way_of_another_is_told_with_a_place_that_is_free(bench: Bench):
    """Own arithmetic: the through coupon takes (0, 0) to (179.6, 54.6) of 280 x 100 mm, so what begins at y 55 is clear of it."""
    bench.done("read", bench.coupon("through"), "--notebook", bench.book)

    def told(name: str, *more: str) -> list[str]:
        made = bench.done("coupon", "kerf-comb", *bench.known, "--out", bench.root / name, *more)
        return [each["text"] for each in made["findings"] if each["code"] == "in-the-way"]

    place = 'at=["0 mm", "55 mm"]'
    assert told("there") == [
        f"\"maple, plank A\" was burnt there already (through): lay this one beside with --choose '{place}', or saw that part off first"
    ]
    assert told("beside", "--choose", place) == []


def test_a_name_written_otherwise_is_told(bench: Bench):
    bench.done("read", bench.coupon("through"), "--notebook", bench.book)
    change(bench.root / LASER, "name", '"lantern 20"')
    told = bench.done("recipe", *bench.known)
    said = "the notebook has readings of Lantern 20 on sugar maple: names count to the letter"
    assert [each["text"] for each in told["findings"]] == [said]


def test_read_learns_what_the_machine_does(bench: Bench):
    told = bench.done("read", bench.coupon("through"), "--notebook", bench.book)
    assert told["schema"] == "kerfwright-learned-1"
    assert told["readings"] == 65
    through = next(each for each in told["lessons"] if each["topic"] == "through")
    assert through["readings"] == 39
    assert told["advice"]["enough"] is False
    assert told["advice"]["next"][0]["coupon"] == "kerf comb"
    comb = bench.done("read", bench.coupon("kerf comb"), "--notebook", bench.book)
    kerf = next(each for each in comb["lessons"] if each["topic"] == "kerf")["estimates"]
    folder = bench.root / "kerf-comb"
    given, record = answers(folder), record_of(folder)
    for travel in "xy":
        stack = record.observable(f"stack-{travel}")
        slit_mm = float(stack.settings["pitch_mm"]) - float(given[stack.id]) / 6
        waist = next(value for name, value in kerf.items() if name.startswith(travel) and "waist" in name)
        assert waist["value"] == pytest.approx(slit_mm, abs=2e-3)
        assert 0 < waist["sd"] < 0.02
    assert comb["advice"]["next"][0]["coupon"] == "ramp staircase"
    square = bench.done("recipe", *bench.known, "--slope", "square")
    assert square["advice"]["enough"] is True
    assert square["advice"]["next"] == []


def test_a_second_coupon_burnt_just_like_the_first_is_another_one(bench: Bench):
    first = bench.coupon("kerf comb", name="one")
    bench.done("read", first, "--notebook", bench.book)
    options = (*bench.known, "--recipe", bench.root / "shop" / "maple-6.toml")
    bench.done("coupon", "kerf comb", *options, "--out", bench.root / "two")
    fill(bench.root / "two", answers(bench.root / "two"))
    bench.done("read", bench.root / "two", "--notebook", bench.book)
    bench.done("coupon", "kerf comb", *options, "--out", bench.root / "three")
    two, three = record_of(bench.root / "two"), record_of(bench.root / "three")
    assert (two.copy, three.copy) == (1, 2)
    assert two.observables == three.observables
    assert two.id != three.id
    fill(bench.root / "three", answers(bench.root / "three"))
    bench.done("read", bench.root / "three", "--notebook", bench.book)
    with open_notebook(bench.book) as book:
        assert {fact.key for fact in book.facts(Kind.READING)} == {record_of(first).id, two.id, three.id}


def test_both_forms_are_read_alike(bench: Bench):
    one, two = bench.coupon("kerf comb", filled=False, name="one"), bench.coupon("kerf comb", filled=False, name="two")
    given = answers(one)
    fill(one, given)
    fill(two, given, "readings.csv")
    kept = [bench.done("read", folder, "--notebook", bench.book)["lessons"] for folder in (one, two)]
    assert kept[0] == kept[1]
    fill(one, {"slot-x1-show": "0.5"}, "readings.csv")
    assert "hold different answers" in bench.refused(2, "read", one, "--notebook", bench.book)


def test_reading_the_same_form_again_changes_nothing_and_a_corrected_one_takes_its_place(bench: Bench):
    folder = bench.coupon("through")
    bench.done("read", folder, "--notebook", bench.book)
    once = bench.facts()
    bench.done("read", folder, "--notebook", bench.book)
    assert bench.facts() == once
    name = record_of(folder).observables[0].id
    fill(folder, {name: "spoilt"})
    told = bench.done("read", folder, "--notebook", bench.book)
    through = next(each for each in told["lessons"] if each["topic"] == "through")
    assert through["readings"] == 38
    assert len(bench.facts()) == len(once)
    with open_notebook(bench.book) as book:
        assert len(book.facts(Kind.READING, superseded=True)) == 2


def test_a_half_filled_form_with_doubts_is_read_for_what_it_holds(bench: Bench):
    folder = bench.coupon("kerf comb", filled=False)
    given = {name: value for name, value in answers(folder).items() if name.startswith(("stack", "slot"))}
    given |= {"slot-x1-show": "not sure", "slot-x2-show": "spoilt", "slot-y1-show": f"{given['slot-y1-show']}, {given['slot-y1-show']}"}
    fill(folder, given)
    told = bench.done("read", folder, "--notebook", bench.book)
    assert told["readings"] == len(given)
    kerf = next(each for each in told["lessons"] if each["topic"] == "kerf")
    assert kerf["readings"] == len(given) - 2


@pytest.mark.parametrize(("kind", "word"), [("through", "no"), ("through", "yes"), ("kerf comb", "not sure"), ("ramp staircase", "through"),
                                            ("ramp staircase", "0.00"), ("fit ladder", "not at all"), ("machine", "spoilt")])
def test_answers_that_are_all_alike_never_break_the_notebook(kind: str, word: str, bench: Bench):
    folder = bench.coupon(kind, filled=False)
    able = [each.id for each in record_of(folder).observables if not each.choices or word in (*each.choices, "not sure", "spoilt")]
    fill(folder, dict.fromkeys(able, word))
    told = bench.done("read", folder, "--notebook", bench.book)
    assert told["advice"]["enough"] is False
    again = bench.done("recipe", *bench.known)
    assert again["advice"] == told["advice"]
    if word == "no":
        assert [finding["code"] for finding in told["findings"] if finding["level"] == "warning"] == ["never-through"]
        assert told["advice"]["next"][0]["coupon"] == "through"


def test_the_recipe_is_a_file_that_the_bench_takes(bench: Bench):
    told, kinds = bench.done("recipe", *bench.known), []
    while not told["advice"]["enough"]:
        kinds.append(told["advice"]["next"][0]["coupon"])
        assert len(kinds) < 7, kinds
        told = bench.done("read", bench.coupon(kinds[-1], name=f"coupon-{len(kinds)}"), "--notebook", bench.book)
    assert list(dict.fromkeys(kinds)) == ["through", "kerf comb", "ramp staircase", "sloped edge"]
    out = bench.root / "mine.toml"
    code, printed, _ = bench.run("recipe", *bench.known, "--out", out, "--plots", bench.root / "plots")
    assert code == 0
    assert printed.endswith(f"Recipe written: {out}\n")
    tables = tomllib.loads(out.read_text(encoding="utf-8"))
    assert tables["made_from"].startswith("readings of through-")
    assert len(list((bench.root / "plots").glob("*.png"))) >= 4
    assert "already" in bench.refused(6, "recipe", *bench.known, "--out", out)
    change(bench.root / "pencil-box" / "bench.toml", "recipe", '"../mine.toml"')
    change(bench.root / BOARD, "width", '"42 mm"')
    made = bench.done("look", bench.root / "pencil-box")
    assert "first-guess" not in [finding["code"] for finding in made["findings"]]


def test_outcomes_and_the_ledger(bench: Bench):
    bench.done("read", bench.coupon("through"), "--notebook", bench.book)
    job = bench.root / "job"
    change(bench.root / BOARD, "width", '"42 mm"')
    bench.done("make", bench.root / "pencil-box", "--out", job)
    kept = bench.done("outcome", job, "front-right", "--fit", "by tap", "--gap-tail", "0.10 mm", "--notebook", bench.book)
    assert kept["schema"] == "kerfwright-outcome-1"
    one = kept["outcomes"][0]
    assert (one["corner"], one["fit"], one["gap_tail_mm"], one["gap_pin_mm"]) == ("front-right", "by tap", 0.1, None)
    ledger = bench.done("ledger", "--notebook", bench.book)
    assert ledger["schema"] == "kerfwright-ledger-1"
    assert [row["kind"] for row in ledger["rows"]] == ["reading", "outcome"]
    assert ledger["jobs"] == [{"job": "Pencil box", "applied_mm": 0.0, "lines": 1, "off_mm": round(abs(0.1 - one["expected_tail_mm"]), 4)}]
    code, printed, _ = bench.run("ledger", "--notebook", bench.book)
    assert code == 0
    assert "65 readings" in printed
    assert "front-right: by tap, gaps seen 0.10 mm on tails" in printed
    refused = ("outcome", job, "--notebook", bench.book)
    assert 'no corner "top"' in bench.refused(2, *refused, "top", "--fit", "loose")
    assert "loose, by hand, by tap, not at all" in bench.refused(2, *refused, "front-right", "--fit", "tight")
    assert "nothing was said" in bench.refused(2, *refused, "front-right")
    assert "no unit" in bench.refused(2, *refused, "front-right", "--gap-pin", "0.1")
    assert "not possible" in bench.refused(2, *refused, "front-right", "--gap-pin", "9 mm")
    assert "Accepted: -0.5 to 1 mm" in bench.refused(2, *refused, "front-right", "--gap-tail", "5 mm")  # for 0.05 mm
    through = bench.root / "through"
    assert "this job has no corners" in bench.refused(2, "outcome", through, "front-right", "--fit", "loose", "--notebook", bench.book)
    short = bench.done("outcome", job, "right-back", "--proud", "-0.1 mm", "--notebook", bench.book)
    assert short["outcomes"][0]["proud_mm"] == -0.1


def test_backup_export_and_import(bench: Bench):
    bench.done("read", bench.coupon("through"), "--notebook", bench.book)
    n = len(bench.facts())
    kept, other = bench.root / "kept.json", bench.root / "other.db"
    assert bench.done("notebook", "backup", kept, "--notebook", bench.book) == {
        "schema": "kerfwright-notebook-1", "did": "backup", "file": str(kept), "facts": n}
    assert bench.done("notebook", "import", kept, "--notebook", other)["facts"] == n
    assert bench.done("notebook", "import", kept, "--notebook", other)["facts"] == 0
    known = (*bench.known[:4], "--notebook", other)
    assert bench.done("recipe", *known)["lessons"] == bench.done("recipe", *bench.known)["lessons"]
    assert "already" in bench.refused(6, "notebook", "export", kept, "--notebook", bench.book)
    assert "backup, export or import" in bench.refused(2, "notebook", "burn", kept, "--notebook", bench.book)


def test_coupons_that_cannot_be_made(bench: Bench):
    folder = bench.root / "new"
    out = ("--out", folder)
    assert "through" in bench.refused(2, "coupon", "throo", *bench.known, *out)
    assert "NAME=VALUE" in bench.refused(2, "coupon", "through", *bench.known, *out, "--choose", "places")
    assert "plases" in bench.refused(2, "coupon", "through", *bench.known, *out, "--choose", "plases=2")
    assert "places" in bench.refused(2, "coupon", "through", *bench.known, *out, "--choose", "places=0")
    assert "the kind of coupon" in bench.refused(2, "coupon", *bench.known)
    assert "gone.toml" in bench.refused(6, "coupon", "through", *bench.known[2:], "--machine", bench.root / "gone.toml", *out)
    assert not folder.exists()
    (folder / "kept.txt").parent.mkdir()
    (folder / "kept.txt").write_text("mine", encoding="utf-8")
    assert "already" in bench.refused(6, "coupon", "through", *bench.known, *out)
    assert [each.name for each in folder.iterdir()] == ["kept.txt"]
    change(bench.root / BOARD, "length", '"40 mm"')
    assert "mm" in bench.refused(5, "coupon", "through", *bench.known, "--out", bench.root / "small")
    assert not (bench.root / "small").exists()


def test_a_form_that_cannot_be_read_keeps_nothing(bench: Bench):
    folder, other = bench.coupon("through"), bench.coupon("kerf comb", filled=False)
    read = ("read", folder, "--notebook", bench.book)
    form = folder / "readings.toml"
    good = form.read_text(encoding="utf-8")
    name = record_of(folder).observables[0].id
    line = next(i for i, text in enumerate(good.splitlines(), 1) if text.startswith(f"{name} ="))
    wrong = {
        good.replace(f"{name} =", "nothing ="): (f"line {line}, nothing", "no such reading"),
        re.sub(rf'(?m)^{name} = ".*"', f'{name} = "perhaps"', good): (f"line {line}, {name}", "yes, no"),
        re.sub(rf'(?m)^{name} = ".*"', f'{name} = "yes, spoilt"', good): (name, "beside other answers"),
        re.sub(rf'(?m)^{name} = "(.*)"', rf"{name} = \1", good): ("TOML", "quotes"),
        good.replace("kerfwright-readings-1", "kerfwright-readings-9"): ("kerfwright-readings-9", "kerfwright-readings-1"),
        re.sub(r'(?m)^(\S+) = ".*"$', r'\1 = ""', good[good.index("[readings]"):]).join((good[: good.index("[readings]")], "")): ("empty",),
    }
    for text, words in wrong.items():
        form.write_text(text, encoding="utf-8")
        said = bench.refused(2, *read)
        assert all(word in said for word in words), said
    form.write_text(good, encoding="utf-8")
    assert "not of" in bench.refused(2, *read, "--form", other / "readings.toml")
    assert "ending in" in bench.refused(2, *read, "--form", folder / "coupon.json")
    assert bench.refused(6, *read, "--form", folder / "gone.toml")
    assert "slope" in bench.refused(2, *read, "--slope", "steep")


WRONG = {"3 kg": "kg", "40 mm": "not possible", "-0.2": "not possible", "0.2, , 0.3": "empty place", "nan": "nan", "0.2 mm or so": "or so"}


@pytest.mark.parametrize(("value", "words"), WRONG.items())
def test_wrong_units_and_impossible_values_are_refused_by_line(value: str, words: str, bench: Bench):
    folder = bench.coupon("kerf comb")
    fill(folder, {"slot-x1-show": value})
    said = bench.refused(2, "read", folder, "--notebook", bench.book)
    assert re.search(r"line \d+, slot-x1-show", said)
    assert words in said
    assert "nothing of it was kept" in said
    fill(folder, {"slot-x1-show": "8 thou"})
    assert bench.done("read", folder, "--notebook", bench.book)["readings"] == 22


def test_a_coupon_folder_changed_by_hand_is_refused(bench: Bench):
    folder = bench.coupon("through")
    read = ("read", folder, "--notebook", bench.book)
    path, site = folder / "coupon.json", folder / "site.json"
    good, place = path.read_text(encoding="utf-8"), site.read_text(encoding="utf-8")
    for text, word in (
        (good.replace('"speed_mm_s": ', '"speed_mm_s": 1'), "changed"),
        (good.replace("kerfwright-coupon-1", "kerfwright-coupon-7"), "kerfwright-coupon-7"),
        (good[:-200], "JSON"),
        (good.replace('"place_mm"', '"plaice_mm"'), "damaged"),
    ):
        path.write_text(text, encoding="utf-8")
        assert word in bench.refused(2, *read)
    path.write_text(good, encoding="utf-8")
    site.write_text(place.replace('"board"', '"bored"'), encoding="utf-8")
    assert "site.json" in bench.refused(2, *read)
    path.unlink()
    assert bench.refused(6, *read)


def test_a_damaged_or_newer_notebook_is_left_as_it_is(bench: Bench):
    folder = bench.coupon("through")
    bench.done("read", folder, "--notebook", bench.book)
    bad = bench.root / "bad.db"
    bad.write_bytes(b"not a notebook" * 200)
    said = bench.refused(6, "read", folder, "--notebook", bad)
    assert "not a notebook" in said
    assert bad.read_bytes() == b"not a notebook" * 200
    with sqlite3.connect(bench.book) as base:
        base.execute("UPDATE notebook_version SET version_num = '0042'")
    base.close()
    before = bench.book.read_bytes()
    for words in (("read", folder), ("recipe", *bench.known[:4]), ("ledger",)):
        code, out, err = bench.run(*words, "--notebook", bench.book)
        assert (code, out) == (2, "") or (code, out) == (6, "")
        assert "newer version" in err
    assert bench.book.read_bytes() == before


def test_a_mistake_with_json_is_told_as_json(bench: Bench):
    code, out, err = bench.run("read", bench.root / "nowhere", "--notebook", bench.book, "--json")
    told = json.loads(out)["error"]
    assert code == told["exit_code"] == 6
    assert told["message"] in err

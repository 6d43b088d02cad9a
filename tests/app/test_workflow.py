"""The whole road: make, look, shift; checksums, determinism, and the same verbs from Python."""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path

import numpy as np
import pytest

from app.shop_files import change, new_shop
from kerfwright.app import workflow
from kerfwright.app.cli import main
from kerfwright.core.codec import plain
from kerfwright.core.errors import FolderError, InputError
from kerfwright.export.job_reader import read_job
from kerfwright.export.program_reader import read_program
from kerfwright.process.setup import Placing


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return new_shop(tmp_path_factory.mktemp("road"))


@pytest.fixture(scope="module")
def jobs(shop: Path) -> dict[str, Path]:
    made = {}
    for name in workflow.DEMO_PIECES:
        result = workflow.make(shop / name / "piece.toml", out=shop / f"{name}-job")
        assert result.folder is not None
        made[name] = result.folder
    return made


@pytest.mark.parametrize("name", workflow.DEMO_PIECES)
def test_every_file_is_in_the_record_with_its_checksum(jobs: dict[str, Path], name: str) -> None:
    folder = jobs[name]
    record = json.loads((folder / "job.json").read_text())
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert there == {file["path"] for file in record["files"]} | {"job.json"}
    for file in record["files"]:
        assert hashlib.sha256((folder / file["path"]).read_bytes()).hexdigest() == file["sha256"]
    for setup in record["setups"]:
        stem = setup["program"].removesuffix(".ngc")
        assert {f"{stem}.ngc", f"{stem}.svg", f"{stem}.dxf"} <= set(setup["files"])
        ramps = any(op["kind"] == "ramp" for op in setup["operations"])
        assert bool(setup["pictures"]) == ramps == any(file.endswith("-grey8.png") for file in setup["files"])
    assert {"bench-sheet.pdf", "cut-list.csv", "piece.glb", "piece.3mf", "piece.step"} <= there


def test_two_runs_are_byte_equal(shop: Path, jobs: dict[str, Path]) -> None:
    again = workflow.make(shop / "pencil-box" / "piece.toml", out=shop / "again")
    assert again.folder is not None
    for path in jobs["pencil-box"].rglob("*"):
        if path.is_file():
            assert (again.folder / path.relative_to(jobs["pencil-box"])).read_bytes() == path.read_bytes(), path.name


def test_looking_writes_nothing_and_says_the_same(shop: Path) -> None:
    before = sorted(shop.rglob("*"))
    seen = workflow.look(shop / "pencil-box" / "piece.toml")
    assert sorted(shop.rglob("*")) == before
    summary = seen.summary()
    assert summary["folder"] is None
    assert [wall["method"] for wall in summary["walls"] if wall["chosen"]] == ["ramp", "ramp"]
    assert {setup["number"] for setup in summary["setups"]} == set(range(1, 5))


def test_a_job_is_read_back_as_it_was_planned(shop: Path, jobs: dict[str, Path]) -> None:
    planned = workflow.look(shop / "keepsake-box" / "piece.toml").job
    back = read_job(jobs["keepsake-box"])
    for setup, read in zip(planned.setups, back.setups, strict=True):
        assert np.allclose(setup.bed_from_board.matrix, read.bed_from_board.matrix, atol=1e-8)
        assert plain(setup.verniers) == plain(read.verniers)  # to the nanometre that the record keeps
        for op, op_read in zip(setup.operations, read.operations, strict=True):
            assert (op.name, op.kind, op.passes, op.level_mm, op.before) == (
                op_read.name,
                op_read.kind,
                op_read.passes,
                op_read.level_mm,
                op_read.before,
            )
            for path, path_read in zip(op.paths, op_read.paths, strict=True):
                assert np.allclose(path.points_mm, path_read.points_mm, atol=1e-8)


def test_shift_by_ticks_moves_every_cut_by_what_was_read(jobs: dict[str, Path], tmp_path: Path) -> None:
    """All three scales two ticks off: marks fell 0.1 mm too far along +x and +y of the board, so cuts move back."""
    done = workflow.shift(jobs["keepsake-box"], 4, ticks={"left": 2, "right": 2, "along": 2}, out=tmp_path / "again.ngc")
    setup = read_job(jobs["keepsake-box"]).setup(4)
    before = read_program((jobs["keepsake-box"] / "setups" / "04-right-tilt-1.ngc").read_text())
    after = read_program(done.program.read_text())
    marks = len(setup.operations[0].paths)
    old = np.array([segment.end_mm for segment in before.segments if segment.laser_on][marks:])
    new = np.array([segment.end_mm for segment in after.segments if segment.laser_on])
    expected = setup.bed_from_board.turned(np.array([-0.1, -0.1, 0.0]))
    assert np.allclose(new - old, expected, atol=2e-4)
    assert done.bed_shift_mm == pytest.approx(expected, abs=1e-9)
    told = json.loads(done.record.read_text())
    assert told["placing"]["x_mm"] == pytest.approx(0.1)
    assert np.array(told["bed_from_board"])[:3, 3] == pytest.approx(setup.bed_from_board.matrix[:3, 3] + expected, abs=1e-8)


def test_shift_with_a_turn_is_undone_exactly(jobs: dict[str, Path], tmp_path: Path) -> None:
    placing = Placing(0.12, -0.07, 0.2, (12.0, 40.0))
    done = workflow.shift(jobs["keepsake-box"], 5, placing=placing, out=tmp_path / "again.ngc")
    setup = read_job(jobs["keepsake-box"]).setup(5)
    pose = np.array(json.loads(done.record.read_text())["bed_from_board"])
    # Where the board really lies: a burn meant for p lands at L p, so the true pose is bed_from_board L^-1.
    true_pose = setup.bed_from_board @ placing.landed_from_meant().inverse()
    assert np.allclose(pose, true_pose.matrix, atol=1e-8)
    assert math.degrees(math.atan2(*(placing.landed_from_meant().matrix[[1, 0], [0, 0]]))) == pytest.approx(0.2)


def test_shift_never_writes_over_and_counts_up(jobs: dict[str, Path], tmp_path: Path) -> None:
    import shutil

    job = tmp_path / "job"
    shutil.copytree(jobs["keepsake-box"], job)
    names = [workflow.shift(job, 4, ticks={"left": 1}).program.name for _ in range(2)]
    assert names == ["04-right-tilt-1-again-1.ngc", "04-right-tilt-1-again-2.ngc"]
    with pytest.raises(FolderError, match="already"):
        workflow.shift(job, 4, ticks={"left": 1}, out=job / "setups" / names[0])


@pytest.mark.parametrize(("number", "ticks", "words"), [
    (99, {"left": 1}, "no setup 99"), (2, {"left": 1}, "no witness marks"), (4, {"middle": 1}, "no scale"),
    (4, {"left": 9}, "off its end"), (4, {"left": math.nan}, "off its end"), (4, None, "no reading"),
])
def test_shift_refuses_what_it_cannot_use(jobs: dict[str, Path], number: int, ticks: dict[str, float] | None, words: str) -> None:
    with pytest.raises(InputError, match=words):
        workflow.shift(jobs["keepsake-box"], number, ticks=ticks)


def test_shift_on_the_command_line(jobs: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "p.ngc"
    assert main(["shift", str(jobs["keepsake-box"]), "4", "--left-tick", "-1", "--right-tick", "-1", "--out", str(out), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["placing"]["y_mm"] == pytest.approx(-0.05)
    assert out.read_text().startswith("%")


@pytest.mark.parametrize(("option", "value", "placing"), [
    ("--x", "-0.1mm", (-0.1, 0.0, 0.0)), ("--y", "-1/254 in", (0.0, -0.1, 0.0)), ("--turn", "-0.05 deg", (0.0, 0.0, -0.05)),
    ("--x-tick", "-2", (-0.1, 0.0, 0.0)), ("--left-tick", "-.5", (0.0, -0.025, 0.0)),
])
def test_a_reading_below_zero_needs_no_equals_sign(jobs: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str], option: str,
                                                   value: str, placing: tuple[float, float, float]) -> None:
    assert main(["shift", str(jobs["keepsake-box"]), "4", option, value, "--out", str(tmp_path / "p.ngc"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["placing"]
    assert (told["x_mm"], told["y_mm"], told["turn_deg"]) == pytest.approx(placing)


def test_a_folder_stands_for_the_piece_in_it(shop: Path, tmp_path: Path) -> None:
    other = new_shop(tmp_path)
    assert workflow.look(other / "tool-tray").summary() == workflow.look(other / "tool-tray" / "piece.toml").summary()
    assert workflow.make(other / "tool-tray").folder == other / "tool-tray" / "piece-job"
    assert (other / "tool-tray" / "piece-job" / "job.json").exists()


def test_looking_keeps_the_standing_cautions_short_and_making_tells_them(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = new_shop(tmp_path)
    change(other / "shop" / "maple-a.toml", "pieces", "1")
    assert main(["look", str(other / "pencil-box")]) == 0
    looked = capsys.readouterr().out.splitlines()
    told = [line for line in looked if line.startswith(("  caution", "  warning", "  note"))]
    assert told[0] == "  cautions: fire, eyes, fumes, dust: see the bench sheet"
    assert [line.split(":")[0].strip() for line in told[1:]] == ["warning", "note"]
    assert "(front, back)" in told[1]
    assert main(["make", str(other / "pencil-box")]) == 0
    made = [line for line in capsys.readouterr().out.splitlines() if line.startswith("  caution: ")]
    assert [line.split()[1] for line in made] == ["Cutting", "A", "Smoke", "Sanding"]


def test_a_risk_of_this_piece_alone_is_told_in_full_by_look_too(shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = new_shop(tmp_path)
    change(other / "keepsake-box" / "bench.toml", "walls", '"ramp"')
    ramp = (other / "shop" / "maple-6.toml").read_text(encoding="utf-8").split("[ramp]")[1].split("[engrave]")[0]
    ash = other / "shop" / "ash-12.toml"
    deep = ramp.replace('"6.1 mm"', '"12.4 mm"')
    ash.write_text(ash.read_text(encoding="utf-8").replace("[engrave]", f"[ramp]{deep}[engrave]"), encoding="utf-8")
    assert main(["look", str(other / "keepsake-box")]) == 0
    told = [line for line in capsys.readouterr().out.splitlines() if line.startswith("  caution")]
    assert len(told) == 2
    assert told[1].startswith("  caution: ramping 12.0 mm deep is slow and hot")
    assert told[1].endswith("(right, left)")


def test_the_record_names_schemas_plainly_and_says_which_blank(jobs: dict[str, Path]) -> None:
    record = json.loads((jobs["pencil-box"] / "job.json").read_text())
    assert "schema_" not in (jobs["pencil-box"] / "job.json").read_text()
    assert record["machine"]["schema"] == "kerfwright-machine-1"
    assert {board["schema"] for board in record["boards"].values()} == {"kerfwright-board-1"}
    assert {recipe["schema"] for recipe in record["recipes"].values()} == {"kerfwright-recipe-1"}
    assert read_job(jobs["pencil-box"]).machine.schema_ == "kerfwright-machine-1"
    assert {setup["part"]: setup["board"] for setup in record["setups"]} == {
        "front": "maple, plank A, blank 1 of 2", "back": "maple, plank A, blank 2 of 2",
        "right": "maple, plank B, blank 1 of 2", "left": "maple, plank B, blank 2 of 2",
    }
    assert record["boards"]["front"]["n_pieces"] == 2


def test_a_record_from_before_with_its_old_key_still_reads(jobs: dict[str, Path], tmp_path: Path) -> None:
    record = json.loads((jobs["pencil-box"] / "job.json").read_text())
    record["machine"]["schema_"] = record["machine"].pop("schema")
    (tmp_path / "job.json").write_text(json.dumps(record))
    assert read_job(tmp_path).machine == read_job(jobs["pencil-box"]).machine


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"schema": "kerfwright-job-1"}', '{"schema": "kerfwright-job-99"}'])
def test_a_damaged_record_is_told(tmp_path: Path, text: str) -> None:
    (tmp_path / "job.json").write_text(text)
    with pytest.raises(InputError, match=r"job\.json"):
        read_job(tmp_path)


def test_inches_and_millimetres_give_the_same_box(shop: Path, tmp_path: Path) -> None:
    other = new_shop(tmp_path)
    change(other / "tool-tray" / "piece.toml", "length", '"298.45 mm"')
    change(other / "tool-tray" / "piece.toml", "width", '"20.32 cm"')
    ours = workflow.look(other / "tool-tray" / "piece.toml").job
    theirs = workflow.look(shop / "tool-tray" / "piece.toml").job
    for part, same in zip(ours.assembly.parts, theirs.assembly.parts, strict=True):
        assert np.allclose(part.slab.show_ring.points_mm, same.slab.show_ring.points_mm, atol=1e-9)

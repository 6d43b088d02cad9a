"""The two loops inside a job: the pilot strip and retune, the check pause and finish; and a job planned again from its folder alone."""

from __future__ import annotations

import hashlib
import json
import math
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app.shop_files import change, new_shop
from kerfwright.app import loops, workflow
from kerfwright.app.cli import main
from kerfwright.app.inputs import read_inputs
from kerfwright.core.errors import FolderError, InputError, RecipeRangeError
from kerfwright.export.folder import job_files
from kerfwright.export.job_reader import JobFolder, read_job
from kerfwright.export.pilot_files import pilot_files
from kerfwright.export.program_reader import read_program
from kerfwright.notebook import address
from kerfwright.notebook.fact import Fact, Kind
from kerfwright.notebook.notebook import open_notebook
from kerfwright.process.operation import BeamPath, OperationKind
from kerfwright.process.recipe import RampSettings
from kerfwright.process.setup import Placing

WIDER, DEEPER = 0.02, 0.90  # the truth about these boards: slits this much wider, ramps this much as deep
# Boards of a waist of 0.14 mm differ by 0.007 mm, places by 0.0035; a stack of 4 and two tongues at 0.02 mm (see calibrate/retune.py).
SLIT_TRUST = 49 / (49 + 12.25 + 400 / 18)
DEPTH_TRUST = 0.01 / (0.01 + 0.05**2 + 0.03**2 / 2)
PATCH_TRUST = 100 / 134


def piece(root: Path, burn: str, recipe: dict[str, str] | None = None) -> Path:
    """The demo's pencil box on longer boards: left and right from one plank, front and back from two."""
    shop = new_shop(root)
    change(shop / "shop" / "maple-a.toml", "length", '"270 mm"')
    change(shop / "shop" / "maple-b.toml", "length", '"130 mm"')
    for key, value in (recipe or {}).items():
        change(shop / "shop" / "maple-6.toml", key, value)
    own = (shop / "shop" / "maple-a.toml").read_text(encoding="utf-8")
    (shop / "shop" / "maple-c.toml").write_text(own, encoding="utf-8")
    change(shop / "shop" / "maple-c.toml", "name", '"maple, plank C"')
    bench = shop / "pencil-box" / "bench.toml"
    change(bench, "back", '"../shop/maple-c.toml"')
    bench.write_text(bench.read_text(encoding="utf-8") + f"\n[burn]\n{burn}\n", encoding="utf-8")
    return shop / "pencil-box" / "piece.toml"


def fill(folder: Path, part: str, ending: str = "toml", **answers: str) -> None:
    """Exact readings of these boards, or the answers given; ``tongue_2`` for tongue-2."""
    record = json.loads((folder / "pilot" / f"{part}.json").read_text(encoding="utf-8"))
    tongue = 3 - 0.14 - WIDER
    values = {"stack": f"{4 * tongue:.6f}", "tongue-2": f"{tongue:.6f}", "tongue-3": f"{tongue:.6f}"}
    values |= {
        each["id"]: f"{each['settings']['expected_mm'] * DEEPER:.6f}" for each in record["observables"] if each["quantity"] == "depth"
    }
    values = {name.replace("_", "-"): value for name, value in answers.items()} or values
    form = folder / "pilot" / f"{part}-readings.{ending}"
    text = form.read_text(encoding="utf-8")
    for name, value in values.items():
        if ending == "toml":
            text, n = re.subn(rf'(?m)^{name} = ""$', f'{name} = "{value}"', text)
        else:
            text, n = re.subn(rf"(?m)^([^,]*,[^,]*,{name},.*),$", rf"\g<1>,{value}", text)
        assert n == 1, name
    form.write_text(text, encoding="utf-8")


@pytest.fixture(scope="module", autouse=True)
def own_notebook(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The person's notebook, which retune writes to when none is named."""
    path = tmp_path_factory.mktemp("notebook") / "notebook.db"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(address, "default_path", lambda: path)
        yield path


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with pilot strips, its forms blank."""
    result = workflow.make(piece(tmp_path_factory.mktemp("pilot"), "pilot = true\ncheck_pause = true"))
    assert result.folder is not None
    return result.folder


@pytest.fixture
def job(made: Path, tmp_path: Path) -> Path:
    """A copy to fill in."""
    return Path(shutil.copytree(made, tmp_path / "job"))


@pytest.fixture(scope="module")
def tuned(made: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, loops.JobRetuned]:
    """Front and right read exactly, back and left not at all."""
    folder = Path(shutil.copytree(made, tmp_path_factory.mktemp("tuned") / "job"))
    fill(folder, "front")
    fill(folder, "right")
    return folder, loops.retune(folder)


def through_paths(job: JobFolder, part: str) -> list[BeamPath]:
    """Of the setups that make the part."""
    setups = [setup for setup in job.setups if setup.part == part and not setup.name.endswith("-pilot")]
    return [path for setup in setups for op in setup.operations if op.kind is OperationKind.THROUGH for path in op.paths]


def outward_mm(before: JobFolder, after: JobFolder, part: str) -> np.ndarray:
    """How far each straight cut along an edge of the part moved away from its wood, which strokes have on their left."""
    found: list[float] = []
    for one, other in zip(through_paths(before, part), through_paths(after, part), strict=True):
        points = one.points_mm[:, :2]
        closed = np.array_equal(points[0], points[-1])  # a core's loop is closed through the waste
        for k in range(1, len(points) - 2) if closed else range(len(points) - 1):
            along = points[k + 1] - points[k]
            outward = np.array([along[1], -along[0]]) / np.hypot(*along)
            moved = other.points_mm[k : k + 2, :2] - points[k : k + 2]
            found += list(moved @ outward)
    return np.array(found)


def ramp_paths(job: JobFolder, part: str, name: str) -> list[BeamPath]:
    setups = [setup for setup in job.setups if setup.part == part and not setup.name.endswith("-pilot")]
    return [path for setup in setups for op in setup.operations if op.name == name for path in op.paths]


def ramp_of(folder: Path, part: str) -> RampSettings:
    ramp = read_inputs(folder).recipe(part).ramp
    assert ramp is not None
    return ramp


def record_of(folder: Path) -> dict[str, Any]:
    return json.loads((folder / "job.json").read_text(encoding="utf-8"))


# --- inputs.json ---------------------------------------------------------------------------------------------------


def test_a_job_is_planned_again_from_its_folder_alone_byte_for_byte(made: Path):
    inputs = read_inputs(made)
    planned = inputs.plan()
    files = job_files(planned.job, [inputs.file(), *pilot_files(planned.pilots)])
    assert {file.path for file in files} == {path.relative_to(made).as_posix() for path in made.rglob("*") if path.is_file()}
    for file in files:
        assert (made / file.path).read_bytes() == file.data, file.path


def test_tables_are_kept_as_they_were_written_pilot_or_not(tmp_path: Path):
    shop = new_shop(tmp_path)
    folder = workflow.make(shop / "tool-tray").folder
    assert folder is not None
    inputs = json.loads((folder / "inputs.json").read_text(encoding="utf-8"))
    assert inputs["schema"] == "kerfwright-inputs-1"
    assert inputs["piece"]["length"] == "11 3/4 in"
    assert set(inputs["boards"]) == set(inputs["recipes"]) == {"front", "right", "back", "left"}
    assert inputs["machine"]["name"] == "Lantern 20"
    assert str(tmp_path) not in json.dumps(inputs)
    assert not (folder / "pilot").exists()
    assert record_of(folder)["pilots"] == []


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"schema": "kerfwright-inputs-9"}', '{"schema": "kerfwright-inputs-1", "piece": {}}'])
def test_damaged_inputs_are_told(job: Path, text: str):
    fill(job, "front")
    (job / "inputs.json").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"inputs\.json"):
        loops.retune(job)
    assert not job.with_name("job-retuned").exists()


# --- pilot strip and retune ----------------------------------------------------------------------------------------


def test_every_strip_has_its_forms_and_the_record_names_them(made: Path):
    record = record_of(made)
    assert [pilot["part"] for pilot in record["pilots"]] == ["front", "right", "back", "left"]
    listed = {file["path"]: file["sha256"] for file in record["files"]}
    for pilot in record["pilots"]:
        setup = next(each for each in record["setups"] if each["number"] == pilot["setup"])
        assert setup["name"] == f"{pilot['part']}-pilot"
        for path in (pilot["record"], *pilot["forms"]):
            assert listed[path] == hashlib.sha256((made / path).read_bytes()).hexdigest()
    assert [pilot["setup"] for pilot in record["pilots"]] == [1, 2, 3, 4]


def test_square_paths_move_outward_by_half_of_what_the_slit_is_wider(made: Path, tuned: tuple[Path, loops.JobRetuned]):
    _, done = tuned
    before, after = read_job(made), read_job(done.folder)
    for part in ("front", "right"):
        np.testing.assert_allclose(outward_mm(before, after, part), WIDER * SLIT_TRUST / 2, atol=2e-6)
    for one, other in zip(through_paths(before, "back"), through_paths(after, "back"), strict=True):
        np.testing.assert_array_equal(one.points_mm, other.points_mm)


def test_a_part_of_the_same_board_goes_by_the_strip_that_was_read(made: Path, tuned: tuple[Path, loops.JobRetuned]):
    """Left and right are of one plank: the strip tells of it all the same, and no surer."""
    _, done = tuned
    assert done.shared == {"left": "right"}
    before, after = read_job(made), read_job(done.folder)
    np.testing.assert_allclose(outward_mm(before, after, "left"), WIDER * SLIT_TRUST / 2, atol=2e-6)
    recipes = record_of(done.folder)["recipes"]
    assert recipes["left"] == recipes["right"]
    told = json.loads((done.folder / "retuned.json").read_text(encoding="utf-8"))
    assert {part: each["strip"] for part, each in told["boards"].items()} == {"front": "front", "right": "right", "left": "right"}


def test_a_part_with_its_own_readings_goes_by_those(job: Path):
    fill(job, "right")
    fill(job, "left", stack="11.44")
    done = loops.retune(job)
    assert done.shared == {}
    assert done.boards["left"].said() == "slit 0.000 mm wider than the recipe"
    assert done.boards["right"].said().startswith("slit 0.012 mm wider")


def test_ramp_lines_ask_for_more_power_where_depths_are_less(made: Path, tuned: tuple[Path, loops.JobRetuned]):
    _, done = tuned
    factor = DEEPER**DEPTH_TRUST
    plain, ramp = ramp_of(made, "right"), ramp_of(done.folder, "right")
    # 6.1 mm at f = 0.907 no longer reaches through 5.96 mm: one layer more, no more power.
    factor *= (4 / 3) ** 0.8
    assert (plain.layers, ramp.layers) == (3, 4)
    np.testing.assert_allclose(ramp.curve()[1], factor * plain.curve()[1], atol=2e-6)
    np.testing.assert_array_equal(ramp.curve()[0], plain.curve()[0])
    lines = ramp_paths(read_job(done.folder), "right", "ramps")
    assert len(lines) > 100
    wanted = np.array([line.depth_mm for line in lines])
    powers = plain.power_for_depth(np.maximum(wanted / factor, plain.shallowest_mm))
    np.testing.assert_allclose([line.power_frac for line in lines], powers, atol=2e-6)
    left = [line.power_frac for line in ramp_paths(read_job(done.folder), "left", "ramps")]
    np.testing.assert_allclose(left, [line.power_frac for line in lines], atol=1e-9)


def test_with_a_weak_recipe_the_readings_have_their_way(tmp_path: Path):
    """A recipe whose waist is known to 0.2 mm: the whole of the 0.02 mm, 0.01 mm a side."""
    result = workflow.make(piece(tmp_path, "pilot = true", {"waist": '"0.14 ± 0.2 mm"'}))
    assert result.folder is not None
    fill(result.folder, "front")
    done = loops.retune(result.folder)
    np.testing.assert_allclose(outward_mm(read_job(result.folder), read_job(done.folder), "front"), 0.010, atol=1e-5)
    gaps = {gap.corner: gap.tightest_mm.sd for gap in result.job.gaps}
    for gap in done.job.gaps:
        assert gap.tightest_mm.sd < 0.3 * gaps[gap.corner] if "front" in gap.corner else gap.tightest_mm.sd == gaps[gap.corner]


def test_what_is_left_and_what_is_said(made: Path, tuned: tuple[Path, loops.JobRetuned]):
    _, done = tuned
    assert done.boards["front"].said() == "slit 0.012 mm wider than the recipe"
    assert done.boards["right"].said() == "slit 0.012 mm wider than the recipe, ramp depths -8 %, 1 more layer"
    assert done.kept == ("back",)
    before, after = read_job(made), read_job(done.folder)
    assert [setup.name for setup in after.setups] == [setup.name for setup in before.setups[4:]]
    assert [setup.number for setup in after.setups] == [1, 2, 3, 4]
    record = record_of(done.folder)
    assert record["pilots"] == []
    assert not (done.folder / "pilot").exists()
    sources = {
        each["source"]
        for cut in record["recipes"]["front"]["through"]
        for kerf in cut["kerf"]
        for each in (kerf["top_mm"], kerf["waist_mm"])
    }
    assert all("this board's pilot strip pilot-front-" in source for source in sources)
    assert "pilot strip" not in json.dumps(record["recipes"]["back"])
    told = json.loads((done.folder / "retuned.json").read_text(encoding="utf-8"))
    assert told["boards"]["front"]["slit_wider_mm"]["value"] == pytest.approx(WIDER * SLIT_TRUST, abs=1e-6)
    assert {each["observable"] for each in told["boards"]["right"]["readings"]} == {"stack", "tongue-2", "tongue-3", "depth-1", "depth-2"}
    summary = done.summary()
    assert summary["schema"] == "kerfwright-retune-1"
    assert [setup["number"] for setup in summary["setups"]] == [1, 2, 3, 4]


def test_the_retuned_folder_can_be_planned_again_from_itself(tuned: tuple[Path, loops.JobRetuned]):
    """Only the sources of its numbers are told in job.json and not in a recipe's tables."""
    _, done = tuned
    again = read_inputs(done.folder).plan()
    assert again.pilots == {}
    for setup, other in zip(done.job.setups, again.job.setups, strict=True):
        for op, op_again in zip(setup.operations, other.operations, strict=True):
            assert (op.name, op.passes, op.before) == (op_again.name, op_again.passes, op_again.before)
            for path, path_again in zip(op.paths, op_again.paths, strict=True):
                np.testing.assert_array_equal(path.points_mm, path_again.points_mm)
                assert path.power_frac == path_again.power_frac


def test_two_runs_are_byte_equal(tuned: tuple[Path, loops.JobRetuned], tmp_path: Path):
    folder, done = tuned
    again = loops.retune(folder, tmp_path / "again")
    files = sorted(path.relative_to(done.folder) for path in done.folder.rglob("*") if path.is_file())
    assert files == sorted(path.relative_to(again.folder) for path in again.folder.rglob("*") if path.is_file())
    for path in files:
        assert (again.folder / path).read_bytes() == (done.folder / path).read_bytes(), path


def test_noisy_readings_come_close(job: Path):
    """Calipers err by 0.02 mm and gauges by 0.03: the slit is found within three of its own sds."""
    rng = np.random.default_rng(3)
    tongue = 3 - 0.14 - WIDER
    fill(job, "front", stack=f"{4 * tongue + rng.normal(0, 0.02):.2f}", tongue_2=f"{tongue + rng.normal(0, 0.02):.2f}", tongue_3="not sure")
    own = loops.retune(job).boards["front"]
    assert own.slit_mm is not None
    assert own.n_readings == 2
    assert abs(own.slit_mm.value - WIDER) < 3 * 0.006
    assert own.slit_mm.value > 0.005


def kept_facts(book: Path, kind: Kind) -> list[Fact]:
    with open_notebook(book) as opened:
        return opened.facts(kind)


def test_readings_reach_the_notebook_by_board_and_only_once(job: Path, tmp_path: Path):
    """Told twice, kept once; told otherwise, the later telling counts and the earlier one stays to be seen."""
    book = tmp_path / "own.db"
    fill(job, "front")
    fill(job, "right", stack="11.41", tongue_2="not sure")
    done = loops.retune(job, tmp_path / "one", book)
    assert done.notebook == str(book)
    loops.retune(job, tmp_path / "two", book)
    assert {fact.key for fact in kept_facts(book, Kind.BOARD)} == {"maple, plank A", "maple, plank B"}
    assert [fact.key for fact in kept_facts(book, Kind.MACHINE)] == ["Lantern 20"]
    coupons = {fact.key: json.loads(fact.payload) for fact in kept_facts(book, Kind.COUPON)}
    boards = {each["kind"]: each["board"] for each in coupons.values()}
    assert boards == {"pilot front": "maple, plank A", "pilot right": "maple, plank B"}
    told = {fact.key: json.loads(fact.payload)["readings"] for fact in kept_facts(book, Kind.READING)}
    right = next(name for name in told if name.startswith("pilot-right-"))
    assert told[right] == [
        {"observable": "stack", "values": [11.41], "status": "read"},
        {"observable": "tongue-2", "values": [], "status": "not sure"},
    ]
    form = job / "pilot" / "right-readings.toml"
    form.write_text(form.read_text(encoding="utf-8").replace('"11.41"', '"11.38"'), encoding="utf-8")
    loops.retune(job, tmp_path / "three", book)
    assert len(kept_facts(book, Kind.READING)) == 2
    with open_notebook(book) as opened:
        chain = [fact for fact in opened.facts(Kind.READING, right, superseded=True)]
    assert [json.loads(fact.payload)["readings"][0]["values"] for fact in chain] == [[11.41], [11.38]]


def test_a_job_that_cannot_be_written_again_keeps_nothing(job: Path, tmp_path: Path):
    """Neither a folder nor a fact when a reading is refused; no folder when the notebook cannot be opened."""
    book = tmp_path / "own.db"
    fill(job, "right", depth_1="0.8", depth_2="2.2")
    with pytest.raises(RecipeRangeError):
        loops.retune(job, notebook=book)
    assert not book.exists()
    form = job / "pilot" / "right-readings.toml"
    form.write_text(re.sub(r"(?m)^(depth-\d) = .*$", r'\1 = "1.39"', form.read_text(encoding="utf-8"), count=1), encoding="utf-8")
    form.write_text(re.sub(r"(?m)^(depth-2) = .*$", r'\1 = ""', form.read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(FolderError, match="folder is not there"):
        loops.retune(job, tmp_path / "again", tmp_path / "nowhere" / "own.db")
    assert not (tmp_path / "again").exists()


def test_two_forms_that_differ_are_refused_and_two_alike_are_not(job: Path, tmp_path: Path):
    fill(job, "front", stack="11.38")
    fill(job, "front", "csv", stack="11.40")
    with pytest.raises(InputError, match=r"front-readings\.toml and pilot/front-readings\.csv hold different answers.*Empty one"):
        loops.retune(job)
    assert not job.with_name("job-retuned").exists()
    form = job / "pilot" / "front-readings.csv"
    form.write_text(form.read_text(encoding="utf-8").replace("11.40", "11.38"), encoding="utf-8")
    assert loops.retune(job).boards["front"].n_readings == 1


def test_a_field_that_went_through_is_told(job: Path):
    fill(job, "right", depth_1="2.1", depth_2="through")
    own = loops.retune(job).boards["right"]
    assert [finding.code for finding in own.findings] == ["gone-through"]
    assert "depth-2 went through where 4.18 mm was expected" in own.findings[0].text


def test_a_spreadsheet_form_does_as_well(job: Path, tuned: tuple[Path, loops.JobRetuned]):
    fill(job, "front", "csv")
    own = loops.retune(job).boards["front"]
    assert own.said() == tuned[1].boards["front"].said()


def test_a_board_far_too_hard_is_refused_with_what_to_do(job: Path):
    fill(job, "right", depth_1="0.8", depth_2="2.2")
    with pytest.raises(RecipeRangeError, match=r"ramp depths -\d+ %, 2 more layers.*Burn the ramp staircase"):
        loops.retune(job)
    assert [path.name for path in job.parent.iterdir()] == ["job"]


def test_bad_forms_are_refused_and_nothing_is_written(job: Path):
    with pytest.raises(InputError, match="no pilot strip was read"):
        loops.retune(job)
    fill(job, "front", stack="1")
    with pytest.raises(InputError, match=r"front-readings\.toml: line \d+, stack: 1 mm is not possible"):
        loops.retune(job)
    shutil.copy(job / "pilot" / "back-readings.toml", job / "pilot" / "front-readings.toml")
    with pytest.raises(InputError, match="these are readings of coupon"):
        loops.retune(job)
    (job / "pilot" / "front.json").write_text("{}", encoding="utf-8")
    with pytest.raises(InputError, match=r"front\.json"):
        loops.retune(job)
    assert [path.name for path in job.parent.iterdir()] == ["job"]


def test_jobs_without_strips_retuned_jobs_and_taken_folders_are_refused(tuned: tuple[Path, loops.JobRetuned], tmp_path: Path):
    folder, done = tuned
    with pytest.raises(InputError, match=r"retuned already.*retune that one"):
        loops.retune(done.folder)
    with pytest.raises(FolderError, match="already"):
        loops.retune(folder)
    plain = workflow.make(new_shop(tmp_path) / "tool-tray").folder
    assert plain is not None
    with pytest.raises(InputError, match=r"no pilot strips.*pilot = true"):
        loops.retune(plain)
    with pytest.raises(FolderError, match=r"inputs\.json"):
        loops.retune(tmp_path / "nowhere")


def test_retune_on_the_command_line(job: Path, capsys: pytest.CaptureFixture[str]):
    fill(job, "front")
    assert main(["retune", str(job)]) == 0
    told = capsys.readouterr().out
    assert "front: slit 0.012 mm wider than the recipe\n" in told
    assert "back: nothing read, its recipe is kept" in told
    assert "go on with its setup 1, front: square cuts" in told
    assert main(["retune", str(job), "--out", str(job.with_name("other")), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["boards"]["front"]["n_readings"] == 3
    assert main(["retune"]) == 2
    assert "retune needs a job folder" in capsys.readouterr().err


# --- check pause and finish ----------------------------------------------------------------------------------------

RAMPED = 6  # right: its ramps, in two


def patch_mm(folder: Path) -> float:
    """Expected depth of the patch at the pause."""
    paths = ramp_paths(read_job(folder), "right", "ramps-rest")
    return next(path.depth_mm for path in paths if not path.edges) * (2 / 3) ** 0.8


def test_the_program_as_first_written_is_whole(made: Path):
    setup = read_job(made).setup(RAMPED)
    program = read_program((made / read_job(made).programs[RAMPED]).read_text(encoding="ascii"))
    lit = sum(len(op.passes) * sum(len(path.points_mm) - 1 for path in op.paths) for op in setup.operations)
    assert sum(segment.laser_on for segment in program.segments) == lit
    assert len(program.pauses) == 1
    assert "witness patch" in program.pauses[0].message
    assert program.ended


@pytest.mark.parametrize("deeper", [0.85, 0.92, 1.0, 1.08, 1.25])
def test_the_remaining_layers_make_up_for_the_depth_that_was_read(job: Path, deeper: float):
    done = loops.finish(job, RAMPED, patch_mm(job) * deeper)
    believed = deeper**PATCH_TRUST
    assert done.ratio.value == pytest.approx(believed)
    ramp = ramp_of(job, "right")
    told = json.loads(done.record.read_text(encoding="utf-8"))
    first = told["operations"][0]
    assert first["name"] == "ramps-rest"
    assert first["before"] == ""
    n_rest = len(first["passes"])
    assert n_rest == done.remaining.n_layers
    assert [one["focus_mm"] for one in first["passes"]] == pytest.approx([-0.3 - 1.2 * (2 + k) for k in range(n_rest)])
    planned = {(tuple(path.points_mm[0]), tuple(path.points_mm[1])): path for path in ramp_paths(read_job(job), "right", "ramps-rest")}
    depths, powers = np.linspace(ramp.shallowest_mm, ramp.deepest_mm, 200001), ramp.curve()[0]
    at = ramp.power_for_depth(depths)
    n_exact = 0
    for path in first["paths"]:
        before = planned[tuple(path["points_mm"][0]), tuple(path["points_mm"][1])]
        power = path["power_frac"]
        assert powers[0] - 1e-9 <= power <= powers[-1] + 1e-9
        full = np.interp([before.power_frac, power], at, depths)
        depth = believed * ((2 * full[0] ** 1.25 + n_rest * full[1] ** 1.25) / 3) ** 0.8
        wanted = max(before.depth_mm, ramp.shallowest_mm)
        if power > powers[-1] - 1e-6:  # as strong as was burnt
            assert depth >= wanted - done.remaining.short_mm - 1e-3
        elif power > powers[0] + 1e-6:
            assert depth == pytest.approx(wanted, abs=1e-3)
            n_exact += 1
        else:
            assert depth >= wanted - 1e-3
    assert n_exact > 60
    if deeper == 1.0:
        assert all(
            path["power_frac"] == pytest.approx(planned[tuple(path["points_mm"][0]), tuple(path["points_mm"][1])].power_frac, abs=1e-6)
            for path in first["paths"]
        )
    assert done.remaining.n_layers == (1 if believed > 0.97 else 2)
    assert done.remaining.short_mm < 0.03 * 5.96


def test_the_new_program_holds_the_rest_and_what_follows_and_nothing_before(job: Path):
    done = loops.finish(job, RAMPED, 0.9 * patch_mm(job))
    setup = read_job(job).setup(RAMPED)
    text = done.program.read_text(encoding="ascii")
    names = [op["name"] for op in json.loads(done.record.read_text(encoding="utf-8"))["operations"]]
    following = [op.name for op in setup.operations]
    assert names == following[following.index("ramps-rest") :]
    assert "Cores of the sockets" not in text
    program = read_program(text)
    assert program.ended
    assert not program.pauses
    powers = {segment.power_s for segment in program.segments if segment.laser_on}
    assert max(powers) <= 920  # the through cut's


def test_finish_never_writes_over_and_counts_up(job: Path):
    names = [loops.finish(job, RAMPED, patch_mm(job)).program.name for _ in range(2)]
    assert names == ["06-right-ramp-finish-1.ngc", "06-right-ramp-finish-2.ngc"]
    with pytest.raises(FolderError, match="already"):
        loops.finish(job, RAMPED, patch_mm(job), out=job / "setups" / names[0])


def test_a_second_program_for_one_pause_is_told_of(job: Path, capsys: pytest.CaptureFixture[str]):
    for told in ((), ("06-right-ramp-finish-1.ngc",)):
        assert loops.finish(job, RAMPED, patch_mm(job)).earlier == told
    assert main(["finish", str(job), str(RAMPED), "--depth", "3 mm"]) == 0
    assert "not to be burnt as well: 06-right-ramp-finish-1.ngc, 06-right-ramp-finish-2.ngc" in capsys.readouterr().out


def test_after_a_pilot_strip_the_patch_has_less_to_say(tuned: tuple[Path, loops.JobRetuned]):
    """The strip left 0.10 sqrt(295/1295) = 0.0477 of the board's doubt (and 0.04 for a layer added): that is weighed, not 0.10."""
    _, done = tuned
    number = next(setup.number for setup in done.job.setups if setup.part == "right")
    rest = next(op for op in read_job(done.folder).setup(number).operations if op.name == "ramps-rest")
    patch = next(path.depth_mm for path in rest.paths if not path.edges) * (3 / 4) ** 0.8
    finished = loops.finish(done.folder, number, 0.9 * patch)
    boards = 0.01 * 0.00295 / 0.01295 + 0.04**2
    assert math.log(finished.ratio.value) / math.log(0.9) == pytest.approx(boards / (boards + 0.05**2 + 0.03**2), rel=1e-3)


def test_impossible_answers_are_refused_and_nothing_is_written(job: Path):
    before = sorted(job.rglob("*"))
    for depth, words in (
        (-0.1, "not possible"),
        (0.0, "not possible"),
        (0.5, "Accepted: 1.51 to 6.04"),
        (5.5, "as deep as 3 should make"),
        (6.2, "in a board 5.96 mm thick"),
        (float("nan"), "not possible"),
    ):
        with pytest.raises(InputError, match=words):
            loops.finish(job, RAMPED, depth)
    with pytest.raises(InputError, match=r"setup 5 has no check pause. Accepted: setup 6 or 8"):
        loops.finish(job, 5, 2.5)
    with pytest.raises(InputError, match="no setup 99"):
        loops.finish(job, 99, 2.5)
    assert sorted(job.rglob("*")) == before


def test_a_board_that_was_shifted_is_finished_where_it_lies(tmp_path: Path):
    """Two faces: the board is laid again, its marks are read, and the ramp's rest must land in the shifted place."""
    source = piece(tmp_path, 'walls = "two faces"\ncheck_pause = true')
    folder = workflow.make(source).folder
    assert folder is not None
    number = next(setup.number for setup in read_job(folder).setups if setup.name == "right-show-face")
    depth = patch_mm(folder)
    plain = loops.finish(folder, number, depth)
    shifted = workflow.shift(folder, number, placing=Placing(0.12, -0.07, 0.1, (10.0, 20.0)))
    with pytest.raises(InputError, match=r"--program with the one you burn: .*show-face\.ngc, .*again-1\.ngc"):
        loops.finish(folder, number, depth)
    moved = loops.finish(folder, number, depth, program=shifted.program)
    by_name = loops.finish(folder, number, depth, program=Path(shifted.program.name))
    own = loops.finish(folder, number, depth, program=folder / read_job(folder).programs[number])
    poses = [np.array(json.loads(each.record.read_text(encoding="utf-8"))["bed_from_board"]) for each in (plain, moved, by_name, own)]
    np.testing.assert_allclose(poses[1], json.loads(shifted.record.read_text(encoding="utf-8"))["bed_from_board"], atol=1e-8)
    np.testing.assert_array_equal(poses[1], poses[2])
    np.testing.assert_array_equal(poses[0], poses[3])
    assert np.abs(poses[1] - poses[0]).max() > 0.05
    with pytest.raises(FolderError, match="no such program"):
        loops.finish(folder, number, depth, program=folder / "setups" / "nothing.ngc")
    with pytest.raises(InputError, match=r"finish-1\.ngc is not a program that shift wrote for setup"):
        loops.finish(folder, number, depth, program=plain.program)
    shifted.record.write_text("{", encoding="utf-8")
    with pytest.raises(InputError, match="it is damaged"):
        loops.finish(folder, number, depth, program=shifted.program)


def test_finish_on_the_command_line(job: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["finish", str(job), str(RAMPED), "--depth", "2.5 mm"]) == 0
    told = capsys.readouterr().out
    assert "About 3.02 mm was expected; this board's depths are taken as -13 %." in told
    assert "2 layers left, 1 of them extra" in told
    assert main(["finish", str(job), str(RAMPED), "--depth", "3.02 mm", "--json"]) == 0
    summary = json.loads(capsys.readouterr().out)
    assert (summary["schema"], summary["layers"], summary["extra_layers"]) == ("kerfwright-finish-1", 1, 0)
    assert main(["finish", str(job), str(RAMPED), "--depth", "-2 mm"]) == 2
    assert main(["finish", str(job), str(RAMPED), "--depth", "2.5"]) == 2
    assert "has no unit" in capsys.readouterr().err

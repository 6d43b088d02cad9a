"""The verb verdict: what it says of the demo pieces, what it writes, and what it refuses, naming the place."""

from __future__ import annotations

import io
import json
import math
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from PIL import Image

from app.learning_bench import LASER, Bench
from app.shop_files import change, new_shop
from kerfwright.app import verdicts, workflow
from kerfwright.app.cli import main
from kerfwright.app.watched import cells_watched
from kerfwright.core.errors import FolderError, InputError
from kerfwright.export.verdict_json import read_verdict, verdict_text
from kerfwright.process.verdict import HOW, Verdict

PIECES = {"pencil-box": 4, "keepsake-box": 4, "tool-tray": 4}
WHOLE = {"button-box": 4, "shop-drawer": 3, "bit-tray": 10}  # grooves and housings


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = new_shop(tmp_path_factory.mktemp("verdict"))
    for piece in PIECES:
        workflow.make(folder / piece)
    return folder


@pytest.fixture(scope="module")
def found(shop: Path) -> dict[str, Verdict]:
    return {piece: verdicts.verdict(shop / piece / "piece-job", readings=False).verdict for piece in PIECES}


def copy_of(shop: Path, target: Path) -> Path:
    shutil.copytree(shop / "tool-tray" / "piece-job", target)
    return target


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["verdict", *words])
    told = capsys.readouterr()
    return code, told.out, told.err


@pytest.mark.parametrize("piece", PIECES)
def test_every_corner_of_the_demo_pieces_is_judged(found: dict[str, Verdict], piece: str) -> None:
    verdict = found[piece]
    assert len(verdict.corners) == PIECES[piece]
    assert verdict.tier == "quick"
    assert verdict.n_draws == verdicts.N_DRAWS
    assert "recipe" in verdict.law_from
    assert verdict.said
    for corner in verdict.corners:
        assert tuple(corner.odds) == HOW
        assert math.fsum(corner.odds.values()) == pytest.approx(1, abs=1e-9)
        assert corner.goes_together == pytest.approx(1 - corner.odds["not at all"], abs=1e-9)
        n_lines = sum("flank" in line.tail_edge and "flank" in line.pin_edge for line in corner.lines)
        assert n_lines == 2 * len(corner.maps) > 0  # each pair of flanks is seen on both faces
        assert all(np.isfinite(each.gap_mm).all() for each in (*corner.maps, *corner.lines))
    assert verdict.goes_together == min(corner.goes_together for corner in verdict.corners)


@pytest.mark.parametrize("piece", PIECES)
def test_time_is_that_of_all_programs_and_near_the_plans(shop: Path, found: dict[str, Verdict], piece: str) -> None:
    """Two roads to the machine time: the plan's own from its moves, the verdict's from the text. Both count acceleration."""
    job = json.loads((shop / piece / "piece-job" / "job.json").read_text(encoding="utf-8"))
    assert set(found[piece].setup_time_s) == {setup["number"] for setup in job["setups"]}
    assert found[piece].time_s == pytest.approx(math.fsum(found[piece].setup_time_s.values()), rel=1e-12)
    planned_s = math.fsum(time["burn_s"] + time["travel_s"] for time in job["times"])
    assert found[piece].time_s == pytest.approx(planned_s, rel=0.02)


def test_a_piece_is_judged_as_its_folder_is(shop: Path, found: dict[str, Verdict]) -> None:
    """The same road, from text made in memory: the same numbers, but for what job.json rounds away."""
    made = verdicts.verdict(shop / "tool-tray" / "piece.toml", readings=False).verdict
    for one, other in zip(made.corners, found["tool-tray"].corners, strict=True):
        assert one.seen_gap_mm.value == pytest.approx(other.seen_gap_mm.value, abs=1e-4)
        assert one.odds == pytest.approx(other.odds, abs=0.02)


def test_what_is_burnt_is_the_program_not_the_recipe(shop: Path, tmp_path: Path) -> None:
    """A recipe typed 0.05 mm too wide moves the paths, but not the wood's own law: the burn law comes with it from the same recipe
    here, so the law is held and the programs are changed. Slits drawn for a wider kerf leave more wood: the joint is tighter."""
    told = verdicts.job_to_burn(shop / "tool-tray" / "piece-job")
    laws = verdicts.burn_laws(told, readings=False)
    other = tmp_path / "shop"
    shutil.copytree(shop, other)
    recipe = other / "shop" / "maple-6.toml"
    text = recipe.read_text(encoding="utf-8")
    recipe.write_text(re.sub(r"(top|waist|bottom) = \"0\.(\d+)", lambda hit: f'{hit[1]} = "{float("0." + hit[2]) + 0.05:.3f}', text),
                      encoding="utf-8")
    wider = verdicts.job_to_burn(other / "tool-tray" / "piece.toml")
    one, two = (verdicts.judge_given(each, laws, "quick", 60, 1).corners[0] for each in (told, wider))
    assert two.tightest_mm.value == pytest.approx(one.tightest_mm.value - 0.05, abs=0.012)
    assert two.planned_gap_mm is not None
    assert one.planned_gap_mm is not None
    assert two.planned_gap_mm.value == pytest.approx(one.planned_gap_mm.value, abs=0.012)  # the plan believes its recipe


def test_one_corner_alone_says_the_same(shop: Path, found: dict[str, Verdict]) -> None:
    alone = verdicts.verdict(shop / "tool-tray" / "piece-job", corner="back-left", readings=False).verdict
    assert [corner.corner for corner in alone.corners] == ["back-left"]
    whole = next(corner for corner in found["tool-tray"].corners if corner.corner == "back-left")
    assert alone.corners[0].seen_gap_mm.value == pytest.approx(whole.seen_gap_mm.value, abs=0.003)  # other draws
    assert alone.time_s == found["tool-tray"].time_s


def test_a_seed_repeats_and_draws_count(shop: Path) -> None:
    given = verdicts.job_to_burn(shop / "tool-tray" / "piece-job").only("front-right")
    laws = verdicts.burn_laws(given, readings=False)
    one, again, other = (verdicts.judge_given(given, laws, "quick", 50, seed) for seed in (3, 3, 4))
    assert one.corners[0].seen_gap_mm == again.corners[0].seen_gap_mm
    assert one.corners[0].seen_gap_mm != other.corners[0].seen_gap_mm
    assert one.n_draws == 50


def test_the_folder_holds_the_verdict_and_a_sheet_a_corner(shop: Path, tmp_path: Path) -> None:
    out = tmp_path / "judged"
    judged = verdicts.verdict(shop / "tool-tray" / "piece-job", out=out, n_draws=40, corner="back-left", readings=False)
    names = sorted(path.name for path in out.iterdir())
    assert names == sorted(["verdict.json", *(f"verdict-{corner.corner}.png" for corner in judged.verdict.corners)])
    assert judged.n_files == len(names) == 2
    back = read_verdict((out / "verdict.json").read_text(encoding="utf-8"))
    assert back.corners[0].odds == pytest.approx(judged.verdict.corners[0].odds, abs=5e-4)
    assert Image.open(io.BytesIO((out / "verdict-back-left.png").read_bytes())).width == 1800
    with pytest.raises(FolderError, match="something here already"):
        verdicts.verdict(shop / "tool-tray" / "piece-job", out=out, readings=False)


def test_the_full_tier_agrees_and_adds_a_socket(shop: Path, tmp_path: Path) -> None:
    steps: list[str] = []
    quick = verdicts.verdict(shop / "tool-tray" / "piece-job", corner="front-right", n_draws=60, readings=False).verdict
    full = verdicts.verdict(shop / "tool-tray" / "piece-job", corner="front-right", n_draws=60, readings=False, tier="full",
                            out=tmp_path / "full", progress=steps.append).verdict
    assert full.tier == "full"
    assert full.corners[0].seen_gap_mm.value == pytest.approx(quick.corners[0].seen_gap_mm.value, abs=0.01)
    assert "burning front cell by cell, 100 %" in steps
    data = io.BytesIO((tmp_path / "full" / "socket-front-right.glb").read_bytes())
    scene: Any = trimesh.load(data, file_type="glb", process=False)
    mesh = scene.to_geometry()
    low, high = np.asarray(mesh.bounds) * 1000
    assert high[1] == pytest.approx(0, abs=1e-6)  # a viewer's y is up
    assert low[1] == pytest.approx(-6.04, abs=0.01)  # plank D, through
    assert Image.open(io.BytesIO((tmp_path / "full" / "socket-front-right.png").read_bytes())).width == 1000


def test_stopping_leaves_nothing(shop: Path, tmp_path: Path) -> None:
    def stop(step: str) -> None:
        if step.startswith("drawing"):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        verdicts.verdict(shop / "tool-tray" / "piece-job", out=tmp_path / "out", n_draws=40, progress=stop, readings=False)
    assert list(tmp_path.iterdir()) == []


def test_the_terminal_says_the_odds_first(shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = said(capsys, str(shop / "tool-tray"), "--notebook", str(tmp_path / "own.db"), "--draws", "60")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert re.fullmatch(r"Tool tray: (over )?\d+ % that its corners go together", lines[0])
    for words in ("seen gap", "spread", "Risk of flame: ", "Machine time 12 min", "Burn law: taken from the recipe's own numbers"):
        assert words in out
    assert "safe" not in out.lower()
    for corner in ("front-right", "right-back", "back-left", "left-front"):
        assert sum(line.strip().startswith(corner) and "%" in line for line in lines) == 1


def test_json_is_the_whole_verdict(shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = said(capsys, str(shop / "tool-tray" / "piece-job"), "--notebook", str(tmp_path / "own.db"), "--draws", "60", "--json")
    assert code == 0
    verdict = read_verdict(out)
    assert (verdict.job, verdict.n_draws, len(verdict.corners)) == ("Tool tray", 60, 4)


def fewer_moves(folder: Path) -> None:
    path = next((folder / "setups").glob("01-*.ngc"))
    lines = path.read_text(encoding="ascii").splitlines()
    last = max(i for i, line in enumerate(lines) if line.startswith("G1"))
    path.write_text("\n".join(lines[:last] + lines[last + 1 :]) + "\n", encoding="ascii")


def slower(folder: Path) -> None:
    path = next((folder / "setups").glob("02-*.ngc"))
    text = path.read_text(encoding="ascii")
    path.write_text(re.sub(r"F540\b", "F500", text, count=1), encoding="ascii")


def strange_word(folder: Path) -> None:
    path = next((folder / "setups").glob("01-*.ngc"))
    path.write_text(path.read_text(encoding="ascii").replace("M2", "G28\nM2"), encoding="ascii")


def no_programs(folder: Path) -> None:
    shutil.rmtree(folder / "setups")


def no_job(folder: Path) -> None:
    (folder / "job.json").unlink()


def other_schema(folder: Path) -> None:
    (folder / "job.json").write_text('{"schema": "something"}', encoding="utf-8")


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (fewer_moves, r"01-\S+\.ngc: this program and job.json do not say the same: the program makes \d+ moves, the setup asks for \d+"),
        (slower, r"02-\S+\.ngc: this program and job.json do not say the same: line \d+: F is not the speed the setup asks for"),
        (strange_word, r"01-\S+\.ngc: this program and job.json do not say the same: line \d+: G28 is not a word of ours"),
        (no_programs, r"setups/01-\S+\.ngc: No such file"),
        (no_job, "there is no job.json in this folder"),
        (other_schema, "the schema is 'something'"),
    ],
)
def test_a_spoilt_folder_is_refused_by_file_and_line(shop: Path, tmp_path: Path, spoil: Callable[[Path], None], told: str) -> None:
    folder = copy_of(shop, tmp_path / "job")
    spoil(folder)
    with pytest.raises((InputError, FolderError), match=told):
        verdicts.verdict(folder, readings=False)


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("--corner", "front-top"), 2, 'there is no corner "front-top". Accepted: front-right, right-back, back-left, left-front'),
        (("--draws", "0"), 2, "0 draws cannot be used. Accepted: 20 to 20000"),
        (("--draws", "many"), 2, "many"),
        (("--seed", "-1"), 2, "the seed -1 is negative"),
        (("--tier", "slow"), 2, '"slow" is not a tier. Accepted: quick or full'),
        (("--notebook", "/no/such/folder/n.db"), 6, "the notebook's folder is not there"),
    ],
)
def test_bad_options_are_one_sentence(
    shop: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], code: int, told: str
) -> None:
    own = () if "--notebook" in words else ("--notebook", str(shop / "own.db"))
    got, out, err = said(capsys, str(shop / "tool-tray" / "piece-job"), *own, *words)
    assert (got, out) == (code, "")
    assert told in err
    assert "Traceback" not in err


def test_no_target_and_no_such_target(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = said(capsys)
    assert code == 2
    assert "verdict needs a job folder or a piece file" in err
    code, _, err = said(capsys, str(tmp_path / "nothing"))
    assert code == 6
    assert "nothing" in err


def test_a_job_without_inputs_is_judged_by_priors_and_says_so(shop: Path, tmp_path: Path) -> None:
    folder = copy_of(shop, tmp_path / "job")
    (folder / "inputs.json").unlink()
    verdict = verdicts.verdict(folder, corner="front-right", n_draws=40, readings=False).verdict
    assert "prior without a source" in verdict.law_from


@pytest.mark.parametrize("piece", WHOLE)
def test_whole_pieces_have_all_their_corners_and_grooves_judged(piece: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = new_shop(tmp_path) / piece
    code, out, _ = said(capsys, str(folder / "piece.toml"), "--draws", "60", "--notebook", str(tmp_path / "none.db"))
    assert code == 0
    verdict = verdicts.verdict(folder / "piece.toml", n_draws=60, readings=False).verdict
    assert len(verdict.corners) == 4
    assert len(verdict.recesses) == WHOLE[piece]
    for each in verdict.recesses:
        assert each.recess in ("groove for the bottom", f"housing for {each.holds}")
        assert each.goes_in == 1.0
        assert each.rattle_mm is not None
        assert 0.1 < each.rattle_mm.value < 0.3  # drawn 0.15 and 0.2 wider than the board is thick
        assert abs(each.depth_mm.value - each.drawn_depth_mm) < 0.3
        assert 0.05 < each.depth_mm.sd < 0.3
        assert each.breaks_through == 0.0
        assert f" {each.part} " in out
    assert "grooves and housings, in mm:" in out
    assert max(len(line) for line in out.partition("in mm:")[2].partition("Burn law")[0].splitlines()) <= 80
    again = read_verdict(verdict_text(verdict)).recesses
    assert [(each.part, each.holds, each.too_shallow) for each in again] == [
        (each.part, each.holds, round(each.too_shallow or 0.0, 3)) for each in verdict.recesses
    ]
    one = verdicts.verdict(folder / "piece.toml", corner="front-right", n_draws=40, readings=False).verdict
    assert one.recesses == ()


def test_boards_of_two_species_have_a_law_each(shop: Path, tmp_path: Path) -> None:
    other = tmp_path / "shop"
    shutil.copytree(shop, other)
    change(other / "shop" / "tray-a.toml", "species", '"black walnut"')
    judged = verdicts.verdict(other / "tool-tray" / "piece.toml", corner="front-right", n_draws=40, readings=False)
    assert "two species" in judged.verdict.said[-1]


def test_readings_in_the_notebook_become_the_burn_law_and_name_the_risk(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Cells watched without a flame bound the chance, they do not exclude it: raised. Far past what was watched: unknown."""
    bench = Bench(tmp_path, capsys)
    for kind in ("through", "kerf comb"):
        bench.done("read", bench.coupon(kind), "--notebook", bench.book)
    given = verdicts.job_to_burn(bench.root / "tool-tray" / "piece.toml")
    law, told = verdicts.burn_laws(given, bench.book)["front"], verdicts.burn_laws(given, readings=False)["front"]
    assert "recipe" not in " ".join(law.said)
    assert "recipe" in " ".join(told.said)
    assert re.search(r"\d+ readings of widths of slits", " ".join(law.said))
    board = given.job.boards["front"]
    cells = cells_watched(given.job.machine, board, bench.book)
    assert cells is not None
    assert cells.flame_word(1.0) == "raised"
    assert cells.flame_word(50.0) == "unknown"
    assert cells.char_word(1.0) in ("light", "heavy")
    assert cells.char_word(50.0) == "unknown"
    assert cells_watched(given.job.machine, board, tmp_path / "empty.db") is None
    change(bench.root / LASER, "name", '"Another laser"')
    for recipe in (bench.root / "shop").glob("*-*.toml"):
        if 'machine = "Lantern 20"' in recipe.read_text(encoding="utf-8"):
            change(recipe, "machine", '"Another laser"')
    other = verdicts.job_to_burn(bench.root / "tool-tray" / "piece.toml")
    assert verdicts.facts_read("Another laser", "sugar maple", bench.book) == []
    assert "recipe" in " ".join(verdicts.burn_laws(other, bench.book)["front"].said)

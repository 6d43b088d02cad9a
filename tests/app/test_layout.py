"""The verb lay-out: from the demo's rack to a bench file that make takes, and what it says when it cannot."""

from __future__ import annotations

import json
import tomllib
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from app.shop_files import change, new_shop
from kerfwright.app import workflow
from kerfwright.app.cli import main
from kerfwright.app.layout import lay_out_piece
from kerfwright.core.document import load
from kerfwright.core.errors import FolderError, InputError, PlanError
from kerfwright.wood.board import Board
from plan.layout_samples import check_layout

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    return new_shop(tmp_path)


def write_wishes(folder: Path, text: str) -> Path:
    path = folder / "wishes.toml"
    path.write_text('schema = "kerfwright-wishes-1"\n' + text, encoding="utf-8")
    return path


def rack_boards(shop: Path) -> list[Board]:
    return [load(path, Board) for path in sorted((shop / "rack").glob("*.toml"))]


@pytest.mark.parametrize("piece", ["pencil-box", "keepsake-box", "tool-tray"])
def test_make_takes_what_lay_out_writes(shop: Path, piece: str):
    laid = lay_out_piece(shop / piece, shop / "rack", out=shop / "laid", think_s=4)
    check_layout(laid.layout, rack_boards(shop), 4.0)
    assert laid.layout.begun_gap_frac == 0
    assert sorted(path.name for path in (shop / "laid").iterdir()) == [
        "back.toml", "bench.toml", "front.toml", "layout.svg", "left.toml", "right.toml"
    ]  # fmt: skip
    job = workflow.look(shop / piece, shop / "laid" / "bench.toml").job
    for each in laid.layout.placed:
        assert job.boards[each.wanted.part] == each.blank  # the files say what the layout says
        assert job.assembly.part(each.wanted.part).slab.thickness_mm == pytest.approx(each.blank.thickness_mm)
    before = tomllib.loads((shop / piece / "bench.toml").read_text(encoding="utf-8"))
    after = tomllib.loads((shop / "laid" / "bench.toml").read_text(encoding="utf-8"))
    assert after.get("burn") == before.get("burn")


def test_a_box_measured_inside_grows_with_its_boards(shop: Path):
    """12.03 mm ash for boards said to be 12.04 and 11.96: blanks are as long as the walls of the boards chosen need."""
    laid = lay_out_piece(shop / "keepsake-box", shop / "rack", think_s=2)
    place = {each.wanted.part: each for each in laid.layout.placed}
    thick_mm = place["front"].blank.thickness_mm
    assert thick_mm == pytest.approx(12.0275)
    # 240 inside, two walls, 0.3 proud at both ends; 4 of waste at both ends of the square-cut tail boards.
    assert place["front"].wanted.part_mm[0] == pytest.approx(240 + 2 * 11.955 + 2 * 0.3, abs=0.2)
    assert place["front"].wanted.length_mm >= 240 + 2 * thick_mm + 2 * 0.3 + 2 * 4 - 1e-9
    assert place["left"].wanted.length_mm >= 160 + 2 * thick_mm + 2 * 0.3 + 2 * 12 - 1e-9


def test_a_pilot_strip_makes_blanks_longer(shop: Path):
    plain = lay_out_piece(shop / "tool-tray", shop / "rack", think_s=2)
    bench = shop / "tool-tray" / "bench.toml"
    bench.write_text(bench.read_text(encoding="utf-8") + "\n[burn]\npilot = true\n", encoding="utf-8")
    piloted = lay_out_piece(shop / "tool-tray", shop / "rack", out=shop / "laid", think_s=2)
    lengths = [{each.wanted.part: each.wanted.length_mm for each in laid.layout.placed} for laid in (plain, piloted)]
    assert {part: lengths[1][part] - lengths[0][part] for part in lengths[0]} == pytest.approx(dict.fromkeys(lengths[0], 13.0))
    assert len(workflow.look(shop / "tool-tray", shop / "laid" / "bench.toml").job.setups) == 8  # a strip on every blank


def test_wishes(shop: Path):
    """Milled edges, the grain round the walls broken at the back left, and a coupon beside them."""
    text = 'edges = "milled"\nplane = "2 mm"\ngrain_round = "back left"\ncoupons = ["kerf comb"]\nthickness = { all = "6 mm" }\n'
    laid = lay_out_piece(shop / "pencil-box", shop / "rack", wishes=write_wishes(shop, text), out=shop / "laid", think_s=3)
    check_layout(laid.layout, rack_boards(shop), 4.0)
    by_x = sorted(laid.layout.placed, key=lambda each: each.x_mm)
    assert [each.wanted.part for each in by_x] == ["left", "front", "right", "back"]
    assert {each.wanted.width_mm for each in by_x} == {46.0}  # 42 high and 2 to plane off each edge
    assert {each.blank.width_mm for each in by_x} == {42.0}
    assert laid.mill()[0] == f"left: saw {by_x[0].wanted.length_mm:.1f} x 46.0 mm, plane both edges to 42.0 mm"
    assert [each.coupon for each in laid.layout.coupons] == ["kerf comb"]
    assert workflow.look(shop / "pencil-box", shop / "laid" / "bench.toml").job.boards["left"].edges == "milled"


def test_the_picture_is_true_to_scale(shop: Path):
    laid = lay_out_piece(shop / "pencil-box", shop / "rack", out=shop / "laid", think_s=2)
    root = ET.parse(shop / "laid" / "layout.svg").getroot()
    words = [text.text or "" for text in root.iter(f"{SVG}text")]
    assert {"front", "right", "back", "left", "split", "sap"} <= set(words)
    rects = [tuple(float(rect.get(key, "0")) for key in ("x", "y", "width", "height")) for rect in root.iter(f"{SVG}rect")]
    (board,) = laid.layout.boards
    for each in laid.layout.placed:
        up_mm = board.board.width_mm - each.y_mm - each.wanted.width_mm
        wanted = (each.x_mm, up_mm, each.wanted.length_mm, each.wanted.width_mm)
        assert any(rect == pytest.approx(wanted, abs=1e-3) for rect in rects)
    assert (0.0, 0.0, board.board.length_mm, board.board.width_mm) in rects


def test_the_summary(shop: Path, capsys: pytest.CaptureFixture[str]):
    words = ["lay-out", str(shop / "pencil-box"), "--rack", str(shop / "rack"), "--seconds", "2", "--json"]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["schema"] == "kerfwright-layout-1"
    assert [each["part"] for each in told["placed"]] == ["front", "right", "back", "left"]
    assert told["wood"]["boards"] == ["maple, short"]
    assert told["wood"]["price"] == 9.0
    # 420 x 160 less 6 of trim, in square metres; the whole board in board feet.
    assert told["wood"]["begun_m2"] == pytest.approx(0.420 * 0.154)
    assert told["wood"]["boards_board_feet"] == pytest.approx(420 * 160 * 5.965 / 2359737.216)
    assert told["begun_gap_frac"] == 0
    assert main([*words[:-1]]) == 0
    out = capsys.readouterr().out
    assert "Pencil box: 4 parts on 1 of your boards" in out
    assert "No layout begins less board" in out


@pytest.mark.parametrize(
    ("wishes", "told"),
    [
        ('thickness = { all = "9 mm" }', "front: no board on the rack is 9 mm thick"),
        ('pinned = { lid = { board = "ash", at = ["0 mm", "0 mm"] } }', "pinned names 'lid', which is no part of this piece"),
        ('coupons = ["kerf"]', "there is no coupon called 'kerf'"),
        ("grain = true", "grain is not a known key"),
        ('grain_round = "front left"', "grain_round"),
    ],
)
def test_wishes_that_cannot_be(shop: Path, wishes: str, told: str):
    with pytest.raises(InputError) as bad:
        lay_out_piece(shop / "pencil-box", shop / "rack", wishes=write_wishes(shop, wishes + "\n"), think_s=2)
    assert told in str(bad.value)


def test_a_rack_too_small(shop: Path):
    for name in ("maple-long", "maple-short"):
        (shop / "rack" / f"{name}.toml").unlink()
    change(shop / "rack" / "maple-strip.toml", "pieces", "1")
    with pytest.raises(PlanError, match=r"the boards hold 2 of 4 parts; no room for .* in all \d+ mm of board 46 mm wide and 6 mm thick"):
        lay_out_piece(shop / "tool-tray", shop / "rack", think_s=2)


def test_what_is_not_there(shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    with pytest.raises(FolderError, match="there is no such folder"):
        lay_out_piece(shop / "pencil-box", tmp_path / "nowhere")
    with pytest.raises(InputError, match="there is no board file here"):
        lay_out_piece(shop / "pencil-box", shop / "pencil-box")
    (shop / "laid").mkdir()
    with pytest.raises(FolderError, match="there is something here already"):
        lay_out_piece(shop / "pencil-box", shop / "rack", out=shop / "laid")
    change(shop / "rack" / "ash.toml", "species", '"ashen"')
    assert main(["lay-out", str(shop / "pencil-box"), "--rack", str(shop / "rack")]) == 2
    assert "ash.toml" in capsys.readouterr().err
    assert main(["lay-out", str(shop / "pencil-box")]) == 2
    assert "lay-out needs --rack" in capsys.readouterr().err


def test_a_piece_without_boards_in_its_bench_file(shop: Path):
    """The bench file may name no boards yet: the wishes then say how thick parts are to be."""
    bench = shop / "pencil-box" / "bench.toml"
    bench.write_text(bench.read_text(encoding="utf-8").split("[boards]")[0], encoding="utf-8")
    with pytest.raises(InputError, match="nothing says how thick front is to be"):
        lay_out_piece(shop / "pencil-box", shop / "rack", think_s=2)
    with pytest.raises(InputError, match="no board is given for front, right, back, left"):
        workflow.look(shop / "pencil-box")
    laid = lay_out_piece(shop / "pencil-box", shop / "rack", wishes=write_wishes(shop, 'thickness = { all = "6 mm" }\n'), think_s=2)
    assert [each.blank.thickness_mm for each in laid.layout.placed] == pytest.approx([5.965] * 4)

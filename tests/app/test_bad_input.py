"""A person's mistake gives one clear sentence, the documented exit code, and nothing half-written."""

from __future__ import annotations

import errno
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from app.shop_files import change, new_shop
from kerfwright.app.cli import main
from kerfwright.core.errors import EXIT_CODES
from kerfwright.export import folder as folder_module

PIECE, BENCH = "pencil-box/piece.toml", "pencil-box/bench.toml"
MAPLE, BOARD_A, BOARD_B, LASER = "shop/maple-6.toml", "shop/maple-a.toml", "shop/maple-b.toml", "shop/lantern-20.toml"

# (file, key, raw value, exit code, words the message must hold)
MISTAKES = [
    (PIECE, "length", '"12 mm"', 3, ["length of 12 mm", "inside"]),
    (PIECE, "length", "230", 2, ["length", "no unit", '"6 mm"']),
    (PIECE, "length", "nan", 2, ["length", "nan"]),
    (PIECE, "length", '"nan mm"', 2, ["length", "nan mm"]),
    (PIECE, "length", '"-230 mm"', 2, ["length", "greater than 0"]),
    (PIECE, "length", '"1e300 mm"', 2, ["length"]),
    (PIECE, "length", '"1/0 in"', 2, ["length", "1/0 in"]),
    (PIECE, "length", '"230 furlongs"', 2, ["furlongs", "units"]),
    (PIECE, "length", '"400 mm"', 5, ["board is 250 mm long", "longer board"]),
    (PIECE, "height", '"60 mm"', 5, ["milled to 42 mm", "60 mm high"]),
    (PIECE, "schema", '"kerfwright-piece-9"', 2, ["schema"]),
    (PIECE, "kind", '"open bocks"', 2, ["open bocks", "open box"]),
    (PIECE, "fit", '"tight"', 2, ["fit", "press, snug, slip, loose"]),
    (PIECE, "fit", '"-0.5 mm"', 2, ["fit"]),
    (PIECE, "slope", '"1:0"', 2, ["slope"]),
    (PIECE, "slope", '"60 deg"', 2, ["slope", "45"]),
    (PIECE, "tails", "40", 3, ["joint at front-right", "fewer tails"]),
    (PIECE, "pin", '"0.4 mm"', 3, ["pin", "1 mm or more", "wider pin"]),
    (PIECE, "half_pin", '"0.5 mm"', 3, ["half-pin", "split"]),
    (PIECE, "tails_on", '["front", "left"]', 2, ["right-back", "tails_on"]),
    (PIECE, "layout", '"list"', 2, ["tails = 4", "list"]),
    (BENCH, "front", '"../shop/nowhere.toml"', 6, ["nowhere.toml", "No such file"]),
    (BENCH, "machine", '"../shop/maple-a.toml"', 2, ["maple-a.toml", "this is a board file", "Give the machine file"]),
    (BENCH, "recipe", '"../shop/lantern-20.toml"', 2, ["lantern-20.toml", "this is a machine file", "Give the recipe file"]),
    (BENCH, "front", '"../shop/maple-6.toml"', 2, ["maple-6.toml", "this is a recipe file", "Give the board file"]),
    (LASER, "bed_x", '"45 mm"', 5, ["250 mm x 42 mm", "Lantern 20", "smaller"]),
    (LASER, "height", '"3 mm"', 5, ["thick"]),
    (LASER, "top_speed", '"5 mm/s"', 5, ["mm/s"]),
    (BOARD_A, "thickness", '["9.00 mm"]', 4, ["9.00 mm", "never burnt", "5.6 to 6.4 mm"]),
    (BOARD_A, "thickness", '["0.2 mm"]', 4, ["0.20 mm"]),
    (BOARD_A, "species", '"suger maple"', 2, ["suger maple", "sugar maple"]),
    (BOARD_A, "pieces", "0", 2, ["pieces", "greater than or equal to 1"]),
    (BOARD_A, "pieces", "51", 2, ["pieces", "less than or equal to 50"]),
    (BOARD_A, "length", '"234 mm"', 5, ["long", "238.4 mm or more"]),
    (BOARD_A, "width", '"55 mm"', 5, ["milled to 55 mm"]),
    (MAPLE, "spacing", '"5 mm"', 2, ["spacing"]),
    (MAPLE, "passes", "0", 2, ["passes"]),
    (MAPLE, "power", '"140 %"', 2, ["power"]),
    (MAPLE, "top", '"0.05 mm"', 2, ["waist the narrowest"]),
    (MAPLE, "through_power", '"50 %"', 2, ["rise with power"]),
]


@pytest.mark.parametrize(("file", "key", "value", "code", "words"), MISTAKES, ids=[f"{m[1]}={m[2]}"[:40] for m in MISTAKES])
def test_a_mistake_is_one_clear_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str], file: str, key: str, value: str, code: int,
                                         words: list[str]) -> None:
    shop = new_shop(tmp_path)
    change(shop / file, key, value)
    before = sorted(tmp_path.rglob("*"))
    assert main(["make", str(shop / PIECE)]) == code
    out, told = capsys.readouterr()
    assert out == ""
    assert told.startswith("kerfwright: ")
    assert told.count("\n") == 1, "one sentence, one line"
    assert "Traceback" not in told
    for word in words:
        assert word in told
    assert sorted(tmp_path.rglob("*")) == before, "nothing is left behind"
    assert code in EXIT_CODES


def test_an_unknown_key_names_the_nearest_known_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = new_shop(tmp_path)
    piece = shop / PIECE
    piece.write_text(piece.read_text().replace("half_pin", "halfpin").replace("width =", "widht ="))
    assert main(["look", str(piece)]) == 2
    told = capsys.readouterr().err
    assert 'widht is not a known key (did you mean "width"?)' in told
    assert "width is missing" in told, "all faults of a table are told at once"
    piece.write_text(piece.read_text().replace("widht =", "width ="))
    assert main(["look", str(piece)]) == 2
    assert 'halfpin is not a known key (did you mean "half_pin"?)' in capsys.readouterr().err


@pytest.mark.parametrize("text", ["name = ", "\x00", "a" * 2_000_000, 'schema = "x"\n[joints', ""])
def test_a_file_that_is_not_a_piece(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str) -> None:
    piece = tmp_path / "piece.toml"
    piece.write_text(text)
    assert main(["make", str(piece)]) == 2
    assert str(piece) in capsys.readouterr().err


def test_bytes_that_are_not_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    piece = tmp_path / "piece.toml"
    piece.write_bytes(b"\xff\xfe\x00")
    assert main(["make", str(piece)]) == 2
    assert "UTF-8" in capsys.readouterr().err


def test_a_job_folder_is_never_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = new_shop(tmp_path)
    out = tmp_path / "mine"
    out.mkdir()
    (out / "note.txt").write_text("keep me")
    assert main(["make", str(shop / PIECE), "--out", str(out)]) == 6
    assert "already" in capsys.readouterr().err
    assert [path.name for path in out.iterdir()] == ["note.txt"]


def test_a_folder_below_a_file_cannot_be_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = new_shop(tmp_path)
    (tmp_path / "file").write_text("")
    assert main(["make", str(shop / PIECE), "--out", str(tmp_path / "file" / "job")]) == 6
    assert "could not be written" in capsys.readouterr().err


def test_a_disk_that_fills_leaves_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    shop = new_shop(tmp_path)
    written = 0
    real = folder_module._write

    def fills(path: Path, data: bytes) -> None:
        nonlocal written
        written += len(data)
        if written > 200_000:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data[:100])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(path, data)

    monkeypatch.setattr(folder_module, "_write", fills)
    before = sorted(tmp_path.rglob("*"))
    assert main(["make", str(shop / PIECE), "--out", str(tmp_path / "job")]) == 6
    assert "No space left" in capsys.readouterr().err
    assert written > 200_000
    assert sorted(tmp_path.rglob("*")) == before


def test_an_interrupt_leaves_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    shop = new_shop(tmp_path)

    def stopped(path: Path, data: bytes) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"half")
        raise KeyboardInterrupt

    monkeypatch.setattr(folder_module, "_write", stopped)
    before = sorted(tmp_path.rglob("*"))
    assert main(["make", str(shop / PIECE), "--out", str(tmp_path / "job")]) == 130
    assert "Stopped" in capsys.readouterr().err
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
def test_a_killed_process_never_leaves_a_job_folder_half_there(tmp_path: Path) -> None:
    """SIGKILL cannot be caught: a hidden partial folder may stay, a job folder with a missing file may not."""
    shop = new_shop(tmp_path)
    for k in range(4):
        out = tmp_path / f"job{k}"
        process = subprocess.Popen([sys.executable, "-m", "kerfwright.app.cli", "make", str(shop / PIECE), "--out", str(out)],
                                   stdout=subprocess.DEVNULL)
        deadline = time.monotonic() + 20
        while process.poll() is None and time.monotonic() < deadline and not any(tmp_path.glob(f".job{k}-*")) and not out.exists():
            time.sleep(0.002)
        time.sleep(0.003 * k)
        process.send_signal(signal.SIGKILL)
        process.wait()
        if out.exists():
            record = json.loads((out / "job.json").read_text())
            assert all((out / file["path"]).stat().st_size == file["bytes"] for file in record["files"])


def test_errors_as_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = new_shop(tmp_path)
    change(shop / PIECE, "pin", '"0.4 mm"')
    assert main(["make", str(shop / PIECE), "--json"]) == 3
    told = json.loads(capsys.readouterr().out)["error"]
    assert told["exit_code"] == 3
    assert told["kind"] == "BuildError"
    assert told["where"] == "joint at front-right"


@pytest.mark.parametrize("words", [["make"], ["make", "a", "b", "c"], ["mkae", "x"], ["look", "x", "--bogus"], ["shift", "x", "one"]])
def test_words_the_command_line_does_not_know(capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    assert main(words) == 2
    told = capsys.readouterr().err
    assert told.startswith("kerfwright: ")
    assert "--help" in told
    assert ('there is no verb "mkae". Accepted: coupon, demo, ' in told and 'Did you mean "make"?' in told) == (words[0] == "mkae")
    assert ('"b c" is too much here' in told) == ("b" in words)


@pytest.mark.parametrize(("words", "sentence"), [
    (["make"], "make needs a piece file, as in kerfwright make piece.toml. See kerfwright make --help."),
    (["look"], "look needs a piece file, as in kerfwright look piece.toml. See kerfwright look --help."),
    (["start"], "start needs a new folder, as in kerfwright start my-shop. See kerfwright start --help."),
    (["shift", "piece-job"], "shift needs a job folder and the number of a setup, as in kerfwright shift piece-job 4 "
                             "--left-tick 2 --right-tick 1. See kerfwright shift --help."),
    (["make", "piece.toml", "--out"], "--out needs a value after it. See kerfwright make --help."),
])
def test_a_missing_word_is_asked_for(capsys: pytest.CaptureFixture[str], words: list[str], sentence: str) -> None:
    assert main(words) == 2
    assert capsys.readouterr().err == f"kerfwright: {sentence}\n"


def test_starting_over_a_folder_is_refused_in_the_words_of_that_verb(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = new_shop(tmp_path)
    before = sorted(tmp_path.rglob("*"))
    assert main(["start", str(shop)]) == 6
    assert "Give another folder, or move the old one away." in (told := capsys.readouterr().err)
    assert "--out" not in told
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize(("file", "kind"), [(BENCH, "bench"), (BOARD_A, "board"), (MAPLE, "recipe"), (LASER, "machine")])
def test_another_file_in_the_piece_file_s_place_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str], file: str, kind: str) -> None:
    shop = new_shop(tmp_path)
    assert main(["look", str(shop / file)]) == 2
    assert capsys.readouterr().err == f"kerfwright: {shop / file}: this is a {kind} file. Give the piece file.\n"


def test_a_missing_bench_file_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = new_shop(tmp_path)
    (shop / BENCH).rename(shop / "bench-of-mine.toml")
    assert main(["look", str(shop / PIECE)]) == 6
    told = capsys.readouterr().err
    assert told == f"kerfwright: {shop / PIECE}: there is no bench.toml beside the piece. Name a bench file with --bench.\n"
    (shop / "bench-of-mine.toml").rename(shop / "tool-tray" / "other.toml")
    assert main(["look", str(shop / PIECE), "--bench", str(shop / "tool-tray" / "other.toml")]) == 0


def test_a_folder_without_a_piece_names_those_that_have_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = new_shop(tmp_path)
    assert main(["make", str(shop)]) == 6
    told = capsys.readouterr().err
    assert "there is no piece.toml in this folder" in told
    ours = sorted(path.parent for path in shop.glob("*/piece.toml"))
    assert len(ours) >= 6
    assert f"Give {' or '.join(str(each) for each in ours[:3])}." in told  # three are enough to see how it is meant
    assert main(["make", str(shop / "shop")]) == 6
    assert "Give" not in capsys.readouterr().err

"""Pilot strip and check pause in shops whose boards are not the coupon's board: does the joint come nearer to what was promised,
and is it as near as the job says?

The recipe is the shop's own truth about another board of the species (densities differ 10 %), so what is wrong is only the
board. No board is misplaced and no machine is out of true: the wood alone is on trial. Shops are seeds 0 to n, of three
unlike kinds in turn, fixed before they were run; what is asserted holds for all of them together.
"""

from __future__ import annotations

import copy
import json
import re
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from kerfwright.app import learning
from kerfwright.app.loops import JobRetuned, finish, retune
from kerfwright.app.workflow import make
from kerfwright.calibrate.advise import NEW_BOARD
from shop.forms import READ, Bench
from shop.joint import measure_corner
from shop.look import stretches_of
from shop.oracle import RampTrial, Through, fastest_through, field_depths, recipe_tables, slit_widths
from shop.shop import Laid, Shop
from shop.tables import toml, write_bench
from shop.test_shop_jobs import pencil_box
from shop.wood import HiddenBoard

KINDS = ("diode 20", "diode 40", "CO2 60")  # what takes 6 mm of maple
SIZE_MM = {"front": (270.0, 42.0), "right": (130.0, 42.0), "back": (270.0, 42.0), "left": (130.0, 42.0)}
CORNERS = ("front-right", "back-left")  # each board once
MARGIN = 1.35  # of speed, over what just goes through the coupon's board
FIELD_SHARE = 0.75  # of full power goes through in three layers
Boards = dict[str, HiddenBoard]


@dataclass(frozen=True)
class Trial:
    """like: the board the recipe is the truth of; boards: those of the job, by part."""

    shop: Shop
    like: HiddenBoard
    cut: Through
    boards: Boards
    folder: Path


def trial(tmp: Path, seed: int, burn: dict[str, Any]) -> Trial:
    """Recipe from one board, job on four others; the recipe's spreads are those of a careful comb and staircase."""
    shop = Shop(seed, KINDS[seed % len(KINDS)], exact=True)
    like = shop.new_board("sugar maple", 6.0, 200.0, 120.0)
    cut = Through(round(fastest_through(shop, like, 2) / MARGIN, 2), 2)
    ramp = RampTrial(ramp_speed(shop, like), 3) if burn["walls"] == "ramp" else None
    tables = json.dumps(recipe_tables(shop, like, cut, ramp), ensure_ascii=False)
    # A sloped edge leaves 0.012 mm, a comb 0.008 and a staircase 0.1 of what it measures (calibrate/advise.py).
    shift = re.sub(r'("wall_shift": "[^ ]+) ± 0.005 mm', r"\1 ± 0.012 mm", tables)
    wider = shift.replace("± 0.005 mm", "± 0.008 mm").replace("± 0.02 mm", "± 0.1 mm")
    boards = {panel: shop.new_board("sugar maple", 6.0, *size) for panel, size in SIZE_MM.items()}
    recipes: dict[str, dict[str, Any]] = {panel: json.loads(wider) for panel in SIZE_MM}
    piece = write_bench(shop, tmp / "bench", pencil_box(), boards, recipes, burn)
    folder = make(piece, out=tmp / "job").folder
    assert folder is not None
    return Trial(shop, like, cut, boards, folder)


def ramp_speed(shop: Shop, like: HiddenBoard) -> float:
    """Fastest at which a field goes through well below full power, to 4 %."""
    low, high = 1.0, 80.0
    at = (like.size_mm[0] / 2, like.size_mm[1] / 2)
    while high / low > 1.04:
        speed = float(np.sqrt(low * high))
        gone = field_depths(shop, like, RampTrial(speed, 3), np.array([FIELD_SHARE]), at)[0] >= like.size_mm[2] - 1e-6
        low, high = (speed, high) if gone else (low, speed)
    return round(low, 2)


def unburnt(boards: Boards) -> Boards:
    return {panel: replace(board, burns=[]) for panel, board in boards.items()}


def promised(folder: Path) -> dict[str, dict[str, float]]:
    """Tightest place of each corner as the job says: value and sd."""
    return {gap["corner"]: gap["tightest_mm"] for gap in json.loads((folder / "job.json").read_text(encoding="utf-8"))["joints"]}


def off_mm(shop: Shop, folder: Path) -> np.ndarray:
    """Tightest place of each corner less what the job promised."""
    return np.array([measure_corner(shop, folder, corner).tightest_mm - promised(folder)[corner]["value"] for corner in CORNERS])


def read_strips(shop: Shop, folder: Path, boards: Boards) -> None:
    """Burn every pilot strip and fill in its form with the shop's instruments."""
    for pilot in json.loads((folder / "job.json").read_text(encoding="utf-8"))["pilots"]:
        board = boards[pilot["part"]]
        laid = shop.burn(folder, pilot["setup"], board)
        bench = Bench(shop, board, laid.lie, stretches_of(board))
        form = folder / pilot["forms"][0]
        text = form.read_text(encoding="utf-8")
        for each in json.loads((folder / pilot["record"]).read_text(encoding="utf-8"))["observables"]:
            text = re.sub(rf'(?m)^{each["id"]} = ""$', f'{each["id"]} = "{READ[each["quantity"]](bench, each)}"', text)
        form.write_text(text, encoding="utf-8")


def with_and_without_strips(one: Trial) -> tuple[np.ndarray, np.ndarray, JobRetuned]:
    """(gap errors of the job as planned, of the job retuned, what retuning told), errors (2,) each."""
    shop, folder = one.shop, one.folder
    plain = unburnt(one.boards)
    read_strips(shop, folder, one.boards)
    done = retune(folder, notebook=folder.parent / "book.db")
    state = copy.deepcopy(shop.rng)
    shop.run_job(folder, plain)
    before = off_mm(shop, folder)
    shop.rng = state
    shop.run_job(done.folder, one.boards)
    return before, off_mm(shop, done.folder), done


def rms(values: list[np.ndarray] | np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.asarray(values) ** 2)))


def waist_mm(one: Trial, board: HiddenBoard, x_mm: float) -> float:
    """True waist of a slit along the board."""
    return float(slit_widths(one.shop, board, one.cut, True, (x_mm, board.size_mm[1] / 2))[0].min())


def test_a_retuned_ramp_comes_nearer_to_its_promise_and_says_how_near(tmp_path: Path):
    """Over 21 such shops (seeds 0 to 6 of each kind): 0.038 mm before, 0.024 after, 0.031 stated. Four shops tell less surely."""
    before, after, stated = [], [], []
    for seed in range(4):
        one = trial(tmp_path / str(seed), seed, {"walls": "ramp", "pilot": True})
        plain, tuned, done = with_and_without_strips(one)
        before.append(plain)
        after.append(tuned)
        stated.append(np.array([promised(done.folder)[corner]["sd"] for corner in CORNERS]))
    assert rms(before) > 0.02  # the boards do differ
    assert rms(after) < 0.75 * rms(before)
    assert 0.45 < rms(after) / rms(stated) < 1.3


def test_the_slit_of_the_board_is_found_as_surely_as_is_said(tmp_path: Path):
    """The board's own slit against the coupon board's, from its strip alone; and square walls come no farther from their promise."""
    found, missed, before, after = [], [], [], []
    for seed in range(3):
        one = trial(tmp_path / str(seed), seed, {"walls": "cradle", "pilot": True})
        plain, tuned, done = with_and_without_strips(one)
        before.append(plain)
        after.append(tuned)
        like_mm = waist_mm(one, one.like, 100.0)
        for part, own in done.boards.items():
            assert own.slit_mm is not None
            board = one.boards[part]
            true_mm = np.mean([waist_mm(one, board, share * board.size_mm[0]) for share in (0.12, 0.5, 0.88)]) - like_mm
            found.append((own.slit_mm.value - true_mm) / own.slit_mm.sd)
            missed.append(true_mm / own.slit_mm.sd)
    assert len(found) == 12
    assert 0.5 < rms(np.array(found)) < 1.3
    assert rms(np.array(found)) < rms(np.array(missed))
    assert rms(after) < rms(before)


def finished(shop: Shop, folder: Path, number: int, laid: Laid, tmp: Path) -> None:
    """Burn up to the pause, read the patch, burn what finish writes instead of the rest."""
    program = (folder / laid.setup["program"]).read_text(encoding="ascii")
    first = tmp / f"{number}.ngc"
    first.write_text(program.split("\nM0\n", 1)[0] + "\nM5\nM2\n%\n", encoding="ascii")
    shop.burn(folder, number, laid.board, laid, first)
    rest = next(op for op in laid.setup["operations"] if op["name"] == "ramps-rest")
    patch = np.vstack([path["points_mm"] for path in rest["paths"] if not path["edges"]])[:, :2]
    place = ((patch.min(axis=0) + patch.max(axis=0)) / 2).tolist()
    look = {"place_mm": place, "across_deg": 90.0, "instrument": "depth gauge", "settings": {}, "face": "show"}
    depth = float(READ["depth"](Bench(shop, laid.board, laid.lie, stretches_of(laid.board)), look))
    shop.burn(folder, number, laid.board, laid, finish(folder, number, depth).program)


def test_a_finished_ramp_comes_nearer_to_its_promise(tmp_path: Path):
    pairs: list[tuple[np.ndarray, np.ndarray]] = []
    for seed in range(3):
        one = trial(tmp_path / str(seed), seed, {"walls": "ramp", "check_pause": True})
        found: list[np.ndarray] = []
        for check in (False, True):
            fresh = unburnt(one.boards)
            one.shop.lies.clear()
            for setup in json.loads((one.folder / "job.json").read_text(encoding="utf-8"))["setups"]:
                laid = one.shop.lay(one.folder, setup["number"], fresh[setup["part"]])
                if check and any(op["before"] for op in setup["operations"]):
                    finished(one.shop, one.folder, setup["number"], laid, tmp_path / str(seed))
                else:
                    one.shop.burn(one.folder, setup["number"], laid.board, laid)
            found.append(off_mm(one.shop, one.folder))
        pairs.append((found[0], found[1]))
    before, after = (rms([pair[k] for pair in pairs]) for k in (0, 1))
    assert after < 0.75 * before


def fill_coupon(shop: Shop, folder: Path, board: HiddenBoard) -> None:
    """Burn a coupon and answer its whole form."""
    shop.burn(folder, 1, board)
    form = folder / "readings.toml"
    text = form.read_text(encoding="utf-8")
    for name, value in shop.fill_form(folder).items():
        text = re.sub(rf'(?m)^{re.escape(name)} = ""$', f'{name} = "{value}"', text)
    form.write_text(text, encoding="utf-8")


def finger_box() -> str:
    """The pencil box with box joints."""
    return re.sub(r"(?s)\[joints\.all\].*?(\n\[|\Z)", r'[joints.all]\nkind = "box joint"\n\1', pencil_box())


def test_a_known_machine_on_a_new_board_of_a_known_wood_needs_one_short_strip(tmp_path: Path):
    """Coupons on one board, a box on four others: the advice asks for the strip alone, the strip makes each board known."""
    shop = Shop(0, "diode 20", exact=True)
    book, machine, offcut_file = tmp_path / "book.db", tmp_path / "machine.toml", tmp_path / "offcut.toml"
    machine.write_text(toml(shop.machine_facts()), encoding="utf-8")
    offcut = shop.new_board("sugar maple", 6.0, 160.0, 120.0)
    offcut_file.write_text(toml(offcut.facts), encoding="utf-8")
    boards = {panel: shop.new_board("sugar maple", 6.0, *size) for panel, size in SIZE_MM.items()}
    for panel, board in boards.items():
        (tmp_path / f"{panel}.toml").write_text(toml(board.facts), encoding="utf-8")
    told = None
    for k in range(4):
        kind = "through" if told is None else told.advised.steps[0].coupon
        folder = learning.coupon(kind, machine, offcut_file, notebook=book, out=tmp_path / f"coupon-{k}").folder
        fill_coupon(shop, folder, replace(offcut, burns=[]))
        told = learning.read(folder, notebook=book, slope="square")
        if not told.advised.steps:
            break
    assert told is not None
    assert told.advised.enough
    assert NEW_BOARD not in told.advised.said

    recipes: dict[str, dict[str, Any]] = {}
    before: dict[str, Any] = {}
    for panel in boards:
        before[panel] = learning.recipe(machine, tmp_path / f"{panel}.toml", book, tmp_path / f"{panel}-recipe.toml", "square")
        assert before[panel].advised.said.startswith(NEW_BOARD)
        assert (before[panel].advised.steps, before[panel].advised.pilot) == ((), True)
        recipes[panel] = tomllib.loads((tmp_path / f"{panel}-recipe.toml").read_text(encoding="utf-8"))
    piece = write_bench(shop, tmp_path / "bench", finger_box(), boards, recipes, {"pilot": True})
    job = make(piece, out=tmp_path / "job").folder
    assert job is not None
    read_strips(shop, job, boards)
    assert set(retune(job, notebook=book).boards) == set(SIZE_MM)
    cut = before["front"].recipe.through[0]
    burnt = Through(cut.speed_mm_s, cut.passes, cut.focus_mm, cut.focus_step_mm, cut.power_frac)
    errors: list[tuple[float, float]] = []
    for panel, board in boards.items():
        after = learning.recipe(machine, tmp_path / f"{panel}.toml", book, slope="square")
        assert NEW_BOARD not in after.advised.said
        assert len(after.recipe.through) == len(before[panel].recipe.through)
        true_mm = float(np.mean([slit_widths(shop, board, burnt, True, (x * board.size_mm[0], 21.0))[0].min() for x in (0.2, 0.5, 0.8)]))
        waists = [told.recipe.through[0].profile(0.0, 0.0).waist_mm for told in (before[panel], after)]
        assert waists[1].sd < waists[0].sd
        errors.append((waists[0].value - true_mm, waists[1].value - true_mm))
    assert rms(np.array(errors)[:, 1]) < rms(np.array(errors)[:, 0])

"""The whole road without a prompt: a new machine and a new board, what the advice says is burnt until it says enough, the recipe,
the piece, the joint measured, what came out recorded. Four unlike shops, seeds 0 to 3, chosen before they were run; all are here.

The shop's physics is not the fitted model. Coupons are burnt on fresh strips of one board, the piece on four boards of that plank's
density. The script takes no decision: it does what ``advice`` in the JSON says, and answers what the form asks.

Counted once with the same code over seeds 0 to 11: all 12 roads ended in "enough" after 4 or 5 coupons, all 48 corners went together
by hand or by tap, 46 of them within 2 and all within 2.2 of the promised standard deviations.
"""

from __future__ import annotations

import contextlib
import io
import json
import re
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kerfwright.app.cli import main
from shop.joint import Corner, measure_corner
from shop.shop import Shop
from shop.tables import toml
from shop.test_shop_jobs import CORNERS, pencil_box
from shop.test_shop_loops import read_strips
from shop.wood import HiddenBoard

SEEDS = (0, 1, 2, 3)  # one of each kind of machine: 10, 20 and 40 W diodes, 60 W CO2
THICKNESS_MM = {"diode 10": 3.0, "diode 20": 6.0, "diode 40": 6.0, "CO2 60": 6.0}  # what each is known to cut (bench.py)
SIZE_MM = {"front": (270.0, 42.0), "right": (130.0, 42.0), "back": (270.0, 42.0), "left": (130.0, 42.0)}
SPECIES = "sugar maple"
MOST_COUPONS = 5
MADE_SLOPE, SEEN_MM, PROUD_OFF_MM = "1:8", 0.12, 0.1


def run(*words: object) -> dict[str, Any]:
    """One command line with ``--json``, from its entry; what it prints."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([str(word) for word in words] + ["--json"])
    assert code == 0, err.getvalue()
    return json.loads(out.getvalue())


@dataclass
class Road:
    """One shop's folder on its way from nothing to a joint."""

    shop: Shop
    folder: Path
    plank: HiddenBoard

    @property
    def known(self) -> tuple[object, ...]:
        """What every learning verb is told."""
        return ("--machine", self.folder / "machine.toml", "--board", self.folder / "offcut.toml", "--notebook", self.folder / "book.db")

    def burn_coupon(self, kind: str, number: int) -> dict[str, Any]:
        """Make, burn, read off, fill in, hand in."""
        folder = self.folder / f"coupon-{number}"
        made = run("coupon", kind, *self.known, "--out", folder)
        assert made["folder"] == str(folder)
        self.shop.burn(folder, 1, replace(self.plank, burns=[]))
        form = folder / "readings.toml"
        text = form.read_text(encoding="utf-8")
        for name, value in self.shop.fill_form(folder).items():
            text, n = re.subn(rf'(?m)^{re.escape(name)} = ""$', f'{name} = "{value}"', text)
            assert n == 1, name
        form.write_text(text, encoding="utf-8")
        start = time.process_time()
        told = run("read", folder, "--notebook", self.folder / "book.db", "--slope", MADE_SLOPE)
        assert time.process_time() - start < 3.0  # under 1 s by itself (benchmarks); others share the machine
        return told

    def make(self, pilot: bool) -> Path:
        """The piece on four fresh boards; with strips burnt and the job retuned when the advice says so. Its job folder, burnt."""
        bench = self.folder / "bench"
        bench.mkdir()
        (bench / "piece.toml").write_text(pencil_box(), encoding="utf-8")
        boards = {part: self.shop.new_board(SPECIES, THICKNESS_MM[self.shop.kind], *size) for part, size in SIZE_MM.items()}
        for part, board in boards.items():
            board.density = self.plank.density
            (bench / f"{part}.toml").write_text(toml(board.facts), encoding="utf-8")
        recipe = self.folder / "recipe.toml"
        run("recipe", *self.known, "--out", recipe)
        tables = {
            "schema": "kerfwright-bench-1",
            "machine": str(self.folder / "machine.toml"),
            "recipe": str(recipe),
            "boards": {part: f"{part}.toml" for part in boards},
            "burn": {"pilot": pilot},
        }
        (bench / "bench.toml").write_text(toml(tables), encoding="utf-8")
        job = self.folder / "job"
        run("make", bench / "piece.toml", "--out", job)
        if pilot:
            read_strips(self.shop, job, boards)
            job = Path(run("retune", job, "--notebook", self.folder / "book.db")["folder"])
        self.shop.run_job(job, boards, lambda number, ticks: self.shifted(job, number, ticks))
        return job

    @staticmethod
    def shifted(job: Path, number: int, ticks: dict[str, float]) -> Path:
        """A setup's program written again from its witness marks."""
        options = {"left": "--left-tick", "right": "--right-tick", "along": "--x-tick"}
        return Path(run("shift", job, number, *(f"{options[name]}={tick:g}" for name, tick in ticks.items()))["program"])


@dataclass
class Arrived:
    """kinds: coupons burnt, in order; advice: the last; job: its folder, burnt; promised: the job's own gaps by corner."""

    kinds: list[str]
    advice: dict[str, Any]
    job: Path
    promised: dict[str, Any]
    corners: dict[str, Corner]
    road: Road


def walked(seed: int, folder: Path) -> Arrived:
    shop = Shop(seed)
    plank = shop.new_board(SPECIES, THICKNESS_MM[shop.kind], 300.0, 120.0)
    (folder / "machine.toml").write_text(toml(shop.machine_facts()), encoding="utf-8")
    (folder / "offcut.toml").write_text(toml(plank.facts), encoding="utf-8")
    road = Road(shop, folder, plank)
    told = run("recipe", *road.known)  # a new notebook: the advice is what to begin with
    kinds: list[str] = []
    while not told["advice"]["enough"]:
        assert len(kinds) < MOST_COUPONS, told["advice"]["said"]
        kinds.append(told["advice"]["next"][0]["coupon"])
        told = road.burn_coupon(kinds[-1], len(kinds))
    job = road.make(told["advice"]["pilot"])
    record = json.loads((job / "job.json").read_text(encoding="utf-8"))
    promised = {joint["corner"]: joint for joint in record["joints"]}
    return Arrived(kinds, told["advice"], job, promised, {name: measure_corner(shop, job, name) for name in CORNERS}, road)


@pytest.fixture(scope="module", params=SEEDS)
def arrived(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Arrived:
    return walked(request.param, tmp_path_factory.mktemp(f"road{request.param}"))


def test_the_advice_leads_from_nothing_to_enough(arrived: Arrived):
    assert arrived.kinds[:3] == ["through", "kerf comb", "ramp staircase"]
    assert arrived.kinds[-1] == "sloped edge"
    assert len(arrived.kinds) <= MOST_COUPONS
    assert arrived.advice["next"] == []
    assert arrived.advice["now_mm"] < 0.04


def test_every_corner_goes_together_as_promised(arrived: Arrived):
    """Every corner by hand or by tap, its tightest place within 3 of the promised standard deviations and half of them within 2
    (promised: 99.7 % and 95 %; the four corners of a job share most of their error). What is seen stays under 0.12 mm."""
    away: list[float] = []
    for name, corner in arrived.corners.items():
        assert corner.through_share > 0.98, name
        assert corner.verdict in ("by hand", "by tap"), name
        promised = arrived.promised[name]["tightest_mm"]
        away.append((corner.tightest_mm - promised["value"]) / promised["sd"])
        assert max(corner.seen_mm) < SEEN_MM, name
        assert all(abs(proud - 0.2) < PROUD_OFF_MM for proud in corner.proud_mm.values()), name
    assert np.abs(away).max() < 3.0, away
    assert np.sum(np.abs(away) < 2.0) >= 2, away


def test_what_came_out_is_kept_moves_the_recipe_and_stands_in_the_ledger(arrived: Arrived):
    book = ("--notebook", arrived.road.folder / "book.db")
    for name, corner in arrived.corners.items():
        tail, pin = (f"{max(gap, 0.0):.2f} mm" for gap in corner.seen_mm)
        kept = run("outcome", arrived.job, name, "--fit", corner.verdict, "--gap-tail", tail, "--gap-pin", pin, *book)
        assert kept["outcomes"][0]["fit"] == corner.verdict
    ledger = run("ledger", *book)
    n_forms = len(arrived.kinds) + (len(SIZE_MM) if arrived.advice["pilot"] else 0)  # a pilot strip's form is kept as a coupon's is
    assert [row["kind"] for row in ledger["rows"]] == ["reading"] * n_forms + ["outcome"] * len(CORNERS)
    seen = np.array([[round(max(gap, 0.0), 2) for gap in corner.seen_mm] for corner in arrived.corners.values()])
    expected = np.array(
        [[arrived.promised[name][key]["value"] for key in ("seen_tail_face_mm", "seen_pin_face_mm")] for name in arrived.corners]
    )
    assert ledger["jobs"][0]["lines"] == 2 * len(CORNERS)
    assert ledger["jobs"][0]["off_mm"] == pytest.approx(np.sqrt(np.mean((seen - expected) ** 2)), abs=1e-4)
    told = run("recipe", *arrived.road.known)
    moved = next(lesson for lesson in told["lessons"] if lesson["topic"] == "outcome")["estimates"]["flank_shift_mm"]
    assert abs(moved["value"]) <= abs(float(np.median(seen - expected))) + 1e-4  # drawn toward what was predicted
    assert np.sign(moved["value"]) == np.sign(np.median(seen - expected))

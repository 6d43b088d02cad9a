"""The demo's hinged box, drawer and divided tray, from their files to job folders by the command line, and solid."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from app.shop_files import new_shop
from kerfwright.app import workflow
from kerfwright.app.cli import main
from kerfwright.process.job import Job
from solid_check import NOTHING_MM3, clash_along, clash_mm3

# By name: parts, and the most hours its burning may take.
PIECES = {"button-box": (6, 3.0), "shop-drawer": (5, 3.0), "bit-tray": (8, 3.5)}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return new_shop(tmp_path_factory.mktemp("whole"))


@pytest.fixture(scope="module")
def jobs(shop: Path) -> dict[str, Job]:
    return {name: workflow.look(shop / name / "piece.toml").job for name in PIECES}


@pytest.mark.parametrize("name", PIECES)
def test_the_command_line_makes_its_folder(name: str, shop: Path, capsys: pytest.CaptureFixture[str]):
    main(["make", str(shop / name / "piece.toml"), "--out", str(shop / f"{name}-job"), "--json"])
    summary = json.loads(capsys.readouterr().out)
    folder = Path(summary["folder"])
    n_parts, hours = PIECES[name]
    record = json.loads((folder / "job.json").read_text())
    assert len(record["parts"]) == n_parts
    assert sum(time["burn_s"] + time["travel_s"] for time in record["times"]) < 3600 * hours
    burnt = {setup["part"] for setup in record["setups"]}
    with (folder / "cut-list.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["part"] for row in rows if row["use"] == "piece"} == burnt
    assert (folder / "bench-sheet.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("name", PIECES)
def test_it_is_solid_and_goes_together(name: str, jobs: dict[str, Job]):
    assembly = jobs[name].assembly
    assert len(assembly.parts) == PIECES[name][0]
    assert clash_mm3(assembly) < NOTHING_MM3
    assert len(assembly.steps) == len(assembly.parts) - 1
    for step in assembly.steps:
        assert clash_along(assembly, step, 12) < NOTHING_MM3, step


@pytest.mark.parametrize("name", PIECES)
def test_every_wood_that_moves_is_told_and_nothing_is_left_to_warn_of(name: str, jobs: dict[str, Job]):
    findings = jobs[name].findings
    assert "bottom-moves" in [finding.code for finding in findings]
    assert [finding.text for finding in findings if finding.level.value == "warning"] == []

"""The verdict of an edit: nothing of the burn is lost on its short way, and it follows the piece."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kerfwright.app import edits, workflow
from kerfwright.app.edits import Editing, start_editing, verdict_of_edit
from kerfwright.app.trial import Trial, judge_trial
from kerfwright.core.document import read_toml
from kerfwright.core.errors import InputError
from kerfwright.export.formats.rs274 import program_text
from kerfwright.export.program_reader import read_program
from kerfwright.process.job import Job
from kerfwright.simulate.known import LawKnown
from kerfwright.simulate.motion import motion_of
from kerfwright.simulate.response import WallResponse, wall_response

PIECES = ("tool-tray", "keepsake-box", "pencil-box")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return workflow.start(tmp_path_factory.mktemp("edits") / "shop")


def begun(shop: Path, piece: str) -> tuple[dict[str, Any], Editing]:
    return read_toml(shop / piece / "piece.toml"), start_editing(shop / piece / "piece.toml", readings=False)


@pytest.mark.parametrize("piece", PIECES)
def test_walls_of_the_short_way_are_those_of_the_whole_job_and_its_programs(shop: Path, piece: str, monkeypatch: pytest.MonkeyPatch):
    """Two boards planned alone, only the paths near their ends, programs without text: walls and answers are those of the whole job's
    programs, written and read back, to the 0.6 um that sharing alike stations costs (which of them is worked out differs)."""
    tables, editing = begun(shop, piece)
    short: dict[str, WallResponse] = {}
    answers = edits._answers

    def kept(job: Job, part: str, known: LawKnown) -> WallResponse:
        short[part] = answers(job, part, known)
        return short[part]

    monkeypatch.setattr(edits, "_answers", kept)
    bench = editing.bench
    job = Trial(tables, bench.machine, bench.boards, bench.recipes, bench.options).job()
    found = verdict_of_edit(tables, editing, job.gaps[0].corner)
    assert set(short) == {found.tail_part, found.pin_part}
    for part, answer in short.items():
        setups = [setup for setup in job.setups if setup.part == part]
        motions = [motion_of(read_program(program_text(setup, job.machine)), job.machine) for setup in setups]
        whole = wall_response(part, setups[0].part_slab, motions, setups, job.machine, editing.laws[part].law)
        assert answer.base.walls.keys() < whole.base.walls.keys()
        for edge, wall in answer.base.walls.items():
            np.testing.assert_allclose(wall.back_mm, whole.base.walls[edge].back_mm, atol=6e-4)
            off = np.abs(answer.per_unit["need_j_mm3"][edge] - whole.per_unit["need_j_mm3"][edge])
            assert np.quantile(off, 0.9) < 6e-4


@pytest.mark.parametrize("piece", PIECES)
def test_it_says_what_the_quick_verdict_says(shop: Path, piece: str):
    """With as many draws of the same seed: seen gap and tightest place to half a um, odds to one draw of 200."""
    tables, editing = begun(shop, piece)
    bench = editing.bench
    whole = judge_trial(Trial(tables, bench.machine, bench.boards, bench.recipes, bench.options, "front-right"), editing.laws, 200, 5)
    one, = whole.corners
    short = verdict_of_edit(tables, editing, "front-right", 200, 5)
    assert short.goes_together == pytest.approx(one.goes_together, abs=0.0051)
    for name in ("seen_gap_mm", "tightest_mm"):
        assert getattr(short, name).value == pytest.approx(getattr(one, name).value, abs=5e-4)
        assert getattr(short, name).sd == pytest.approx(getattr(one, name).sd, rel=0.01)
    assert short.causes[0].cause == one.causes[0].cause


def test_a_looser_fit_is_looser_and_a_wrong_corner_is_named(shop: Path):
    """A fit is told across a pin: 0.03 mm more is 0.015 a flank."""
    tables, editing = begun(shop, "tool-tray")
    tables = deepcopy(tables) | {"fit": "0 mm"}
    tight, loose = (verdict_of_edit(tables | {"fit": fit}, editing, "front-right") for fit in ("0 mm", "0.03 mm"))
    assert loose.tightest_mm.value - tight.tightest_mm.value == pytest.approx(0.015, abs=0.002)
    with pytest.raises(InputError, match='no corner "front-left-ish"'):
        verdict_of_edit(tables, replace(editing), "front-left-ish")

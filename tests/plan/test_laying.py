"""What the person is told to do before each setup: true for every way a board lies, and each blank told from its like."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from external.ideal_shop import CASES, PANELS, case, design_and_boards, machine, recipe
from kerfwright.core.document import build
from kerfwright.core.finding import Level
from kerfwright.geometry.slab import Face
from kerfwright.plan.blank import sharing, told_apart
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import plan_job
from kerfwright.process.job import Job
from kerfwright.process.recipe import Recipe
from kerfwright.process.setup import Setup
from kerfwright.wood.board import Board
from plan.plan_samples import BOX, DOVETAIL


def job_of(wish: dict[str, Any], boards: dict[str, Board] | None = None) -> Job:
    design, own = design_and_boards(wish)
    options = build(wish["burn"], PlanOptions, "burn")
    one = wish["recipe"] or recipe()
    return plan_job(design, wish["machine"] or machine(), boards or own, dict.fromkeys(PANELS, one), options)


def vague() -> Recipe:
    """The usual recipe, its slits known only to 0.1 mm."""
    cut = recipe().through[0]
    kerf = tuple(each.model_copy(update={"waist_mm": replace(each.waist_mm, sd=0.1)}) for each in cut.kerf)
    return recipe().model_copy(update={"through": (cut.model_copy(update={"kerf": kerf}),)})


def left_end_in_bed(setup: Setup) -> str:
    """Where the board's left end lies, from the pose alone."""
    x, y, _ = setup.bed_from_board.turned(np.array([-1.0, 0.0, 0.0]))
    return ("left" if x < 0 else "right") if abs(x) > abs(y) else ("front" if y < 0 else "back")


@pytest.mark.parametrize("name", CASES)
def test_the_steps_say_how_the_board_really_lies(name: str):
    for setup in job_of(CASES[name]).setups:
        if setup.part == "cradle":
            continue
        told = " ".join(setup.steps_before)
        lies = left_end_in_bed(setup)
        assert f"{setup.entry_face.value} up" in told
        assert ("cradle" in told) == (setup.tilt_deg > 0)
        if setup.tilt_deg:
            assert (
                ("turned end for end, its right end to the left" in told)
                == ("the end that now lies left 10 mm" in told)
                == (lies == "right")
            )
            assert ("its left end to the left" in told) == (lies == "left")
        else:
            assert ("turned a quarter, its left end to the front" in told) == (lies == "front")
            assert ("its left front corner at the fence" in told) == (lies == "left")
            assert sum(step.startswith(f'Lay board "{setup.board}"') for step in setup.steps_before) == 1
        assert ("paper tape" in told) == (setup.entry_face is Face.INNER and not setup.tilt_deg)


def test_turning_a_board_over_comes_before_laying_it_and_keeps_its_left_end():
    first, second = (setup for setup in job_of(CASES["box, from two faces, quarter turn"]).setups if setup.part == "front")
    assert not any("Turn the board over" in step for step in first.steps_before)
    assert second.steps_before[0] == "Turn the board over about its length, so that its left end stays where it was"
    assert (first.entry_face, second.entry_face) == (Face.INNER, Face.SHOW)
    assert left_end_in_bed(first) == left_end_in_bed(second) == "front"


def _shared(wish: dict[str, Any], n_pieces: int) -> dict[str, Board]:
    """One board file for front and back and one for left and right."""
    _, own = design_and_boards(wish)
    more = {"n_pieces": n_pieces}
    front, left = own["front"].model_copy(update=more), own["left"].model_copy(update=more)
    return {"front": front, "right": left, "back": front, "left": left}


def test_a_blank_says_which_of_several_it_is():
    wish = case({"all": BOX})
    boards = _shared(wish, 2)
    assert sharing(boards) == [(boards["front"], ["front", "back"]), (boards["left"], ["right", "left"])]
    names = {part: board.name for part, board in told_apart(boards).items()}
    assert names == {
        "front": "plank for front, blank 1 of 2",
        "back": "plank for front, blank 2 of 2",
        "right": "plank for left, blank 1 of 2",
        "left": "plank for left, blank 2 of 2",
    }
    job = job_of(wish, boards)
    assert {setup.part: setup.board for setup in job.setups} == names
    assert job.boards == boards, "the record keeps the board file as it was"
    assert not [finding for finding in job.findings if finding.code == "too-few-boards"]


def test_a_board_of_its_own_needs_no_number():
    job = job_of(case({"all": BOX}))
    assert {setup.board for setup in job.setups} == {f"plank for {part}" for part in PANELS}


def test_more_parts_than_pieces_of_wood_is_a_warning():
    wish = case({"all": BOX})
    found = [finding for finding in job_of(wish, _shared(wish, 1)).findings if finding.code == "too-few-boards"]
    assert [(finding.level, finding.where) for finding in found] == [(Level.WARNING, "front, back"), (Level.WARNING, "right, left")]
    assert '"plank for front" is one piece of wood and 2 parts are cut from it' in found[0].text
    assert "pieces = 2" in found[0].text


def test_the_two_faces_warning_says_what_it_costs_and_names_the_parts_once():
    """The kerf's waist is known to 0.02 mm (assumed), half of it at a flank; a hand lays a board to 0.1 mm."""
    job = job_of(case({"all": BOX}, (6.0, 6.0), recipe=recipe(3, (3.0, 4.0))))
    (told,) = [finding for finding in job.findings if finding.code == "two-faces"]
    assert told.level is Level.WARNING
    assert sorted(told.where.split(", ")) == sorted(PANELS)
    assert not any(part in told.text for part in PANELS)
    assert "± 0.100 mm instead of ± 0.010 mm" in told.text
    levels = [finding.level for finding in job.findings]
    assert levels == sorted(levels, key=[Level.CAUTION, Level.WARNING, Level.NOTE].index)
    assert next(finding for finding in job.findings if finding.level is Level.WARNING) is told, "the first warning of all"


@pytest.mark.parametrize(("changes", "source", "remedy"), [
    ({"joint": BOX, "recipe": recipe(3, (3.0, 4.0))}, "turning the boards over", "a recipe that cuts this thickness from one face"),
    ({"joint": DOVETAIL, "walls": "ramp"}, "the ramps", "the ramp staircase and the sloped edge"),
    ({"joint": DOVETAIL, "walls": "cradle"}, "laying the boards again", "read the witness marks"),
    ({"joint": DOVETAIL, "walls": "cradle", "reread": False}, "laying the boards again by hand", "reread = true"),
    ({"joint": BOX, "recipe": vague()}, "the slit's width", "the kerf comb"),
])  # fmt: skip
def test_a_split_warning_blames_the_largest_cause(changes: dict[str, Any], source: str, remedy: str):
    job = job_of(case({"all": changes["joint"]}, fit="press", **{key: value for key, value in changes.items() if key != "joint"}))
    told = [finding for finding in job.findings if finding.code == "may-split"]
    assert len(told) == 1
    assert told[0].where == "front-right, right-back, back-left, left-front"
    assert f"most of it from {source}, may leave" in told[0].text
    assert remedy in told[0].text
    gap = job.gaps[0].tightest_mm
    assert f"the spread of {gap.sd:.3f} mm a flank" in told[0].text
    assert f"{-2 * (gap.value - 2 * gap.sd):.2f} mm of squeeze" in told[0].text

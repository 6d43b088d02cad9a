"""Grooves as burnt against sums done by hand, and what stands in them against closed forms of the spread."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache
from importlib.resources import files
from math import erf, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kerfwright.app.job_to_burn import JobToBurn, job_to_burn
from kerfwright.export.formats.rs274 import program_text
from kerfwright.export.program_reader import read_program
from kerfwright.process.setup import Setup
from kerfwright.process.verdict import RecessVerdict
from kerfwright.simulate.burnt import BurntWall, Hidden
from kerfwright.simulate.hollow import Hollow, hollow
from kerfwright.simulate.known import SCALES, LawKnown
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.light import is_field
from kerfwright.simulate.motion import motion_of
from kerfwright.simulate.recesses import Held, held_by, judge_recesses
from kerfwright.simulate.said import recess_sentences
from kerfwright.simulate.strokes import Strokes, laid
from kerfwright.simulate.walls import burn_walls
from simulate.burn_samples import LAW

SETUP = 1  # the front of the button box, whose groove is burnt from its inner face


@cache
def given(name: str = "button-box") -> JobToBurn:
    return job_to_burn(Path(str(files("kerfwright") / "data" / "demo" / name / "piece.toml")))


def held(part: str) -> Held:
    return next(each for each in held_by(given().job.assembly) if each.part.name == part)


def burnt(law: BurnLaw) -> Hollow:
    job = given().job
    setup = next(each for each in job.setups if each.number == SETUP)
    motion = motion_of(given().programs[SETUP], job.machine)
    return hollow("front", setup.part_slab, setup.part_slab.recesses[0], held("front").sides, [motion], [setup], job.machine, law)


def groove_strokes() -> tuple[Strokes, np.ndarray]:
    """All strokes of the front, and which of them run along its groove past its middle: (n,) bool."""
    job = given().job
    setup = next(each for each in job.setups if each.number == SETUP)
    strokes = laid([motion_of(given().programs[SETUP], job.machine)], [setup], job.machine, Hidden())
    low, high = (getattr(setup.part_slab.recesses[0].ring.points_mm, name)(axis=0) for name in ("min", "max"))
    x, y = strokes.entry_mm[:, :, 0], strokes.entry_mm[:, :, 1]
    middle = (low[0] + high[0]) / 2
    level = np.abs(y[:, 0] - y[:, 1]) < 1e-6
    return strokes, level & (x.min(axis=1) < middle - 5) & (x.max(axis=1) > middle + 5) & (y[:, 0] > low[1]) & (y[:, 0] < high[1])


def dose_by_hand(law: BurnLaw, y_mm: np.ndarray, depth_mm: float) -> np.ndarray:
    """Law (3) of simulate/law.py summed over endless lines, in the board's y. (q,)"""
    strokes, mine = groove_strokes()
    field = is_field(law, strokes)
    total = np.zeros_like(y_mm)
    for k in np.flatnonzero(mine):
        energy = law.power_w * ((strokes.power_frac[k] - law.dead_frac) / (1 - law.dead_frac)) ** law.gamma / strokes.speed_mm_s[k]
        opens = law.rayleigh_mm if field[k] else law.slit_mm
        w = law.waist_y_mm * sqrt(1 + ((depth_mm + strokes.focus_mm[k, 0] + law.focus_offset_mm) / opens) ** 2)
        flux = sqrt(2 / np.pi) * energy / w * np.exp(-2 * ((y_mm - strokes.entry_mm[k, 0, 1]) / w) ** 2)
        total += (law.over_char_frac if strokes.again[k] or field[k] else 1.0) * np.maximum(flux - law.threshold_j_mm2, 0)
    return total


def test_floor_and_sides_are_the_sum_over_its_lines():
    assert groove_strokes()[1].sum() > 40
    found = burnt(LAW)
    ring = given().job.setups[0].part_slab.recesses[0].ring.points_mm
    low, high = ring[:, 1].min(), ring[:, 1].max()
    middle = (low + high) / 2 + np.linspace(-0.04, 0.04, 5)
    depths = np.linspace(0.2, 5.9, 400)
    over = np.array([dose_by_hand(LAW, middle, z).mean() - LAW.need_j_mm2(np.array(z)) for z in depths])
    floor = float(np.interp(0.0, -over, depths))
    assert 1.0 < floor < 5.5
    assert found.floor_mm == pytest.approx(floor, abs=0.01)
    y = np.arange(low - 0.3, high + 0.3, 0.001)
    for i in (4, 10):
        z = found.down_mm[i]
        assert z < floor
        gone = y[dose_by_hand(LAW, y, z) >= LAW.need_j_mm2(np.array(z))]
        assert found.side_mm[i] == pytest.approx(gone[-1] - gone[0] - (high - low) + 2 * LAW.char_mm, abs=0.004)
    assert np.isnan(found.side_mm[found.down_mm > found.deepest_mm + 0.15]).all()


@pytest.mark.parametrize("name", [each.name for each in fields(BurnLaw) if each.name not in ("char_mm", "density_power")])
def test_answers_are_those_of_another_burn(name: str):
    changed: dict[str, Any] = {name: getattr(LAW, name) * 1.02 + (0.02 if name == "focus_offset_mm" else 0)}
    step = changed[name] - getattr(LAW, name)
    before, after = burnt(LAW), burnt(replace(LAW, **changed))
    moved = np.log(after.floor_mm / before.floor_mm)
    assert before.per_unit_floor_ln[name] * step == pytest.approx(moved, abs=0.1 * abs(moved) + 2e-4)
    wider = after.side_mm[4] - before.side_mm[4]
    assert before.per_unit_side[name][4] * step == pytest.approx(wider, abs=0.1 * abs(wider) + 4e-4)


def test_the_bottom_stands_in_every_groove_and_dividers_in_their_housings():
    """Reach as the piece draws it: along its grain the bottom stays 0.3 mm off each floor."""
    found = {each.part.name: each for each in held_by(given().job.assembly)}
    assert {name: each.holds for name, each in found.items()} == dict.fromkeys(("front", "right", "back", "left"), "bottom")
    assert found["right"].reach_mm == pytest.approx(2.0 - 0.3)
    assert found["front"].reach_mm < 1.6  # across the grain it has the year's movement too
    bottom = given().job.boards["bottom"].thickness_mm
    assert found["front"].width_mm == pytest.approx(bottom + 0.2)
    tray = [(each.part.name, each.recess.name, each.holds) for each in held_by(given("bit-tray").job.assembly)]
    assert all(holds == recess.removeprefix("housing for ").replace("groove for the ", "") for _, recess, holds in tray)
    assert ("front", "housing for cross-2", "cross-2") in tray
    assert len(tray) == 10


def known(law: BurnLaw, need_sd: float = 0.03) -> LawKnown:
    names = ("need_j_mm3", "waist_y_mm")
    assert [SCALES[name] for name in names] == ["log", "log"]
    return LawKnown(law, names, np.diag([need_sd**2, 0.01**2]), (), 0.012, 0.04)


def judged(law: BurnLaw, thickness: tuple[float, ...] | None = None) -> dict[str, RecessVerdict]:
    job = given().job
    if thickness:
        boards = job.boards | {"bottom": job.boards["bottom"].model_copy(update={"thickness_points_mm": thickness})}
        job = replace(job, boards=boards)
    motions = {number: motion_of(program, job.machine) for number, program in given().programs.items()}
    laws = dict.fromkeys((part.name for part in job.assembly.parts), known(law))
    return {each.part: each for each in judge_recesses(job, motions, laws, np.random.default_rng(3), 4000)}


def normal_share(z: float) -> float:
    return (1 + erf(z / sqrt(2))) / 2


def test_odds_are_those_of_a_normal_spread():
    """Thickest point, mean and caliper: a bottom uneven by 0.1 mm, near the width of the groove."""
    plain = judged(LAW)["front"]
    assert plain.width_mm
    width, sd = plain.width_mm.value, plain.width_mm.sd
    assert plain.goes_in == 1.0
    tight = judged(LAW, (width - 0.1, width - 0.05, width))["front"]
    assert tight.goes_in == pytest.approx(0.5, abs=0.03)
    assert tight.rattle_mm
    assert tight.rattle_mm.value == pytest.approx(0.05, abs=0.003)
    both = sqrt(sd**2 + 0.02**2)
    assert tight.rattle_mm.sd == pytest.approx(both, rel=0.05)
    loose = judged(LAW, (width - 0.03,))["front"]
    assert loose.goes_in == pytest.approx(normal_share(0.03 / both), abs=0.03)
    need_ln = burnt(LAW).per_unit_floor_ln["need_j_mm3"] * LAW.need_j_mm3
    density_ln = burnt(LAW).per_unit_floor_ln["density_ratio"]
    focus_ln = burnt(LAW).per_unit_floor_ln["focus_mm"]
    waist_ln = burnt(LAW).per_unit_floor_ln["waist_y_mm"] * LAW.waist_y_mm
    focus_sd = {"motorised": 0.1, "by hand": 0.2}[given().job.machine.z]
    ln = np.sqrt((0.03 * need_ln) ** 2 + (0.10 * density_ln) ** 2 + (focus_sd * focus_ln) ** 2 + (0.01 * waist_ln) ** 2 + 0.04**2)
    assert plain.depth_mm.sd / plain.depth_mm.value == pytest.approx(ln, rel=0.06)


def test_deep_and_shallow_grooves_are_told():
    # A need that burns its floor a tenth under what the bottom reaches, and one that burns through the board.
    right = next(each for each in judged(LAW).values() if each.part == "right")
    hard, soft = judged(replace(LAW, need_j_mm3=12.0)), judged(replace(LAW, need_j_mm3=0.55))
    assert hard["right"].too_shallow == 1.0
    assert hard["right"].breaks_through == 0.0
    assert soft["right"].too_shallow == 0.0
    assert soft["right"].breaks_through > 0.9
    assert soft["right"].left_mm.value < 0.2
    said = recess_sentences(tuple(hard.values()))
    assert len(said) == 1
    assert "holds bottom off" in said[0]
    assert any("breaks through" in each for each in recess_sentences(tuple(soft.values())))
    fine = replace(right, goes_in=1.0, too_shallow=0.0, breaks_through=0.0)
    (told,) = recess_sentences((fine, fine))
    assert told.startswith("Every board goes into its groove or housing, with 0.")
    (told,) = recess_sentences((fine, replace(fine, goes_in=0.31)))
    assert "in only about 3 burns of 10" in told


def test_a_groove_opens_corner_walls_only_where_it_runs_into_them():
    """The front with its groove and without: every wall of its corners stands where it stood, but for places inside the groove's
    outline; there it is open as deep as the groove, and further down what the groove's light adds is under four hundredths."""
    job = given().job
    setups = [each for each in job.setups if each.part == "front"]
    recess = setups[0].part_slab.recesses[0]

    def walls(some: list[Setup]) -> dict[str, BurntWall]:
        motions = [motion_of(read_program(program_text(each, job.machine)), job.machine) for each in some]
        return burn_walls("front", setups[0].part_slab, laid(motions, some, job.machine), LAW).walls

    plain = [replace(each, operations=tuple(op for op in each.operations if op.name != "recesses")) for each in setups]
    grooved, bare = walls(setups), walls(plain)
    low, high = recess.ring.points_mm.min(axis=0) - 0.1, recess.ring.points_mm.max(axis=0) + 0.1
    ring = setups[0].part_slab.show_ring
    after = np.roll(ring.points_mm, -1, axis=0)
    n_open = 0
    for i, edge in enumerate(ring.edges):
        if edge.name not in bare:
            continue
        share = bare[edge.name].share[:, None]
        at = (1 - share) * ring.points_mm[i] + share * after[i]
        inside = np.all((at >= low) & (at <= high), axis=1)
        moved = grooved[edge.name].back_mm - bare[edge.name].back_mm
        np.testing.assert_allclose(np.nan_to_num(moved[~inside]), 0.0, atol=2e-3)
        below = bare[edge.name].depths_mm < setups[0].part_slab.thickness_mm - burnt(LAW).deepest_mm - 0.5
        assert np.nanmax(np.abs(moved[inside][:, below]), initial=0.0) < 0.04
        n_open += int(np.sum(moved[inside] > 0.2))
    assert n_open > 4

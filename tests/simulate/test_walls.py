"""Quick tier: walls against closed forms, against brute force, and how they answer to causes."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest

from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import straight_slab
from kerfwright.simulate.burnt import Hidden
from kerfwright.simulate.law import Passes, slit_half_width_mm
from kerfwright.simulate.response import wall_response
from kerfwright.simulate.section import Grid, drawn_mm, section_part
from kerfwright.simulate.walls import QUICK, burn_walls, fronts_on
from simulate.burn_samples import LAW, Ready, backs, by_hand, ready
from simulate.spot_by_spot import front_mm

SIDES = {"low": Role.FREE, "right": Role.DATUM, "high": Role.FREE, "left": Role.FREE}
SQUARE = straight_slab(
    Ring(
        np.array([[10.0, 10.0], [40.0, 10.0], [40.0, 30.0], [10.0, 30.0]]),
        tuple(Edge(role, Place.LONG, name) for name, role in SIDES.items()),
    ),
    5.0,
)


def test_a_lone_slit_is_the_closed_form():
    """A line 0.08 mm out from an edge along x, two passes: the wall stands half a slit from it, less what the brush takes."""
    strokes = by_hand([((5.0, 9.92), (45.0, 9.92), 0.9, 0.0), ((5.0, 9.92), (45.0, 9.92), 0.9, 9.0)], again=[0, 1])
    burnt = burn_walls("p", SQUARE, strokes, LAW)
    assert set(burnt.walls) == {"low", "high", "left"}  # the datum edge was there before
    wall = burnt.walls["low"]
    energy = 20.0 * (0.9 - 0.05) / 0.95 / 10.0
    half = slit_half_width_mm(LAW, Passes(np.full(2, energy), np.zeros(2)), np.linspace(0, 5, 13), 0.0)
    assert half.min() > 0.02
    np.testing.assert_allclose(wall.back_mm, np.tile(half - 0.08 + 0.02, (7, 1)), atol=1e-7)
    np.testing.assert_allclose(wall.depths_mm, np.linspace(0, 5, 13))
    assert wall.through.all()
    assert np.isnan(burnt.walls["high"].back_mm).all()  # nobody freed it
    assert not burnt.walls["high"].through.any()


def test_a_slit_that_stops_inside_frees_nothing_below():
    strokes = by_hand([((5.0, 9.92), (45.0, 9.92), 0.35, 0.0)])
    wall = burn_walls("p", SQUARE, strokes, LAW).walls["low"]
    freed = np.isfinite(wall.back_mm[3])
    assert 2 < freed.sum() < 10
    np.testing.assert_array_equal(freed, np.arange(13) < freed.sum())
    assert not wall.through.any()


def test_density_and_thickness_count():
    strokes = by_hand([((5.0, 9.92), (45.0, 9.92), 0.9, 0.0)])
    hard = burn_walls("p", SQUARE, strokes, LAW, Hidden(density_ratio=1.3, thickness_mm=0.5)).walls["low"]
    energy = 20.0 * (0.9 - 0.05) / 0.95 / 10.0
    half = slit_half_width_mm(LAW, Passes(np.array([energy]), np.zeros(1)), np.linspace(0, 5.5, 13), 0.0, 1.3)
    expected = np.where(half > 0, half - 0.08 + 0.02, np.nan)
    assert hard.depths_mm[-1] == 5.5
    np.testing.assert_allclose(hard.back_mm[3], expected, atol=1e-7)


def _brute(one: Ready, hidden: Hidden, edges: list[str], stations: list[int], levels: list[int]) -> list[tuple[float, float]]:
    """(quick, brute force) back_mm of chosen places of the last setup's part."""
    slab = one.setups[-1].part_slab
    strokes = one.strokes(hidden)
    wall = burn_walls(one.part, slab, strokes, LAW, hidden).walls
    lines = section_part(one.part, slab, strokes, slab.thickness_mm + hidden.thickness_mm, QUICK)
    names = [edge.name for edge in slab.edges]
    found: list[tuple[float, float]] = []
    for name in edges:
        e = names.index(name)
        outward = lines.outward[[edge.name for edge in lines.edges].index(name)]
        for s in stations:
            for j in levels:
                drawn = drawn_mm(slab, wall[name].share, float(wall[name].depths_mm[j]))[e, s]
                best = np.inf
                for setup in one.setups:
                    if not any(op.kind.value in ("through", "ramp") for op in setup.operations):
                        continue
                    face = 0.0 if setup.entry_face.value == "show face" else -(slab.thickness_mm + hidden.thickness_mm)
                    best = min(best, front_mm(strokes, LAW, setup.number, drawn, outward, face, hidden.density_ratio))
                found.append((float(wall[name].back_mm[s, j]), LAW.char_mm - best))
    return found


def _names(one: Ready, place: Place) -> list[str]:
    return [edge.name for edge in one.setups[-1].part_slab.edges if edge.place is place and edge.role is not Role.DATUM]


SLOPPY = Hidden(density_ratio=1.1, thickness_mm=0.1, focus_mm=0.2, tilt_deg=0.1, placed_mm=(0.03, -0.02), turned_deg=0.03)


@pytest.mark.parametrize(
    ("wish", "constant", "hidden"),
    [
        ("ramp", True, Hidden()),
        ("ramp", False, SLOPPY),
        ("cradle", True, SLOPPY),
        ("box", True, SLOPPY),
        ("box from two faces", True, SLOPPY),
    ],
)
def test_walls_against_a_spot_that_moves_step_by_step(wish: str, constant: bool, hidden: Hidden):
    """Flanks, floors and tips, in the middle and where strokes end or turn, with power constant and following the speed: 2 um."""
    one = ready(wish, constant=constant)
    n_freed = 0
    for place, stations, levels in ((Place.FLANK, [0, 3, 6], [0, 4, 9, 12]), (Place.FLOOR, [0, 3], [1, 7, 11]), (Place.TIP, [3], [0, 8])):
        name = _names(one, place)[1]
        for quick, brute in _brute(one, hidden, [name], stations, levels):
            n_freed += np.isfinite(brute)
            assert quick == pytest.approx(brute, abs=2e-3) if np.isfinite(brute) else np.isnan(quick), (name, quick, brute)
    assert n_freed >= 9


def test_each_setup_takes_its_own_wood():
    """A box cut half from each face: near each face the wall is that face's, and nothing stays between."""
    one = ready("box from two faces")
    strokes, slab = one.strokes(), one.setups[0].part_slab
    lines = section_part("right", slab, strokes, slab.thickness_mm, QUICK)
    both = fronts_on(lines, strokes, LAW)
    alone = []
    for i in (0, 1):
        mine = replace(lines, setups=lines.setups[i : i + 1])
        alone.append(fronts_on(mine, strokes, LAW).front_mm)
    np.testing.assert_array_equal(both.front_mm, np.minimum(*alone))
    np.testing.assert_array_equal(both.made_by == 0, (alone[0] <= alone[1]) & np.isfinite(alone[0]))
    middle = next(i for i, edge in enumerate(lines.edges) if edge.place is Place.FLANK)
    assert [lines.setups[i].setup for i in both.made_by[middle, 3, [0, -1]]] == [one.setups[1].number, one.setups[0].number]


def test_wood_beside_a_joint_that_is_gone_is_looked_at_no_further():
    """A line straight through a part's own wood: the wall is told to stand back as far as is looked at, not less."""
    strokes = by_hand([((5.0, 10.0 + 0.05 * i), (45.0, 10.0 + 0.05 * i), 0.9, float(i)) for i in range(14)])
    wall = burn_walls("p", SQUARE, strokes, LAW).walls["low"]
    np.testing.assert_allclose(wall.back_mm[:, 0], 0.35 + 0.02, atol=0.021)


@pytest.mark.parametrize("wish", ["ramp", "cradle"])
def test_walls_answer_as_they_are_burnt(wish: str):
    """Each cause by a small step against a burn with that step: half of all places to 0.1 um, nine in ten to 0.6 um, which is what
    sharing alike stations costs a turned board. Places whose wall jumps from one stroke to the next are not straight."""
    one = ready(wish)
    slab = one.setups[-1].part_slab
    told = wall_response("right", slab, one.motions, one.setups, one.machine, LAW)
    base = backs(told.base)
    steps: dict[str, tuple[float, Any, Hidden]] = {}
    for each in fields(LAW):
        step = 0.002 * max(getattr(LAW, each.name), 0.1)
        changed: Any = {each.name: getattr(LAW, each.name) + step}
        steps[each.name] = (step, replace(LAW, **changed), Hidden())
    steps["density_ratio"] = (0.01, LAW, Hidden(density_ratio=1.01))
    steps["thickness_mm"] = (0.02, LAW, Hidden(thickness_mm=0.02))
    steps["focus_mm"] = (0.02, LAW, Hidden(focus_mm=0.02))
    steps["tilt_deg"] = (0.05, LAW, Hidden(tilt_deg=0.05))
    steps["placed_x_mm"] = (0.01, LAW, Hidden(placed_mm=(0.01, 0.0)))
    steps["placed_y_mm"] = (0.01, LAW, Hidden(placed_mm=(0.0, 0.01)))
    steps["turned_deg"] = (0.01, LAW, Hidden(turned_deg=0.01))
    assert set(steps) == set(told.per_unit)
    silent = {cause for cause, change in told.per_unit.items() if not any(each.any() for each in change.values())}
    assert silent == {"density_power", "tilt_deg" if wish == "ramp" else "rayleigh_mm"}  # no power of 1; no cradle; no field
    for cause, (step, law, hidden) in steps.items():
        burnt = burn_walls("right", slab, one.strokes(hidden), law, hidden)
        straight = base + step * np.concatenate([each.ravel() for each in told.per_unit[cause].values()])
        off = np.abs(backs(burnt) - straight)
        off = off[np.isfinite(off)]
        assert np.quantile(off, 0.9) < 6e-4, cause
        assert np.median(off) < 1e-4, cause


def test_who_made_each_place_is_told():
    one = ready("cradle")
    told = wall_response("right", one.setups[-1].part_slab, one.motions, one.setups, one.machine, LAW)
    made = np.concatenate([each.ravel() for each in told.made_by.values()])
    np.testing.assert_array_equal(made == 0, np.isnan(backs(told.base)))
    assert set(np.unique(made)) - {0} == {setup.number for setup in one.setups if setup.tilt_deg}


def test_more_stations_and_depths_find_the_same_walls():
    """Stations are where they were among more of them (7 of 21: every third), levels too: to what sharing alike stations costs."""
    one = ready("ramp")
    slab, strokes = one.setups[-1].part_slab, one.strokes()
    few, many = burn_walls("right", slab, strokes, LAW), burn_walls("right", slab, strokes, LAW, grid=Grid(21, 25))
    for name, wall in few.walls.items():
        np.testing.assert_allclose(many.walls[name].share[1::3], wall.share, atol=1e-12)
        np.testing.assert_allclose(many.walls[name].back_mm[1::3, ::2], wall.back_mm, atol=1.5e-3)

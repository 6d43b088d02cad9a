"""What spreading the ramps wins on a real plan, and that it burns the same strokes under the same rules."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pytest

from kerfwright.export.formats.rs274 import program_text
from kerfwright.export.program_reader import read_program
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.part_plan import plan_part
from kerfwright.plan.timing import setup_time
from kerfwright.process.moves import Burn, moves_of
from kerfwright.process.operation import OperationKind
from kerfwright.process.setup import Setup
from kerfwright.simulate.cooler import order_gain, program_of
from kerfwright.simulate.heat import plate_of
from kerfwright.simulate.motion import motion_of
from kerfwright.simulate.strokes import laid, strokes_of
from kerfwright.simulate.walls import burn_walls
from kerfwright.wood.species import find_species
from plan.plan_samples import BOX, DOVETAIL, bench, machine
from simulate.heat_samples import LAW


def setups(order: str, part: str = "right", **changes: Any) -> tuple[Setup, ...]:
    return plan_part(bench(part, order=order, **changes)).setups


def burns(setup: Setup) -> list[Burn]:
    return [move for move in moves_of(setup, machine()) if isinstance(move, Burn)]


def key(burn: Burn) -> tuple[object, ...]:
    return (burn.operation, burn.power_frac, burn.speed_mm_s, tuple(burn.points_mm.ravel().round(6)))


DRAWN, SPREAD = (setups(order)[0] for order in ("as drawn", "spread"))


def test_spread_is_the_default():
    assert PlanOptions().order == "spread"


def test_the_same_strokes_are_burnt_as_often():
    assert Counter(map(key, burns(SPREAD))) == Counter(map(key, burns(DRAWN)))
    assert [op.name for op in SPREAD.operations] == [op.name for op in DRAWN.operations]


def test_every_line_is_burnt_once_before_any_is_burnt_again():
    ramps = next(op for op in SPREAD.operations if op.kind is OperationKind.RAMP)
    n = len(ramps.paths)
    places = [key(burn)[3] for burn in burns(SPREAD) if burn.operation == ramps.name]
    flat = [tuple(place[i] for i in range(len(place)) if i % 3 != 2) for place in places]  # type: ignore[arg-type]
    assert len(flat) == n * len(ramps.passes)
    for k in range(len(ramps.passes)):
        assert len(set(flat[k * n : (k + 1) * n])) == n


def test_what_frees_the_part_still_comes_last():
    kinds = [op.kind for op in SPREAD.operations]
    assert SPREAD.operations[-1].name == "tips"
    assert kinds.index(OperationKind.ENGRAVE) < kinds.index(OperationKind.THROUGH) < kinds.index(OperationKind.RAMP) < len(kinds) - 1


def test_the_hottest_place_of_a_ramped_board_falls_by_two_fifths_for_little_time():
    plate = plate_of(find_species("sugar maple"), None, DRAWN.board_size_mm)
    gain = order_gain([DRAWN], machine(), plate, LAW)
    time_s = motion_of(program_of(DRAWN, machine()), machine()).total_s
    assert gain.share > 0.4
    assert 0 <= gain.added_s < 0.08 * time_s
    again = order_gain([SPREAD], machine(), plate, LAW)
    assert (again.share, again.added_s) == (0.0, pytest.approx(0.0, abs=1e-9))
    assert again.now_warmth == pytest.approx(gain.spread_warmth)


def test_square_boards_have_nothing_to_spread():
    plate = plate_of(find_species("sugar maple"), None, DRAWN.board_size_mm)
    gain = order_gain(setups("as drawn", joint=BOX), machine(), plate, LAW)
    assert gain.share == 0.0
    assert gain.now_warmth == gain.spread_warmth > 0


@pytest.mark.parametrize(("joint", "part", "walls"), [(DOVETAIL, "right", "ramp"), (BOX, "front", "auto"), (DOVETAIL, "right", "cradle")])
def test_planned_time_is_the_time_of_the_program_read_back(joint: dict[str, object], part: str, walls: str):
    """Within 0.1 %: the plan's times, from moves, against the machine's motion over the program's own words."""
    planned = plan_part(bench(part, joint, walls=walls)).setups
    for setup in planned:
        told = setup_time(setup, machine())
        program = read_program(program_text(setup, machine()))
        motion = motion_of(program, machine())
        assert motion.total_s == pytest.approx(told.burn_s + told.travel_s, rel=1e-3)
        assert motion.took_s.sum() == pytest.approx(told.burn_s, rel=1e-3)
        direct = laid([motion_of(program_of(setup, machine()), machine())], [setup], machine())
        read = strokes_of([program], [setup], machine())
        assert direct.entry_mm == pytest.approx(read.entry_mm, abs=2e-4)
        assert direct.power_frac == pytest.approx(read.power_frac, abs=6e-4)
        assert direct.begin_s == pytest.approx(read.begin_s, rel=1e-3, abs=1e-2)


def test_every_wall_stands_where_it_stood():
    """Each place meets the same lines in the same order, so the burn law, which knows no warmth, burns the same walls."""
    drawn, spread = (
        burn_walls("right", each.part_slab, laid([motion_of(program_of(each, machine()), machine())], [each], machine()), LAW)
        for each in (DRAWN, SPREAD)
    )
    assert drawn.walls.keys() == spread.walls.keys()
    assert any(np.isfinite(wall.back_mm).any() for wall in drawn.walls.values())
    for name, wall in drawn.walls.items():
        np.testing.assert_array_equal(wall.back_mm, spread.walls[name].back_mm)

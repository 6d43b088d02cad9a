"""Programs taken from moves against the same programs written and read back, number by number."""

from __future__ import annotations

import numpy as np
import pytest

from external.ideal_shop import CASES, design_and_boards, machine, recipe
from kerfwright.core.document import build
from kerfwright.export.formats.rs274 import program_text
from kerfwright.export.program_moves import program_of
from kerfwright.export.program_reader import read_program
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import plan_job

NUMBERS = ("laser_on", "power_s", "feed_mm_s", "rapid", "power_mode")


@pytest.mark.parametrize("name", CASES)
def test_it_is_what_the_text_says(name: str):
    """Every move's ends to the last bit, power, feed, mode, and where the program stops."""
    wish = CASES[name]
    design, boards = design_and_boards(wish)
    recipes = dict.fromkeys(boards, wish["recipe"] or recipe())
    shop = wish["machine"] or machine()
    job = plan_job(design, shop, boards, recipes, build(wish["burn"], PlanOptions, "burn"))
    for setup in job.setups:
        short, whole = program_of(setup, shop), read_program(program_text(setup, shop))
        assert (short.modes, short.ended, short.laser_on_at_end) == (whole.modes, whole.ended, whole.laser_on_at_end)
        assert [(each.after, each.laser_on) for each in short.pauses] == [(each.after, each.laser_on) for each in whole.pauses]
        assert len(short.segments) == len(whole.segments) > 0
        for one, other in zip(short.segments, whole.segments, strict=True):
            np.testing.assert_array_equal([one.start_mm, one.end_mm], [other.start_mm, other.end_mm])
            assert [getattr(one, each) for each in NUMBERS] == [getattr(other, each) for each in NUMBERS]

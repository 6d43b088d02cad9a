"""Motion read back from programs: the plan's own times, and which strokes follow or flank which."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.export.program_reader import read_program
from kerfwright.plan.timing import setup_time
from kerfwright.simulate.motion import motion_of
from simulate.burn_samples import WISHES, machine, ready

HEAD = "%\nG21 G90 G94 G17\nM5\n"
TAIL = "M5\nM2\n%\n"


def _motion(body: str, **changes: str):
    return motion_of(read_program(HEAD + body + TAIL), machine(acceleration="1000 mm/s2", top_speed="100 mm/s", **changes))


@pytest.mark.parametrize("wish", sorted(WISHES))
def test_the_program_takes_as_long_as_the_plan_says(wish: str):
    """Read back from the text, where places are rounded to 0.1 um, against the plan's own moves."""
    one = ready(wish)
    for setup, motion in zip(one.setups, one.motions, strict=True):
        planned = setup_time(setup, one.machine)
        assert motion.total_s == pytest.approx(planned.burn_s + planned.travel_s, rel=2e-5)
        assert motion.took_s.sum() == pytest.approx(planned.burn_s, rel=2e-5)


def test_f8_times_and_speeds():
    """HANDBOOK F8: 100 mm at 50 mm/s and 1000 mm/s2 takes 2.05 s; here after a travel of 1 mm at 100 mm/s, 0.0632456 s."""
    motion = _motion("G0 X1 Y0 Z0\nM3 S500\nG1 X101 Y0 F3000\n")
    assert motion.begin_s[0] == pytest.approx(0.0632456, abs=5e-8)
    assert motion.took_s[0] == pytest.approx(2.05, abs=1e-9)
    assert (motion.in_mm_s[0], motion.out_mm_s[0]) == (0.0, 0.0)
    assert not motion.scaled[0]


def test_a_gentle_bend_is_taken_at_speed_and_a_corner_is_not():
    """Along 2 mm, then bent by 5.7 deg, then a right angle: speed at 2 mm is sqrt(2 a s) = 63.2, above the 50 told."""
    motion = _motion("G0 X0 Y1 Z0\nM4 S500\nG1 X2 Y1 F3000\nG1 X4 Y1.2\nG1 X4 Y9\n")
    assert motion.scaled.all()
    np.testing.assert_allclose(motion.in_mm_s, [0, 50, 0], atol=1e-9)
    np.testing.assert_allclose(motion.out_mm_s, [50, 0, 0], atol=1e-9)
    np.testing.assert_allclose(motion.begin_s[1:], motion.begin_s[:-1] + motion.took_s[:-1])


def test_power_and_pauses_make_the_head_stop():
    straight = _motion("G0 X0 Y0 Z0\nM3 S500\nG1 X5 Y0 F600\nG1 X10 Y0\n")
    assert straight.out_mm_s[0] == 10
    changed = _motion("G0 X0 Y0 Z0\nM3 S500\nG1 X5 Y0 F600\nM3 S300\nG1 X10 Y0\n")
    assert changed.out_mm_s[0] == 0
    paused = _motion("M3 S500\nG1 X5 Y0 F600\nM0\nG1 X10 Y0\n")
    assert paused.out_mm_s[0] == 0
    assert paused.total_s == pytest.approx(2 * (0.5 + 0.01))  # the pause itself costs nothing
    np.testing.assert_array_equal(changed.power_s, [500, 300])


def test_moves_in_the_dark_burn_nothing():
    assert len(_motion("G0 X5 Y0 Z0\nM3 S0\nG1 X9 Y0 F600\nM5\nG1 X3 Y3 F600\n").took_s) == 0
    nothing = _motion("")
    assert (nothing.total_s, len(nothing.took_s)) == (0.0, 0)


def test_passes_and_neighbours():
    """Three lines at 0.06 mm, then the first again backwards, then one across: only what was burnt before counts."""
    lines = "".join(f"G0 X0 Y{y} Z0\nM3 S500\nG1 X8 Y{y} F600\nM5\n" for y in (1, 1.06, 1.2))
    motion = _motion(lines + "G0 X8 Y1 Z0\nM3 S500\nG1 X0 Y1 F600\nM5\nG0 X4 Y0 Z0\nM3 S500\nG1 X4 Y3 F600\n")
    np.testing.assert_array_equal(motion.again, [0, 0, 0, 1, 0])
    np.testing.assert_allclose(motion.beside_mm, [np.inf, 0.06, 0.14, 0.06, np.inf])


def test_lines_that_only_follow_each_other_are_not_side_by_side():
    motion = _motion("G0 X0 Y1 Z0\nM3 S500\nG1 X4 Y1 F600\nM5\nG0 X5 Y1.05 Z0\nM3 S500\nG1 X9 Y1.05 F600\n")
    assert np.isinf(motion.beside_mm).all()

"""The check before writing: every rule has a program that breaks it alone."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from format_samples import machine, setup, setups
from kerfwright.core.errors import InputError, SelfCheckError
from kerfwright.core.pose import shift
from kerfwright.export.formats.rs274 import program_text
from kerfwright.export.program_check import check_program
from kerfwright.export.program_reader import read_program
from kerfwright.export.wording import number
from kerfwright.process.operation import Pass


@pytest.mark.parametrize("which", setups())
def test_our_programs_pass(which: str) -> None:
    check_program(program_text(setups()[which], machine()), setups()[which], machine())


def swap(old: str, new: str, count: int = 1) -> Callable[[str], str]:
    return lambda text: text.replace(old, new, count)


@pytest.mark.parametrize(("spoil", "reason"), [
    (swap("G21 ", ""), "G21 is missing"), (swap("G90 ", ""), "G90 is missing"), (swap("G94 ", ""), "G94 is missing"),
    (swap(" G17", ""), "G17 is missing"), (swap("G21", "G20"), "G20 is not a word of ours"),
    (swap("M5\nM2\n", "M5\n"), "no end word"), (swap("M5\nM2", "M2"), "still on at the end"),
    (swap("M2\n", "M2\nG0 X1\n"), "follows the end word"),
    (swap("M5\nM0", "M0"), "on at a pause"), (lambda text: re.sub(r"\(MSG.*\n", "", text), "does not say what to do"),
    (lambda text: text.replace("M5\nG0", "G0"), "on during a travel"),
    (swap("M3 S250\n", ""), "off along a cut"), (swap("M3 S250", "M4 S250"), "speed-scaled mode"),
    (swap(" F3600", ""), "without a feed"), (swap(" F3600", " F0"), "without a feed"), (swap("F3600", "F20000"), "top speed"),
    (swap("S250", "S1001"), "outside 0 to 1000"), (swap("S250", "S251"), "S is not the power"),
    (swap("F3600", "F3599"), "F is not the speed"),
    (swap("G1 X81.25 Y76.5", "G1 X400.01 Y76.5"), "outside the bed"), (swap("G0 X81.25 Y70.5", "G0 X81.25 Y-0.01"), "outside the bed"),
    (swap("Z0.5", "Z60"), "out of reach"), (swap("Z-1", "Z-11"), "out of reach"),
    (swap("X85.25 Y70.5", "X85.2511 Y70.5"), "more than 1 um"), (swap("Z0.5", "Z0.502"), "more than 1 um"),
    (swap("M3 S250\nG1 X81.25 Y76.5 F3600\n", "M3 S250\n"), "without a feed"),
    (swap("G1 X85.25 Y70.5\n", ""), "makes .* moves"),
    (lambda text: re.sub(r"\(MSG.*\n(\(MSG.*\n)?M5\nM0\n", "", text), "pauses are not"),
    (swap("G1 X85.25", "G1 Xnan"), "cannot be read"), (swap("X85.25", "X8e1"), "cannot be read"),
    (swap("X85.25", "X85.25 X85.25"), "two words"),
    (swap("S250", "S-250"), "negative"), (swap("(File", "((File"), "cannot be read"), (swap("%\n", ""), "between two %"),
    (swap("G1 X85.25", "G3 X85.25"), "G3 is not a word"), (swap("M5", "M7"), "M7 is not a word"),
    (swap("M3 S250\n", "M5\nG0 X81.25 Y70.5\nM3 S250\n"), "makes .* moves"),
])
def test_a_spoilt_program_is_refused(spoil: Callable[[str], str], reason: str) -> None:
    one = setup()
    text = program_text(one, machine())
    spoilt = spoil(text)
    assert spoilt != text
    with pytest.raises(SelfCheckError, match=reason) as caught:
        check_program(spoilt, one, machine())
    assert "setup 2" in str(caught.value)
    assert caught.value.exit_code == 70


def test_laser_state_that_swaps_places_is_seen() -> None:
    """A travel and a cut exchanged keep the count of moves, the ends and the modes."""
    one = setup(ops=(setup().operations[0],))
    text = program_text(one, machine())
    spoilt = text.replace("G1 X81.25 Y76.5 F3600\n", "M5\nG0 X81.25 Y76.5\nM3 S250\n")
    spoilt = spoilt.replace("G1 X85.25 Y70.5\n", "G1 X85.25 Y70.5 F3600\n")
    with pytest.raises(SelfCheckError, match="on or off where"):
        check_program(spoilt, one, machine())


def test_a_board_off_the_bed_is_refused() -> None:
    off = setup(shift(300.0, 42.5, 6.0))
    with pytest.raises(SelfCheckError, match="outside the bed, 400 x 300 mm"):
        check_program(program_text(off, machine()), off, machine())


def test_a_focus_that_would_drive_the_head_into_the_bed_is_refused() -> None:
    one = setup()
    deep = replace(one, operations=(replace(one.operations[0], passes=(Pass(-11.0),)),))  # 6 mm board, 5 mm of gap
    with pytest.raises(SelfCheckError, match="would touch the bed"):
        check_program(program_text(deep, machine()), deep, machine())


def test_reader_gives_segments_and_pauses() -> None:
    program = read_program("%\nG21 G90 G94 G17\nM5\nG0 X1 Y2 Z.5\nM3 S400\nG1 X3 Y2 F120\nX4\n"
                           "(MSG, turn)\n(MSG, the board)\nM5\nM0\nM5\nM2\n%\n")
    travel, cut, more = program.segments
    assert travel.rapid
    assert not travel.laser_on
    np.testing.assert_array_equal(travel.start_mm, [0, 0, 0])
    np.testing.assert_array_equal(cut.start_mm, [1, 2, 0.5])
    np.testing.assert_array_equal(cut.end_mm, [3, 2, 0.5])
    assert (cut.laser_on, cut.power_mode, cut.power_s, cut.feed_mm_s, cut.line_number) == (True, "constant", 400, 2.0, 6)
    np.testing.assert_array_equal(more.end_mm, [4, 2, 0.5])
    pause, = program.pauses
    assert (pause.message, pause.after, pause.laser_on, pause.line_number) == ("turn the board", 3, False, 11)
    assert (program.ended, program.laser_on_at_end) == (True, False)
    assert program.modes == {"G17", "G21", "G90", "G94"}


def test_reader_names_the_line() -> None:
    with pytest.raises(InputError, match='line 3: "X" cannot be read'):
        read_program("%\nG21\nX\n%\n")


@pytest.mark.parametrize(("value", "text"), [
    (0.0, "0"), (-0.00001, "0"), (1.00004, "1"), (-12.3456, "-12.3456"), (1e5, "100000"), (100.0, "100")])
def test_numbers(value: float, text: str) -> None:
    assert number(value) == text

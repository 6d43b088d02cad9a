"""Our programs under an independent interpreter of the published language (see rs274_interpreter.py)."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from external.rs274_interpreter import Rs274Error, Run, interpret
from format_samples import job, machine, setup, setups
from kerfwright.core.pose import shift
from kerfwright.export.formats.rs274 import EXPORTER, plain_ascii, program_text
from kerfwright.export.program_check import check_program
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind, Pass
from kerfwright.process.setup import Setup

MACHINES = {"motorised": machine(), "by hand": machine(z="by hand"), "scaled": machine(power_mode="speed-scaled", s_full=255)}


def wanted_strokes(one: Setup) -> list[tuple[np.ndarray, float, float]]:
    """Every stroke the setup asks for, straight from its operations: (points (n, 3), power, speed)."""
    strokes = []
    for op in one.operations:
        for each in op.passes:
            for path in op.paths:
                matrix = one.bed_from_board.matrix
                bed = np.array([matrix @ [*point, 1.0] for point in path.points_mm])[:, :3]
                gauge_z = (matrix @ [*one.gauge_board_mm, 1.0])[2]
                bed[:, 2] = (bed[:, 2] - gauge_z if op.level_mm is None else op.level_mm) + each.focus_mm
                strokes.append((bed, path.power_frac, op.speed_mm_s))
    return strokes


def burnt_strokes(run: Run) -> list[tuple[np.ndarray, float, float]]:
    """Runs of motions with the laser on: (points, S, feed)."""
    strokes: list[tuple[list[tuple[float, float, float]], float, float]] = []
    fresh = True
    for motion in run.motions:
        if motion.laser == "off":
            fresh = True
            continue
        if fresh:
            strokes.append(([motion.start], motion.s, motion.feed))
        assert (motion.s, motion.feed) == strokes[-1][1:]
        strokes[-1][0].append(motion.end)
        fresh = False
    return [(np.array(points), s, feed) for points, s, feed in strokes]


# A person cannot follow a tilted board by hand: there the plan gives levels instead.
@pytest.mark.parametrize(("which", "kind"), [(w, k) for w in setups() for k in MACHINES if (w, k) != ("tilted", "by hand")])
def test_program_does_what_the_setup_asks(which: str, kind: str) -> None:
    one, the_machine = setups()[which], MACHINES[kind]
    run = interpret(program_text(one, the_machine, "hard maple"))
    assert run.ended_by == "M2"
    assert run.laser == "off"
    assert run.said == {"units", "distance", "feed mode", "plane"}
    for motion in run.motions:
        assert motion.laser == ("off" if motion.rapid else the_machine.power_mode)
        x_mm, y_mm, _ = motion.end
        assert 0 <= x_mm <= 400
        assert 0 <= y_mm <= 300
    assert all(stop.laser == "off" for stop in run.stops)
    wanted, burnt = wanted_strokes(one), burnt_strokes(run)
    assert len(wanted) == len(burnt)
    for (points, power, speed), (found, s, feed) in zip(wanted, burnt, strict=True):
        assert points.shape == found.shape
        assert np.abs(points - found).max() < 0.001
        assert s == round(power * the_machine.s_full)
        assert feed == pytest.approx(speed * 60, rel=1e-6)


def test_pauses_say_what_to_do() -> None:
    run = interpret(program_text(setups()["flat"], machine()))
    assert [" ".join(stop.messages) for stop in run.stops] == [
        "Check that no scrap stands proud [blow the offcuts away: 3 deg C is fine.]"]
    by_hand = interpret(program_text(setups()["flat"], machine(z="by hand")))
    first = next(stop for stop in by_hand.stops)
    assert " ".join(first.messages) == "set the focus 0.5 mm above the gauge point"
    assert {motion.end[2] for motion in by_hand.motions[:first.after]} == {0.0}
    assert by_hand.motions[first.after].end[2] == 0.5


def test_every_line_is_ascii_and_short_and_says_where_zero_is() -> None:
    for file in EXPORTER.files(job()):
        text = file.data.decode("ascii")
        assert text.startswith("%\n")
        assert text.endswith("M5\nM2\n%\n")
        assert max(map(len, text.splitlines())) < 80
        assert not re.search(r"[^\n -~]", text)
        assert "nan" not in text.lower()
        assert "inf" not in text.lower()
        assert not re.search(r"-0(?![.\d])", text)
        assert re.search(r"^\(Z 0 = ", text, re.M)
        assert re.search(r"^\(Machine: Bench 20", text, re.M)


def test_one_program_a_setup_and_the_same_twice() -> None:
    first, second = list(EXPORTER.files(job())), list(EXPORTER.files(job()))
    assert [file.path for file in first] == [f"setups/{each.number:02d}-{each.name}.ngc" for each in setups().values()]
    assert [file.data for file in first] == [file.data for file in second]


def test_header_gives_the_gauge_point_in_bed_coordinates() -> None:
    text = program_text(setup(), machine())
    # 31.25 + 10, 42.5 + 8, and the board's top 6 mm over the bed.
    assert "(Z 0 = the focus gauge set on the point X 41.25 Y 50.5 of the bed, 6 mm)\n(above the bed)" in text


def test_comments_are_plain() -> None:
    assert plain_ascii("Größe (6 × 4) – 1:8 ± 0,1° ~5 %!") == "Grosse [6 x 4] - 1:8 +- 0,1 deg -5 percent."


# --- the interpreter itself, against what the report says ---------------------------------------------------------

def test_words_may_be_spaced_and_in_any_case() -> None:
    # Report, section 3.3: "g0x +0. 12 34y 7" is the same as "g0 x+0.1234 y7".
    run = interpret("g21 g90\ng0x +0. 12 34y 7\nm2")
    assert run.motions[0].end == (0.1234, 7.0, 0.0)


def test_units_distance_and_modal_motion() -> None:
    run = interpret("%\nN10 G20 G91\nF10\nG1 X1 S5 M3\nX1 (stays G1) Y-.5\nG21 G90 X1\nM5 M30\n%\nnot read")
    assert [motion.end for motion in run.motions] == [(25.4, 0, 0), (50.8, -12.7, 0), (1, -12.7, 0)]
    assert {motion.feed for motion in run.motions} == {254.0}  # F10 came in inches a minute
    assert {motion.laser for motion in run.motions} == {"constant"}  # S and M3 come before motion in table 8
    assert run.ended_by == "M30"


def test_stopping_comes_last_on_a_line() -> None:
    run = interpret("G21 G90 F60\nG1 X5 M3 S9 M0\nM2")
    assert run.stops[0].after == 1
    assert run.stops[0].laser == "constant"


@pytest.mark.parametrize(("program", "reason"), [
    ("G21\nG0 G1 X1\nM2", "two words of the group motion"), ("G21\nM3 M5\nM2", "two words of the group spindle"),
    ("G20 G21\nM2", "two words of the group units"), ("G21\nX1\nM2", "no motion mode"), ("G21\nG1 X1\nM2", "feed 0"),
    ("G0 X1\nM2", "before the units"), ("G21\nG0 X1 X2\nM2", "two X words"), ("G21\nG0 X1e3\nM2", "the word E is not supported"),
    ("G21\nG0 Xnan\nM2", "no number after X"), ("G21 (a (b)\nM2", "nested"), ("G21 (a\nM2", "open"), ("G21 a)\nM2", "closed"),
    ("G21\nG2 X1\nM2", "not supported"), ("G21\nG33\nM2", "unknown G33"), ("G21\nG0 X1", "ends without"), ("%\nM2", "second one"),
    ("G21\nF-1\nM2", "negative F"), ("G21\n" + "S1" + " " * 260 + "\nM2", "256"), ("G21\nG0 X1 N3\nM2", "comes first"),
])
def test_interpreter_refuses(program: str, reason: str) -> None:
    with pytest.raises(Rs274Error, match=reason):
        interpret(program)


@pytest.mark.parametrize(("spoil", "seen"), [
    (lambda text: text.replace("M5\nG0", "G0", 9), lambda run: any(m.rapid and m.laser != "off" for m in run.motions)),
    (lambda text: text.replace("M5\nM0", "M0"), lambda run: any(stop.laser != "off" for stop in run.stops)),
    (lambda text: text.replace("M5\nM2", "M2"), lambda run: run.laser != "off"),
    (lambda text: text.replace("X149.25", "X449.25"), lambda run: max(m.end[0] for m in run.motions) > 400),
])
def test_the_proof_sees_a_spoilt_program(spoil: Callable[[str], str], seen: Callable[[Run], bool]) -> None:
    text = program_text(setup(), machine())
    assert spoil(text) != text
    assert not seen(interpret(text))
    assert seen(interpret(spoil(text)))


def test_powers_fall_along_the_ramp_in_the_program() -> None:
    one = setup()
    run = interpret(program_text(one, machine()))
    slopes = [stroke for stroke in burnt_strokes(run) if math.isclose(stroke[2], 2400)]
    n_lines = 12
    assert len(slopes) == 2 * 2 * 3 * 2 * n_lines  # layers, ends, sockets, flanks
    assert [s for _, s, _ in slopes[:n_lines]] == [round(1000 * (0.8 * (1 - i / n_lines) + 0.05)) for i in range(n_lines)]


COORDINATE = st.floats(0, 300, allow_subnormal=False)


@given(st.lists(st.lists(st.tuples(COORDINATE, COORDINATE), min_size=2, max_size=5), min_size=1, max_size=4),
       st.floats(0.001, 1), st.floats(0.05, 300), st.lists(st.floats(-4, 20), min_size=1, max_size=3))
def test_any_strokes_on_the_bed_come_back(strokes: list[list[tuple[float, float]]], power: float, speed: float, foci: list[float]) -> None:
    paths = tuple(BeamPath(np.array([(x, y, 0.0) for x, y in stroke]), power, 1.0) for stroke in strokes)
    op = CutOperation("any", "any", OperationKind.THROUGH, paths, speed, tuple(map(Pass, foci)))
    one = setup(shift(0.0, 0.0, 6.0), ops=(op,))
    text = program_text(one, machine())
    check_program(text, one, machine())
    wanted, burnt = wanted_strokes(one), burnt_strokes(interpret(text))
    assert len(wanted) == len(burnt)
    for (points, share, _), (found, s, feed) in zip(wanted, burnt, strict=True):
        assert np.abs(points - found).max() < 0.0001
        assert s == round(share * 1000)
        assert feed == pytest.approx(speed * 60, abs=1e-4)

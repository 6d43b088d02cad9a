"""Read a program again before it is handed out, and refuse it unless it does exactly what the setup asks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError, SelfCheckError
from kerfwright.export.program_reader import MODE_WORDS, Program, ProgramSegment, read_program
from kerfwright.machine.machine import Machine
from kerfwright.process.moves import Burn, Pause, moves_of
from kerfwright.process.setup import Setup

Array = NDArray[np.float64]

SAME_PLACE_MM = 0.001
SAME_FEED_MM_S = 1e-5
EDGE_SLACK_MM = 0.001  # a path on the bed's very edge may round outward


@dataclass(frozen=True, eq=False)
class _Wanted:
    """What moves_of asks for, as the program should read. ends_mm: (n, 3); power_s 0 and feed 0 on a travel."""

    ends_mm: Array
    laser_on: NDArray[np.bool_]
    power_s: Array
    feed_mm_s: Array
    pauses_after: list[int]


def check_program(text: str, setup: Setup, machine: Machine) -> None:
    """Raise SelfCheckError unless the program is complete, in bounds, dark where it must be and true to the setup."""
    try:
        program = read_program(text)
    except InputError as bad:
        raise _fault(setup, str(bad)) from bad
    for complaint in (_modes(program), _ending(program), _pauses(program)):
        if complaint:
            raise _fault(setup, complaint)
    for segment in program.segments:
        complaint = _words(segment, machine) or _place(segment, setup, machine)
        if complaint:
            raise _fault(setup, f"line {segment.line_number}: {complaint}")
    complaint = _same(program, _wanted(setup, machine))
    if complaint:
        raise _fault(setup, complaint)


def _fault(setup: Setup, what: str) -> SelfCheckError:
    return SelfCheckError(what, remedy="Nothing was written; please report this with the piece file",
                          where=f"program of setup {setup.number} ({setup.title})")


def _modes(program: Program) -> str:
    missing = sorted(MODE_WORDS - program.modes)
    return f"{', '.join(missing)} is missing before the first move" if missing else ""


def _ending(program: Program) -> str:
    if not program.ended:
        return "there is no end word M2"
    return "the laser is still on at the end" if program.laser_on_at_end else ""


def _pauses(program: Program) -> str:
    for pause in program.pauses:
        if pause.laser_on:
            return f"line {pause.line_number}: the laser is on at a pause"
        if not pause.message:
            return f"line {pause.line_number}: a pause does not say what to do"
    return ""


def _words(segment: ProgramSegment, machine: Machine) -> str:
    if segment.rapid:
        return "the laser is on during a travel" if segment.laser_on else ""
    if not segment.laser_on:
        return "the laser is off along a cut"
    if segment.power_mode != machine.power_mode:
        return f"the laser is on in {segment.power_mode} mode, the machine wants {machine.power_mode}"
    if segment.feed_mm_s <= 0:
        return "a cut without a feed"
    if segment.feed_mm_s > machine.top_speed_mm_s + SAME_FEED_MM_S:
        return f"a feed of {segment.feed_mm_s:g} mm/s is above the machine's top speed, {machine.top_speed_mm_s:g} mm/s"
    if not 0 <= segment.power_s <= machine.s_full:
        return f"S{segment.power_s:g} lies outside 0 to {machine.s_full}"
    return ""


def _place(segment: ProgramSegment, setup: Setup, machine: Machine) -> str:
    """Both ends must lie over the bed; a straight line between them then does too. The first start is unknown."""
    x_mm, y_mm, z_mm = segment.end_mm
    inside_x = -EDGE_SLACK_MM <= x_mm <= machine.bed_x_mm + EDGE_SLACK_MM
    inside_y = -EDGE_SLACK_MM <= y_mm <= machine.bed_y_mm + EDGE_SLACK_MM
    if not (inside_x and inside_y):
        return f"X{x_mm:g} Y{y_mm:g} lies outside the bed, {machine.bed_x_mm:g} x {machine.bed_y_mm:g} mm"
    height_mm = z_mm + setup.gauge_height_mm
    if not -machine.head.gap_mm < height_mm <= machine.height_mm + EDGE_SLACK_MM:
        return (f"the focus at {height_mm:g} mm over the bed is out of reach: above {-machine.head.gap_mm:g} "
                f"and up to {machine.height_mm:g} mm, or the head would touch the bed or run out of height")
    return ""


def _wanted(setup: Setup, machine: Machine) -> _Wanted:
    ends: list[Array] = []
    laser_on: list[bool] = []
    power_s: list[float] = []
    feed_mm_s: list[float] = []
    pauses_after: list[int] = []
    for move in moves_of(setup, machine):
        if isinstance(move, Pause):
            pauses_after.append(len(laser_on))
            continue
        burning = isinstance(move, Burn)
        points = move.points_mm[1:] if isinstance(move, Burn) else move.to_mm[None, :]
        ends.append(points)
        laser_on += [burning] * len(points)
        power_s += [round(move.power_frac * machine.s_full) if isinstance(move, Burn) else 0.0] * len(points)
        feed_mm_s += [move.speed_mm_s if isinstance(move, Burn) else 0.0] * len(points)
    return _Wanted(np.concatenate(ends) if ends else np.zeros((0, 3)), np.array(laser_on, dtype=bool),
                   np.array(power_s), np.array(feed_mm_s), pauses_after)


def _same(program: Program, wanted: _Wanted) -> str:
    """Compare move by move: order, place, laser, power, feed and pauses."""
    segments = program.segments
    if len(segments) != len(wanted.laser_on):
        return f"the program makes {len(segments)} moves, the setup asks for {len(wanted.laser_on)}"
    if [pause.after for pause in program.pauses] != wanted.pauses_after:
        return "the pauses are not where the setup asks for them"
    if not segments:
        return ""
    laser_on = np.array([segment.laser_on for segment in segments])
    checks = (
        ("the laser is on or off where the setup asks for the other", laser_on != wanted.laser_on),
        ("a move ends more than 1 um from where the setup asks",
         np.linalg.norm(np.array([segment.end_mm for segment in segments]) - wanted.ends_mm, axis=1) > SAME_PLACE_MM),
        ("S is not the power the setup asks for",
         wanted.laser_on & (np.array([segment.power_s for segment in segments]) != wanted.power_s)),
        ("F is not the speed the setup asks for",
         wanted.laser_on & (np.abs(np.array([segment.feed_mm_s for segment in segments]) - wanted.feed_mm_s) > SAME_FEED_MM_S)),
    )
    for complaint, wrong in checks:
        if np.any(wrong):
            return f"line {segments[int(np.argmax(wrong))].line_number}: {complaint}"
    return ""

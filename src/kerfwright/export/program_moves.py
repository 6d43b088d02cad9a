"""A setup's program as it would be read back from its text, without the text: for verdicts while a piece is being edited.

A test holds it to ``read_program(program_text(setup, machine))``, number by number; what is sent to a machine is always text.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.export.program_reader import MODE_WORDS
from kerfwright.machine.machine import Machine
from kerfwright.process.moves import Burn, Move, Pause, moves_of
from kerfwright.process.program import Program, ProgramPause, ProgramSegment
from kerfwright.process.setup import Setup

Array = NDArray[np.float64]

DECIMALS = 4  # of a coordinate and a feed in the text
NEARLY = 1e-6


def program_of(setup: Setup, machine: Machine) -> Program:
    """The program of one setup; line numbers are 0, and a pause has no message."""
    segments: list[ProgramSegment] = []
    pauses: list[ProgramPause] = []
    moves = list(moves_of(setup, machine))
    points = iter(_rounded(np.concatenate([np.zeros((0, 3)), *(_ends(move) for move in moves)])))
    at_mm, power_s, feed_mm_s = np.zeros(3), 0.0, 0.0
    for move in moves:
        if isinstance(move, Pause):
            pauses.append(ProgramPause("", len(segments), False, 0))
            continue
        burns = isinstance(move, Burn)
        if burns:
            power_s, feed_mm_s = float(round(move.power_frac * machine.s_full)), round(move.speed_mm_s * 60, DECIMALS) / 60
        mode = machine.power_mode if burns else "off"
        for _ in range(len(_ends(move))):
            end_mm = next(points)
            segments.append(ProgramSegment(at_mm, end_mm, burns, power_s, feed_mm_s, 0, not burns, mode))
            at_mm = end_mm
    return Program(tuple(segments), tuple(pauses), MODE_WORDS, True, False)


def _ends(move: Move) -> Array:
    """Where a move goes, (n, 3)."""
    if isinstance(move, Pause):
        return np.zeros((0, 3))
    return move.points_mm[1:] if isinstance(move, Burn) else move.to_mm[None, :]


def _rounded(values: Array) -> Array:
    """As text rounds: to the nearest of the value itself, where numpy multiplies first, which differs near the middle of two."""
    times = values * 10**DECIMALS
    done = np.rint(times) / 10**DECIMALS
    for at in zip(*np.nonzero(np.abs(times - np.floor(times) - 0.5) < NEARLY), strict=True):
        done[at] = round(float(values[at]), DECIMALS)
    return done

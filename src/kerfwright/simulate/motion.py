"""The moves of one program as the machine really makes them: when each begins, how long it takes, how fast it runs.

A pause costs no time here: how long the person takes is not the machine's. Kinematics: machine/motion.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.machine.machine import Machine
from kerfwright.machine.motion import real_bends, speed_at_mm_s, time_at_s
from kerfwright.process.program import Program

Array = NDArray[np.float64]

SAME_PATH_MM = 0.005  # strokes whose ends lie this near each other are passes over one path (programs hold 4 decimals)
PARALLEL_SINE = 0.02
FARTHEST_MM = 0.5  # neighbours beyond this are not looked for: no beam here reaches so far


@dataclass(frozen=True, eq=False)
class Motion:
    """The burning moves of one program in order, n of them, in program coordinates.

    start_mm, end_mm: (n, 3); power_s: (n,) the S word; scaled: (n,) power follows the speed; speed_mm_s: (n,) as told;
    in_mm_s, out_mm_s: (n,) true; begin_s, took_s: (n,) from the program's start; total_s: of the whole program, travels too;
    again: (n,) how many moves before it ran the same path; beside_mm: (n,) to the nearest path already burnt that runs
    beside it, inf when there is none within reach.
    """

    start_mm: Array
    end_mm: Array
    power_s: Array
    scaled: NDArray[np.bool_]
    speed_mm_s: Array
    in_mm_s: Array
    out_mm_s: Array
    begin_s: Array
    took_s: Array
    total_s: float
    again: NDArray[np.int_]
    beside_mm: Array


def motion_of(program: Program, machine: Machine) -> Motion:
    """True motion of a program: every straight stretch from rest to rest, gentle bends at speed."""
    moves = _moves(program, machine)
    n = len(moves.told_mm_s)
    length = np.linalg.norm(moves.end_mm - moves.start_mm, axis=1)
    first = np.ones(n, dtype=bool)
    first[1:] = moves.stops | real_bends(moves.end_mm - moves.start_mm)
    stretch = np.cumsum(first) - 1
    before = np.cumsum(length) - length
    from_mm = before - before[first][stretch]
    whole = np.bincount(stretch, length).astype(np.float64)[stretch]
    a = machine.acceleration_mm_s2
    ends = (from_mm, from_mm + length)
    begin, finish = (time_at_s(at, whole, moves.told_mm_s, a) for at in ends)
    rate_in, rate_out = (speed_at_mm_s(at, whole, moves.told_mm_s, a) for at in ends)
    until = np.concatenate([[0.0], np.cumsum(finish[np.append(first[1:], True)])]) if n else np.zeros(1)
    on = moves.burns
    again, beside = _neighbours(moves.start_mm[on], moves.end_mm[on])
    return Motion(
        moves.start_mm[on], moves.end_mm[on], moves.power_s[on], moves.scaled[on], moves.told_mm_s[on], rate_in[on], rate_out[on],
        (until[stretch] + begin)[on], (finish - begin)[on], float(until[-1]), again, beside,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Moves:
    """Every move of a program that goes anywhere, n of them. stops: (n - 1,) the head must stop between, whatever the bend."""

    start_mm: Array
    end_mm: Array
    told_mm_s: Array
    power_s: Array
    scaled: NDArray[np.bool_]
    burns: NDArray[np.bool_]
    stops: NDArray[np.bool_]


def _moves(program: Program, machine: Machine) -> _Moves:
    every = program.segments
    ends = np.array([(seg.start_mm, seg.end_mm) for seg in every], dtype=float).reshape(-1, 2, 3)
    goes = np.any(ends[:, 0] != ends[:, 1], axis=1)
    words = [(seg.rapid, seg.power_mode == "off", seg.power_mode == "speed-scaled", seg.power_s, seg.feed_mm_s) for seg in every]
    rapid, off, scaled, power, feed = np.array(words, dtype=float).reshape(-1, 5)[goes].T
    told = np.where(rapid > 0, machine.top_speed_mm_s, np.minimum(feed, machine.top_speed_mm_s))
    held = np.searchsorted(sorted(pause.after for pause in program.pauses), np.flatnonzero(goes), side="right")
    changes = [each[1:] != each[:-1] for each in (power, told, off, held)]
    stops = np.any([*changes, rapid[1:] > 0, rapid[:-1] > 0], axis=0)
    return _Moves(ends[goes, 0], ends[goes, 1], told, power, scaled > 0, (off + rapid == 0) & (power > 0), stops)


def _neighbours(start_mm: Array, end_mm: Array) -> tuple[NDArray[np.int_], Array]:
    """(again, beside_mm) of moves in order, judged in the plane of the bed."""
    n = len(start_mm)
    if n == 0:
        return np.zeros(0, dtype=np.int_), np.zeros(0)
    a, b = start_mm[:, :2], end_mm[:, :2]
    turned = (a[:, 0] > b[:, 0] + SAME_PATH_MM) | ((np.abs(a[:, 0] - b[:, 0]) <= SAME_PATH_MM) & (a[:, 1] > b[:, 1]))
    a, b = np.where(turned[:, None], b, a), np.where(turned[:, None], a, b)
    keys = np.round(np.hstack([a, b]) / SAME_PATH_MM).astype(np.int64)
    _, earliest, path = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    path = path.reshape(-1)
    again = np.zeros(n, dtype=np.int_)
    order = np.argsort(path, kind="stable")
    group_start = np.concatenate([[0], np.flatnonzero(np.diff(path[order])) + 1])
    again[order] = np.arange(n) - np.repeat(group_start, np.diff(np.append(group_start, n)))
    return again, _beside_mm(a[earliest], b[earliest], earliest, path)


def _beside_mm(a_mm: Array, b_mm: Array, earliest: NDArray[np.intp], path: NDArray[np.intp]) -> Array:
    """Nearest other path burnt before. a_mm, b_mm: (m, 2) paths; earliest: (m,) first move of each; path: (n,) of each move."""
    length = np.hypot(*(b_mm - a_mm).T)
    along = (b_mm - a_mm) / np.maximum(length, 1e-9)[:, None]
    middle = (a_mm + b_mm) / 2
    found = np.full(len(path), np.inf)
    apart = middle[None, :, :] - middle[:, None, :]
    near = np.abs(apart[..., 0] * along[:, None, 1] - apart[..., 1] * along[:, None, 0])
    beside = np.abs(apart[..., 0] * along[:, None, 0] + apart[..., 1] * along[:, None, 1])
    sine = np.abs(along[:, None, 0] * along[None, :, 1] - along[:, None, 1] * along[None, :, 0])
    pairs = (near < FARTHEST_MM) & (near > SAME_PATH_MM) & (sine < PARALLEL_SINE) & (beside < (length[:, None] + length[None, :]) / 4)
    one, other = np.nonzero(pairs)
    moves = [np.flatnonzero(path == i) for i in range(len(a_mm))] if len(one) else []
    for i, j in zip(one, other, strict=True):
        later = moves[i][moves[i] > earliest[j]]
        found[later] = np.minimum(found[later], near[i, j])
    return found

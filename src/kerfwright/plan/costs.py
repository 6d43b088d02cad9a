"""What a piece costs: wood, laser, hands, consumables, hardware, and the parts that are spoiled on the way.

Law (1): when a share s of parts is spoiled, each good one takes 1 / (1 - s) tries on average (geometric series), so s / (1 - s)
is paid on top of wood, laser and the hands' share of making parts. Law (2): with odds p that a corner goes together and one
part made again when it does not, s = sum(1 - p) / parts. Own arithmetic; that one part is lost a failed corner is a judgement.
Example: 4 corners at 0.95 on 4 parts: s = 0.05, and 5.26 % on top.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from kerfwright.core.units import format_duration
from kerfwright.plan.glue_up import glue_up
from kerfwright.plan.hand_work import hand_work
from kerfwright.process.costs import CostLine, Costs, HandWork, Rates
from kerfwright.process.job import Job
from kerfwright.process.verdict import Verdict
from kerfwright.wood.board import Board
from kerfwright.wood.rough import BOARD_FOOT_MM3, Size, rough_size_mm, volume_mm3

HOUR_S = 3600.0
N_PART_WORK = 2  # the first kinds of hand work are done again for a spoiled part: milling and laying
MOST_SPOILED = 0.9


def costs_of(job: Job, rates: Rates, verdict: Verdict | None = None) -> Costs | None:
    """The account. verdict: its odds take the place of the told share of spoiled parts. None where nothing is built."""
    parts = job.assembly.parts
    if not parts:
        return None
    work = hand_work(job, glue_up(job.assembly, job.boards))
    machine_s, watched_s = job.total_time_s, rates.watched_frac * job.total_time_s
    hands_s = math.fsum(each.time_s for each in work)
    spoiled_frac, spoiled_from = _spoiled(rates, verdict, len(parts))
    wood, how = _wood(job, rates)
    hour = f"{rates.labour_hour:g} an hour"
    lines = [
        _line("wood", wood, how),
        _line("laser", rates.machine_hour * machine_s / HOUR_S, f"{format_duration(machine_s)} at {rates.machine_hour:g} an hour"),
        _line("watching the laser", rates.labour_hour * watched_s / HOUR_S, f"{rates.watched_frac:.0%} of its time, at {hour}"),
        _line("hands", rates.labour_hour * hands_s / HOUR_S, f"{format_duration(hands_s)} at {hour}"),
    ]
    again = wood + lines[1].amount + lines[2].amount + rates.labour_hour * _part_work_s(work) / HOUR_S
    lines += [
        _line("spoiled parts", again * spoiled_frac / (1 - spoiled_frac), f"{spoiled_frac:.1%} of parts made again; {spoiled_from}"),
        _line("consumables", rates.consumables, "tape, glue, abrasives, finish"),
    ]
    if job.hardware and rates.hardware is not None:
        lines.append(_line("hardware", rates.hardware, f"{sum(each.n_pieces for each in job.hardware)} on the list"))
    by_default = _that_count(rates, job)
    return Costs(rates.currency, machine_s, work, watched_s, tuple(lines), spoiled_frac, spoiled_from, rates.mark_up_frac, by_default)


def wood_price(board: Board, blank_mm: Size, rates: Rates) -> float:
    """Of one blank: its share of its board's face, or of the rough wood it is milled from, by how the price is told."""
    price = board.price or rates.wood
    rough_mm3 = volume_mm3(rough_size_mm(blank_mm))
    per: dict[str, Callable[[], float]] = {
        "board": lambda: min(1.0, blank_mm[0] * blank_mm[1] / (board.length_mm * board.width_mm)),
        "m3": lambda: rough_mm3 / 1e9,
        "board foot": lambda: rough_mm3 / BOARD_FOOT_MM3,
    }
    return price.value * per[price.per]()


def _line(what: str, amount: float, how: str) -> CostLine:
    """Rounded to hundredths, so that the lines add up to what is written under them."""
    return CostLine(what, round(amount, 2), how)


def _wood(job: Job, rates: Rates) -> tuple[float, str]:
    total, unpriced = 0.0, 0
    for part in job.assembly.parts:
        board = job.boards[part.name]
        own: Size = (board.length_mm, board.width_mm, board.thickness_mm)
        blank_mm = next((setup.board_size_mm for setup in job.setups if setup.part == part.name), own)
        total += wood_price(board, blank_mm, rates)
        unpriced += board.price is None
    how = f"{len(job.assembly.parts)} blanks with what milling takes"
    return total, f"{how}; {unpriced} at {rates.wood.value:g} per {rates.wood.per}" if unpriced else f"{how}, at their boards' prices"


def _spoiled(rates: Rates, verdict: Verdict | None, n_parts: int) -> tuple[float, str]:
    if verdict is None or not verdict.corners:
        return rates.spoiled_frac, "a told share: no verdict is counted in"
    lost = math.fsum(1 - corner.goes_together for corner in verdict.corners) / n_parts
    return min(lost, MOST_SPOILED), "by the verdict's odds"


def _part_work_s(work: tuple[HandWork, ...]) -> float:
    return math.fsum(each.time_s for each in work[:N_PART_WORK])


def _that_count(rates: Rates, job: Job) -> tuple[str, ...]:
    """Keys left to their defaults that this piece's account rests on."""
    idle: set[str] = set() if any(board.price is None for board in job.boards.values()) else {"wood"}
    return tuple(key for key in rates.by_default if key not in idle | {"hardware"})


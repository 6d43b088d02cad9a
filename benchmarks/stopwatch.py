"""One line of a benchmark, and the watch: the least of many runs, since others share the machine and only ever make it slower."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """what was timed, how long one run took, and how many times its yardstick that is (timed in the same run)."""

    what: str
    time_s: float
    yardstick_s: float

    @property
    def ratio(self) -> float:
        """Times the yardstick: comparable between machines, unlike seconds."""
        return self.time_s / self.yardstick_s


def least_s(work: Callable[[], object], at_least_s: float = 0.3, most: int = 2000) -> float:
    """Seconds of the quickest run of ``work``, run again until ``at_least_s`` have gone; the first run only warms up."""
    work()
    quickest, ran, until = float("inf"), 0, time.perf_counter() + at_least_s
    while ran < 3 or (ran < most and time.perf_counter() < until):
        start = time.perf_counter()
        work()
        quickest, ran = min(quickest, time.perf_counter() - start), ran + 1
    return quickest

"""What each way of making a sloped wall can do at each thickness, and where it stops: the values of the thickness question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kerfwright.core.estimate import Estimate

WAYS = ("ramp", "cradle", "two faces")
GOOD_ODDS = 0.8  # below this a way is not called possible (judgement of ours)
GOOD_GAP_MM = 0.127  # 0.005 in, a gap that still glues well: HANDBOOK D, a second-hand workshop figure


@dataclass(frozen=True, eq=False)
class ReachRow:
    """One way at one thickness. stopped: why there is no verdict, or ""; the rest is None then.

    odds: that the corner goes together; seen_gap_mm with its spread; time_s of all setups; heat, char: words of the heat verdict;
    n_setups: how often a board is laid.
    """

    way: str
    thickness_mm: float
    stopped: str = ""
    odds: float | None = None
    seen_gap_mm: Estimate | None = None
    time_s: float | None = None
    heat: str = "unknown"
    char: str = "unknown"
    n_setups: int = 0
    speed_mm_s: float | None = None

    @property
    def good(self) -> bool:
        """Good odds and a gap that still glues well."""
        return self.odds is not None and self.seen_gap_mm is not None and self.odds >= GOOD_ODDS and self.seen_gap_mm.value <= GOOD_GAP_MM

    @property
    def why(self) -> str:
        """What is wrong with it in words, "" when it is good."""
        if self.stopped or self.odds is None or self.seen_gap_mm is None:
            return self.stopped
        found = [f"odds {100 * self.odds:.0f} %"] if self.odds < GOOD_ODDS else []
        if self.seen_gap_mm.value > GOOD_GAP_MM:
            found.append(f"gap {self.seen_gap_mm.value:.2f} mm")
        return ", ".join(found)


def where_it_stops(rows: Sequence[ReachRow], way: str) -> str:
    """One sentence for one way: the thickest that is good, and what fails first beyond it."""
    mine = sorted((row for row in rows if row.way == way), key=lambda row: row.thickness_mm)
    good = [row for row in mine if row.good]
    if not good:
        first = mine[0] if mine else None
        return f"{way}: good at none of these thicknesses" + (f"; at {first.thickness_mm:g} mm: {first.why}" if first else "")
    beyond = next((row for row in mine if row.thickness_mm > good[-1].thickness_mm), None)
    gaps = [f"{row.thickness_mm:g} mm ({row.why})" for row in mine if not row.good and row.thickness_mm < good[-1].thickness_mm]
    text = f"{way}: good to {good[-1].thickness_mm:g} mm"
    text += f", but not at {', '.join(gaps)}" if gaps else ""
    return text + (f"; at {beyond.thickness_mm:g} mm it stops: {beyond.why}" if beyond else ", the thickest tried")

"""The plan's free choices optimised against the verdict: a search one choice at a time, and the trade it found.

Vocabulary: a *choice* is one thing a person may set, with the values to try; *picks* is one value for each; a *score* is what the
verdict says of picks. Picks are better when they reach the odds asked for and show less gap; below those odds, higher odds
are better whatever the gap.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

Picks = Mapping[str, str]
MOST_ROUNDS = 3
LEAST_GAIN_MM = 0.001  # a thousandth is no reason to go round again


@dataclass(frozen=True)
class Choice:
    """name as in the bench or the piece file, its value now, and the others to try."""

    name: str
    now: str
    others: tuple[str, ...]


@dataclass(frozen=True)
class Score:
    """What a verdict says of some picks: odds that every corner goes together, mean seen gap, its spread, time, char and heat words.

    stopped: why there is no verdict, or "".
    """

    odds: float = 0.0
    gap_mm: float = float("inf")
    gap_sd_mm: float = 0.0
    time_s: float = 0.0
    char: str = "unknown"
    heat: str = "unknown"
    stopped: str = ""

    def rank(self, wanted_odds: float) -> tuple[float, float, float]:
        """Smaller is better."""
        short = max(wanted_odds - self.odds, 0.0)
        return (1.0 if self.stopped else short, self.gap_mm if not short else 0.0, self.time_s)


@dataclass(frozen=True)
class Tried:
    """Picks and their score."""

    picks: dict[str, str]
    score: Score


@dataclass(frozen=True)
class Tuned:
    """before: the choices as they stand; tried: all, best first; stopped_early: the person stopped it."""

    before: Tried
    tried: tuple[Tried, ...]
    wanted_odds: float
    stopped_early: bool = False

    @property
    def best(self) -> Tried:
        """The best picks; those of before when nothing is better."""
        return self.tried[0]

    def trade(self) -> tuple[Tried, ...]:
        """Picks that nothing else beats in odds, gap and time at once, least gap first."""
        fair = [each for each in self.tried if not each.score.stopped]

        def beaten(one: Score, other: Score) -> bool:
            no_worse = other.odds >= one.odds and other.gap_mm <= one.gap_mm and other.time_s <= one.time_s
            return no_worse and (other.odds, other.gap_mm, other.time_s) != (one.odds, one.gap_mm, one.time_s)

        kept = [each for each in fair if not any(beaten(each.score, other.score) for other in fair)]
        seen: dict[tuple[float, float, float], Tried] = {}
        for each in kept:
            seen.setdefault((each.score.odds, each.score.gap_mm, each.score.time_s), each)
        return tuple(sorted(seen.values(), key=lambda each: each.score.gap_mm))


class Mapper(Protocol):
    """Scores of many picks: in this process, in several, or on a cluster."""

    def __call__(self, many: Sequence[Picks], /) -> Iterable[Score]:
        """One score for each, in order."""
        ...


def tune(
    choices: Sequence[Choice],
    scored: Mapper,
    wanted_odds: float,
    progress: Callable[[str], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> Tuned:
    """Change one choice at a time to its best value, round after round, until nothing gains. Nothing is scored twice.

    stop: asked between choices; True ends the search with what was found. The search is modest: it may miss pairs of choices
    that only win together.
    """
    known: dict[tuple[str, ...], Score] = {}

    def score(many: Sequence[dict[str, str]]) -> list[Tried]:
        new = list({key(each): each for each in many if key(each) not in known}.values())
        for each, found in zip(new, scored(new), strict=True):
            known[key(each)] = found
        return [Tried(each, known[key(each)]) for each in many]

    def key(picks: Picks) -> tuple[str, ...]:
        return tuple(picks[choice.name] for choice in choices)

    picks = {choice.name: choice.now for choice in choices}
    before = best = score([picks])[0]
    stopped = False
    for turn in range(MOST_ROUNDS):
        at_start = best
        for choice in choices:
            stopped = stopped or (stop is not None and stop())
            if stopped:
                break
            if progress:
                progress(f"round {turn + 1}, {choice.name}: {len(known)} burnt so far")
            values = dict.fromkeys((choice.now, *choice.others))
            others = score([best.picks | {choice.name: value} for value in values])
            best = min((best, *others), key=lambda each: each.score.rank(wanted_odds))
        if stopped or not _gained(at_start.score, best.score, wanted_odds):
            break
    names = [choice.name for choice in choices]
    everything = [Tried(dict(zip(names, each, strict=True)), found) for each, found in known.items()]
    # Equal scores keep the order they were tried in, so that what changes nothing is not suggested.
    return Tuned(before, tuple(sorted(everything, key=lambda each: each.score.rank(wanted_odds))), wanted_odds, stopped)


def _gained(before: Score, after: Score, wanted_odds: float) -> bool:
    was, now = before.rank(wanted_odds), after.rank(wanted_odds)
    return now[0] < was[0] - 1e-9 or (now[0] <= was[0] and now[1] < was[1] - LEAST_GAIN_MM)

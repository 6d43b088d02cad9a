"""Tune a piece: its free choices against the verdict, on this computer's processes or on a cluster; writes nothing."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwright.core.codec import plain
from kerfwright.core.document import build, read_toml
from kerfwright.core.errors import InputError, KerfwrightError

if TYPE_CHECKING:
    from kerfwright.app.bench_file import BenchSet
    from kerfwright.app.watched import Watched
    from kerfwright.simulate.known import LawKnown
    from kerfwright.simulate.tune import Choice, Picks, Score, Tuned

WANTED_ODDS = 0.9
N_DRAWS, SEED = 150, 20
FITS = ("-0.03 mm", "0 mm", "0.03 mm", "0.06 mm", "0.09 mm", "0.12 mm")
HOLLOWS = ("0 mm", "0.02 mm", "0.04 mm", "0.08 mm")
WALLS = ("ramp", "cradle", "two faces")
FACES = ("show face", "inner face")
AS_RECIPE = "as the recipe"  # the focus of its first entry
NOT_TRIED = "layers, line spacing and speed are what the coupons were burnt with: to tune them, burn the staircase another way"


@dataclass(frozen=True, eq=False)
class Setting:
    """Everything a try needs, in one thing that can be sent to another process."""

    piece: Mapping[str, Any]
    bench: BenchSet
    laws: Mapping[str, LawKnown]
    n_draws: int
    seed: int
    watched: Watched | None = None


@dataclass(frozen=True, eq=False)
class TuneTold:
    """What a search found for one piece."""

    piece: str
    tuned: Tuned
    said: tuple[str, ...]

    @property
    def suggestion(self) -> str:
        """Lines for the piece file and the bench file that give the best picks; "" when nothing is better."""
        before, best = self.tuned.before.picks, self.tuned.best.picks
        changed = {name: value for name, value in best.items() if value != before[name]}
        lines = [f'fit = "{changed.pop("fit")}"  # in the piece file'] if "fit" in changed else []
        if changed:
            lines += ["[burn]  # in the bench file", *(f'{name} = "{value}"' for name, value in burn_table(changed).items())]
        return "\n".join(lines)

    def summary(self) -> dict[str, Any]:
        """For people and scripts."""
        return {
            "schema": "kerfwright-tune-1",
            "piece": self.piece,
            "wanted_odds": self.tuned.wanted_odds,
            "before": plain(self.tuned.before),
            "best": plain(self.tuned.best),
            "trade": [plain(each) for each in self.tuned.trade()],
            "n_tried": len(self.tuned.tried),
            "stopped_early": self.tuned.stopped_early,
            "suggestion": self.suggestion,
            "said": list(self.said),
        }


def tune_piece(
    piece: Path,
    bench: Path | None = None,
    *,
    notebook: str | Path | None = None,
    wanted_odds: float = WANTED_ODDS,
    n_draws: int = N_DRAWS,
    seed: int = SEED,
    cluster: str | None = None,
    processes: int | None = None,
    progress: Callable[[str], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> TuneTold:
    """Search the piece's free choices for the least seen gap at the odds wanted. cluster: a dask scheduler's address."""
    from kerfwright.app import workflow
    from kerfwright.app.bench_file import load_bench
    from kerfwright.app.job_to_burn import job_to_burn
    from kerfwright.app.verdicts import burn_laws
    from kerfwright.app.watched import cells_watched
    from kerfwright.pieces.piece import piece_from
    from kerfwright.simulate.tune import tune

    if not 0.5 <= wanted_odds <= 0.99:
        raise InputError(f"odds of {wanted_odds:.0%}", accepted="50 % to 99 %")
    piece = workflow.piece_file(piece)
    tables = read_toml(piece)
    benched = load_bench(bench or workflow.bench_beside(piece), piece_from(tables, str(piece)).panels)
    given = job_to_burn(piece, bench)
    laws = burn_laws(given, notebook)
    watched = cells_watched(given.job.machine, given.job.boards[given.job.assembly.mates[0].part_a], notebook)
    setting = Setting(tables, benched, laws, n_draws, seed, watched)
    with workers(cluster, processes) as pool:
        found = tune(choices_of(setting), partial(score_many, setting, pool), wanted_odds, progress, stop)
    known = next(iter(laws.values()))
    return TuneTold(str(tables["name"]), found, (NOT_TRIED, *known.said))


def choices_of(setting: Setting) -> list[Choice]:
    """The choices that matter for this piece; focus only where the recipe was burnt at two or more."""
    from kerfwright.simulate.tune import Choice

    burn = setting.bench.tables.get("burn", {})
    joints = setting.piece.get("joints", {}).values()
    found: list[Choice] = []
    if not any("fit" in table for table in joints):
        found.append(Choice("fit", str(setting.piece.get("fit", "snug")), FITS))
    if any(table.get("kind") == "through dovetail" for table in joints):
        found.append(Choice("walls", str(burn.get("walls", "auto")), WALLS))
        found.append(Choice("hollow", str(burn.get("hollow", "0.02 mm")), HOLLOWS))
    found.append(Choice("face", str(burn.get("face", "auto")), FACES))
    focuses = {cut.focus_mm for recipe in setting.bench.recipes.values() for cut in recipe.through}
    if len(focuses) > 1:
        found.append(Choice("focus", str(burn.get("focus", AS_RECIPE)), tuple(f"{each:g} mm" for each in sorted(focuses))))
    return found


def score_picks(setting: Setting, picks: Picks) -> Score:
    """Plan, burn and judge the piece with these picks."""
    from kerfwright.app.trial import Trial, judge_trial
    from kerfwright.plan.options import PlanOptions
    from kerfwright.simulate.tune import Score

    piece = dict(setting.piece) | ({"fit": picks["fit"]} if "fit" in picks else {})
    burn = dict(setting.bench.tables.get("burn", {})) | burn_table(picks)
    bench = setting.bench
    try:
        trial = Trial(piece, bench.machine, bench.boards, bench.recipes, build(burn, PlanOptions, "burn"))
        found = judge_trial(trial, setting.laws, setting.n_draws, setting.seed, setting.watched)
    except KerfwrightError as bad:
        return Score(stopped=bad.message)
    n = len(found.corners)
    gap_mm, sd_mm = (sum(getattr(each.seen_gap_mm, name) for each in found.corners) / n for name in ("value", "sd"))
    char, heat = (found.heat.char, found.heat.risk) if found.heat else ("unknown", "unknown")
    return Score(found.goes_together, gap_mm, sd_mm, found.time_s, char, heat)


def burn_table(picks: Picks) -> dict[str, str]:
    """The picks that stand in the bench file."""
    return {name: value for name, value in picks.items() if name != "fit" and value != AS_RECIPE}


def score_many(setting: Setting, pool: Executor | None, many: Sequence[Picks]) -> list[Score]:
    """Scores of many picks, side by side where there is a pool."""
    one = partial(score_picks, setting)
    return [one(each) for each in many] if pool is None or len(many) < 2 else list(pool.map(one, many))


@contextmanager
def workers(cluster: str | None = None, processes: int | None = None) -> Generator[Executor | None, None, None]:
    """Processes of this computer (all its cores by default; none for 1), or a dask cluster by its address.

    A script that uses more than one process does its work under ``if __name__ == "__main__"``: each process reads it again.
    """
    if cluster is not None:
        with _dask(cluster) as pool:
            yield pool
        return
    n = processes or os.cpu_count() or 1
    if n == 1:
        yield None
        return
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    with ProcessPoolExecutor(n, mp_context=get_context("spawn")) as pool:
        yield pool


@contextmanager
def _dask(address: str) -> Generator[Executor, None, None]:
    try:
        from distributed import Client  # pyright: ignore[reportMissingImports, reportUnknownVariableType]
    except ImportError as missing:
        raise InputError(
            "a cluster was named, and dask's distributed is not installed", remedy="pip install kerfwright[cluster], or leave --cluster out"
        ) from missing
    client: Any
    try:
        client = Client(address, timeout=10)  # pyright: ignore[reportUnknownVariableType]
    except (OSError, ValueError) as bad:
        accepted = "the address that the scheduler prints when it starts"
        raise InputError(f"no dask scheduler answers at {address}", accepted=accepted) from bad
    with client:
        pool: Executor = client.get_executor(pure=False)
        with pool:
            yield pool

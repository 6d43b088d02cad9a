"""The command line's verb of tuning."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cyclopts import App

from kerfwright.app.cli_words import AsJson, on_a_screen, over_and_over, print_json

if TYPE_CHECKING:
    from kerfwright.app.tuning import TuneTold
    from kerfwright.simulate.tune import Tried

MOST_SHOWN = 6


def hang_on(app: App) -> None:
    """Add the verb."""
    app.command(tune)


def tune(
    piece: Path,
    *,
    bench: Path | None = None,
    odds: str = "90 %",
    notebook: str | None = None,
    draws: int = 150,
    seed: int = 20,
    cluster: str | None = None,
    processes: int | None = None,
    as_json: AsJson = False,
) -> None:
    """Try the choices that are free - fit, way of the walls, hollowing, face, focus - and show which close the joint best.

    Parameters
    ----------
    piece
        The piece file or its folder. It is not changed.
    bench
        The bench file; default: bench.toml beside the piece.
    odds
        How sure the corners must go together.
    notebook
        The notebook's file or URL, whose readings the burn law is taken from; default: your own.
    draws
        How many simulated burns of each try.
    seed
        Which of them.
    cluster
        A dask scheduler's address, to try there instead of on this computer.
    processes
        Processes on this computer; default: one a core.
    as_json
        Print the result as JSON.
    """
    from kerfwright.app.tuning import tune_piece
    from kerfwright.core.units import parse_fraction

    told = tune_piece(
        piece, bench, notebook=notebook, wanted_odds=parse_fraction(odds), n_draws=draws, seed=seed, cluster=cluster,
        processes=processes, progress=on_a_screen(over_and_over),
    )  # fmt: skip
    if as_json:
        print_json(told.summary())
        return
    _tell(told)


def _tell(told: TuneTold) -> None:
    from kerfwright.export.verdict_words import percent

    tuned = told.tuned
    wanted = f"the least seen gap at odds of {percent(tuned.wanted_odds)} or more"
    print(f"{told.piece}: {len(tuned.tried)} ways burnt in the machine's memory, for {wanted}")
    print("As it is   " + _line(tuned.before))
    print("Best       " + _line(tuned.best))
    if tuned.best.score.odds < tuned.wanted_odds:
        print(f"No way tried reaches {tuned.wanted_odds:.0%}; the best is the surest of them.")
    print("The trade between gap, odds and time:")
    for each in tuned.trade()[:MOST_SHOWN]:
        print("           " + _line(each))
    print(told.suggestion or "Nothing tried is better than what stands.")
    for said in told.said:
        print(f"- {said}")
    print("- gaps and odds of simulated burns: wood has the last word")


def _line(tried: Tried) -> str:
    from kerfwright.export.verdict_words import percent

    score = tried.score
    picks = ", ".join(f"{name} {value}" for name, value in tried.picks.items())
    if score.stopped:
        return f"cannot be made: {score.stopped}  ({picks})"
    odds, gap = percent(score.odds), f"{score.gap_mm:.3f} ± {score.gap_sd_mm:.3f} mm"
    told = f"gap {gap}  odds {odds}  {score.time_s / 60:.0f} min  char {score.char}"
    return f"{told}  ({picks})"

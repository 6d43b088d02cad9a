"""The command line's verb of the verdict."""

from __future__ import annotations

import sys
from pathlib import Path

from cyclopts import App

from kerfwright.app.cli_words import AsJson, over_and_over, print_json


def hang_on(app: App) -> None:
    """Add the verb."""
    app.command(verdict)


def verdict(
    target: Path,
    *,
    bench: Path | None = None,
    corner: str | None = None,
    tier: str = "quick",
    draws: int = 400,
    seed: int = 20,
    notebook: str | None = None,
    out: Path | None = None,
    as_json: AsJson = False,
) -> None:
    """Burn a job in the machine's memory first: odds that it goes together, the gap that will be seen, force, heat, time.

    Parameters
    ----------
    target
        A job folder, whose own programs are burnt, or a piece file.
    bench
        For a piece file: its bench file; default: bench.toml beside it.
    corner
        Only this corner, such as front-right.
    tier
        quick (lines across the walls) or full (every cell of the wood near the corners; takes minutes).
    draws
        How many simulated burns.
    seed
        Which of them: the same seed says the same again.
    notebook
        The notebook's file or URL, whose readings the burn law is taken from; default: your own.
    out
        A new folder for verdict.json and one picture a corner; without it the verdict is only told.
    as_json
        Print the verdict as JSON.
    """
    from kerfwright.app import verdicts

    judged = verdicts.verdict(
        target, bench=bench, notebook=notebook, tier=verdicts.tier_from(tier), n_draws=draws, seed=seed, corner=corner, out=out,
        progress=_progress if tier == "full" or sys.stderr.isatty() else None,
    )
    if as_json:
        print_json(judged.summary())
        return
    from kerfwright.app.telling_verdict import tell_verdict

    tell_verdict(judged)


def _progress(step: str) -> None:
    """One line that is written over on a screen, a line a step in a log."""
    if sys.stderr.isatty():
        over_and_over(step)
    else:
        print(f"  {step} ...", file=sys.stderr, flush=True)

"""The command line's verbs that close a loop inside a job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import App, Parameter

from kerfwright.app.cli_words import AsJson, print_json


def hang_on(app: App) -> None:
    """Add the verbs."""
    for verb in (retune, finish):
        app.command(verb)


def retune(folder: Path, *, out: Path | None = None, notebook: str | None = None, as_json: AsJson = False) -> None:
    """Write a job again for its own boards, from the readings of their pilot strips; the notebook keeps the readings.

    Parameters
    ----------
    folder
        The job folder, its forms under pilot filled in, all or some.
    out
        The new folder; default: beside the job, its name with -retuned.
    notebook
        The notebook's file or URL; default: your own.
    as_json
        Print the result as JSON.
    """
    from kerfwright.app import loops

    done = loops.retune(folder, out, notebook)
    if as_json:
        print_json(done.summary())
        return
    for part, own in done.boards.items():
        by = f", as {done.shared[part]}, cut from the same board" if part in done.shared else ""
        print(f"{part}: {own.said()}{by}")
        for finding in own.findings:
            print(f"  {finding.level.value}: {finding.text}")
    for part in done.kept:
        print(f"{part}: nothing read, its recipe is kept")
    print(f"Written: {done.folder}; go on with its setup 1, {done.job.setups[0].title}")


def finish(
    folder: Path,
    setup: int,
    *,
    depth: Annotated[str, Parameter(allow_leading_hyphen=True)],
    program: Path | None = None,
    out: Path | None = None,
    as_json: AsJson = False,
) -> None:
    """Write the layers after a check pause again, from the depth of the witness patch.

    Parameters
    ----------
    folder
        The job folder.
    setup
        The setup's number.
    depth
        How deep the patch is now, such as "3.1 mm".
    program
        The program that stands at the pause, where shift wrote it again; default: the job's own.
    out
        The new program; default: beside the old one.
    as_json
        Print the result as JSON.
    """
    from kerfwright.app import loops
    from kerfwright.core.units import format_mm, parse_length_mm

    done = loops.finish(folder, setup, parse_length_mm(depth), program, out)
    if as_json:
        print_json(done.summary())
        return
    print(f"About {format_mm(done.expected_mm)} was expected; this board's depths are taken as {100 * (done.ratio.value - 1):+.0f} %.")
    extra = done.remaining.n_layers - done.n_planned
    powers = done.remaining.powers_frac
    layers = f"{done.remaining.n_layers} layer{'s' if done.remaining.n_layers > 1 else ''}"
    print(f"{layers} left{f', {extra} of them extra' if extra else ''}, at {100 * powers.min():.0f} to {100 * powers.max():.0f} % power.")
    if done.remaining.short_mm > 0.005:
        print(f"The deepest lines will lack {format_mm(done.remaining.short_mm)}, as the recipe was burnt no stronger: pare the rest.")
    if done.earlier:
        print(f"Written for this pause before, and not to be burnt as well: {', '.join(done.earlier)}")
    print(f"Written: {done.program}\nBurn it with the board as it lies, in place of the rest of the old program.")

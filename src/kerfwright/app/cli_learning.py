"""The command line's verbs of learning, hung on the same program."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import App, Parameter

from kerfwright.app.cli_words import AsJson, print_json
from kerfwright.core.errors import InputError

if TYPE_CHECKING:
    from kerfwright.app.learning import Told

# A reading may be below zero, and "-0.1mm" is no option.
Reading = Annotated[str | None, Parameter(allow_leading_hyphen=True)]


def hang_on(app: App) -> None:
    """Add the verbs."""
    for verb in (coupon, read, recipe, outcome, ledger, notebook):
        app.command(verb)


def coupon(
    kind: str,
    *,
    machine: Path,
    board: Path,
    recipe: Path | None = None,
    choose: list[str] | None = None,
    notebook: str | None = None,
    out: Path | None = None,
    as_json: AsJson = False,
) -> None:
    """Make a coupon for an offcut: a folder of files to burn and a form to fill in.

    Parameters
    ----------
    kind
        machine, focus, through, "kerf comb", "ramp staircase", "sloped edge" or "fit ladder".
    machine
        The machine file.
    board
        The board file of the offcut.
    recipe
        Burn it with this recipe; default: what the notebook knows, or a first guess.
    choose
        One choice of the coupon, as in --choose "slope=1:6"; may be given again.
    notebook
        The notebook's file or URL; default: your own.
    out
        The new folder; default: beside the board's file.
    as_json
        Print the result as JSON.
    """
    from kerfwright.app import learning

    made = learning.coupon(kind, machine, board, recipe, _choices(choose or []), notebook, out)
    if as_json:
        print_json(made.summary())
        return
    print(f"{made.record.title.capitalize()} in {made.folder}")
    for finding in made.job.findings:
        print(f"  {finding.level.value}: {finding.text}")
    print(f"Burn setups/01-*, fill in {made.folder / 'readings.toml'}, then: kerfwright read {made.folder}")


def read(
    folder: Path,
    *,
    form: Path | None = None,
    notebook: str | None = None,
    slope: str = "1:8",
    plots: Path | None = None,
    as_json: AsJson = False,
) -> None:
    """Read a filled-in form: what was learned, how sure, what to burn next.

    Parameters
    ----------
    folder
        The coupon's folder.
    form
        The filled-in form; default: the one in the folder.
    notebook
        The notebook's file or URL; default: your own.
    slope
        Of the joints to come, such as "1:6", or "square" for box joints: what is worth burning depends on it.
    plots
        A new folder for pictures of every fit.
    as_json
        Print the result as JSON.
    """
    from kerfwright.app import learning

    told = learning.read(folder, form, notebook, slope)
    _pictures(told, plots)
    _tell(told, as_json)


def recipe(
    *,
    machine: Path,
    board: Path,
    notebook: str | None = None,
    out: Path | None = None,
    slope: str = "1:8",
    plots: Path | None = None,
    as_json: AsJson = False,
) -> None:
    """What the notebook knows of a machine on a board's wood, as a recipe file.

    Parameters
    ----------
    machine
        The machine file.
    board
        The board file.
    notebook
        The notebook's file or URL; default: your own.
    out
        The new recipe file; without it the recipe is only told.
    slope
        Of the joints to come, such as "1:6", or "square" for box joints: what is worth burning depends on it.
    plots
        A new folder for pictures of every fit.
    as_json
        Print the result as JSON.
    """
    from kerfwright.app import learning

    told = learning.recipe(machine, board, notebook, out, slope)
    _pictures(told, plots)
    _tell(told, as_json)
    if out is not None and not as_json:
        print(f"Recipe written: {out}")


def outcome(
    folder: Path,
    corner: str,
    *,
    fit: str | None = None,
    gap_tail: Reading = None,
    gap_pin: Reading = None,
    proud: Reading = None,
    char: str | None = None,
    notebook: str | None = None,
    as_json: AsJson = False,
) -> None:
    """Record what came out of a real corner; the next recipe learns from it.

    Parameters
    ----------
    folder
        The job folder.
    corner
        The corner, such as front-right.
    fit
        loose, "by hand", "by tap" or "not at all".
    gap_tail
        Gap seen along a flank on the tail board's show face, such as "0.05 mm".
    gap_pin
        The same on the pin board's show face.
    proud
        How far the ends stand proud, such as "0.2 mm".
    char
        none, light or heavy.
    notebook
        The notebook's file or URL; default: your own.
    as_json
        Print what was kept as JSON.
    """
    from kerfwright.app import learning
    from kerfwright.core.codec import plain

    said = {"fit": fit, "gap_tail": gap_tail, "gap_pin": gap_pin, "proud": proud, "char": char}
    kept = learning.record_outcome(folder, {corner: said}, notebook)
    if as_json:
        told = {"schema": "kerfwright-outcome-1", "outcomes": [plain(each) for each in kept]}
        print_json(told)
        return
    print(f"Kept: {corner} of {folder.name}")


def ledger(*, notebook: str | None = None, as_json: AsJson = False) -> None:
    """Every coupon read and every outcome, oldest first, and how the fit improved.

    Parameters
    ----------
    notebook
        The notebook's file or URL; default: your own.
    as_json
        Print it as JSON.
    """
    from kerfwright.app import learning

    told = learning.ledger(notebook)
    if as_json:
        print_json(told)
        return
    for row in told["rows"]:
        print(f"{row['when'].replace('T', ' ')[:16]}  {row['about']}: {_ledger_words(row)}")
    for job in told["jobs"]:
        corrected = f", recipe corrected by {job['applied_mm']:+.3f} mm" if job["applied_mm"] else ""
        seen = f"{job['lines']} seen line{'s' if job['lines'] > 1 else ''}"
        print(f"  {job['job']}{corrected}: {seen}, {job['off_mm']:.3f} mm off what was expected")
    if not told["rows"]:
        print("The ledger is empty.")


def _ledger_words(row: dict[str, Any]) -> str:
    if row["kind"] != "outcome":
        return f"{row['readings']} readings"
    seen = [f"{gap:.2f} mm on {name}" for name, gap in (("tails", row["gap_tail_mm"]), ("pins", row["gap_pin_mm"])) if gap is not None]
    return f"{row['corner']}: {row['fit'] or 'fit not said'}" + (f", gaps seen {', '.join(seen)}" if seen else "")


def notebook(what: str, file: Path, *, notebook: str | None = None, as_json: AsJson = False) -> None:
    """Back up, export or import the notebook as one file.

    Parameters
    ----------
    what
        backup, export or import.
    file
        The file to write, which must be new, or to read.
    notebook
        The notebook's file or URL; default: your own.
    as_json
        Print the result as JSON.
    """
    from kerfwright.notebook.notebook import open_notebook

    if what not in ("backup", "export", "import"):
        raise InputError(f'"{what}" is not something a notebook does', accepted="backup, export or import")
    with open_notebook(notebook) as book:
        n = {"backup": book.backup, "export": book.export_file, "import": book.import_file}[what](file)
    if as_json:
        print(json.dumps({"schema": "kerfwright-notebook-1", "did": what, "file": str(file), "facts": n}, ensure_ascii=False))
        return
    print(f"{n} facts {'brought in from' if what == 'import' else 'written to'} {file}")


def _choices(words: list[str]) -> dict[str, Any]:
    import tomllib

    chosen: dict[str, Any] = {}
    for word in words:
        name, equals, value = word.partition("=")
        if not equals:
            raise InputError(f'"{word}" is not a choice', accepted='NAME=VALUE, as in "slope=1:6"')
        try:
            chosen[name.strip()] = tomllib.loads(f"value = {value}")["value"]
        except tomllib.TOMLDecodeError:
            chosen[name.strip()] = value.strip()
    return chosen


def _tell(told: Told, as_json: bool) -> None:
    if as_json:
        print_json(told.summary())
        return
    print(f"{told.learned.machine.name} on {told.learned.board.species}, {told.learned.board.thickness_mm:.2f} mm")
    for lesson in told.learned.lessons:
        for said in lesson.said:
            print(f"  {lesson.topic}: {said}")
    for finding in told.findings:
        print(f"  {finding.level.value}: {finding.text}")
    print(told.advised.said)
    for step in told.advised.steps:
        gain = f", about {step.gain_mm:.3f} mm surer" if step.gain_mm >= 0.005 else ""
        print(f"  next: {step.coupon} - {step.why} ({step.board_mm} mm of board, {step.minutes} min{gain})")


def _pictures(told: Told, folder: Path | None) -> None:
    if folder is None:
        return
    from kerfwright.export.exporter import JobFile
    from kerfwright.export.fit_plots import plot_png
    from kerfwright.export.folder import write_folder

    files = [
        JobFile(f"{lesson.topic}-{k + 1}.png", plot_png(plot), plot.title)
        for lesson in told.learned.lessons
        for k, plot in enumerate(lesson.plots)
    ]
    write_folder(files, folder)

"""The command line: ``kerfwright VERB``. It parses words and prints; the workflow does the work."""

from __future__ import annotations

import difflib
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import App, CycloptsError, MissingArgumentError, Parameter, UnknownCommandError, UnusedCliTokensError

from kerfwright import __version__
from kerfwright.app import cli_layout, cli_learning, cli_loops, cli_reach, cli_tune, cli_verdict
from kerfwright.app.cli_words import AsJson, print_json
from kerfwright.core.errors import EXIT_CODES, InputError, KerfwrightError

if TYPE_CHECKING:
    from kerfwright.app.workflow import Made

app = App(
    suppress_keyboard_interrupt=False,
    name="kerfwright",
    version=__version__,
    help_format="plaintext",
    help="From measured boards and a measured laser to joints that close: reads a piece file, writes every file needed to burn it. "
    "New here? kerfwright start my-shop\n\n"
    "Exit codes: " + "; ".join(f"{code} {text}" for code, text in EXIT_CODES.items()) + ".",
)

Odds = Annotated[bool, Parameter(negative="")]
Tick = Annotated[float | None, Parameter(allow_leading_hyphen=True)]
Reading = cli_learning.Reading

# What a verb cannot do without, and how it is said.
NEEDS = {
    "make": "a piece file, as in kerfwright make piece.toml",
    "look": "a piece file, as in kerfwright look piece.toml",
    "shift": "a job folder and the number of a setup, as in kerfwright shift piece-job 4 --left-tick 2 --right-tick 1",
    "retune": "a job folder with its pilot forms filled in, as in kerfwright retune piece-job",
    "finish": 'a job folder, a setup and the depth read, as in kerfwright finish piece-job 2 --depth "3.1 mm"',
    "coupon": 'the kind of coupon, as in kerfwright coupon through --machine laser.toml --board offcut.toml',
    "read": "a coupon's folder with its form filled in, as in kerfwright read through-offcut",
    "outcome": 'a job folder and a corner, as in kerfwright outcome piece-job front-right --fit "by hand"',
    "notebook": "what to do and a file, as in kerfwright notebook backup kept.json",
    "verdict": "a job folder or a piece file, as in kerfwright verdict piece-job",
    "lay-out": "a piece file and your boards, as in kerfwright lay-out piece.toml --rack my-boards",
    "start": "a new folder, as in kerfwright start my-shop",
}


@app.command
def make(piece: Path, *, bench: Path | None = None, out: Path | None = None, odds: Odds = False, as_json: AsJson = False) -> None:
    """Make the job folder of a piece: everything to take to the laser and the bench.

    Parameters
    ----------
    piece
        The piece file (TOML), or a folder with a piece.toml in it.
    bench
        The bench file naming machine, recipe and boards; default: bench.toml beside the piece.
    out
        The new folder to write; default: beside the piece, named after its file: piece-job for piece.toml.
    odds
        Judge the piece first, as the verb verdict does, and count its odds into the costs.
    as_json
        Print the summary as JSON.
    """
    from kerfwright.app import workflow

    _tell(workflow.make(piece, bench, out, odds), as_json)


@app.command
def look(piece: Path, *, bench: Path | None = None, odds: Odds = False, as_json: AsJson = False) -> None:
    """Design and plan a piece and say what would be made, writing nothing.

    Parameters
    ----------
    piece
        The piece file (TOML), or a folder with a piece.toml in it.
    bench
        The bench file; default: bench.toml beside the piece.
    odds
        Judge the piece first, as the verb verdict does, and count its odds into the costs.
    as_json
        Print the summary as JSON.
    """
    from kerfwright.app import workflow

    _tell(workflow.look(piece, bench, odds), as_json)


@app.command
def shift(
    folder: Path,
    setup: int,
    *,
    left_tick: Tick = None,
    right_tick: Tick = None,
    x_tick: Tick = None,
    x: Reading = None,
    y: Reading = None,
    turn: Reading = None,
    out: Path | None = None,
    as_json: AsJson = False,
) -> None:
    """Write one setup's program again after its witness marks were read, so that the cuts land where they belong.

    Parameters
    ----------
    folder
        The job folder.
    setup
        The setup's number.
    left_tick
        Which tick lines up on the scale near the wall's left end, counted from the long one, + toward the wall's top edge.
    right_tick
        The same on the scale near its right end.
    x_tick
        The same on the scale along the board, + toward the wall's right end (ends as seen on the show face).
    x
        Instead of ticks: how much too far toward the wall's right end the marks fell, such as "0.1 mm".
    y
        Instead of ticks: how much too far toward its top edge.
    turn
        Instead of ticks: how far they are turned, counter-clockwise on the show face, such as "0.05 deg".
    out
        The new program; default: beside the old one.
    as_json
        Print the result as JSON.
    """
    from kerfwright.app import workflow
    from kerfwright.core.units import format_mm, parse_angle_deg, parse_length_mm
    from kerfwright.process.setup import Placing

    read = {name: tick for name, tick in (("left", left_tick), ("right", right_tick), ("along", x_tick)) if tick is not None}
    stated = None
    if (x, y, turn) != (None, None, None):
        stated = Placing(parse_length_mm(x or "0 mm"), parse_length_mm(y or "0 mm"), parse_angle_deg(turn or "0 deg"))
    done = workflow.shift(folder, setup, read or None, stated, out)
    if as_json:
        print(json.dumps(done.summary(), indent=1))
        return
    print(f"Written: {done.program}")
    print(f"Where the board lies now, as data: {done.record}")
    dx, dy, dz = done.bed_shift_mm
    print(
        f"Or leave the program and move the work zero by X {dx:+.3f}, Y {dy:+.3f}, Z {dz:+.3f} mm"
        + (f", turned {done.bed_turn_deg:+.3f} deg about the gauge point" if abs(done.bed_turn_deg) > 5e-4 else "")
        + "."
    )
    print(
        f"The marks lay {format_mm(done.placing.x_mm, 3)} along and {format_mm(done.placing.y_mm, 3)} across, "
        f"turned {done.placing.turn_deg:.3f} deg."
    )


@app.command
def start(folder: Path) -> None:
    """Begin with a small shop to change: an invented machine, boards and recipes, and three pieces.

    Parameters
    ----------
    folder
        The new folder.
    """
    from kerfwright.app import workflow

    made = workflow.start(folder)
    print(f"A shop to play with: {made}\nTry: kerfwright make {made / 'pencil-box' / 'piece.toml'}")


@app.command
def demo(*, out: Path = Path("kerfwright-demo")) -> None:
    """Make the job folders of the three demo pieces, and judge the first before it is burnt.

    Parameters
    ----------
    out
        The folder for the demo's shop and job folders; earlier demo jobs in it are replaced.
    """
    from kerfwright.app import verdicts, workflow
    from kerfwright.app.telling_verdict import tell_verdict

    for made in workflow.demo(out):
        _tell(made, as_json=False)
        print()
    first = out / f"{workflow.DEMO_PIECES[0]}-job"
    tell_verdict(verdicts.verdict(first, readings=False))
    print()
    print(f"The pieces' own files, to change: {out / 'shop'}")
    print(f"Open first: {out / (workflow.DEMO_PIECES[0] + '-job') / 'bench-sheet.pdf'}")


def _tell(made: Made, as_json: bool) -> None:
    if as_json:
        print_json(made.summary())
        return
    from kerfwright.app.telling import tell

    tell(made)


cli_learning.hang_on(app)
cli_loops.hang_on(app)
cli_verdict.hang_on(app)
cli_reach.hang_on(app)
cli_tune.hang_on(app)
cli_layout.hang_on(app)


def main(words: list[str] | None = None) -> int:
    """Run one command; returns its exit code. A person's mistake never ends in a traceback."""
    given = sys.argv[1:] if words is None else words
    try:
        app(given, exit_on_error=False, print_error=False, result_action="return_value")
    except MissingArgumentError as bad:
        return _fail(_missing(bad, given), given)
    except CycloptsError as bad:
        return _fail(_misheard(bad, given), given)
    except KerfwrightError as bad:
        return _fail(bad, given)
    except KeyboardInterrupt:
        print("Stopped; nothing half-made is left.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    return 0


def _missing(bad: MissingArgumentError, given: list[str]) -> InputError:
    """A word left out, said as a person would."""
    verb = " ".join(bad.command_chain or ())
    remedy = f"See kerfwright {verb} --help"
    name = bad.argument.names[0] if bad.argument is not None else "one more word"
    if any(word.split("=")[0] == name for word in given):
        return InputError(f"{name} needs a value after it", remedy=remedy)
    positional = bad.argument is not None and bad.argument.index is not None
    if positional and verb in NEEDS:
        return InputError(f"{verb} needs {NEEDS[verb]}", remedy=remedy)
    return InputError(f"{verb} needs {name.removeprefix('--').upper() if positional else name}", remedy=remedy)


def _misheard(bad: CycloptsError, given: list[str]) -> InputError:
    """Words that are no command, said as a person would."""
    verbs = sorted(name for name in app if not name.startswith("-"))
    unused = " ".join(bad.unused_tokens or ())
    if isinstance(bad, UnknownCommandError):
        near = difflib.get_close_matches(unused.split(" ")[0], verbs, n=1)
        remedy = (f'Did you mean "{near[0]}"? ' if near else "") + "See kerfwright --help"
        return InputError(f'there is no verb "{unused.split(" ")[0]}"', accepted=", ".join(verbs), remedy=remedy)
    remedy = f"See kerfwright {given[0]} --help" if given and given[0] in verbs else "See kerfwright --help"
    if isinstance(bad, UnusedCliTokensError):
        return InputError(f'"{unused}" is too much here: several words for one thing need quotes, as in "kerf comb"', remedy=remedy)
    return InputError(str(bad).strip(), remedy=remedy)


def _fail(bad: KerfwrightError, given: list[str]) -> int:
    if "--json" in given:
        told: dict[str, Any] = {
            "schema": "kerfwright-error-1",
            "kind": type(bad).__name__,
            "message": bad.message,
            "where": bad.where,
            "arrived": bad.arrived,
            "accepted": bad.accepted,
            "remedy": bad.remedy,
            "exit_code": bad.exit_code,
        }
        print_json({"error": told})
    print(f"kerfwright: {bad.message}", file=sys.stderr)
    return bad.exit_code


if __name__ == "__main__":
    sys.exit(main())

"""The command line's verb of reach: what a laser can do in a wood."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cyclopts import App

from kerfwright.app.cli_words import AsJson, on_a_screen, over_and_over, print_json

if TYPE_CHECKING:
    from kerfwright.app.verdicts_reach import Reached



def hang_on(app: App) -> None:
    """Add the verb."""
    app.command(reach)


def reach(
    *,
    machine: Path,
    recipe: Path | None = None,
    species: str | None = None,
    thickness: list[str] | None = None,
    notebook: str | None = None,
    draws: int = 200,
    as_json: AsJson = False,
) -> None:
    """What can this laser do in this wood: ramp, cradle and two faces at 3, 6, 9 and 12 mm, burnt in the machine's memory.

    Parameters
    ----------
    machine
        The machine file.
    recipe
        A recipe of this wood, whose numbers tell of the burn where the notebook has no readings.
    species
        The wood; default: the recipe's.
    thickness
        A thickness to try, such as "6 mm"; may be given again. Default: 3, 6, 9 and 12 mm.
    notebook
        The notebook's file or URL, whose readings the burn law is taken from; default: your own.
    draws
        How many simulated burns of each.
    as_json
        Print the table as JSON.
    """
    from kerfwright.app import verdicts_reach
    from kerfwright.core.units import parse_length_mm

    thicknesses = tuple(parse_length_mm(each) for each in thickness or ()) or verdicts_reach.THICKNESSES_MM
    found = verdicts_reach.reach(
        machine, recipe, species=species, thicknesses_mm=thicknesses, notebook=notebook, n_draws=draws,
        progress=on_a_screen(over_and_over),
    )  # fmt: skip
    if as_json:
        print_json(found.summary())
        return
    _tell(found)


def _tell(found: Reached) -> None:
    from kerfwright.export.verdict_words import percent, with_spread

    print(f"{found.machine} in {found.species}: a small dovetailed corner, every thickness as if its coupons had been burnt")
    print(f"{'thick':>6}  {'way':<10} {'odds':>9}  {'seen gap':<14} {'time':>8}  {'laid':>4}  {'flame':<8} {'char':<8} what stops it")
    for row in found.rows:
        start = f"{row.thickness_mm:>3g} mm  {row.way:<10}"
        if row.odds is None or row.seen_gap_mm is None or row.time_s is None:
            print(f"{start} {'-':>9}  {'':<14} {'':>8}  {'':>4}  {'':<8} {'':<8} {row.why}")
            continue
        gap, odds = with_spread(row.seen_gap_mm), percent(row.odds)
        print(f"{start} {odds:>9}  {gap:<14} {row.time_s / 60:>4.0f} min  {row.n_setups:>4}  {row.heat:<8} {row.char:<8} {row.why}")
    for said in found.said:
        print(f"- {said}")
    print("- laid: how often the pin board is laid on the bed. Odds and gaps of simulated burns: wood has the last word")
    print("- flame: its risk, raised, high or unknown, never less; stay with the machine and follow its manual")

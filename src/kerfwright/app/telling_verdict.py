"""A verdict as a person reads it in the terminal: the odds first, then what to know, the loudest first."""

from __future__ import annotations

import textwrap

from rich.console import Console
from rich.table import Table
from rich.text import Text

from kerfwright.app.verdicts import Judged
from kerfwright.core.estimate import Estimate
from kerfwright.core.units import format_duration, format_mm
from kerfwright.export.verdict_words import likeliest, percent, press_words, with_spread
from kerfwright.process.verdict import HeatVerdict, Verdict


def tell_verdict(judged: Judged, console: Console | None = None) -> None:
    """Print the whole verdict."""
    screen = console or Console(highlight=False, soft_wrap=False)
    found = judged.verdict
    first, *rest = found.said or ("",)
    screen.print(Text(f"{found.job}: {percent(found.goes_together)} that its corners go together", style="bold"), soft_wrap=True)
    for line in (first, *rest):
        screen.print(Text(f"  {line}"), soft_wrap=True)
    for line in (*_heat(found.heat), _time(found)):
        screen.print(Text(f"  {line}"), soft_wrap=True)
    screen.print("  in mm:", markup=False)
    screen.print(_corners(found))
    if found.recesses:
        screen.print("  grooves and housings, in mm:", markup=False)
        screen.print(_recesses(found))
    for line in textwrap.wrap(f"Burn law: {found.law_from}.", 110):
        screen.print(Text(f"  {line}", style="dim"), soft_wrap=True)
    told = f"  Odds out of {found.n_draws} simulated burns, {found.tier} tier; wood has the last word."
    screen.print(Text(told, style="dim"), soft_wrap=True)
    if judged.folder is not None:
        first_file = f"verdict-{found.corners[0].corner}.png"
        screen.print(f"  {judged.n_files} files in {judged.folder}; open {first_file} first", soft_wrap=True, markup=False)


def _heat(heat: HeatVerdict | None) -> list[str]:
    if heat is None:
        return []
    told = [f"Risk of flame: {heat.risk}; char: {heat.char}."]
    if heat.hottest:
        place = heat.hottest[0]
        x_mm, y_mm = place.at_mm
        told.append(f"Warmest when the beam comes back: {place.part}, setup {place.setup}, {format_mm(x_mm, 0)} along and "
                    f"{format_mm(y_mm, 0)} up the board.")
    if heat.spread_order > 0:
        told.append(f"Burnt in another order the warmest place would be {percent(heat.spread_order)} cooler.")
    return told


def _time(found: Verdict) -> str:
    longest = max(found.setup_time_s, key=lambda number: found.setup_time_s[number], default=0)
    more = f"; longest setup {longest}, {format_duration(found.setup_time_s[longest])}" if len(found.setup_time_s) > 1 else ""
    return f"Machine time {format_duration(found.time_s)}{more}."


def _corners(found: Verdict) -> Table:
    """Lengths in mm; narrow enough for 80 columns."""
    table = Table(box=None, padding=(0, 1, 0, 1), header_style="dim")
    for name in ("corner", "odds", "likely", "seen gap", "plan", "squeeze", "press"):
        table.add_column(name, justify="left" if name in ("corner", "likely") else "right", no_wrap=True)
    for corner in found.corners:
        planned = f"{corner.planned_gap_mm.value:.2f}" if corner.planned_gap_mm is not None else ""
        seen = with_spread(corner.seen_gap_mm).removesuffix(" mm")
        table.add_row(corner.corner, percent(corner.goes_together), likeliest(corner), seen, planned, f"{corner.squeeze_mm.value:.3f}",
                      press_words(corner))
    return table


def _recesses(found: Verdict) -> Table:
    """Every groove and housing as burnt, and the board that stands in it; narrow enough for 80 columns."""
    table = Table(box=None, padding=(0, 1, 0, 1), header_style="dim")
    for name in ("in", "recess", "deep", "goes in", "play", "under it"):
        table.add_column(name, justify="left" if name in ("in", "recess") else "right", no_wrap=True)
    for each in found.recesses:
        table.add_row(each.part, each.recess, _spread(each.depth_mm), "" if each.goes_in is None else percent(each.goes_in),
                      _spread(each.rattle_mm), _spread(each.under_mm))
    return table


def _spread(length_mm: Estimate | None) -> str:
    return "" if length_mm is None else with_spread(length_mm).removesuffix(" mm").replace(" ", "")

"""The summary a person reads in the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from kerfwright.app.workflow import Made
from kerfwright.core.finding import Level
from kerfwright.core.units import format_duration

# The same for every piece: in full when there is something to burn, and on the bench sheet always.
BODY_CAUTIONS = ("fire", "eyes", "fumes", "dust")


def tell(made: Made, console: Console | None = None) -> None:
    """Print what was made, how its corners should close, and what to mind."""
    screen = console or Console(highlight=False, soft_wrap=False)
    job = made.job
    screen.print(Text(job.name, style="bold"))
    if made.folder is not None:
        screen.print(f"  {made.n_files} files in {made.folder}; open bench-sheet.pdf first", soft_wrap=True, markup=False)
    ways = sorted({wall.method for wall in job.walls if wall.chosen})
    how = f"sloped walls by {', '.join(ways)}; " if ways else "square walls; "
    burning = f"{job.cut_length_mm / 1000:.1f} m of burning, about {format_duration(job.total_time_s)} on {job.machine.name}"
    screen.print(f"  {how}{len(job.setups)} setups, {burning}", markup=False, soft_wrap=True)
    screen.print("  expected gaps in mm, each side of a pin (below 0: squeeze):", markup=False, soft_wrap=True)
    screen.print(_gaps(made))
    for line in _account(made):
        screen.print(Text(f"  {line}"), soft_wrap=True)
    standing = [finding.code for finding in made.findings(Level.CAUTION) if finding.code in BODY_CAUTIONS] if made.folder is None else []
    if standing:
        screen.print(Text(f"  cautions: {', '.join(dict.fromkeys(standing))}: see the bench sheet", style="bold"), soft_wrap=True)
    for level in (Level.CAUTION, Level.WARNING, Level.NOTE):
        for finding in made.findings(level):
            if finding.code not in standing:
                place = f" ({finding.where})" if finding.where else ""
                style = "bold" if level is Level.CAUTION else ""
                screen.print(Text(f"  {level.value}: {finding.text}{place}", style=style), soft_wrap=True)
    if made.folder is None:
        screen.print("  Only looked at: nothing was written.", markup=False)


def _account(made: Made) -> list[str]:
    """Hardware, time and costs, a line each."""
    job, costs = made.job, made.job.costs
    told = [f"hardware: {'; '.join(f'{each.n_pieces} x {each.what}, {each.size}' for each in job.hardware)}"] if job.hardware else []
    if costs is None:
        return told
    time = f"hands about {format_duration(costs.hands_s)}"
    money = f"{time}; it costs {costs.amount(costs.cost)}, {costs.amount(costs.price)} for sale"
    examples = f" (examples stand in for {', '.join(costs.by_default)}: see costs in the bench file)" if costs.by_default else ""
    return [*told, money + examples]


def _gaps(made: Made) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 2), header_style="dim")
    for name in ("corner", "wanted", "tightest", "seen on tails", "seen on pins", "spread"):
        table.add_column(name, justify="left" if name == "corner" else "right", no_wrap=True)
    for gap in made.job.gaps:
        values = (gap.wanted_mm, gap.tightest_mm.value, gap.seen_tail_face_mm.value, gap.seen_pin_face_mm.value)
        table.add_row(gap.corner, *(f"{value:.3f}" for value in values), f"± {gap.tightest_mm.sd:.3f}")
    return table

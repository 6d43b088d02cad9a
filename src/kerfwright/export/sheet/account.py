"""Time and costs of the piece, and a price to sell it at."""

from __future__ import annotations

from kerfwright.core.units import format_duration
from kerfwright.export.sheet.blocks import Block, Columns, Framed, Gap, Stack, aside, chapter, heading, words
from kerfwright.export.sheet.pages import Section
from kerfwright.export.sheet.style import FIGURE, LABEL, STRONG, TINT
from kerfwright.export.sheet.table import Cell, Table
from kerfwright.process.costs import Costs

SHARES = (1.1, 2.6, 0.8)


def account_section(costs: Costs) -> Section:
    """The last words before the templates."""
    return Section("Costs", (
        chapter("Time and costs"),
        _figures(costs),
        heading("Time"), _time(costs),
        aside("Hand times are a first guess (judgement of ours, no source): write down yours. Waiting for glue and finish is not counted."),
        heading("Costs"), _costs(costs),
        *_said(costs),
    ))


def _figures(costs: Costs) -> Block:
    shares = f"laser {format_duration(costs.machine_s)}, hands {format_duration(costs.hands_s)}"
    facts = (
        ("Whole time", f"about {format_duration(costs.total_s)}", shares),
        ("What it costs you", costs.amount(costs.cost), "wood, laser, hands and the rest"),
        ("Price for sale", costs.amount(costs.price), f"with {costs.mark_up_frac:.0%} on top, before any tax"),
    )
    cells = tuple(Stack((words(name, style=LABEL, after_mm=0.0), words(value, style=FIGURE, after_mm=0.4),
                         words(more, style=LABEL, after_mm=0.0))) for name, value, more in facts)
    return Stack((Gap(2.0), Framed(Columns(cells, (1.25, 1.0, 1.0), 5.0), TINT, TINT)))


def _time(costs: Costs) -> Table:
    rows: list[tuple[Cell, ...]] = [("laser", "all setups, from their true moves", format_duration(costs.machine_s))]
    rows += [(work.what, work.how, format_duration(work.time_s)) for work in costs.hand_work]
    rows.append(_strong("together", "one after the other", format_duration(costs.total_s)))
    return Table(("What", "How it is counted", "Time"), SHARES, tuple(rows))


def _costs(costs: Costs) -> Table:
    rows: list[tuple[Cell, ...]] = [(line.what, line.how, costs.amount(line.amount)) for line in costs.lines]
    rows.append(_strong("together", "what the piece costs you", costs.amount(costs.cost)))
    rows.append(("mark-up", f"{costs.mark_up_frac:.0%} of that", costs.amount(costs.price - costs.cost)))
    rows.append(_strong("price for sale", "", costs.amount(costs.price)))
    return Table(("What", "How it is counted", f"Amount{', ' + costs.currency if costs.currency else ''}"), SHARES, tuple(rows))


def _strong(first: str, how: str, last: str) -> tuple[Cell, ...]:
    return words(first, style=STRONG, after_mm=0), how, words(last, style=STRONG, after_mm=0)


def _said(costs: Costs) -> list[Block]:
    money = [] if costs.currency else [aside("No currency is written in the bench file: these are bare numbers of your own money.")]
    if not costs.by_default:
        return [*money]
    examples = ", ".join(costs.by_default)
    return [*money, aside(f"Taken as examples because [costs] in the bench file does not give them, yours may differ: {examples}.")]

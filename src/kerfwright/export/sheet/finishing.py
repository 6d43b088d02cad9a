"""From hard glue to the last coat: planing flush, sanding, hardware, finish. Trade habits here are common practice, no source."""

from __future__ import annotations

from kerfwright.core.units import format_mm
from kerfwright.export.sheet.blocks import Block, Framed, Gap, Stack, aside, bullet, chapter, heading, strong, tick, words
from kerfwright.export.sheet.pages import Section
from kerfwright.export.sheet.style import FIGURE, OCHRE, OCHRE_TINT, STRONG
from kerfwright.export.sheet.table import Table
from kerfwright.export.sheet.telling import outside_mm, sentence
from kerfwright.process.job import Job
from kerfwright.wood.species import find_species

FINISHES = (
    ("Handled often", "oil, or oil and wax, two thin coats, rubbed dry", "thin shellac or wax"),
    ("To be looked at", "shellac, two or three thin coats, then wax", "thin shellac, or nothing"),
    ("Wet or rubbed", "varnish, two or three coats, the ends once more", "the same"),
    ("Drawer sides, sliding lids", "wax alone: a film of finish binds", "wax or shellac; no oil"),
)
CAUTIONS = (
    "Rags with drying oil heat up by themselves and can burn: spread them out to dry outdoors, or keep them under water in a closed "
    "metal can.",
    "Solvents of a finish burn and their vapour is breathed in: air the room, no flame or spark near, and follow what the tin says.",
    "Sanding raises fine dust of wood and char: extract it, wear a mask rated for fine dust, and cover the eyes.",
)


def finishing_section(job: Job) -> Section:
    """The page after the glue."""
    hardware: list[Block] = [heading("Hardware"), _hardware(job), *_fitting(job)] if job.hardware else []
    return Section("Finish", (
        chapter("From hard glue to the last coat"),
        heading("Flush and smooth"), *_smooth(job),
        *hardware,
        heading("Finish"), *_finish(),
        Gap(3.0), Framed(_cautions(job), OCHRE_TINT, OCHRE),
    ))


def _smooth(job: Job) -> list[Block]:
    proud_mm = outside_mm(job.assembly)[1]
    ends = f"The ends stand {format_mm(proud_mm)} proud. " if proud_mm > 0.005 else "The ends come out flush; take off only their char. "
    return [
        tick(strong("Ends flush: "), f"{ends}Plane or sand from the corner inward, so that nothing breaks out, until the show faces just "
             "lose their sheen; a fence of tape keeps the rest whole."),
        tick(strong("Char on edges and ends: "), "leave it as a dark line, or sand it off: 0.01 to 0.07 mm of changed wood is published "
             "for laser cuts (Barcikowski 2006, abstract). Do edges before faces: the dust smears."),
        tick(strong("Faces: "), "120, 180, 240 grit along the grain, every scratch of one gone before the next. Break all edges lightly, "
             "not where parts meet."),
        aside("Grits, coats and finishes on this page are common practice, no source."),
    ]


def _hardware(job: Job) -> Table:
    rows = tuple((words(str(each.n_pieces), style=STRONG, after_mm=0), sentence(each.what).rstrip("."), each.size, each.use)
                 for each in job.hardware)
    return Table(("Pieces", "What", "Size", "Where"), (0.4, 1.2, 1.9, 1.6), rows)


def _fitting(job: Job) -> list[Block]:
    """The piece's own words on how it is fitted."""
    return [tick(sentence(finding.text)) for finding in job.findings if finding.code in ("pins", "hinges")]


def _finish() -> list[Block]:
    rows = tuple((words(use, style=STRONG, after_mm=0), outside, inside) for use, outside, inside in FINISHES)
    return [
        Table(("Use", "Outside", "Inside"), (0.9, 1.5, 1.2), rows),
        tick("Try it on an offcut of the same board first, char and all."),
        tick("The inside was done before the glue. No oil in a closed box or drawer: it smells for months."),
        tick("Both faces of every lid and bottom get the same coats, or they cup."),
    ]


def _cautions(job: Job) -> Stack:
    species = sorted({find_species(board.species).name for board in job.boards.values()})
    listed = [sentence(f"{name}: {caution}") for name in species if (caution := find_species(name).dust_caution)]
    said = [*CAUTIONS, *listed, *(["A wood being listed is not proof of harm."] if listed else [])]
    return Stack((words("CAUTIONS", style=FIGURE.coloured("#8a5708"), after_mm=1.0), *(bullet(text) for text in said)))

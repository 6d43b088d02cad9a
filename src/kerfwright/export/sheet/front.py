"""The front page: what the piece is, what the job takes, what to mind and what to do before anything burns."""

from __future__ import annotations

from collections.abc import Mapping

from kerfwright.core.finding import Finding, Level
from kerfwright.core.units import format_duration
from kerfwright.export.piece_picture import render_piece
from kerfwright.export.sheet.blocks import Block, Columns, Figure, Framed, Gap, Run, Stack, bullet, heading, strong, tick, title, words
from kerfwright.export.sheet.pages import Section
from kerfwright.export.sheet.paper import Paper
from kerfwright.export.sheet.style import FIGURE, LABEL, OCHRE, OCHRE_TINT, QUIET, TINT
from kerfwright.export.sheet.telling import fit_words, joint_words, length_words, outside_mm, sentence, size_words, stops_words
from kerfwright.export.wood_colour import Colour
from kerfwright.geometry.assembly import Assembly
from kerfwright.process.job import Job
from kerfwright.wood.species import find_species

PICTURE_HEIGHT_MM = 54.0
PX_PER_MM = 6.5
APART_SHARE = 0.22  # exploded: of the piece's longest side

# What the sheet says of every job when the plan's own findings do not: by the finding's code.
STANDING = {
    "fire": "Stay beside the machine for the whole burn, air assist and extraction on, an extinguisher at hand",
    "eyes": "Keep the enclosure closed, or wear eyewear rated for this laser; so must everyone in the room",
    "fumes": "Smoke from burnt wood holds harmful gases and fine particles: extract it outdoors or through a rated filter",
    "dust": "Sanding raises fine dust of wood and char: extract it and wear a mask rated for fine dust",
}


def front_section(job: Job, colours: Mapping[str, Colour]) -> Section:
    """The first page."""
    return Section("Overview", (
        title(job.assembly.name),
        words(_what(job), style=QUIET, after_mm=3.0),
        *([_pictures(job.assembly, colours)] if job.assembly.parts else []),
        _figures(job),
        Gap(3.0),
        Framed(_cautions(job), OCHRE_TINT, OCHRE),
        *_warnings(job),
        Stack((heading("Before you start"), *_before(job))),
    ))


def _what(job: Job) -> str:
    if not job.assembly.parts:
        boards = ", ".join(dict.fromkeys(f"{board.name} ({board.species}, {board.thickness_mm:.2f} mm)" for board in job.boards.values()))
        return sentence(f"Nothing to assemble. Burnt on {boards}, on {job.machine.name}")
    kinds = list(dict.fromkeys(joint_words(job.assembly, gap.corner) for gap in job.gaps))
    joined = f"{len(job.gaps)} corners joined by {'; '.join(kinds)}" if kinds else "no joints"
    species = ", ".join(dict.fromkeys(board.species for board in job.boards.values()))
    return sentence(f"{len(job.assembly.parts)} boards{' of ' + species if species else ''}; {joined}. Made on {job.machine.name}")


def _pictures(assembly: Assembly, colours: Mapping[str, Colour]) -> Block:
    apart_mm = APART_SHARE * float(outside_mm(assembly)[0].max())
    return Columns((piece_figure(assembly, colours, 0.0, PICTURE_HEIGHT_MM, "Together"),
                    piece_figure(assembly, colours, apart_mm, PICTURE_HEIGHT_MM, "Apart")), (1.0, 1.0))


def piece_figure(assembly: Assembly, colours: Mapping[str, Colour], apart_mm: float, height_mm: float, caption: str) -> Figure:
    """A picture of an assembly, as wide as its column."""
    def draw(paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
        pixels = render_piece(assembly, colours, round(width_mm * PX_PER_MM), round(height_mm * PX_PER_MM), apart_mm)
        paper.picture(pixels, x_mm, top_mm - height_mm, width_mm, height_mm)

    return Figure(height_mm, draw, caption)


def _figures(job: Job) -> Block:
    facts = [
        *(_piece_facts(job) if job.assembly.parts else []),
        ("Setups", str(len(job.setups)), stops_words(sum(time.n_pauses for time in job.times))),
        ("Machine time", f"about {format_duration(job.total_time_s)}", _beside(job)),
    ]
    cells = tuple(Stack((words(name, style=LABEL, after_mm=0.0), words(value, style=FIGURE, after_mm=0.4),
                         words(more, style=LABEL, after_mm=0.0))) for name, value, more in facts)
    return Stack((Gap(2.0), Framed(Columns(cells, (1.5, 1.0, 0.9, 1.0)[-len(cells):], 5.0), TINT, TINT)))


def _beside(job: Job) -> str:
    beam = f"beam on {length_words(job.cut_length_mm)}"
    return f"{beam}; with hands about {format_duration(job.costs.total_s)}" if job.costs else beam


def _piece_facts(job: Job) -> list[tuple[str, str, str]]:
    flush, proud_mm = outside_mm(job.assembly)
    fits = list(dict.fromkeys(fit_words(gap.wanted_mm) for gap in job.gaps))
    return [
        ("Outside, mm", size_words(flush), f"ends stand {proud_mm:.1f} mm proud until planed" if proud_mm > 0.005 else "ends flush"),
        ("Fit", fits[0].split(",")[0] if len(fits) == 1 else "mixed" if fits else "none", "; ".join(fit.split(", ")[1] for fit in fits)),
    ]


def _warnings(job: Job) -> list[Block]:
    found = [finding for finding in job.findings if finding.level is not Level.CAUTION]
    if not found:
        return []
    order = (Level.WARNING, Level.NOTE)
    return [heading("Mind this"), *(bullet(*_finding_words(finding)) for level in order for finding in found if finding.level is level)]


def _finding_words(finding: Finding) -> tuple[Run, str]:
    place = f" ({finding.where})" if finding.where else ""
    return (strong(f"{finding.level.value.capitalize()}{place}: "), sentence(finding.text))


def _cautions(job: Job) -> Block:
    found = [finding for finding in job.findings if finding.level is Level.CAUTION]
    known = {finding.code for finding in found}
    texts = [sentence(finding.text) for finding in found]
    texts += [sentence(text) for code, text in STANDING.items() if code not in known]
    if "dust" not in known:
        species = sorted({find_species(board.species).name for board in job.boards.values()})
        texts += [sentence(caution) for name in species if (caution := find_species(name).dust_caution)]
    return Stack((
        words("CAUTIONS", style=FIGURE.coloured("#8a5708"), after_mm=1.0),
        *(bullet(text) for text in texts),
        words("These remarks are not complete. Local rules and the machine's manual come first.", after_mm=0.0),
    ))


def _at_hand(job: Job) -> str:
    hardware = [f"{each.n_pieces} × {each.what} ({each.size})" for each in job.hardware]
    return "At hand: paper tape for faces that must stay clean" + "".join(f"; {each}" for each in hardware) + "."


def _before(job: Job) -> list[Block]:
    measured = {board.name: board.thickness_mm for board in job.boards.values()}
    boards = "; ".join(f"{name} {thickness_mm:.2f} mm" for name, thickness_mm in measured.items())
    recipes = ", ".join(dict.fromkeys(recipe.name for recipe in job.recipes.values()))
    return [
        tick("Measure every board's thickness again at both ends. ", f"Planned with {boards}. More than 0.1 mm away: make the job again."),
        tick("The machine is set up as the recipe was burnt: ", strong(recipes or "no recipe given"), "."),
        tick("The fence is square to the machine's axes and fast; the bed is level and clear of scraps."),
        tick(_at_hand(job)),
        tick("Air assist, extraction and extinguisher are ready; lens and window are clean."),
    ]

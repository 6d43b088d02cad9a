"""Boards and parts, the recipe they are cut with, how the corners should close, and how sloped walls are made."""

from __future__ import annotations

from kerfwright.core.units import format_mm
from kerfwright.export.sheet.blocks import Block, Gap, Stack, aside, chapter, heading, words
from kerfwright.export.sheet.pages import Section
from kerfwright.export.sheet.style import BODY, OCHRE, QUIET, STRONG, TextStyle
from kerfwright.export.sheet.table import Cell, Table, joined_rows
from kerfwright.export.sheet.telling import (
    EYE_SEES_MM,
    READING_DISTANCE_MM,
    SHUT_BELOW,
    VISIBLE_ABOVE,
    counted,
    estimate_words,
    fit_words,
    joint_words,
    look_words,
    sentence,
)
from kerfwright.process.gap import WallOption
from kerfwright.process.job import Job
from kerfwright.process.recipe import Recipe, ThroughCut

KERF_WORDS = "Full width of the slit where the beam enters, at its narrowest and where it leaves, with one standard deviation."


def boards_section(job: Job) -> Section:
    """Everything that was assumed and is expected."""
    blocks: list[Block] = [chapter("Boards and what is expected of them"), heading("Parts"), _parts(job)]
    if job.recipes:
        blocks += [heading("Recipe"), _kerfs(job), aside(KERF_WORDS)]
    if job.gaps:
        blocks += [heading("How the corners should close"), _gaps(job), aside(_eye_words())]
    if job.walls:
        blocks += [heading("How sloped walls are made"), _walls(job)]
    return Section("Boards", (*blocks, Gap(1.0)))


def _parts(job: Job) -> Table:
    rows: list[tuple[str, tuple[Cell, ...]]] = []
    for part in job.assembly.parts:
        board = job.boards[part.name]
        blank = next((setup.board for setup in job.setups if setup.part == part.name), board.name)  # which of several alike
        x0, y0, x1, y1 = part.slab.bounds_mm()
        measured = f"{counted(len(board.thickness_points_mm), 'reading')} within {board.thickness_spread_mm:.2f}"
        rows.append((part.name, (
            two_lines(blank, board.species), f"{x1 - x0:.2f} × {y1 - y0:.2f}",
            two_lines(f"{board.thickness_mm:.2f}", measured),
            job.recipes[part.name].name if part.name in job.recipes else "none")))
    heads = ("Part", "Board and species", "Part, length × width", "Thickness measured", "Recipe")
    return Table(heads, (0.9, 1.2, 1.1, 1.35, 1.1), joined_rows(rows))


def two_lines(first: str, below: str, style: TextStyle = BODY) -> Stack:
    """A cell: what counts, and a quiet word under it."""
    return Stack((words(first, style=style, after_mm=0), words(below, style=QUIET, after_mm=0)))


def _kerfs(job: Job) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for recipe, cut in _cuts_used(job):
        for i, kerf in enumerate(cut.kerf):
            low, high = cut.thickness_mm
            settings = f"{100 * cut.power_frac:.0f} %, {cut.speed_mm_s:g} mm/s, {cut.passes} pass{'' if cut.passes == 1 else 'es'}"
            named = Stack((words(recipe.name, style=STRONG, after_mm=0), words(settings, style=QUIET, after_mm=0),
                           words(f"burnt on {low:g} to {high:g} mm", style=QUIET, after_mm=0)))
            rows.append((named if i == 0 else "", f"along {kerf.travel.upper()}, {kerf.grain} the grain",
                         *(estimate_words(each) for each in (kerf.top_mm, kerf.waist_mm, kerf.bottom_mm))))
    return Table(("Recipe", "Cut", "Kerf at entry", "Waist", "Exit"), (1.55, 1.15, 0.95, 0.95, 0.95), tuple(rows))


def _cuts_used(job: Job) -> list[tuple[Recipe, ThroughCut]]:
    """The recipes' through cuts that some operation's speed and passes show in use, else all of them."""
    recipes = {recipe.name: recipe for recipe in job.recipes.values()}
    burnt = {(op.speed_mm_s, len(op.passes)) for setup in job.setups for op in setup.operations}
    found: list[tuple[Recipe, ThroughCut]] = []
    for recipe in recipes.values():
        used = [cut for cut in recipe.through if (cut.speed_mm_s, cut.passes) in burnt]
        found += [(recipe, cut) for cut in used or recipe.through]
    return found


def _gaps(job: Job) -> Table:
    rows: list[tuple[str, tuple[Cell, ...]]] = []
    for gap in job.gaps:
        seen = [two_lines(look_words(each), estimate_words(each), STRONG) for each in (gap.seen_tail_face_mm, gap.seen_pin_face_mm)]
        asked = two_lines(fit_words(gap.wanted_mm).split(", ")[0], fit_words(gap.wanted_mm).split(", ")[1])
        rows.append((gap.corner, (joint_words(job.assembly, gap.corner), asked, estimate_words(gap.tightest_mm), *seen)))
    heads = ("Corner", "Joint", "Asked for", "Tightest place", "Seen on the tail board's face", "Seen on the pin board's face")
    return Table(heads, (0.9, 1.0, 1.2, 1.0, 1.1, 1.1), joined_rows(rows))


def _eye_words() -> str:
    shut_mm, hairline_mm = SHUT_BELOW * EYE_SEES_MM, VISIBLE_ABOVE * EYE_SEES_MM
    return (f"Gaps are for one flank, below zero is squeeze, ± one standard deviation. An eye parts two edges about {EYE_SEES_MM:.2f} mm "
            f"apart at {READING_DISTANCE_MM:.0f} mm (one minute of arc): up to {shut_mm:.2f} mm is called shut here, up to "
            f"{hairline_mm:.2f} mm a hairline. On box joints the board that starts counts as the tail board.")


def _walls(job: Job) -> Table:
    """Parts with the same choice share their rows."""
    parts: dict[tuple[tuple[Cell, ...], ...], list[str]] = {}
    for part in dict.fromkeys(wall.part for wall in job.walls):
        parts.setdefault(tuple(_wall_cells(wall) for wall in job.walls if wall.part == part), []).append(part)
    rows = tuple((words(", ".join(names), style=STRONG, after_mm=0) if i == 0 else "", *cells)
                 for ways, names in parts.items() for i, cells in enumerate(ways))
    return Table(("Part", "Way", "", "Why", "Setups", "Wall's place"), (0.65, 0.8, 0.9, 2.5, 0.55, 0.9), rows)


def _wall_cells(wall: WallOption) -> tuple[Cell, ...]:
    style = STRONG if wall.chosen else QUIET if wall.possible else QUIET.coloured(OCHRE)
    verdict = words("picked" if wall.chosen else "possible" if wall.possible else "not possible", style=style, after_mm=0)
    told = (str(wall.n_setups), f"± {format_mm(wall.wall_sd_mm, 3)}") if wall.possible else ("", "")
    return wall.method, verdict, sentence(wall.reason), *told

"""Pages of full-size templates: a bar and four corner crosses prove the print's scale on every one of them."""

from __future__ import annotations

from kerfwright.core.units import format_mm
from kerfwright.export.sheet.blocks import Block, Columns, Gap, Stack, aside, bullet, chapter, strong, words
from kerfwright.export.sheet.board_ends import baseline_mm, end_x_mm
from kerfwright.export.sheet.pages import ROOM_MM, Section
from kerfwright.export.sheet.paper import Paper
from kerfwright.export.sheet.style import BLACK, FIGURE, LABEL, QUIET, STRONG, TEXT_WIDTH_MM, Stroke
from kerfwright.export.sheet.telling import joint_words, listed, recess_words
from kerfwright.export.sheet.template_drawing import OVER_MM, UNDER_MM, ends_figure, overview_figure
from kerfwright.geometry.assembly import Part
from kerfwright.geometry.slab import Face
from kerfwright.process.job import Job

BAR_MM, TICK_MM = 100.0, 0.3
FOOT_MM = 17.0
CROSS_X_MM, CROSS_Y_MM = (12.0, 198.0), (24.0, 275.0)  # on the page: 186 by 251 apart
CROSS_ARM_MM = 3.0
HEAD_MM = 74.0  # most that stands over the ends on a page: the chapter, what is told of it, the part's own head
HOLLOW_MM = 11.0  # and for each of its hollows
LATER_HEAD_MM = 14.0  # over a part that goes on
OVERLAP_MM = 10.0


TOLD = ("Lay them on the wood to check it, or prick through to mark it by hand. Full line: show face. Dashed: inner face. Dotted: "
        "baseline. Tinted: a hollow, to its own depth; white: right through. Numbers: where flanks meet the end on the show face, from the "
        "bottom edge. Sizes are those of the finished part.")


def templates_section(job: Job) -> Section:
    """Both ends of every part; parts that are alike share one."""
    blocks: list[Block] = [chapter("Full-size templates"), aside(TOLD, after_mm=3.0)]
    for parts in alike(job.assembly.parts):
        blocks += _part_blocks(job, parts)
    return Section("Templates", tuple(blocks), _draw_proof, FOOT_MM)


def alike(parts: tuple[Part, ...]) -> list[list[Part]]:
    """Parts in groups of one shape (to a nanometre), in order."""
    groups: dict[tuple[float, ...], list[Part]] = {}
    for part in parts:
        rings = (*part.slab.rings, *(recess.ring for recess in part.slab.recesses))
        depths = (*part.slab.depths_mm, *(recess.depth_mm * (1 if recess.face is Face.SHOW else -1) for recess in part.slab.recesses))
        shape = (*depths, *(value for ring in rings for value in ring.points_mm.ravel().tolist()))
        groups.setdefault(tuple(round(value, 6) for value in shape), []).append(part)
    return list(groups.values())


def _part_blocks(job: Job, parts: list[Part]) -> list[Block]:
    part, name = parts[0], listed([each.name for each in parts])
    told = Stack((words(name, style=FIGURE), *_facts(job, part)))
    head = Columns((told, overview_figure(part, 0.5 * TEXT_WIDTH_MM)), (1.0, 1.1))
    first, *more = bands_mm(part)
    hollows = [bullet(strong(f"{what}: "), rest) for what, rest in (recess_words(part, recess) for recess in part.slab.recesses)]
    blocks: list[Block] = [Stack((head, Gap(1.0), *hollows, ends_figure(part, name, TEXT_WIDTH_MM, first), Gap(5.0)))]
    for band in more:
        blocks.append(Stack((words(f"{name}, continued", style=FIGURE), ends_figure(part, name, TEXT_WIDTH_MM, band), Gap(5.0))))
    return blocks


def _facts(job: Job, part: Part) -> list[Block]:
    depths = [abs(baseline_mm(part.slab, end) - end_x_mm(part.slab, end)) for end in ("left", "right")]
    corners = [corner for corner in dict.fromkeys(mate.corner for mate in job.assembly.mates if part.name in (mate.part_a, mate.part_b))]
    kinds = list(dict.fromkeys(joint_words(job.assembly, corner) for corner in corners))
    base = " and ".join(dict.fromkeys(format_mm(depth + 1e-9) for depth in depths))
    ends = f"; baselines {base} from the ends" if max(depths) > 0 else ""
    return [words(f"{format_mm(part.slab.thickness_mm)} thick{ends}", after_mm=0.5),
            words("; ".join(kinds) or "no joints at its ends", style=QUIET, after_mm=0.0)]


def bands_mm(part: Part) -> list[tuple[float, float]]:
    """Heights over the bottom edge drawn on one page each: one band, or several that overlap."""
    _, y0, _, y1 = part.slab.bounds_mm()
    heads_mm = (HEAD_MM + HOLLOW_MM * len(part.slab.recesses), LATER_HEAD_MM)
    room_mm, later_mm = (ROOM_MM - FOOT_MM - head_mm - OVER_MM - UNDER_MM for head_mm in heads_mm)
    whole_mm = y1 - y0
    bands: list[tuple[float, float]] = [(0.0, min(whole_mm, room_mm))]
    while bands[-1][1] < whole_mm - 1e-6:
        low_mm = bands[-1][1] - OVERLAP_MM
        bands.append((low_mm, min(whole_mm, low_mm + later_mm)))
    return bands


def _draw_proof(paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
    """The bar and the crosses."""
    y = top_mm - 8.0
    paper.rectangle(x_mm, y, BAR_MM, 0.5, fill=BLACK)
    for i in range(11):
        # The outer ticks end flush with the bar, so that it measures 100 mm over all.
        left_mm = min(max(10.0 * i - TICK_MM / 2, 0.0), BAR_MM - TICK_MM)
        paper.rectangle(x_mm + left_mm, y, TICK_MM, 3.0 if i % 5 == 0 else 1.8, fill=BLACK)
    for i in (0, 50, 100):
        paper.text(x_mm + i, y - 3.6, str(i), LABEL, "left" if i == 0 else "centre")
    aside_mm = x_mm + BAR_MM + 8.0
    across, up = CROSS_X_MM[1] - CROSS_X_MM[0], CROSS_Y_MM[1] - CROSS_Y_MM[0]
    paper.text(aside_mm, y + 1.0, "This bar must measure 100 mm.", STRONG.coloured(BLACK))
    paper.text(aside_mm, y - 3.4, f"Print at 100 %. Crosses: {across:.0f} × {up:.0f} mm.", LABEL)
    for x in CROSS_X_MM:
        for height in CROSS_Y_MM:
            paper.line(x - CROSS_ARM_MM, height, x + CROSS_ARM_MM, height, Stroke(BLACK, 0.15))
            paper.line(x, height - CROSS_ARM_MM, x, height + CROSS_ARM_MM, Stroke(BLACK, 0.15))

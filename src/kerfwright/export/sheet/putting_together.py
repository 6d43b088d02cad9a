"""The glue-up: what to prepare, in which order the parts come together, where glue goes and where not, and when it is square."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.pose import axes, shift
from kerfwright.export.sheet.blocks import Block, Columns, Gap, Line, Run, Stack, aside, bullet, chapter, heading, strong, tick, words
from kerfwright.export.sheet.front import piece_figure
from kerfwright.export.sheet.pages import Section
from kerfwright.export.sheet.style import BLUE, FIGURE
from kerfwright.export.sheet.table import Table
from kerfwright.export.sheet.telling import counted, listed, way_words
from kerfwright.export.wood_colour import Colour, parse_colour
from kerfwright.geometry.assembly import Assembly, Bond, Part, Step
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import straight_slab
from kerfwright.plan.glue_up import SPREAD_G_M2, GlueUp, Meeting, glue_up
from kerfwright.process.job import Job

Array = NDArray[np.float64]

ARROW = "way home"
STEP_PICTURE_MM = 46.0
AWAY_SHARE = 0.42  # how far moving parts stand off, share of the piece's longest side
GRAVITY_M_S2 = 9.81
MOST_NAMED = 3  # parts; more make a list that nobody reads
LOOSE_MM = 0.10  # from here on, total across a pin, the kind of glue is told (judgement of ours)
AXES = ("left to right", "front to back", "top to bottom")

def assembly_section(job: Job, colours: Mapping[str, Colour]) -> Section:
    """The page about putting together."""
    glue = glue_up(job.assembly, job.boards)
    blocks: list[Block] = [
        chapter("Putting it together"), heading("Before the glue"), *_before(job, glue), heading("Clamps"), *_clamps(glue),
        heading("Step by step, first dry, then with glue"),
    ]  # fmt: skip
    for number, step in enumerate(job.assembly.steps, start=1):
        blocks += [_step(job.assembly, glue, colours, number, step), Line()]
    return Section("Assembly", (*blocks, heading("Before the glue takes"), *_closed(job.assembly, glue)))


def _before(job: Job, glue: GlueUp) -> list[Block]:
    n_hollows = sum(each.kind == "recess" and each.bond is Bond.GLUED for each in glue.meetings)
    n_joints = sum(each.kind == "joint" for each in glue.meetings)
    faces = f"{counted(2 * n_joints, 'jointed end')}" + (f" and {counted(n_hollows, 'hollow')}" if n_hollows else "")
    dry = [each for each in glue.meetings if each.kind == "recess" and each.bond is Bond.DRY]
    panels = list(dict.fromkeys(each.part for each in dry))
    low_g, high_g = glue.glue_g
    whole = f"; {listed(panels)} whole, edges too, so that no bare wood shows when it shrinks" if panels else ""
    return [
        tick(strong("Clean the char off the glue faces: "), f"{faces}. Scrape or sand to bright wood, edges crisp, brush out the dust. "
             "Laser-cut faces glue worse: white glue (PVAc) held significantly less on laser-cut beech and oak than on sawn (a "
             "published comparison, known to us by its abstract)."),
        tick(strong("Put it together dry, "), "in the steps below, clamps on. It should close by hand or with light taps. Ease a tight "
             "flank a little; force splits half-pins."),
        tick(strong("Finish the inside faces now, "), f"glue faces taped off{whole}."),
        tick(strong(f"Glue: {low_g:.1f} to {high_g:.1f} g "), f"for {glue.area_mm2 / 100:.0f} cm² of joints ({SPREAD_G_M2[0]:.0f} to "
             f"{SPREAD_G_M2[1]:.0f} g/m², common practice, no source; doubled for what stays on the brush). {_glue_words(job)}"),
    ]


def _glue_words(job: Job) -> str:
    across_mm = max((2 * gap.wanted_mm for gap in job.gaps), default=0.0)
    if across_mm >= LOOSE_MM:
        return (f"These joints leave {across_mm:.2f} mm a pin: in one published test a thicker line was weaker with one-part PVAc (D3) and "
                "stronger with two-part (D4) glue (Forest Products Journal 68(2):120, abstract).")
    return "White or yellow wood glue (PVAc); take a slow one, or hot hide glue that can be opened again, when there are many places."


def _clamps(glue: GlueUp) -> list[Block]:
    rows: list[tuple[str, ...]] = []
    for each in glue.clamps:
        low_n, high_n = each.force_n
        pull = f"{low_n:.0f} to {high_n:.0f} N, as a weight of {low_n / GRAVITY_M_S2:.0f} to {high_n / GRAVITY_M_S2:.0f} kg"
        cauls = f"{each.n_cauls}, {each.caul_mm:.0f} mm long"
        rows.append((AXES[each.axis], counted(each.n_clamps, "clamp"), f"{each.opening_mm:.0f} mm", cauls, pull))
    table = Table(("They pull", "How many", "Open to", "Cauls", "Each pulls"), (1.0, 0.8, 0.7, 1.0, 2.0), tuple(rows))
    low_mpa, high_mpa = glue.pressure_mpa
    return [table, aside(
        f"{low_mpa:g} to {high_mpa:g} MPa on the sockets' floors (Wood Handbook ch. 10, from memory: 0.7 to 1.0 for softwood, up to 1.4 to "
        "1.7 for dense hardwood; between them ours). The flanks are pressed by the fit, not by clamps: once the joints are home, pull no "
        "harder. Cauls are scrap under packing tape; cut them to press beside the proud ends, not on them.")]


def _step(assembly: Assembly, glue: GlueUp, colours: Mapping[str, Colour], number: int, step: Step) -> Block:
    picture = piece_figure(step_assembly(assembly, step), {**colours, ARROW: parse_colour(BLUE)}, 0.0, STEP_PICTURE_MM, "")
    moving, standing = listed(step.moving), listed(step.standing) if len(step.standing) <= MOST_NAMED else "what stands"
    go = " goes " if len(step.moving) == 1 else " go "
    here = [each for each in glue.meetings if each.between(step.moving, step.standing)]
    said = (Gap(4.0), words(f"Step {number}", style=FIGURE),
            words(strong(moving[:1].upper() + moving[1:]), go, strong(way_words(step.direction)), f", onto {standing}."),
            *(bullet(*each) for each in meeting_words(here, step)))
    return Columns((picture, Stack(said)), (1.0, 1.15), 8.0)


def meeting_words(here: list[Meeting], step: Step) -> list[tuple[Run | str, ...]]:
    """What happens in a step, one item for each kind of meeting: what closes or goes in, and whether it is glued."""
    told: list[tuple[Run | str, ...]] = []
    corners = [each.corner for each in here if each.kind == "joint"]
    if corners:
        told.append((f"Closes {listed(corners)}. ", strong("Glue "), "the flanks thinly, the floors hardly: end grain drinks."))
    hollows = [each for each in here if each.kind == "recess"]
    for glued in (True, False):
        some = [each for each in hollows if (each.bond is Bond.GLUED) is glued]
        for part in dict.fromkeys(each.part for each in some):
            told.append(_into_words(part, [each for each in some if each.part == part], step, glued))
    laps = [each.into for each in here if each.kind == "lap"]
    if laps:
        told.append((f"Slots into {listed(laps)} where they cross, half and half; ", strong("no glue"), " needed there."))
    return [*told, *_resting_words([each for each in here if each.kind == "rest"], moved=step.moving, told=bool(told))]


def _into_words(part: str, into: list[Meeting], step: Step, glued: bool) -> tuple[Run | str, ...]:
    recess = into[0].recess
    what = recess.name.split(" ")[0] if recess is not None else "hollow"
    walls = listed([each.into for each in into])
    several = f"{what}s" if len(into) > 1 else what
    takes = "take" if len(into) > 1 else "takes"
    goes = f"{part} goes into the {several} of {walls}" if part in step.moving else f"the {several} of {walls} {takes} {part}"
    start = goes[:1].upper() + goes[1:] + ". "
    if glued:
        return (start, strong("Glue "), "the hollow thinly, not the part: what is pushed ahead then stays inside.")
    return (start, strong("No glue: "), "it must stay free to move.")


def _resting_words(rests: list[Meeting], moved: tuple[str, ...], told: bool) -> list[tuple[Run | str, ...]]:
    glued = [each for each in rests if each.bond is Bond.GLUED]
    if glued:
        pairs = listed([f"{each.part} to {each.into}" for each in glued])
        return [(strong("Glue "), f"{pairs}, face to face, grain along grain, and press flat until dry.")]
    if told or not rests:
        return []
    under = [each.into if each.part in moved else each.part for each in rests]
    return [(f"Only rests on or between {listed(list(dict.fromkeys(under)))}: ", strong("no glue.")),]


def _closed(assembly: Assembly, glue: GlueUp) -> list[Block]:
    dry = list(dict.fromkeys(each.part for each in glue.meetings if each.kind == "recess" and each.bond is Bond.DRY))
    blocks: list[Block] = []
    if glue.square is not None:
        long_mm, short_mm = glue.square.sizes_mm
        blocks.append(tick(
            strong(f"Square: both inside diagonals {glue.square.diagonal_mm:.1f} mm, "),
            f"not more than {glue.square.may_differ_mm:.1f} mm apart (inside {long_mm:.1f} × {short_mm:.1f} mm; 0.2 mm out of square over "
            "100 is what a fitted lid or drawer forgives: judgement of ours). Set the clamps a little askew so that they pull along the "
            "longer one."))
    inside = f" Let none reach {listed(dry)}: a panel that sticks splits when the wood moves." if dry else ""
    return [
        *blocks,
        tick(strong("Flat: "), "it stands on a flat surface and does not rock."),
        tick(strong("Squeeze-out: "), "leave it till it is like rubber, then lift it off with a chisel; wiped wet it fills the "
             f"pores.{inside}"),
        tick(strong("Leave the clamps "), "for as long as the glue's maker says."),
    ]


def step_assembly(assembly: Assembly, step: Step) -> Assembly:
    """Only this step's parts, the moving ones stood off, and an arrow over the gap."""
    corners = {part.name: _points(part) for part in assembly.parts}
    whole = np.concatenate(list(corners.values()))
    away_mm = AWAY_SHARE * float(np.ptp(whole, axis=0).max())
    off = shift(*(-away_mm * step.direction))
    parts = [replace(part, assembly_from_part=off @ part.assembly_from_part) if part.name in step.moving else part
             for part in assembly.parts if part.name in step.moving + step.standing]
    home = np.concatenate([corners[name] for name in step.moving])
    middle = (home.min(axis=0) + home.max(axis=0)) / 2 - 0.5 * away_mm * step.direction
    if abs(step.direction[2]) < 0.5:
        middle[2] = home[:, 2].max() + 0.04 * away_mm
    return replace(assembly, parts=(*parts, _arrow(middle, step.direction, 0.62 * away_mm)))


def _points(part: Part) -> Array:
    slab = part.slab
    flat = np.column_stack([slab.show_ring.points_mm, np.zeros(len(slab.edges))])
    return part.assembly_from_part.apply(np.concatenate([flat, flat - np.array([0.0, 0.0, slab.thickness_mm])]))


def _arrow(middle_mm: Array, direction: Array, length_mm: float) -> Part:
    """A flat arrow in the scene, so that it is hidden and lit like the parts."""
    half, head, barb = 0.09 * length_mm, 0.38 * length_mm, 0.22 * length_mm
    x0, x1, foot = -length_mm / 2, length_mm / 2, length_mm / 2 - head
    points = np.array([[x0, -half], [foot, -half], [foot, -barb], [x1, 0.0], [foot, barb], [foot, half], [x0, half]])
    edges = tuple(Edge(Role.FREE, Place.LONG, f"arrow.{i}") for i in range(len(points)))
    up = np.array([0.0, 0.0, 1.0]) if abs(direction[2]) < 0.5 else np.array([0.0, -1.0, 0.0])
    return Part(ARROW, straight_slab(Ring(points, edges), 0.05 * length_mm), axes(direction, np.cross(up, direction), up, middle_mm))

"""The glue-up: in which order the parts come together, seen and said, and what the glue wants."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.pose import axes, shift
from kerfwright.export.sheet.blocks import Block, Columns, Gap, Line, Stack, bullet, chapter, heading, strong, words
from kerfwright.export.sheet.front import piece_figure
from kerfwright.export.sheet.pages import Section
from kerfwright.export.sheet.style import BLUE, FIGURE
from kerfwright.export.sheet.telling import corner_boards, listed, way_words
from kerfwright.export.wood_colour import Colour, parse_colour
from kerfwright.geometry.assembly import Assembly, Part, Step
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import straight_slab
from kerfwright.process.job import Job

Array = NDArray[np.float64]

ARROW = "way home"
STEP_PICTURE_MM = 46.0
AWAY_SHARE = 0.42  # how far moving parts stand off, share of the piece's longest side

GLUE = (
    ("Clean the char off every glue face first. ", "Laser-cut faces glue worse than sawn ones: white glue (PVAc) held significantly less "
     "on laser-cut beech and oak than on sawn (a published comparison, known to us by its abstract). Scrape to bright wood, edges crisp."),
    ("Put it together dry once. ", "It should close by hand or with light taps. Ease a tight flank a little; force splits half-pins."),
    ("Glue flanks thinly, floors hardly. ", "Long grain holds; end grain drinks. Cauls across the joint press the sockets' floors home."),
    ("Check that it is square ", "by its two diagonals before the glue takes, and that it lies flat."),
    ("Plane proud ends flush ", "when the glue is hard, from the corner inward so that nothing breaks out."),
)


def assembly_section(job: Job, colours: Mapping[str, Colour]) -> Section:
    """The page about putting together."""
    blocks: list[Block] = [chapter("Putting it together")]
    for number, step in enumerate(job.assembly.steps, start=1):
        blocks += [_step(job.assembly, colours, number, step), Line()]
    return Section("Assembly", (*blocks, heading("Glue"), *(bullet(strong(first), rest) for first, rest in GLUE)))


def _step(assembly: Assembly, colours: Mapping[str, Colour], number: int, step: Step) -> Block:
    picture = piece_figure(step_assembly(assembly, step), {**colours, ARROW: parse_colour(BLUE)}, 0.0, STEP_PICTURE_MM, "")
    moving, standing = listed(step.moving), listed(step.standing)
    corners = [corner for corner in dict.fromkeys(mate.corner for mate in assembly.mates) if _closes(assembly, corner, step)]
    go = " goes " if len(step.moving) == 1 else " go "
    said = (Gap(6.0), words(f"Step {number}", style=FIGURE),
            words(strong(moving[:1].upper() + moving[1:]), go, strong(way_words(step.direction)), f", onto {standing}."),
            words(f"Closes {listed(corners)}." if corners else "No corner closes in this step."))
    return Columns((picture, Stack(said)), (1.0, 1.15), 8.0)


def _closes(assembly: Assembly, corner: str, step: Step) -> bool:
    boards = corner_boards(assembly.mates, corner)
    return any(name in step.moving for name in boards) and any(name in step.standing for name in boards)


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

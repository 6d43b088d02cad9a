"""The colour each part is shown in: its wood's own, and a shade apart from the parts it touches."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.assembly import Assembly
from kerfwright.process.job import Job
from kerfwright.wood.species import find_species

Array = NDArray[np.float64]
Colour = tuple[float, float, float]  # sRGB, 0-1

WARMTH = (0.75, 1.0, 1.35)  # red, green, blue (ours, chosen by eye)
SHADES = (1.0, 0.90, 0.95, 0.85, 0.80)  # how light beside the species' colour (ours, chosen by eye)


def part_colours(job: Job) -> dict[str, Colour]:
    """sRGB colour by part name."""
    shades = part_shades(job.assembly)
    return {
        part.name: shaded(parse_colour(find_species(job.boards[part.name].species).colour), shades[part.name])
        for part in job.assembly.parts
    }


def part_shades(assembly: Assembly) -> dict[str, float]:
    """For each part the first shade that no part it mates with has yet."""
    found: dict[str, float] = {}
    for part in assembly.parts:
        beside = {
            mate.part_b if mate.part_a == part.name else mate.part_a for mate in assembly.mates if part.name in (mate.part_a, mate.part_b)
        }
        taken = {found[name] for name in beside if name in found}
        found[part.name] = next((shade for shade in SHADES if shade not in taken), SHADES[0])
    return found


def parse_colour(text: str) -> Colour:
    """``"#d8b48a"`` as three shares."""
    return int(text[1:3], 16) / 255, int(text[3:5], 16) / 255, int(text[5:7], 16) / 255


def shaded(colour: Colour, light_frac: float) -> Colour:
    """The colour in less light. Wood grows warmer, not greyer, as light fails, so blue goes first."""
    red, green, blue = (share * light_frac**warmth for share, warmth in zip(colour, WARMTH, strict=True))
    return red, green, blue


def hex_colour(colour: Colour) -> str:
    """``#rrggbb``."""
    return "#" + "".join(f"{round(255 * min(max(each, 0.0), 1.0)):02x}" for each in colour)


def end_grain(normals: Array) -> NDArray[np.bool_]:
    """Which faces cut across the grain: their normals (n, 3) in the part frame lie nearer to the grain, x, than 45 degrees. (n,)"""
    return np.abs(normals[:, 0]) > np.sqrt(0.5)

"""The cut list as CSV (RFC 4180, UTF-8): one row a part, lengths in mm and in inches to 1/64, then the wood each species takes.

Words: *finished* is the part as it is burnt, *planed* its length once the proud ends are planed flush, *blank* the board the
programs are placed on, *rough* what to take from the rack so that the blank can be milled from it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from fractions import Fraction

from kerfwright.core.units import MM_PER_INCH
from kerfwright.export.exporter import Exporter, JobFile
from kerfwright.export.sheet.telling import outside_mm, recess_words
from kerfwright.geometry.slab import Slab
from kerfwright.process.job import Job
from kerfwright.process.setup import Setup
from kerfwright.wood.rough import BOARD_FOOT_MM3, Size, rough_size_mm, volume_mm3

PATH = "cut-list.csv"
SIXTY_FOURTHS = 64
AXES = ("length", "width", "thickness")
HEADS = ("part", "use", "pieces", "board", "species",
         *(f"finished_{axis}_mm" for axis in AXES), *(f"finished_{axis}_in" for axis in AXES),
         *(f"blank_{axis}_mm" for axis in AXES), *(f"blank_{axis}_in" for axis in AXES), "setups", "planed_length_mm",
         *(f"rough_{axis}_mm" for axis in AXES), "rough_board_feet", "rough_area_m2", "hollows")


class _CutList:
    name = "cut list"

    def files(self, job: Job) -> Iterator[JobFile]:
        if job.assembly.parts:
            yield JobFile(PATH, cut_list(job), "the cut list: one row a part")


def cut_list(job: Job) -> bytes:
    """Parts of the piece in its own order, helpers such as a cradle's, then the wood that the parts take, by species."""
    text = io.StringIO(newline="")
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow(HEADS)
    proud_mm = outside_mm(job.assembly)[1]
    jointed = {name for mate in job.assembly.mates for name in (mate.part_a, mate.part_b)}
    wood: dict[str, list[Size]] = {}
    for part in job.assembly.parts:
        board, setups = job.boards[part.name], [setup for setup in job.setups if setup.part == part.name]
        blank_mm = setups[0].board_size_mm if setups else (board.length_mm, board.width_mm, board.thickness_mm)
        planing_mm = 2 * proud_mm if part.name in jointed else 0.0
        rough_mm = rough_size_mm(blank_mm)
        wood.setdefault(board.species, []).append(rough_mm)
        hollows = "; ".join(": ".join(recess_words(part, recess)) for recess in part.slab.recesses)
        x0, _, x1, _ = part.slab.bounds_mm()
        row = _row(part.name, "piece", board.name, board.species, part.slab, blank_mm, setups)
        rows.writerow([*row, _mm(x1 - x0 - planing_mm), *map(_mm, rough_mm), *_amounts([rough_mm]), hollows])
    named = {part.name for part in job.assembly.parts}
    for setup in job.setups:
        if setup.part not in named:
            slabs = (setup.part_slab, *setup.more_slabs)
            for number, slab in enumerate(slabs, start=1):
                name = setup.part if len(slabs) == 1 else f"{setup.part} {number}"
                row = _row(name, "helper", setup.board, "any flat wood the recipe cuts", slab, setup.board_size_mm, [setup])
                rows.writerow([*row, *[""] * (len(HEADS) - len(row))])
    for species, sizes in wood.items():
        total = {"part": "all parts", "use": "wood needed", "pieces": str(len(sizes)), "species": species}
        total |= dict(zip(("rough_board_feet", "rough_area_m2"), _amounts(sizes), strict=True))
        rows.writerow([total.get(head, "") for head in HEADS])
    return text.getvalue().encode("utf-8")


def _row(part: str, use: str, board: str, species: str, slab: Slab, blank_mm: Size, setups: list[Setup]) -> list[str]:
    x0, y0, x1, y1 = slab.bounds_mm()
    finished_mm = (x1 - x0, y1 - y0, slab.thickness_mm)
    sizes = [words for size in (finished_mm, blank_mm) for write in (_mm, inches) for words in map(write, size)]
    return [part, use, "1", board, species, *sizes, " ".join(str(setup.number) for setup in setups)]


def _amounts(sizes_mm: list[Size]) -> tuple[str, str]:
    """Board feet and m2 of face."""
    area_mm2 = sum(length * width for length, width, _ in sizes_mm)
    return f"{sum(map(volume_mm3, sizes_mm)) / BOARD_FOOT_MM3:.3f}", f"{area_mm2 / 1e6:.4f}"


def _mm(length_mm: float) -> str:
    return f"{length_mm:.2f}"


def inches(length_mm: float) -> str:
    """The nearest 1/64 inch as a person says it: ``"7 5/64"``, ``"15/64"``, ``"2"``."""
    whole, rest = divmod(round(length_mm / MM_PER_INCH * SIXTY_FOURTHS), SIXTY_FOURTHS)
    part = str(Fraction(rest, SIXTY_FOURTHS)) if rest else ""
    return f"{whole} {part}".strip() if whole or part == "" else part


EXPORTER: Exporter = _CutList()

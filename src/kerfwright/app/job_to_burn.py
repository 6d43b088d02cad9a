"""What a verdict is given of a job folder or a piece: the job, and its programs read back from the text that is really sent."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from kerfwright.core.errors import FolderError, InputError, SelfCheckError

if TYPE_CHECKING:
    from kerfwright.geometry.assembly import Assembly
    from kerfwright.process.job import Job
    from kerfwright.process.program import Program
    from kerfwright.process.recipe import Recipe

MADE = "a job folder made by kerfwright make, or a piece file"


@dataclass(frozen=True, eq=False)
class JobToBurn:
    """programs: by setup number; recipes: by part, for a burn law where nothing was read; pilots: parts whose own board was tried."""

    job: Job
    programs: dict[int, Program]
    recipes: dict[str, Recipe]
    pilots: frozenset[str]

    def only(self, corner: str) -> JobToBurn:
        """The same with one corner to judge. Raises InputError when there is none of that name."""
        assembly = self.job.assembly
        mates = tuple(mate for mate in assembly.mates if mate.corner == corner)
        if not mates:
            known = dict.fromkeys(mate.corner for mate in assembly.mates)
            raise InputError(f'there is no corner "{corner}"', accepted=", ".join(known), where=self.job.name)
        kept = {mates[0].part_a, mates[0].part_b}
        nearby = replace(
            assembly, mates=mates, parts=tuple(part for part in assembly.parts if part.name in kept),
            freedoms=tuple(each for each in assembly.freedoms if each.corner == corner),
        )
        return replace(self, job=replace(self.job, assembly=nearby))


def job_to_burn(target: Path, bench: Path | None = None) -> JobToBurn:
    """Read a job folder, or make a piece's job in memory. Raises an error that names the file, and the line, that is wrong."""
    if os.path.isdir(target) and not (target / "piece.toml").exists():
        return _from_folder(target)
    if target.name == "job.json":
        return _from_folder(target.parent)
    return _from_piece(target, bench)


def _from_piece(piece: Path, bench: Path | None) -> JobToBurn:
    from kerfwright.app import workflow
    from kerfwright.export.formats.rs274 import program_text
    from kerfwright.export.program_reader import read_program

    job = workflow.look(piece, bench).job
    _check_corners(job.assembly, piece)
    programs = {setup.number: read_program(program_text(setup, job.machine)) for setup in job.setups}
    return JobToBurn(job, programs, job.recipes, frozenset())


def _check_corners(assembly: Assembly, where: Path) -> None:
    if not assembly.mates:
        raise InputError(
            "this job has no corner to judge", accepted="a piece with through dovetails or box joints, whose walls can be looked at",
            where=str(where),
        )  # fmt: skip


def _from_folder(folder: Path) -> JobToBurn:
    from kerfwright.export.job_reader import read_job

    if not (folder / "job.json").exists():
        raise FolderError("there is no job.json in this folder", accepted=MADE, remedy="Make it with kerfwright make", where=str(folder))
    read = read_job(folder)
    _check_corners(read.assembly, folder)
    programs = {setup.number: _program(folder / read.programs[setup.number], read.job, setup.number) for setup in read.setups}
    return JobToBurn(read.job, programs, _recipes(folder), _pilots(folder))


def _program(path: Path, job: Job, number: int) -> Program:
    """One program, held against job.json: a verdict of something else than what the folder says would help nobody."""
    from kerfwright.export.program_check import check_program
    from kerfwright.export.program_reader import read_program

    try:
        text = path.read_text(encoding="ascii")
    except OSError as bad:
        raise FolderError(bad.strerror or "it cannot be read", accepted="a whole job folder", remedy="Make the job again",
                          where=str(path)) from bad
    except ValueError as bad:
        raise InputError("this is not a program", accepted="plain ASCII", remedy="Make the job again", where=str(path)) from bad
    setup = next(each for each in job.setups if each.number == number)
    try:
        check_program(text, setup, job.machine)
    except SelfCheckError as bad:
        raise InputError(f"this program and job.json do not say the same: {bad.arrived}", accepted="the programs as they were written",
                         remedy="Make the job again", where=str(path)) from bad
    return read_program(text)


def _recipes(folder: Path) -> dict[str, Recipe]:
    """Of inputs.json; none of them when a folder has none (jobs of coupons, or older ones)."""
    from kerfwright.app.inputs import PATH, read_inputs

    if not (folder / PATH).exists():
        return {}
    inputs = read_inputs(folder)
    return {part: inputs.recipe(part) for part in inputs.recipes}


def _pilots(folder: Path) -> frozenset[str]:
    """Parts whose boards were read in a retuned job: their own need is known."""
    path = folder / "retuned.json"
    if not path.exists():
        return frozenset()
    try:
        return frozenset(json.loads(path.read_text(encoding="utf-8"))["boards"])
    except (OSError, ValueError, KeyError, TypeError) as bad:
        raise InputError("it is damaged", accepted="an unchanged retuned.json", remedy="Retune the job again", where=str(path)) from bad

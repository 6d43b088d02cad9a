"""A setup's program written again: checked as the first one was, beside it under a new name, with a JSON that says why."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from kerfwright.core.codec import to_json
from kerfwright.export.job_reader import JobFolder
from kerfwright.process.setup import Setup


def free_name(program: Path, word: str) -> Path:
    """A name beside a program that is not taken yet: ``02-front-ramp-again-1.ngc``."""
    tries = (program.with_name(f"{program.stem}-{word}-{k}{program.suffix}") for k in range(1, 1000))
    return next(path for path in tries if not path.exists())


def write_again(job: JobFolder, setup: Setup, program: Path, told: Mapping[str, Any]) -> None:
    """Write ``program`` and its JSON, both new. told: the JSON's content; the pose and the program's name are added.

    Raises PlanError when the setup no longer fits the machine, FolderError when either file is there already.
    """
    from kerfwright.export.folder import refuse_existing, write_new_file
    from kerfwright.export.formats.rs274 import program_text
    from kerfwright.export.program_check import check_program
    from kerfwright.plan.check import check_setup

    check_setup(setup, job.machine)
    text = program_text(setup, job.machine, job.recipe_names.get(setup.part, ""))
    check_program(text, setup, job.machine)
    record = program.with_suffix(".json")
    refuse_existing(program, "file")
    refuse_existing(record, "file")
    pose = {"bed_from_board": setup.bed_from_board, "gauge_height_mm": setup.gauge_height_mm, "program": program.name}
    write_new_file(program, text.encode("ascii"))
    write_new_file(record, to_json({**told, **pose}).encode())

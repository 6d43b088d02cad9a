"""The two closed loops inside a job: retune it from its pilot strips, finish a ramp from the depth read at its check pause.

A strip tells of its board. Other parts cut from that board with the same recipe, their own strips not read, go by it too.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from kerfwright.app.inputs import Inputs, read_inputs
from kerfwright.core.codec import plain, to_json
from kerfwright.core.document import read_text
from kerfwright.core.errors import FolderError, InputError, RecipeRangeError
from kerfwright.core.units import format_mm

if TYPE_CHECKING:
    from kerfwright.calibrate.remaining import Remaining
    from kerfwright.calibrate.retune import Retuned
    from kerfwright.core.estimate import Estimate
    from kerfwright.coupons.readings import Reading
    from kerfwright.coupons.record import CouponRecord
    from kerfwright.export.job_reader import JobFolder
    from kerfwright.process.job import Job
    from kerfwright.process.recipe import RampSettings, Recipe
    from kerfwright.process.setup import Setup

RETUNED_PATH = "retuned.json"
MADE = "a folder made by kerfwright make"
RAMPED = ("ramp", "two faces")


@dataclass(frozen=True, eq=False)
class JobRetuned:
    """A job written again. boards: what was learned, by part.

    shared: parts without readings of their own and the part of the same board whose strip they go by; kept: parts that keep
    their recipe; notebook: where the readings were kept.
    """

    folder: Path
    job: Job
    boards: dict[str, Retuned]
    shared: dict[str, str]
    kept: tuple[str, ...]
    notebook: str

    def summary(self) -> dict[str, Any]:
        """For people and scripts."""
        return {
            "schema": "kerfwright-retune-1",
            "folder": str(self.folder),
            "boards": {part: _told(own) for part, own in self.boards.items()},
            "shared": self.shared,
            "kept": list(self.kept),
            "notebook": self.notebook,
            "setups": [{"number": setup.number, "title": setup.title} for setup in self.job.setups],
        }


def _told(own: Retuned) -> dict[str, Any]:
    numbers = {"slit_wider_mm": own.slit_mm, "depth_ratio": own.depth_ratio}
    return (
        {"said": own.said(), "n_readings": own.n_readings, "n_more_layers": own.n_more_layers}
        | {name: plain(each) for name, each in numbers.items()}
        | {"findings": [plain(finding) for finding in own.findings]}
    )


@dataclass(frozen=True, eq=False)
class _Strip:
    """What was filled in of a part's strip."""

    record: CouponRecord
    readings: tuple[Reading, ...]

    @property
    def is_read(self) -> bool:
        return any(each.status == "read" for each in self.readings)


def retune(folder: Path, out: Path | None = None, notebook: str | Path | None = None) -> JobRetuned:
    """Write a job again for the boards whose pilot strips were read, and keep the readings in the notebook.

    Boards without readings keep their recipe. out: a new folder; default: the job folder's name with "-retuned". Pilot
    setups are left out.
    """
    from kerfwright.calibrate.retune import retuned, retuned_tables
    from kerfwright.export.exporter import JobFile
    from kerfwright.export.folder import job_files, refuse_existing, write_folder

    named = folder if folder.name else folder.resolve()
    target = out or named.with_name(f"{named.name}-retuned")
    refuse_existing(target)
    inputs = read_inputs(folder)
    strips = _strips(folder, inputs)
    told_by = {part: source for part in inputs.boards if (source := _told_by(part, inputs, strips)) is not None}
    if not told_by:
        raise InputError(
            "no pilot strip was read", accepted="one reading or more", remedy="Fill in pilot/*-readings.toml", where=str(folder)
        )
    recipes = {part: inputs.recipe(part) for part in inputs.recipes}
    boards = {part: retuned(recipes[part], strips[by].record, strips[by].readings, by) for part, by in told_by.items()}
    _still_reaching(inputs.plan().job, boards)
    recipes |= {part: own.recipe for part, own in boards.items()}
    tables = {part: retuned_tables(inputs.recipes[part], boards[part]) if part in boards else inputs.recipes[part] for part in recipes}
    again = replace(inputs, recipes=tables, burn=inputs.burn | {"pilot_burnt": True})
    job = again.plan(recipes).job
    record = {
        "schema": "kerfwright-retuned-1",
        "from": folder.resolve().name,
        "boards": {part: _told(own) | {"strip": told_by[part], "readings": strips[told_by[part]].readings} for part, own in boards.items()},
    }
    files = job_files(job, [again.file(), JobFile(RETUNED_PATH, to_json(record).encode(), "what the pilot strips changed")])
    kept_in = _keep(inputs, strips, notebook)
    write_folder(files, target)
    shared = {part: by for part, by in told_by.items() if by != part}
    return JobRetuned(target, job, boards, shared, tuple(part for part in recipes if part not in boards), kept_in)


def _strips(folder: Path, inputs: Inputs) -> dict[str, _Strip]:
    """Each part's strip with what was filled in. Raises InputError when the job has no strips."""
    from kerfwright.coupons.readings import read_forms
    from kerfwright.coupons.record import read_record
    from kerfwright.export.pilot_files import pilot_paths

    found: dict[str, _Strip] = {}
    for part in inputs.boards:
        path, forms = pilot_paths(part)
        if not (folder / path).exists():
            continue
        record = read_record(read_text(folder / path, MADE), str(folder / path))
        found[part] = _Strip(record, read_forms(folder, forms, record))
    if not found:
        burnt = bool(inputs.burn.get("pilot_burnt"))
        raise InputError(
            "this job was retuned already" if burnt else "this job has no pilot strips",
            accepted="a job made with pilot = true under [burn]",
            remedy="Fill in the forms of the job it came from and retune that one" if burnt else "Make the job again with pilot = true",
            where=str(folder),
        )
    return found


def _told_by(part: str, inputs: Inputs, strips: dict[str, _Strip]) -> str | None:
    """The part whose strip tells of this part's board: its own when it was read, else another's of the same board; None without any."""
    mates = [part, *(other for other in inputs.boards if inputs.boards[other] == inputs.boards[part])]
    return next(
        (each for each in mates if each in strips and strips[each].is_read and inputs.recipes[each] == inputs.recipes[part]),
        None,
    )


def _keep(inputs: Inputs, strips: dict[str, _Strip], notebook: str | Path | None) -> str:
    """Keep all answers in the notebook, in one go; its name. They are facts about boards and machine, whatever becomes of the job."""
    from kerfwright.app.learning import told_facts
    from kerfwright.notebook.notebook import open_notebook

    with open_notebook(notebook) as book:
        facts = {
            fact.id: fact
            for part, strip in strips.items()
            if strip.readings
            for fact in told_facts(book, strip.record, strip.readings, {"machine": inputs.machine, "board": inputs.boards[part]})
        }
        book.add(list(facts.values()))
        return book.name


def _still_reaching(planned: Job, boards: dict[str, Retuned]) -> None:
    """A board that was to be ramped must still be: its strip tells nothing of another way to make the walls."""
    from kerfwright.plan.ramp import ramp_fault

    for wall in planned.walls:
        if not wall.chosen or wall.method not in RAMPED or wall.part not in boards:
            continue
        fault = ramp_fault(boards[wall.part].recipe.ramp, planned.boards[wall.part].thickness_mm)
        if fault:
            raise RecipeRangeError(
                f"{boards[wall.part].said()}: {fault}",
                accepted="ramps that reach through the board within the powers that were burnt",
                remedy="Burn the ramp staircase coupon on an offcut of this board, slower or in more layers, or make its walls another way",
                where=wall.part,
            )


@dataclass(frozen=True, eq=False)
class Finished:
    """The remaining layers of a ramp and all that follows them, written again.

    ratio: this board's depths over the recipe's; earlier: programs that were written for this pause before.
    """

    program: Path
    record: Path
    expected_mm: float
    ratio: Estimate
    remaining: Remaining
    n_planned: int
    earlier: tuple[str, ...]

    def summary(self) -> dict[str, Any]:
        """For people and scripts."""
        powers = self.remaining.powers_frac
        return {
            "schema": "kerfwright-finish-1",
            "program": str(self.program),
            "record": str(self.record),
            "expected_mm": round(self.expected_mm, 4),
            "depth_ratio": plain(self.ratio),
            "layers": self.remaining.n_layers,
            "extra_layers": self.remaining.n_layers - self.n_planned,
            "power_frac": [round(float(powers.min()), 4), round(float(powers.max()), 4)],
            "short_mm": round(self.remaining.short_mm, 4),
            "earlier": list(self.earlier),
        }


def finish(folder: Path, number: int, depth_mm: float, program: Path | None = None, out: Path | None = None) -> Finished:
    """Write the layers after a setup's check pause again, from the depth read at the witness patch.

    program: the one that stands at the pause, where ``shift`` wrote it again; default: the job's own. out: the new
    program; default: beside the old one. A small JSON beside it says how the powers came about.
    """
    from kerfwright.app.rewritten import free_name, write_again
    from kerfwright.calibrate.retune import boards_ln_sd, checked_ratio, depth_ratio
    from kerfwright.export.job_reader import read_job
    from kerfwright.process.ramp_lines import grown_share

    job = read_job(folder)
    setup = _as_burnt(folder, job, number, program)
    n_burnt, patch_mm = _at_pause(job, setup)
    recipe, ramp = _ramped_recipe(folder, setup, n_burnt)
    where = f"setup {number}, {setup.title}"
    if depth_mm >= setup.board_size_mm[2]:
        thickness = format_mm(setup.board_size_mm[2])
        raise InputError(f"a depth of {format_mm(depth_mm)} in a board {thickness} thick", accepted=f"less than {thickness}", where=where)
    expected_mm = patch_mm * grown_share(n_burnt, ramp.layers)
    read_ratio = checked_ratio(depth_mm, expected_mm, "the patch's depth", where)
    ratio = depth_ratio([read_ratio], f"witness patch of setup {number}", boards_ln_sd(recipe))
    again, left = _with_layers(setup, ramp, n_burnt, ratio, where)
    own = folder / job.programs[number]
    target = out or free_name(own, "finish")
    earlier = tuple(each.name for each in sorted(own.parent.glob(f"{own.stem}-finish-*{own.suffix}")))
    done = Finished(target, target.with_suffix(".json"), expected_mm, ratio, left, ramp.layers - n_burnt, earlier)
    told = done.summary() | {"setup": number, "depth_mm": depth_mm, "record": done.record.name, "operations": again.operations}
    write_again(job, again, target, told)
    return done


def _as_burnt(folder: Path, job: JobFolder, number: int, program: Path | None) -> Setup:
    """The setup as the board lies: moved when its program was written again after its witness marks were read."""
    from kerfwright.process.setup import Placing

    setup = job.setup(number)
    own = folder / job.programs[number]
    again = sorted(own.parent.glob(f"{own.stem}-again-*{own.suffix}"))
    if program is None:
        if again:
            names = ", ".join(each.name for each in (own, *again))
            raise InputError(
                "this setup's program was written again after its marks were read",
                accepted=f"--program with the one you burn: {names}",
                where=f"setup {number}",
            )
        return setup
    burnt = program if program.exists() else own.parent / program.name
    accepted = f"{own.name}, or one that kerfwright shift wrote for this setup"
    if not burnt.exists():
        raise FolderError("there is no such program", accepted=accepted, where=str(program))
    if burnt.resolve() == own.resolve():
        return setup
    path = burnt.with_suffix(".json")
    told = _tables(path, "the JSON that kerfwright shift wrote")
    if told.get("schema") != "kerfwright-shift-1" or told.get("setup") != number:
        raise InputError(f"{burnt.name} is not a program that shift wrote for setup {number}", accepted=accepted, where=str(burnt.parent))
    try:
        placing = told["placing"]
        return setup.placed(Placing(placing["x_mm"], placing["y_mm"], placing["turn_deg"], tuple(placing["about_mm"])))
    except (KeyError, TypeError) as bad:
        raise InputError("it is damaged", accepted="the JSON that kerfwright shift wrote", where=str(path)) from bad


def _tables(path: Path, accepted: str) -> dict[str, Any]:
    """A JSON file of ours."""
    try:
        found: Any = json.loads(read_text(path, accepted))
    except ValueError as bad:
        raise InputError("it is damaged", accepted=accepted, where=str(path)) from bad
    return cast("dict[str, Any]", found) if isinstance(found, dict) else {}


def _at_pause(job: JobFolder, setup: Setup) -> tuple[int, float]:
    """(layers burnt before the pause, depth the patch is sent to in the end)."""
    from kerfwright.plan.pause import is_rest

    names = [op.name for op in setup.operations]
    rest = next((op for op in setup.operations if is_rest(op)), None)
    if rest is None:
        paused = [str(each.number) for each in job.setups if any(is_rest(op) for op in each.operations)]
        raise InputError(
            f"setup {setup.number} has no check pause",
            accepted=f"setup {' or '.join(paused)}" if paused else "a job made with check_pause = true under [burn]",
            where=setup.title,
        )
    patch = [path.depth_mm for path in rest.paths if not path.edges]
    return len(setup.operations[names.index(rest.name) - 1].passes), patch[0]


def _ramped_recipe(folder: Path, setup: Setup, n_burnt: int) -> tuple[Recipe, RampSettings]:
    """The part's recipe and its ramp."""
    from kerfwright.plan.pause import is_rest

    recipe = read_inputs(folder).recipe(setup.part)
    ramp = recipe.ramp
    n_rest = sum(len(op.passes) for op in setup.operations if is_rest(op))
    if ramp is None or ramp.layers != n_burnt + n_rest:
        raise InputError("inputs.json and job.json do not belong together", accepted="an unchanged job folder", where=str(folder))
    return recipe, ramp


def _with_layers(setup: Setup, ramp: RampSettings, n_burnt: int, ratio: Estimate, where: str) -> tuple[Setup, Remaining]:
    """The setup from the pause on, its ramp lines at the powers that the reading asks for."""
    import numpy as np

    from kerfwright.calibrate.remaining import remaining_layers
    from kerfwright.plan.pause import is_rest

    k = next(i for i, op in enumerate(setup.operations) if is_rest(op))
    rest = setup.operations[k]
    left = remaining_layers(ramp, np.array([path.depth_mm for path in rest.paths]), n_burnt, ratio, where)
    lines = [path for path, kept in zip(rest.paths, left.kept, strict=True) if kept]
    paths = tuple(replace(path, power_frac=float(power)) for path, power in zip(lines, left.powers_frac, strict=True))
    passes = ramp.passes_down(left.n_layers, begun=n_burnt)
    first = replace(rest, paths=paths, passes=passes, before="")
    return replace(setup, operations=(first, *setup.operations[k + 1 :]), verniers=()), left

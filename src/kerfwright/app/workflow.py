"""What a person can ask for, one function a verb; the command line and scripts call these and nothing else."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from kerfwright.app.bench_file import load_bench
from kerfwright.app.inputs import Inputs
from kerfwright.core.codec import plain
from kerfwright.core.document import read_toml
from kerfwright.core.errors import FolderError, InputError
from kerfwright.core.finding import Finding, Level
from kerfwright.pieces.piece import build_on_boards, piece_from
from kerfwright.plan.costs import costs_of
from kerfwright.plan.plan import Planned, plan_piece
from kerfwright.plan.witness import placing_from_ticks
from kerfwright.process.job import Job
from kerfwright.process.setup import Placing, Setup


@dataclass(frozen=True, eq=False)
class Made:
    """A job that was planned, and where it was written (None when only looked at)."""

    job: Job
    folder: Path | None
    n_files: int

    def summary(self) -> dict[str, Any]:
        """A short, plain account for people and scripts."""
        job = self.job
        return {
            "schema": "kerfwright-summary-1",
            "name": job.name,
            "folder": str(self.folder) if self.folder else None,
            "files": self.n_files,
            "setups": [
                {"number": setup.number, "title": setup.title, "minutes": round((time.burn_s + time.travel_s) / 60, 1)}
                for setup, time in zip(job.setups, job.times, strict=True)
            ],
            "cut_length_m": round(job.cut_length_mm / 1000, 2),
            "time_s": round(job.total_time_s, 1),
            "walls": [
                {"part": wall.part, "method": wall.method, "possible": wall.possible, "chosen": wall.chosen, "reason": wall.reason}
                for wall in job.walls
            ],
            "gaps": [
                {
                    "corner": gap.corner,
                    "wanted_mm": gap.wanted_mm,
                    "tightest_mm": round(gap.tightest_mm.value, 4),
                    "seen_mm": round(max(gap.seen_tail_face_mm.value, gap.seen_pin_face_mm.value), 4),
                    "sd_mm": round(gap.tightest_mm.sd, 4),
                }
                for gap in job.gaps
            ],
            "hardware": plain(job.hardware),
            "costs": None if job.costs is None else job.costs.record(),
            "findings": [
                {"level": finding.level.value, "code": finding.code, "text": finding.text, "where": finding.where}
                for finding in job.findings
            ],
        }

    def findings(self, level: Level) -> list[Finding]:
        """The findings of one level."""
        return [finding for finding in self.job.findings if finding.level is level]


def look(piece: Path, bench: Path | None = None, odds: bool = False) -> Made:
    """Design and plan a piece without writing anything. piece: its file, or a folder with a piece.toml in it.

    odds: judge it first, and count the odds of its corners into the costs.
    """
    return Made(_planned(piece_file(piece), bench, odds)[0].job, None, 0)


def make(piece: Path, bench: Path | None = None, out: Path | None = None, odds: bool = False) -> Made:
    """Design, plan and write a job folder. piece, odds: as for look. out: a new folder; default: ``piece-job`` beside ``piece.toml``."""
    from kerfwright.export.folder import job_files, refuse_existing, write_folder
    from kerfwright.export.pilot_files import pilot_files

    piece = piece_file(piece)
    folder = out or piece.with_name(f"{piece.stem}-job")
    refuse_existing(folder)
    planned, inputs = _planned(piece, bench, odds)
    files = job_files(planned.job, [inputs.file(), *pilot_files(planned.pilots)])
    write_folder(files, folder)
    return Made(planned.job, folder, len(files))


def _planned(piece: Path, bench: Path | None, odds: bool) -> tuple[Planned, Inputs]:
    """The plan of a piece file, and what it was planned from."""
    tables = read_toml(piece)
    document = piece_from(tables, str(piece))
    benched = load_bench(bench or bench_beside(piece), document.panels)
    design = build_on_boards(document, benched.boards)
    planned = plan_piece(design, benched.machine, benched.boards, benched.recipes, benched.options, benched.rates)
    if odds:
        from kerfwright.app.verdicts import verdict  # it is slow, and asks this module for the piece

        found = verdict(piece, bench=bench).verdict
        planned = replace(planned, job=replace(planned.job, costs=costs_of(planned.job, benched.rates, found)))
    return planned, Inputs(piece=tables, **benched.tables)


def piece_file(piece: Path) -> Path:
    """The piece file itself, or the one in a folder."""
    if not os.path.isdir(piece):  # Path's own question raises in a folder that may not be entered
        return piece
    inside = piece / "piece.toml"
    if not os.path.exists(inside):
        near = sorted(each.parent for each in piece.glob("*/piece.toml"))
        raise FolderError(
            "there is no piece.toml in this folder",
            accepted="a piece file, or a folder with a piece.toml in it",
            remedy="Give " + " or ".join(map(str, near[:3])) if near else "",
            where=str(piece),
        )
    return inside


def bench_beside(piece: Path) -> Path:
    """The bench file next to a piece file."""
    bench = piece.with_name("bench.toml")
    if not os.path.exists(bench):
        raise FolderError("there is no bench.toml beside the piece", remedy="Name a bench file with --bench", where=str(piece))
    return bench


@dataclass(frozen=True, eq=False)
class Shifted:
    """A program written again for a board that lay a little off."""

    program: Path
    record: Path
    placing: Placing
    bed_shift_mm: tuple[float, float, float]
    bed_turn_deg: float

    def summary(self) -> dict[str, Any]:
        """For people and scripts."""
        return {
            "schema": "kerfwright-shift-1",
            "program": str(self.program),
            "record": str(self.record),
            "placing": plain(self.placing),
            "bed_shift_mm": self.bed_shift_mm,
            "bed_turn_deg": self.bed_turn_deg,
        }


def shift(
    folder: Path, number: int, ticks: Mapping[str, float] | None = None, placing: Placing | None = None, out: Path | None = None
) -> Shifted:
    """Write one setup's program again from read witness marks (``ticks`` by scale name) or a stated ``placing``.

    The new program leaves the marks out, stands beside the old one under a new name (or at ``out``), and a small
    JSON beside it holds the new pose.
    """
    from kerfwright.app.rewritten import free_name, write_again
    from kerfwright.export.job_reader import read_job

    job = read_job(folder)
    setup = job.setup(number)
    if (ticks is None) == (placing is None):
        raise InputError(
            "no reading was given" if ticks is None else "both ticks and millimetres were given",
            accepted="the ticks read on the scales, or the shift in millimetres",
        )
    placed = placing if placing is not None else placing_from_ticks(setup, dict(ticks or {}))
    corrected = setup.placed(placed)
    program = out or free_name(folder / job.programs[number], "again")
    write_again(job, corrected, program, {"schema": "kerfwright-shift-1", "setup": setup.number, "placing": placed})
    moved = corrected.bed_from_board @ setup.bed_from_board.inverse()
    turn_deg = math.degrees(math.atan2(moved.matrix[1, 0], moved.matrix[0, 0]))
    return Shifted(program, program.with_suffix(".json"), placed, _bed_shift(setup, corrected), turn_deg)


def _bed_shift(before: Setup, after: Setup) -> tuple[float, float, float]:
    """How far the work moves in the bed at the gauge point: what to add to the work zero when there is no turn."""
    point = before.gauge_board_mm[None, :]
    step = after.bed_from_board.apply(point)[0] - before.bed_from_board.apply(point)[0]
    return float(step[0]), float(step[1]), float(step[2])


DEMO_PIECES = ("pencil-box", "keepsake-box", "tool-tray")


def start(folder: Path) -> Path:
    """Copy the demo shop and its three pieces to a new folder, to be changed."""
    from importlib import resources

    from kerfwright.export.exporter import JobFile
    from kerfwright.export.folder import write_folder

    root = resources.files("kerfwright.data") / "demo"
    files = [
        JobFile(f"{part.name}/{entry.name}", entry.read_bytes(), "")
        for part in root.iterdir()
        if part.is_dir()
        for entry in part.iterdir()
        if entry.name.endswith(".toml")
    ]
    write_folder(sorted(files, key=lambda file: file.path), folder, instead="Give another folder")
    return folder


def demo(out: Path) -> Iterator[Made]:
    """Start a shop in ``out`` when there is none, and make the job folders of its three pieces, one after another.

    Job folders of an earlier demo are replaced: they are the demo's own.
    """
    import shutil

    shop = out / "shop"
    if not shop.exists():
        start(shop)
    for name in DEMO_PIECES:
        target = out / f"{name}-job"
        if (target / "job.json").exists():
            shutil.rmtree(target)
        yield make(shop / name / "piece.toml", out=target)

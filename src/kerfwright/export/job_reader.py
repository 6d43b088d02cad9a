"""Read a job folder back: enough of job.json to write one of its programs again, and to burn and judge the job."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import numpy as np

from kerfwright.core.errors import FolderError, InputError
from kerfwright.core.estimate import Estimate
from kerfwright.core.pose import Pose
from kerfwright.export.job_record import SCHEMA
from kerfwright.geometry.assembly import Assembly, Mate, Part, Step
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, Recess, Slab
from kerfwright.machine.machine import Head, Machine
from kerfwright.process.gap import MateGap
from kerfwright.process.job import Job, SetupTime
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind, Pass
from kerfwright.process.setup import Setup, Vernier
from kerfwright.wood.board import Board


@dataclass(frozen=True, eq=False)
class JobFolder:
    """A job folder read back. programs: file path in the folder by setup number; boards: by part."""

    name: str
    machine: Machine
    setups: tuple[Setup, ...]
    programs: dict[int, str]
    recipe_names: dict[str, str]
    boards: dict[str, Board]
    assembly: Assembly
    times: tuple[SetupTime, ...]
    gaps: tuple[MateGap, ...]

    @property
    def job(self) -> Job:
        """The job without what only its planner knows: recipes, options weighed, findings, freedoms of parts."""
        return Job(self.name, self.machine, self.boards, {}, self.assembly, self.setups, self.times, self.gaps, (), ())

    def setup(self, number: int) -> Setup:
        """One setup. Raises InputError when there is none of that number."""
        for setup in self.setups:
            if setup.number == number:
                return setup
        raise InputError(f"there is no setup {number}", accepted=f"1 to {len(self.setups)}", where=self.name)


def read_job(folder: Path) -> JobFolder:
    """Read job.json in ``folder``. Raises FolderError or InputError naming what is wrong with it."""
    path = folder / "job.json"
    try:
        record: Any = json.loads(path.read_text(encoding="utf-8"))
    except OSError as bad:
        raise FolderError(bad.strerror or "it cannot be read", accepted="a job folder with its job.json", where=str(path)) from bad
    except ValueError as bad:
        raise InputError("this is not JSON", accepted="the job.json of a job folder", where=str(path)) from bad
    schema = cast("dict[str, Any]", record).get("schema") if isinstance(record, dict) else None
    if schema != SCHEMA:
        raise InputError(f"the schema is {schema!r}", accepted=SCHEMA, remedy="Use the version of kerfwright that made it", where=str(path))
    try:
        return _job(cast("dict[str, Any]", record))
    except (KeyError, TypeError, ValueError, IndexError) as bad:
        raise InputError(
            f"job.json is damaged near {bad}", accepted="an unchanged job folder", remedy="Make the job again", where=str(path)
        ) from bad


def _job(record: dict[str, Any]) -> JobFolder:
    machine = dict(record["machine"])
    machine["head"] = Head.model_construct(**machine["head"])
    return JobFolder(
        record["name"],
        Machine.model_construct(**machine),
        tuple(_setup(each) for each in record["setups"]),
        {each["number"]: each["program"] for each in record["setups"]},
        {part: recipe["name"] for part, recipe in record["recipes"].items()},
        {part: Board.model_construct(**board) for part, board in record["boards"].items()},
        _assembly(record),
        tuple(SetupTime(**each) for each in record["times"]),
        tuple(_gap(each) for each in record["joints"]),
    )


def _assembly(record: dict[str, Any]) -> Assembly:
    parts = tuple(
        Part(each["name"], _slab(each["outline"]), _exact_pose(np.array(each["assembly_from_part"]))) for each in record["parts"]
    )
    steps = tuple(
        Step(tuple(each["moving"]), tuple(each["standing"]), np.array(each["direction"])) for each in record["assembly_steps"]
    )
    return Assembly(record["name"], parts, tuple(Mate(**each) for each in record["mates"]), (), steps)


def _gap(fields: dict[str, Any]) -> MateGap:
    estimates: dict[str, Any] = {name: Estimate(**fields[name]) for name in ("tightest_mm", "seen_tail_face_mm", "seen_pin_face_mm")}
    return MateGap(**(fields | estimates))


def _slab(fields: dict[str, Any]) -> Slab:
    edges = _edges(fields["edges"])
    rings = tuple(Ring(np.array(ring), edges) for ring in fields["rings_mm"])
    return Slab(rings, tuple(fields["depths_mm"]), tuple(_recess(each) for each in fields["recesses"]))


def _recess(fields: dict[str, Any]) -> Recess:
    return Recess(fields["name"], Face(fields["face"]), Ring(np.array(fields["ring_mm"]), _edges(fields["edges"])), fields["depth_mm"])


def _edges(fields: list[dict[str, Any]]) -> tuple[Edge, ...]:
    return tuple(Edge(Role(each["role"]), Place(each["place"]), each["name"], each["mate"]) for each in fields)


def _setup(fields: dict[str, Any]) -> Setup:
    slabs = [_slab(each) for each in fields["part_outlines"]]
    size = fields["board_size_mm"]
    return Setup(
        fields["number"],
        fields["name"],
        fields["title"],
        fields["board"],
        fields["part"],
        slabs[0],
        (size[0], size[1], size[2]),
        # The record rounds to a nanometre, a hair more than a Pose forgives.
        _exact_pose(np.array(fields["bed_from_board"])),
        Face(fields["entry_face"]),
        fields["tilt_deg"],
        fields["rests_on"],
        np.array(fields["gauge_board_mm"]),
        tuple(_operation(each) for each in fields["operations"]),
        tuple(fields["steps_before"]),
        tuple(_vernier(each) for each in fields["verniers"]),
        tuple(slabs[1:]),
        (fields["trimmed_mm"][0], fields["trimmed_mm"][1]) if fields["trimmed_mm"] else None,
    )


def _vernier(fields: dict[str, Any]) -> Vernier:
    x_mm, y_mm = fields["at_mm"]
    return Vernier(fields["name"], fields["axis"], (x_mm, y_mm), fields["n_each_side"], fields["reference_pitch_mm"], fields["step_mm"])


def _exact_pose(matrix: np.ndarray[Any, np.dtype[np.float64]]) -> Pose:
    u, _, vt = np.linalg.svd(matrix[:3, :3])
    exact = matrix.copy()
    exact[:3, :3] = u @ vt
    return Pose(exact)


def _operation(fields: dict[str, Any]) -> CutOperation:
    paths = tuple(
        BeamPath(np.array(path["points_mm"]), path["power_frac"], path["depth_mm"], tuple(path["edges"])) for path in fields["paths"]
    )
    return CutOperation(
        fields["name"],
        fields["title"],
        OperationKind(fields["kind"]),
        paths,
        fields["speed_mm_s"],
        tuple(Pass(**each) for each in fields["passes"]),
        fields["level_mm"],
        fields["before"],
    )

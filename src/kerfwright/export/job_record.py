"""job.json: the whole job as data. It and the programs are enough for an outsider to burn the job and check it."""

from __future__ import annotations

import hashlib
from typing import Any

from kerfwright import __version__
from kerfwright.core.codec import plain, to_json
from kerfwright.export.exporter import JobFile, setup_stem
from kerfwright.export.grey_picture import picture_placings
from kerfwright.export.pilot_files import pilot_paths
from kerfwright.geometry.mesh import slab_volume_mm3
from kerfwright.geometry.slab import Slab
from kerfwright.plan.pilot import is_pilot
from kerfwright.process.job import Job
from kerfwright.process.operation import CutOperation
from kerfwright.process.setup import Setup

SCHEMA = "kerfwright-job-1"

FRAMES = {
    "board": "x along the board's length (grain), y across, z out of the show face; wood fills -thickness <= z <= 0; mm",
    "bed": "origin front left, x right, y back, z up from the bed; mm",
    "program": "X and Y of the bed, less the machine's stated scale and skew; Z: height of the focus over the setup's gauge point; mm",
    "assembly": "x right, y back, z up, origin at the outer front left bottom corner of the finished piece; mm",
    "pose": "4 x 4 rows; bed_from_board carries board points to the bed",
    "kerf": "full width removed; clearance > 0 is a gap; focus > 0 is above the entry face",
}


def job_record(job: Job, files: list[JobFile]) -> JobFile:
    """job.json with checksums of all the other files."""
    names = {file.path for file in files}
    record: dict[str, Any] = {
        "schema": SCHEMA,
        "made_by": f"kerfwright {__version__}",
        "name": job.name,
        "frames": FRAMES,
        "machine": job.machine,
        "boards": job.boards,
        "recipes": job.recipes,
        "choices": job.choices,
        "parts": [_part(job, part.name, part.slab) | {"assembly_from_part": part.assembly_from_part} for part in job.assembly.parts],
        "mates": job.assembly.mates,
        "joints": job.gaps,
        "assembly_steps": job.assembly.steps,
        "hardware": job.hardware,
        "walls": job.walls,
        "setups": [_setup(job, setup, names) for setup in job.setups],
        "pilots": _pilots(job, names),
        "times": job.times,
        "costs": job.costs.record() if job.costs else None,
        "findings": job.findings,
        "files": [
            {"path": file.path, "title": file.title, "bytes": len(file.data), "sha256": hashlib.sha256(file.data).hexdigest()}
            for file in files
        ],
    }
    return JobFile("job.json", to_json(record).encode(), "the whole job as data")


def _pilots(job: Job, names: set[str]) -> list[dict[str, Any]]:
    """Which setup burns a board's pilot strip, and the files of its readings."""
    found: list[dict[str, Any]] = []
    for setup in job.setups:
        record, forms = pilot_paths(setup.part)
        if record in names and is_pilot(setup.name, setup.part):
            found.append({"part": setup.part, "setup": setup.number, "record": record, "forms": forms})
    return found


def _slab(slab: Slab) -> dict[str, Any]:
    recesses = [
        {"name": each.name, "face": each.face, "depth_mm": each.depth_mm, "ring_mm": each.ring.points_mm, "edges": each.ring.edges}
        for each in slab.recesses
    ]
    return {"depths_mm": slab.depths_mm, "rings_mm": [ring.points_mm for ring in slab.rings], "edges": slab.edges, "recesses": recesses}


def _part(job: Job, name: str, slab: Slab) -> dict[str, Any]:
    on_board = next((setup.part_slab for setup in job.setups if setup.part == name), None)
    return {
        "name": name,
        "board": job.boards[name].name,
        "volume_mm3": slab_volume_mm3(slab),
        "outline": _slab(slab),
        "outline_on_board": _slab(on_board) if on_board else None,
    }


def _setup(job: Job, setup: Setup, names: set[str]) -> dict[str, Any]:
    stem = setup_stem(setup.number, setup.name)
    return {
        "number": setup.number,
        "name": setup.name,
        "title": setup.title,
        "part": setup.part,
        "board": setup.board,
        "board_size_mm": setup.board_size_mm,
        "trimmed_mm": setup.trimmed_mm,
        "program": f"{stem}.ngc",
        "files": sorted(name for name in names if name.startswith((f"{stem}.", f"{stem}-"))),
        "bed_from_board": setup.bed_from_board,
        "entry_face": setup.entry_face,
        "tilt_deg": setup.tilt_deg,
        "rests_on": setup.rests_on,
        "gauge_board_mm": setup.gauge_board_mm,
        "gauge_height_mm": setup.gauge_height_mm,
        "part_outlines": [_slab(slab) for slab in (setup.part_slab, *setup.more_slabs)],
        "steps_before": setup.steps_before,
        "verniers": setup.verniers,
        "operations": [_operation(job, op) for op in setup.operations],
        "pictures": picture_placings(setup) if job.machine.takes_pictures and job.assembly.parts else (),
    }


def _operation(job: Job, op: CutOperation) -> dict[str, Any]:
    fields: dict[str, Any] = plain(op)
    for path in fields["paths"]:
        path["power_w"] = round(path["power_frac"] * job.machine.power_w, 6)
    return fields

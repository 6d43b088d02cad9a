"""The verdict of one corner while a piece is being edited: fast enough to follow a hand that drags a pin.

What does not change between edits (the bench, and the burn law, which takes a second to find) is made ready once. Each edit then
builds the piece, plans the corner's two boards, and burns and judges only that corner, with fewer draws than ``verdict``;
programs are taken as they would be read back from their text.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kerfwright.app.bench_file import BenchSet
    from kerfwright.process.job import Job
    from kerfwright.process.operation import BeamPath
    from kerfwright.process.setup import Setup
    from kerfwright.process.verdict import CornerVerdict
    from kerfwright.simulate.known import LawKnown
    from kerfwright.simulate.response import WallResponse

N_DRAWS, SEED = 80, 20
NEAR_MM = 3.0  # beyond what any beam reaches and any neighbour is looked for


@dataclass(frozen=True, eq=False)
class Editing:
    """What stays the same while a piece is edited. laws: by panel."""

    bench: BenchSet
    laws: Mapping[str, LawKnown]


def start_editing(piece: Path, bench: Path | None = None, notebook: str | Path | None = None, readings: bool = True) -> Editing:
    """Read the bench and find the burn law. readings: False takes the recipe's own numbers, whatever was read."""
    from kerfwright.app import workflow
    from kerfwright.app.bench_file import load_bench
    from kerfwright.app.job_to_burn import job_to_burn
    from kerfwright.app.verdicts import burn_laws
    from kerfwright.core.document import read_toml
    from kerfwright.pieces.piece import piece_from

    piece = workflow.piece_file(piece)
    panels = piece_from(read_toml(piece), str(piece)).panels
    benched = load_bench(bench or workflow.bench_beside(piece), panels)
    return Editing(benched, burn_laws(job_to_burn(piece, bench), notebook, readings))


def verdict_of_edit(
    tables: Mapping[str, Any], editing: Editing, corner: str, n_draws: int = N_DRAWS, seed: int = SEED
) -> CornerVerdict:
    """The verdict of one corner of an edited piece. tables: the piece as in its file.

    Raises what building and planning raise; what only the whole job is checked for (the bed, the cradle) waits for ``make``.
    """
    import numpy as np

    from kerfwright.pieces.piece import build_on_boards, piece_from
    from kerfwright.plan.corner_plan import plan_corner
    from kerfwright.simulate.judge import judge

    bench = editing.bench
    document = piece_from(dict(tables), "piece")
    design = build_on_boards(document, bench.boards)
    job = plan_corner(design, corner, bench.machine, bench.boards, bench.recipes, bench.options)
    known = editing.laws[job.assembly.mates[0].part_a]
    responses = {part.name: _answers(job, part.name, editing.laws[part.name]) for part in job.assembly.parts}
    return judge(job, responses, known, np.random.default_rng(seed), n_draws).corners[0]


def _answers(job: Job, part: str, known: LawKnown) -> WallResponse:
    """The walls of the part's end at the job's only corner, and how they answer."""
    from kerfwright.export.program_moves import program_of
    from kerfwright.simulate.motion import motion_of
    from kerfwright.simulate.response import wall_response

    mated = [(mate.part_a, mate.edge_a) for mate in job.assembly.mates] + [(mate.part_b, mate.edge_b) for mate in job.assembly.mates]
    end = next(edge for name, edge in mated if name == part).split(".")[0]
    setups = [_near(setup, end) for setup in job.setups if setup.part == part]
    slab = setups[0].part_slab
    motions = [motion_of(program_of(setup, job.machine), job.machine) for setup in setups]
    edges = {edge.name for edge in slab.edges if edge.name.split(".")[0] == end}
    return wall_response(part, slab, motions, setups, job.machine, known.law, edges=edges)


def _near(setup: Setup, end: str) -> Setup:
    """The same with only the paths that come near one end of its part: the others bring it no light."""
    import numpy as np

    slab = setup.part_slab
    mine = np.array([edge.name.split(".")[0] == end for edge in slab.edges])
    mine |= np.roll(mine, 1)  # an edge runs from its corner to the next
    corners = np.concatenate([ring.points_mm[mine] for ring in slab.rings])
    low, high = corners.min(axis=0) - NEAR_MM, corners.max(axis=0) + NEAR_MM

    def comes_near(path: BeamPath) -> bool:
        at = path.points_mm[:, :2]
        return bool(np.all(at.max(axis=0) > low) and np.all(at.min(axis=0) < high))

    operations = tuple(replace(each, paths=tuple(path for path in each.paths if comes_near(path))) for each in setup.operations)
    return replace(setup, operations=operations)

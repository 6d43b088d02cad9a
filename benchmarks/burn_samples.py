"""A ramped corner and fields of lines, ready to be burnt: shared by the burn benchmarks."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from kerfwright.app.workflow import make, start
from kerfwright.export.job_reader import JobFolder, read_job
from kerfwright.export.program_reader import read_program
from kerfwright.geometry.slab import Slab
from kerfwright.process.setup import Setup
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.motion import Motion, motion_of
from kerfwright.simulate.strokes import Strokes, laid

LAW = BurnLaw(
    power_w=20.0, dead_frac=0.05, gamma=1.0, waist_x_mm=0.05, waist_y_mm=0.06, rayleigh_mm=1.0, slit_mm=4.0, focus_offset_mm=0.0,
    need_j_mm3=2.5, loss_mm=6.0, threshold_j_mm2=0.3, over_char_frac=0.8, density_power=0.5, char_mm=0.02,
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Ready:
    """One part's setups and the motions of their programs."""

    part: str
    job: JobFolder
    setups: tuple[Setup, ...]
    motions: tuple[Motion, ...]

    @property
    def slab(self) -> Slab:
        """The part on its board."""
        return self.setups[-1].part_slab

    def strokes(self) -> Strokes:
        """Its strokes, with nothing hidden."""
        return laid(self.motions, self.setups, self.job.machine)


@cache
def demo_parts(piece: str) -> tuple[Ready, ...]:
    """Every part of a demo piece, planned, written, and its programs read back."""
    with tempfile.TemporaryDirectory() as folder:
        shop = start(Path(folder) / "shop")
        made = make(shop / piece / "piece.toml").folder
        assert made is not None
        job = read_job(made)
        motions = {number: motion_of(read_program((made / path).read_text()), job.machine) for number, path in job.programs.items()}
    found: list[Ready] = []
    for part in dict.fromkeys(setup.part for setup in job.setups):
        setups = tuple(setup for setup in job.setups if setup.part == part)
        if not any(setup.more_slabs for setup in setups):  # a cradle's own parts belong to no corner
            found.append(Ready(part, job, setups, tuple(motions[setup.number] for setup in setups)))
    return tuple(found)


def field_of(n_lines: int, spacing_mm: float = 0.06, long_mm: float = 10.0) -> Strokes:
    """Like lines side by side along x, from (0, 0)."""
    y = np.arange(n_lines) * spacing_mm
    entry = np.zeros((n_lines, 2, 3))
    entry[:, 1, 0], entry[:, :, 1] = long_mm, y[:, None]
    same = np.full(n_lines, 14.0)
    beside = np.where(np.arange(n_lines) > 0, spacing_mm, np.inf)
    return Strokes(
        entry, np.zeros((n_lines, 2)), np.tile([0.0, 0.0, -1.0], (n_lines, 1)), np.zeros(n_lines), np.full(n_lines, 0.3),
        np.zeros(n_lines, dtype=bool), same, same, same, 1500.0, np.arange(n_lines) * 1.0, long_mm / same, np.ones(n_lines, dtype=np.int_),
        np.ones(n_lines, dtype=bool), np.zeros(n_lines, dtype=np.int_), beside,
    )  # fmt: skip

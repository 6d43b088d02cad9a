"""Parts planned, written as programs and read back, ready to be burnt; and strokes laid by hand. For the tests of the burn."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from external.ideal_shop import BOX, DOVETAIL, case, design_and_boards, machine, recipe
from kerfwright.core.document import build
from kerfwright.export.formats.rs274 import program_text
from kerfwright.export.program_reader import read_program
from kerfwright.machine.machine import Machine
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import plan_job
from kerfwright.process.setup import Setup
from kerfwright.simulate.burnt import BurntPart, Hidden
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.motion import Motion, motion_of
from kerfwright.simulate.strokes import STRAIGHT, Strokes, laid
from simulate import heat_samples

LAW = BurnLaw(
    power_w=20.0, dead_frac=0.05, gamma=1.0, waist_x_mm=0.05, waist_y_mm=0.06, rayleigh_mm=1.0, slit_mm=4.0, focus_offset_mm=0.0,
    need_j_mm3=2.5, loss_mm=6.0, threshold_j_mm2=0.3, over_char_frac=0.8, density_power=0.5, char_mm=0.02,
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Ready:
    """One part's setups with the motions of their programs."""

    part: str
    setups: tuple[Setup, ...]
    motions: tuple[Motion, ...]
    machine: Machine

    def strokes(self, hidden: Hidden = STRAIGHT) -> Strokes:
        return laid(self.motions, self.setups, self.machine, hidden)


WISHES: dict[str, dict[str, Any]] = {
    "ramp": {"joints": {"all": DOVETAIL}, "thickness": (6.0, 6.0), "walls": "ramp"},
    "cradle": {"joints": {"all": DOVETAIL}, "thickness": (12.0, 12.0), "walls": "cradle", "height": 56.0, "size": (130.0, 110.0)},
    "two faces": {"joints": {"all": DOVETAIL}, "thickness": (6.0, 6.0), "walls": "two faces"},
    "box": {"joints": {"all": BOX}, "thickness": (5.0, 5.0)},
    "box from two faces": {"joints": {"all": BOX}, "thickness": (6.0, 6.0), "recipe": recipe(3, (3.0, 4.0))},
}


@cache
def ready(wish: str, part: str = "right", constant: bool = True, off_square: bool = False) -> Ready:
    """One of WISHES. off_square: on a bed whose scale and skew the programs allow for."""
    tables: dict[str, Any] = {} if constant else {"power_mode": "speed-scaled"}
    if off_square:
        tables |= {"scale_x": "0.3 %", "scale_y": "-0.2 %", "skew": "0.15 deg"}
    wished = case(**WISHES[wish])
    design, boards = design_and_boards(wished)
    recipes = dict.fromkeys(boards, wished["recipe"] or recipe())
    job = plan_job(design, machine(**tables), boards, recipes, build(wished["burn"], PlanOptions, "burn"))
    setups = tuple(setup for setup in job.setups if setup.part == part)
    motions = tuple(motion_of(read_program(program_text(setup, job.machine)), job.machine) for setup in setups)
    return Ready(part, setups, motions, job.machine)


def by_hand(rows: list[heat_samples.Row], again: list[int] | None = None, beside_mm: list[float] | None = None, **changes: Any) -> Strokes:
    """Strokes as in heat_samples, with their angle to the bed and their history."""
    made = heat_samples.strokes(rows, **changes)
    step = made.entry_mm[:, 1, :2] - made.entry_mm[:, 0, :2]
    told: dict[str, Any] = {"x_share": step[:, 1] ** 2 / np.sum(step**2, axis=1)}
    if again is not None:
        told["again"] = np.array(again)
    if beside_mm is not None:
        told["beside_mm"] = np.array(beside_mm)
    return replace(made, **told)


def backs(part: BurntPart, prefix: str = "") -> np.ndarray:
    """All of a part's back_mm in a row."""
    return np.concatenate([wall.back_mm.ravel() for name, wall in part.walls.items() if name.startswith(prefix)])

"""A whole job: everything the files are written from, and nothing they do not need."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from kerfwright.core.finding import Finding
from kerfwright.geometry.assembly import Assembly
from kerfwright.machine.machine import Machine
from kerfwright.process.costs import Costs
from kerfwright.process.gap import MateGap, WallOption
from kerfwright.process.hardware import Hardware
from kerfwright.process.recipe import Recipe
from kerfwright.process.setup import Setup
from kerfwright.wood.board import Board


@dataclass(frozen=True)
class SetupTime:
    """Machine time of one setup, and how often and how long the person is needed is not in it."""

    setup: str
    burn_s: float
    travel_s: float
    n_pauses: int
    cut_length_mm: float


@dataclass(frozen=True, eq=False)
class Job:
    """boards and recipes are keyed by part name; helpers (a cradle's parts) have setups but are not in the assembly.

    choices: the plan's options as they were (hollow, lead, over-run and so on), by name. costs: None where nothing is built.
    """

    name: str
    machine: Machine
    boards: dict[str, Board]
    recipes: dict[str, Recipe]
    assembly: Assembly
    setups: tuple[Setup, ...]
    times: tuple[SetupTime, ...]
    gaps: tuple[MateGap, ...]
    walls: tuple[WallOption, ...]
    findings: tuple[Finding, ...]
    choices: dict[str, Any] = field(default_factory=dict[str, Any])
    hardware: tuple[Hardware, ...] = ()
    costs: Costs | None = None

    @property
    def total_time_s(self) -> float:
        """Machine time of all setups."""
        return sum(time.burn_s + time.travel_s for time in self.times)

    @property
    def cut_length_mm(self) -> float:
        """Length with the beam on, all setups."""
        return sum(time.cut_length_mm for time in self.times)

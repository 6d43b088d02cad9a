"""A simulated shop: one hidden machine, hidden boards, an owner who lays, burns, reads and measures with human errors.

An outsider to the package: it knows a job folder's job.json and programs, and a coupon's form, and nothing of how they came about.
Everything random comes from the seed and the order of calls.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from shop.bench import KINDS, HiddenMachine, build_machine
from shop.look import look
from shop.strokes import Lie, read_stretches
from shop.wood import HiddenBoard, grow


@dataclass
class Laid:
    """A board as it lies for one setup; the owner may read its marks and burn more programs before taking it up."""

    folder: Path
    setup: dict[str, Any]
    lie: Lie
    board: HiddenBoard


@dataclass
class Shop:
    """kind: one of KINDS, by default picked by the seed. exact: nothing is misplaced, no machine faults, for physics alone."""

    seed: int
    kind: str = ""
    exact: bool = False
    rng: np.random.Generator = field(init=False)
    machine: HiddenMachine = field(init=False)
    burnt: dict[tuple[Path, str], HiddenBoard] = field(init=False, default_factory=dict)
    lies: dict[tuple[Path, str], list[Lie]] = field(init=False, default_factory=dict)
    n_boards: int = field(init=False, default=0)

    def __post_init__(self) -> None:
        self.kind = self.kind or KINDS[self.seed % len(KINDS)]
        self.rng = np.random.default_rng([self.seed, KINDS.index(self.kind)])
        self.machine = build_machine(self.kind, self.rng)
        if self.exact:
            self.machine = _without_faults(self.machine)

    def machine_facts(self) -> dict[str, object]:
        """What the owner would write in a machine file."""
        return dict(self.machine.facts)

    def new_board(self, species: str, thickness_mm: float, length_mm: float, width_mm: float, edges: str = "milled") -> HiddenBoard:
        """A board off the rack; its ``facts`` are what the owner would write in a board file."""
        self.n_boards += 1
        board = grow(f"{species} {self.n_boards}", species, thickness_mm, length_mm, width_mm, self.rng, edges)
        if self.exact:
            board.size_mm = (length_mm, width_mm, thickness_mm)
            board.wedge = (0.0, 0.0, 0.0)
            board.facts["thickness"] = [f"{thickness_mm:.3f} mm"]
        return board

    def lay(self, folder: Path, setup_number: int, board: HiddenBoard) -> Laid:
        """Lay a board down for a setup, as well as the owner can."""
        record = json.loads((folder / "job.json").read_text(encoding="utf-8"))
        setup = next(each for each in record["setups"] if each["number"] == setup_number)
        faults = self.machine.faults
        x_mm, y_mm = self.rng.normal(0, faults.placing_mm, 2)
        turn = np.radians(self.rng.normal(0, faults.placing_deg))
        error = _moved_about(np.array(setup["bed_from_board"])[:2, 3], float(x_mm), float(y_mm), float(turn))
        lie = Lie(setup, _on_its_face(setup, board) @ error, board.size_mm[2])
        return Laid(folder, setup, lie, board)

    def burn(self, folder: Path, setup_number: int, board: HiddenBoard, placing: Laid | None = None, program: Path | None = None) -> Laid:
        """Burn one setup's program (or another given one) on a board, laid down afresh unless ``placing`` says it lies already."""
        laid = placing or self.lay(folder, setup_number, board)
        text = (program or folder / laid.setup["program"]).read_text(encoding="ascii")
        board.burns.append(read_stretches(text, laid.lie, self.machine))
        self.burnt[folder, laid.setup["part"]] = board
        self.lies.setdefault((folder, laid.setup["part"]), []).append(_as_shifted(laid.lie, program))
        return laid

    def read_marks(self, laid: Laid) -> dict[str, float]:
        """What the owner reads on the witness scales, to half a tick, erring by about half a tick."""
        first = self.lies[laid.folder, laid.setup["part"]][0]  # the setup that burnt the reference ticks
        found: dict[str, float] = {}
        for scale in laid.setup["verniers"]:
            at = np.array([*scale["at_mm"], laid.lie.entry_z_mm, 1.0])
            gone = (self.landed(laid.lie, at[None, :3])[0] - self.landed(first, at[None, :3])[0])[0 if scale["axis"] == "x" else 1]
            ticks = gone / scale["step_mm"] + self.rng.normal(0, 0.4)
            found[scale["name"]] = float(np.clip(round(2 * ticks) / 2, -scale["n_each_side"], scale["n_each_side"]))
        return found

    def landed(self, lie: Lie, points: np.ndarray) -> np.ndarray:
        """Where burns meant for (n, 3) board points really land, board frame, faults of the machine included."""
        from shop.strokes import true_bed_xy

        meant = points @ np.array(lie.setup["bed_from_board"])[:3, :3].T + np.array(lie.setup["bed_from_board"])[:3, 3]
        real = np.column_stack([true_bed_xy(meant[:, :2], self.machine), meant[:, 2]])
        back = np.linalg.inv(lie.bed_from_board)
        return real @ back[:3, :3].T + back[:3, 3]

    def fill_form(self, folder: Path) -> dict[str, str]:
        """Answers for every observable of a coupon burnt here, id to text as written on its form."""
        from shop.forms import fill_form

        return fill_form(self, folder)

    def measure_corner(self, folder: Path, corner: str) -> Any:
        """What is true of a corner of a job burnt here: see joint.Corner."""
        from shop.joint import measure_corner

        return measure_corner(self, folder, corner)

    def run_job(self, folder: Path, boards: dict[str, HiddenBoard], shifted: Callable[[int, dict[str, float]], Path] | None = None) -> None:
        """Burn every setup of a job whose part has a board, in order.

        shifted: writes a setup's program again from the ticks read on its witness marks and says where; without it marks are not read.
        """
        record = json.loads((folder / "job.json").read_text(encoding="utf-8"))
        for setup in record["setups"]:
            if setup["part"] not in boards:
                continue
            laid = self.lay(folder, setup["number"], boards[setup["part"]])
            program = shifted(setup["number"], self.read_marks(laid)) if shifted and setup["verniers"] else None
            self.burn(folder, setup["number"], boards[setup["part"]], laid, program)

    def boards_for(self, folder: Path) -> dict[str, HiddenBoard]:
        """Boards as the job's board files describe them, one a part, off this shop's rack."""
        record = json.loads((folder / "job.json").read_text(encoding="utf-8"))
        made: dict[str, HiddenBoard] = {}
        for part in record["parts"]:
            facts = record["boards"][part["name"]]
            thickness = float(np.mean(facts["thickness_points_mm"]))
            made[part["name"]] = self.new_board(facts["species"], thickness, facts["length_mm"], facts["width_mm"], facts["edges"])
        return made

    def slit(self, board: HiddenBoard, x_mm: float, y_mm: float, across_deg: float, window_mm: float = 0.6, shear: float = 0.0) -> Any:
        """A section through the board as it is, centred at a place of its show face."""
        along = [np.cos(np.radians(across_deg)), np.sin(np.radians(across_deg))]
        return look(board, self.machine, np.array([[x_mm, y_mm]]), np.array(along), (-window_mm, window_mm), shear)


def _as_shifted(lie: Lie, program: Path | None) -> Lie:
    """The same true lie, its drawn pose being the one a program written again goes by (told in the JSON beside it)."""
    beside = program.with_suffix(".json") if program else None
    if beside is None or not beside.exists():
        return lie
    pose = json.loads(beside.read_text(encoding="utf-8"))["bed_from_board"]
    return Lie(lie.setup | {"bed_from_board": pose}, lie.bed_from_board @ np.linalg.inv(np.array(pose)), lie.thickness_mm)


def _moved_about(point: np.ndarray, x_mm: float, y_mm: float, turn: float) -> np.ndarray:
    """(4, 4) a small turn about a bed point, then a shift."""
    cos, sin = np.cos(turn), np.sin(turn)
    moved = np.eye(4)
    moved[:2, :2] = [[cos, -sin], [sin, cos]]
    moved[:2, 3] = point - moved[:2, :2] @ point + [x_mm, y_mm]
    return moved


def _on_its_face(setup: dict[str, Any], board: HiddenBoard) -> np.ndarray:
    """(4, 4) a board truly wider or narrower than said, laid against a stop with its far edge, ends up that much off."""
    moved = np.eye(4)
    pose = np.array(setup["bed_from_board"])
    if pose[1, 1] < 0:  # its y runs toward the stop
        moved[1, 3] = board.size_mm[1] - setup["board_size_mm"][1]
    return moved


def _without_faults(machine: HiddenMachine) -> HiddenMachine:
    from dataclasses import replace

    return replace(machine, faults=replace(machine.faults, scale=(1.0, 1.0), skew_deg=0.0, lag_s=0.0, placing_mm=0.0, placing_deg=0.0))

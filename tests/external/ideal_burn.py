"""A sceptical outsider: burns a job folder from job.json and its programs alone, with an ideal beam.

It shares no code with the package. The beam is a vertical knife: at depth d below the face it enters it takes away the
recipe's kerf, half to each side of the path, with round ends, as deep as the operation says. A ramp's line takes away a
strip of the line spacing's width (half a spacing past its ends) to the depth its power gives by the recipe's curve,
moved sideways by the recipe's wall shift. What is left is looked at in slices of constant board z, in board x and y.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from scipy.interpolate import PchipInterpolator
from shapely.affinity import affine_transform

from external.rs274_interpreter import interpret

TILE_MM = 2e-4  # strips are widened by this, since programs are rounded to 0.1 um and neighbours must touch
ROUND_SEGMENTS = 8  # a quarter circle of 0.1 mm radius in 8 chords is true to 0.5 um


@dataclass
class Burn:
    """One stretch with the beam on. points: (n, 3) program coordinates; k_path, k_pass: which stroke of its operation."""

    op: dict[str, Any]
    k_path: int
    k_pass: int
    points: np.ndarray
    power_frac: float
    feed_mm_s: float

    @property
    def path(self) -> dict[str, Any]:
        return self.op["paths"][self.k_path]


@dataclass
class Lie:
    """One setup as the outsider knows it. board_from_bed: where a bed point really is on the board."""

    record: dict[str, Any]
    burns: list[Burn]
    bed_from_board: np.ndarray

    @property
    def beam(self) -> np.ndarray:
        """Direction of the beam in the board frame."""
        return -self.bed_from_board[2, :3]

    @property
    def cos_tilt(self) -> float:
        return abs(float(self.bed_from_board[2, 2]))

    @property
    def entry_z_mm(self) -> float:
        return 0.0 if self.record["entry_face"] == "show face" else -float(self.record["board_size_mm"][2])

    def on_board(self, xy: np.ndarray, z_mm: float) -> np.ndarray:
        """Board x, y where the beam over bed points (n, 2) crosses the plane z = z_mm."""
        turn, origin = self.bed_from_board[:3, :3], self.bed_from_board[:3, 3]
        near = np.column_stack([xy, np.zeros(len(xy))]) - origin
        start = near @ turn  # the inverse turn
        steps = (z_mm - start[:, 2]) / self.beam[2]
        return (start + steps[:, None] * self.beam)[:, :2]

    def height_mm(self, xy: np.ndarray) -> np.ndarray:
        """Bed height of the entry face under bed points (n, 2)."""
        board = self.on_board(xy, self.entry_z_mm)
        points = np.column_stack([board, np.full(len(board), self.entry_z_mm)])
        return points @ self.bed_from_board[2, :3] + self.bed_from_board[2, 3]

    def affine(self, z_mm: float) -> list[float]:
        """Bed x, y to board x, y at z_mm, as shapely takes it."""
        o, x, y = self.on_board(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]), z_mm)
        return [x[0] - o[0], y[0] - o[0], x[1] - o[1], y[1] - o[1], o[0], o[1]]


@dataclass
class Folder:
    record: dict[str, Any]
    lies: list[Lie]

    def of_part(self, part: str) -> list[Lie]:
        return [lie for lie in self.lies if lie.record["part"] == part]

    def part(self, name: str) -> dict[str, Any]:
        return next(part for part in self.record["parts"] if part["name"] == name)


def read_folder(folder: Path) -> Folder:
    """job.json and every program it names."""
    record = json.loads((folder / "job.json").read_text(encoding="utf-8"))
    machine = record["machine"]
    lies = []
    for setup in record["setups"]:
        text = (folder / setup["program"]).read_text(encoding="ascii")
        lies.append(Lie(setup, burns_of(text, setup, machine["s_full"]), np.array(setup["bed_from_board"])))
    return Folder(record, lies)


def burns_of(
    text: str, setup: dict[str, Any], s_full: int, kinds: tuple[str, ...] = ("witness", "engrave", "through", "ramp")
) -> list[Burn]:
    """The burns of a program, each matched to the stroke of job.json that stands in its place.

    kinds: operations that the program holds (one written again for a shifted board leaves its marks out).
    """
    run = interpret(text)
    strokes: list[list[Any]] = []
    on = False
    for motion in run.motions:
        lit = motion.laser != "off" and motion.s > 0
        if lit:
            assert not motion.rapid
            if not on:
                strokes.append([[motion.start], motion.s, motion.feed])
            strokes[-1][0].append(motion.end)
        on = lit
    wanted = [
        (op, k_path, k_pass)
        for op in setup["operations"]
        if op["kind"] in kinds
        for k_pass in range(len(op["passes"]))
        for k_path in range(len(op["paths"]))
    ]
    assert len(strokes) == len(wanted), f"{setup['name']}: {len(strokes)} burns for {len(wanted)} strokes"
    burns = []
    for (points, s, feed), (op, k_path, k_pass) in zip(strokes, wanted, strict=True):
        burn = Burn(op, k_path, k_pass, np.array(points), s / s_full, feed / 60)
        assert abs(burn.power_frac - burn.path["power_frac"]) <= 0.5 / s_full + 1e-9
        assert abs(burn.feed_mm_s - op["speed_mm_s"]) < 1e-3
        burns.append(burn)
    return burns


# ---- the beam


def through_entry(op: dict[str, Any], recipe: dict[str, Any]) -> dict[str, Any]:
    """The recipe's through settings an operation was burnt with: the one with its power, speed, passes and focus."""
    found = [
        entry
        for entry in recipe["through"]
        if abs(entry["power_frac"] - op["paths"][0]["power_frac"]) < 1e-9
        and abs(entry["speed_mm_s"] - op["speed_mm_s"]) < 1e-9
        and [p["focus_mm"] for p in op["passes"]]
        == [round(entry["focus_mm"] - k * entry["focus_step_mm"], 9) for k in range(entry["passes"])]
        and entry["thickness_mm"][0] - 0.03 <= op["paths"][0]["depth_mm"] <= entry["thickness_mm"][1] + 0.03
    ]
    assert len(found) == 1, f"{op['name']} is burnt with settings the recipe does not hold once"
    return found[0]


def kerf_numbers(entry: dict[str, Any], travel_rad: float, grain_rad: float) -> tuple[float, float, float, float]:
    """(top, waist, bottom, waist's place): measured directions mixed by sin^2, a missing one replaced by its nearest."""

    def numbers(travel: str, grain: str) -> np.ndarray:
        ranked = sorted(entry["kerf"], key=lambda k: (k["travel"] != travel, k["grain"] != grain))
        k = ranked[0]
        return np.array([k["top_mm"]["value"], k["waist_mm"]["value"], k["bottom_mm"]["value"], k["waist_at_frac"]])

    u, v = math.sin(travel_rad) ** 2, math.sin(grain_rad) ** 2
    mixed = (1 - v) * ((1 - u) * numbers("x", "along") + u * numbers("y", "along")) + v * (
        (1 - u) * numbers("x", "across") + u * numbers("y", "across")
    )
    return tuple(float(n) for n in mixed)  # type: ignore[return-value]


def kerf_width_mm(numbers: tuple[float, float, float, float], frac: float) -> float:
    """Two half hyperbolas through top, waist and bottom (frac 0 at the entry, 1 at the exit)."""
    top, waist, bottom, at = numbers
    if frac <= at:
        return math.hypot(waist, math.sqrt(top**2 - waist**2) * (at - frac) / at)
    return math.hypot(waist, math.sqrt(bottom**2 - waist**2) * (frac - at) / (1 - at))


@dataclass
class Beam:
    """Everything that one setup's program takes away from the board, ready to be sliced."""

    lie: Lie
    recipe: dict[str, Any]
    through: list[tuple[Any, float, tuple[float, float, float, float]]] = field(default_factory=list)  # bed line, depth, kerf
    strips: list[tuple[Any, float]] = field(default_factory=list)  # board area, depth

    def removed(self, z_mm: float) -> Any:
        """What is gone from the slice z_mm, in board x, y."""
        along = abs(z_mm - self.lie.entry_z_mm) / self.lie.cos_tilt
        lines, halves = [], []
        for line, depth_mm, kerf in self.through:
            if along <= depth_mm * (1 + 1e-7) + 1e-7:
                lines.append(line)
                halves.append(kerf_width_mm(kerf, min(along / depth_mm, 1.0)) / 2)
        areas = []
        if lines:
            slits = shapely.union_all(shapely.buffer(np.array(lines), np.array(halves), quad_segs=ROUND_SEGMENTS))
            areas.append(affine_transform(slits, self.lie.affine(z_mm)))
        areas += [strip for strip, depth_mm in self.strips if along <= depth_mm]
        return shapely.union_all(areas)


def beam_of(lie: Lie, folder: Folder, keep: Any = lambda op: True) -> Beam:
    """keep: which operations are burnt."""
    recipe = folder.record["recipes"].get(lie.record["part"]) or next(iter(folder.record["recipes"].values()))
    beam = Beam(lie, recipe)
    outline = lie.record["part_outlines"][0]
    for burn in lie.burns:
        if burn.k_pass or not keep(burn.op):  # later passes go over the same paths: see check_passes
            continue
        if burn.op["kind"] == "through":
            _add_through(beam, burn)
        elif burn.op["kind"] == "ramp":
            _add_strip(beam, burn, outline)
    return beam


def _add_through(beam: Beam, burn: Burn) -> None:
    entry = through_entry(burn.op, beam.recipe)
    board = beam.lie.on_board(burn.points[:, :2], beam.lie.entry_z_mm)
    for i in range(len(burn.points) - 1):
        a, b = burn.points[i, :2], burn.points[i + 1, :2]
        if np.allclose(a, b):
            continue
        step = board[i + 1] - board[i]
        kerf = kerf_numbers(entry, math.atan2(*(b - a)[::-1]), math.atan2(step[1], step[0]))
        beam.through.append((shapely.LineString([a, b]), burn.path["depth_mm"], kerf))


def _add_strip(beam: Beam, burn: Burn, outline: dict[str, Any]) -> None:
    ramp = beam.recipe["ramp"]
    assert beam.lie.cos_tilt == 1
    into_wood = 0.0  # a field in the waste makes no wall
    if burn.path["edges"]:
        i = [edge["name"] for edge in outline["edges"]].index(burn.path["edges"][0])
        into_wood = math.copysign(1, outline["rings_mm"][0][i][1] - outline["rings_mm"][-1][i][1])
    line = beam.lie.on_board(burn.points[:, :2], beam.lie.entry_z_mm) + [0.0, into_wood * ramp["wall_shift_mm"]["value"]]
    assert len(line) == 2
    half = ramp["spacing_mm"] / 2
    x0, x1 = sorted(line[:, 0])
    y = line[0, 1]
    assert abs(line[1, 1] - y) < 1e-4  # parallel to the wall
    beam.strips.append((shapely.box(x0 - half, y - half - TILE_MM, x1 + half, y + half + TILE_MM), depth_of_power(ramp, burn.power_frac)))


def depth_of_power(ramp: dict[str, Any], power_frac: float) -> float:
    """The recipe's curve (monotone cubic through its readings, power against depth), turned round numerically."""
    powers = [power for power, _ in ramp["depth"]]
    depths = [depth["value"] for _, depth in ramp["depth"]]
    if ramp["through_power_frac"] is not None:
        powers.append(ramp["through_power_frac"])
        depths.append(ramp["through_thickness_mm"])
    at = np.linspace(depths[0], depths[-1], 4001)
    curve = np.asarray(PchipInterpolator(depths, powers)(at))
    assert powers[0] - 6e-4 <= power_frac <= powers[-1] + 6e-4, "a power that was never burnt"
    return float(np.interp(power_frac, curve, at))


# ---- what is left


def blank_of(lie: Lie) -> Any:
    length, width, _ = lie.record["board_size_mm"]
    return shapely.box(0, 0, length, width)


def shadow_of(lie: Lie) -> Any:
    """The board seen from above, in bed x, y."""
    length, width, thickness = lie.record["board_size_mm"]
    corners = np.array([[x, y, z] for x in (0, length) for y in (0, width) for z in (-thickness, 0)])
    return shapely.MultiPoint((corners @ lie.bed_from_board[:3, :3].T + lie.bed_from_board[:3, 3])[:, :2]).convex_hull


def wood_left(beams: list[Beam], z_mm: float) -> Any:
    return blank_of(beams[0].lie).difference(shapely.union_all([beam.removed(z_mm) for beam in beams]))


def freed_part(wood: Any, middle: np.ndarray) -> Any:
    """The piece of wood that holds the part's middle."""
    held = [piece for piece in shapely.get_parts(wood) if shapely.contains_xy(piece, *middle)]
    assert len(held) == 1, "the part's middle was burnt away"
    return held[0]


def outline_at(slab: dict[str, Any], z_mm: float) -> np.ndarray:
    """The designed outline at board z, (n, 2), straight between the two rings."""
    top, bottom = (np.array(ring) for ring in slab["rings_mm"])
    share = -z_mm / slab["depths_mm"][-1]
    return (1 - share) * top + share * bottom


def stand_back_mm(part: Any, points: np.ndarray, inward: np.ndarray, reach_mm: float = 0.45) -> np.ndarray:
    """How far inward from each point (n, 2) wood begins, by halving between air and wood; < 0: wood stands proud."""
    shapely.prepare(part)
    low, high = np.full(len(points), -reach_mm), np.full(len(points), reach_mm)
    inside = points + reach_mm * inward
    assert np.all(shapely.contains_xy(part, inside[:, 0], inside[:, 1])), "wood is missing well inside the part"
    outside = points - reach_mm * inward
    assert not np.any(shapely.contains_xy(part, outside[:, 0], outside[:, 1])), "waste still hangs on the part"
    for _ in range(14):
        middle = (low + high) / 2
        at = points + middle[:, None] * inward
        wood = shapely.contains_xy(part, at[:, 0], at[:, 1])
        low, high = np.where(wood, low, middle), np.where(wood, middle, high)
    return (low + high) / 2

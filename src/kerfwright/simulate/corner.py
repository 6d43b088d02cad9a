"""A corner as it is put together: which walls meet, where on each wall a place of the joint lies, and which way it closes.

Vocabulary: *y* is depth into the tail board from its show face, *z* depth into the pin board from its show face, *v* up the
wall; both boards share them once together, so a place of a flank is (y, z) and its gap is first taken along v. A *station*
is a place along the way in: the part that comes home passes with each of its sections every station from the mouth on.
*Upright* is the cosine between a flank's normal and v.

Frames: each part's own (x along, v up, z out of the show face); parts stand in the assembly frame by their poses. Nothing
here knows a kind of joint: only edges, their places (flank, floor, tip) and which edge meets which.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.assembly import Assembly, Mate, Part
from kerfwright.geometry.ring import Place

Array = NDArray[np.float64]
Side = Literal["tail", "pin"]

N_PLACES = 7  # across each board of a flank: moves a seen gap by under 0.001 mm against 25, the tightest place of a ramp by under 0.01


@dataclass(frozen=True, eq=False)
class Flank:
    """One pair of flanks. tail_below: the tail's wood lies below it. lean_y_frac, lean_z_frac: how v of the drawn wall climbs with y and
    z. tail_share (n, m + 1), pin_share (n + 1, m): where on each edge a place lies, stations first the mouth, then the grid;
    tail_per_v_ratio (n,), pin_per_v_ratio (m,): mm along v for 1 mm square to the edge. tail_wide_mm, pin_wide_mm: width of the members on
    either side, mean; tail_outermost, pin_outermost: nothing lies beyond that member."""

    tail_edge: str
    pin_edge: str
    tail_below: bool
    lean_y_frac: float
    lean_z_frac: float
    tail_share: Array
    pin_share: Array
    tail_per_v_ratio: Array
    pin_per_v_ratio: Array
    tail_wide_mm: float
    pin_wide_mm: float
    tail_outermost: bool
    pin_outermost: bool

    @property
    def upright_frac(self) -> float:
        """Cosine between the wall's normal and v."""
        return float(1 / np.sqrt(1 + self.lean_y_frac**2 + self.lean_z_frac**2))

    @property
    def side_factor(self) -> float:
        """How its gap grows when the tail board is moved up by 1 mm: -1 or +1."""
        return -1.0 if self.tail_below else 1.0


@dataclass(frozen=True, eq=False)
class Corner:
    """One corner of an assembly. y_mm (n,), z_mm (m,); comes_along: "y" when the tail board travels through its own thickness,
    "z" when the pin board does; tail_proud_mm, pin_proud_mm: how far the drawn ends stand out; comes_part: who moves."""

    name: str
    tail_part: str
    pin_part: str
    comes_along: Literal["y", "z"]
    comes_part: str
    y_mm: Array
    z_mm: Array
    flanks: tuple[Flank, ...]
    tail_floors: tuple[str, ...]
    pin_floors: tuple[str, ...]
    tail_tips: tuple[str, ...]
    pin_tips: tuple[str, ...]
    tail_proud_mm: float
    pin_proud_mm: float

    @property
    def tail_thick_mm(self) -> float:
        """As measured before planning."""
        return float(self.y_mm[-1])

    @property
    def pin_thick_mm(self) -> float:
        """As measured before planning."""
        return float(self.z_mm[-1])

    @property
    def tail_edges(self) -> tuple[str, ...]:
        """Every edge of the tail board's end."""
        return (*(each.tail_edge for each in self.flanks), *self.tail_floors, *self.tail_tips)

    @property
    def pin_edges(self) -> tuple[str, ...]:
        """Every edge of the pin board's end."""
        return (*(each.pin_edge for each in self.flanks), *self.pin_floors, *self.pin_tips)


def corners_of(assembly: Assembly, tails: Mapping[str, str] | None = None, n_places: int = N_PLACES) -> tuple[Corner, ...]:
    """Every corner, in the order of its first mate. tails: the tail board by corner, where it is told; otherwise the board that
    slides off, or the first of two that both do (as for a box joint)."""
    by_corner: dict[str, list[Mate]] = {}
    for mate in assembly.mates:
        by_corner.setdefault(mate.corner, []).append(mate)
    return tuple(_corner(assembly, name, mates, (tails or {}).get(name), n_places) for name, mates in by_corner.items())


def _corner(assembly: Assembly, name: str, mates: list[Mate], tail: str | None, n_places: int) -> Corner:
    parts = {mates[0].part_a, mates[0].part_b}
    sliding = next((each.part for each in assembly.freedoms if each.corner == name), mates[0].part_a)
    tail_name = tail if tail in parts else sliding
    pin_name = next(each for each in (mates[0].part_b, mates[0].part_a) if each != tail_name)
    tail_part, pin_part = assembly.part(tail_name), assembly.part(pin_name)
    y_mm, z_mm = (np.linspace(0.0, part.slab.thickness_mm, n_places) for part in (tail_part, pin_part))
    frame = _Frame(tail_part, pin_part, y_mm, z_mm)
    pairs = [(mate.edge_a, mate.edge_b) if mate.part_a == tail_name else (mate.edge_b, mate.edge_a) for mate in mates]
    ends = {"tail": pairs[0][0].split(".")[0], "pin": pairs[0][1].split(".")[0]}
    floors = {side: _edges(part, ends[side], Place.FLOOR) for side, part in frame.sides()}
    tips = {side: _edges(part, ends[side], Place.TIP) for side, part in frame.sides()}
    tail_proud_mm = -min(float(frame.at("tail", edge)[..., 2].min()) for edge in tips["tail"])
    pin_proud_mm = -min(float(frame.at("pin", edge)[..., 1].min()) for edge in tips["pin"])
    stations = np.concatenate([[-max(pin_proud_mm, 0.0)], y_mm]), np.concatenate([[-max(tail_proud_mm, 0.0)], z_mm])
    flanks = _with_members([_flank(frame, pair, *stations) for pair in pairs], frame)
    along, who = _way_in(assembly, frame, tail_name, pin_name)
    return Corner(name, tail_name, pin_name, along, who, y_mm, z_mm, flanks, floors["tail"], floors["pin"], tips["tail"], tips["pin"],
                  tail_proud_mm, pin_proud_mm)


class _Frame:
    """Every corner of both parts' rings at the wanted depths, as (v, y, z): corners_mm by side (depths, points, 3)."""

    def __init__(self, tail: Part, pin: Part, y_mm: Array, z_mm: Array) -> None:
        self.tail, self.pin = tail, pin
        ups = tail.assembly_from_part.turned(np.array([0.0, 1.0, 0.0]))
        outs = [part.assembly_from_part.turned(np.array([0.0, 0.0, 1.0])) for part in (tail, pin)]
        zero = [part.assembly_from_part.matrix[:3, 3] for part in (tail, pin)]
        self.axes = np.stack([ups, -outs[0], -outs[1]])  # (3, 3): v, y, z
        self.zero = np.array([ups @ zero[0], -outs[0] @ zero[0], -outs[1] @ zero[1]])
        self.index = {(side, edge.name): i for side, part in self.sides() for i, edge in enumerate(part.slab.edges)}
        self.corners_mm = {"tail": self._corners(tail, y_mm), "pin": self._corners(pin, z_mm)}

    def sides(self) -> tuple[tuple[Side, Part], tuple[Side, Part]]:
        return ("tail", self.tail), ("pin", self.pin)

    def _corners(self, part: Part, depths_mm: Array) -> Array:
        flat = np.stack([part.slab.ring_at(float(depth)).points_mm for depth in depths_mm])
        solid = np.concatenate([flat, np.broadcast_to(-depths_mm[:, None, None], (*flat.shape[:2], 1))], axis=2)
        return part.assembly_from_part.apply(solid) @ self.axes.T - self.zero

    def at(self, side: Side, edge: str) -> Array:
        """Both corners of an edge at every depth, (depths, 2, 3)."""
        corners, i = self.corners_mm[side], self.index[side, edge]
        return corners[:, [i, (i + 1) % corners.shape[1]]]


def _edges(part: Part, end: str, place: Place) -> tuple[str, ...]:
    return tuple(edge.name for edge in part.slab.edges if edge.place is place and edge.name.split(".")[0] == end)


def _flank(frame: _Frame, pair: tuple[str, str], y_stations_mm: Array, z_stations_mm: Array) -> Flank:
    tail_ends, pin_ends = frame.at("tail", pair[0]), frame.at("pin", pair[1])  # (n, 2, 3), (m, 2, 3)
    tail_share, tail_per_v_ratio = _along(tail_ends, 2, z_stations_mm)
    pin_share, pin_per_v_ratio = _along(pin_ends, 1, y_stations_mm)
    run, pin_run = tail_ends[0, 1] - tail_ends[0, 0], pin_ends[0, 1] - pin_ends[0, 0]
    # The wood lies on the left of a ring: below an edge that runs toward -x as seen on the show face, where x = v x out.
    part_x = np.cross(frame.axes[0], -frame.axes[1])
    tail_below = bool((run @ frame.axes) @ part_x < 0)
    return Flank(pair[0], pair[1], tail_below, float(pin_run[0] / pin_run[1]), float(run[0] / run[2]), tail_share, pin_share.T,
                 tail_per_v_ratio, pin_per_v_ratio, 0.0, 0.0, False, False)


def _along(ends_mm: Array, axis: int, stations_mm: Array) -> tuple[Array, Array]:
    """Shares of the edge at stations, (depths, stations), and mm along v for 1 mm square to the edge, (depths,)."""
    start, run = ends_mm[:, 0, axis], ends_mm[:, 1, axis] - ends_mm[:, 0, axis]
    climb = ends_mm[:, 1, 0] - ends_mm[:, 0, 0]
    return (stations_mm[None, :] - start[:, None]) / run[:, None], np.hypot(run, climb) / np.abs(run)


def _with_members(flanks: list[Flank], frame: _Frame) -> tuple[Flank, ...]:
    """Each flank with the widths of wood on either side of it, mean over the pin board's thickness."""
    at_v = np.array([float(frame.at("pin", each.pin_edge)[..., 0].mean()) for each in flanks])
    rings = frame.corners_mm["pin"][..., 0]
    found: list[Flank] = []
    for each, v in zip(flanks, at_v, strict=True):
        below, above = at_v[at_v < v], at_v[at_v > v]
        down = v - (below.max() if len(below) else rings.min())
        up = (above.min() if len(above) else rings.max()) - v
        tail, pin = (down, up) if each.tail_below else (up, down)
        alone = (not len(below), not len(above))
        tail_alone, pin_alone = alone if each.tail_below else alone[::-1]
        found.append(replace(each, tail_wide_mm=float(tail), pin_wide_mm=float(pin), tail_outermost=tail_alone, pin_outermost=pin_alone))
    return tuple(found)


def _way_in(assembly: Assembly, frame: _Frame, tail: str, pin: str) -> tuple[Literal["y", "z"], str]:
    """Through which board's thickness the joint closes, and which part moves."""
    for step in assembly.steps:
        moving = tail if tail in step.moving and pin in step.standing else pin if pin in step.moving and tail in step.standing else ""
        if moving:
            into = np.abs(frame.axes @ step.direction)
            return ("y" if into[1] >= into[2] else "z"), moving
    return "y", tail


def wall_names(edges: Iterable[str]) -> str:
    """Edges told to a person: "flank 3", without the end they belong to."""
    return ", ".join(re.sub(r"(?<=[a-z])(?=\d)", " ", edge.split(".", 1)[-1]) for edge in edges)

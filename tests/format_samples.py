"""Small hand-made machines, setups and jobs for the tests of the file formats."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright.core.pose import Pose, identity, shift, turn_x, turn_z
from kerfwright.geometry.assembly import Assembly, Part
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, Slab
from kerfwright.machine.machine import Machine
from kerfwright.process.job import Job
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind, Pass
from kerfwright.process.setup import Setup

LENGTH_MM, WIDTH_MM, THICKNESS_MM = 118.0, 61.0, 6.0
SOCKETS_MM = (14.3, 30.5, 46.7)
NARROW_MM, WIDE_MM = 3.1, 3.85  # half widths at the inner and the show face, slope 1:8
SPACING_MM = 0.06


def machine(**changes: object) -> Machine:
    fields: dict[str, object] = {
        "schema": "kerfwright-machine-1", "name": "Bench 20", "laser": "diode", "power": "20 W", "bed_x": "400 mm", "bed_y": "300 mm",
        "height": "60 mm", "z": "motorised", "head": {"gap": "5 mm", "half_width": "20 mm"}, "top_speed": "300 mm/s",
        "acceleration": "1500 mm/s2", "s_full": 1000,
    }
    return Machine.model_validate(fields | changes)


def _ring(half_mm: float) -> Ring:
    corners = ((0.0, -half_mm), (THICKNESS_MM, -half_mm), (THICKNESS_MM, half_mm), (0.0, half_mm))
    right = [(LENGTH_MM - deep, centre + away) for centre in SOCKETS_MM for deep, away in corners]
    left = [(LENGTH_MM - x, y) for x, y in reversed(right)]
    points = np.array([(0, 0), (LENGTH_MM, 0), *right, (LENGTH_MM, WIDTH_MM), (0, WIDTH_MM), *left], dtype=float)
    edges = tuple(Edge(Role.FREE, Place.LONG, f"e{i}") for i in range(len(points)))
    return Ring(points, edges)


def slab() -> Slab:
    return Slab((_ring(WIDE_MM), _ring(NARROW_MM)), (0.0, THICKNESS_MM))


def _path(points: list[tuple[float, float]], power: float, depth: float, z: float = 0.0) -> BeamPath:
    return BeamPath(np.array([(x, y, z) for x, y in points], dtype=float), power, depth)


def _core(x0: float, x1: float, centre: float) -> BeamPath:
    low, high = centre - NARROW_MM + 0.11, centre + NARROW_MM - 0.11
    return _path([(x0, low), (x1, low), (x1, high), (x0, high), (x0, low)], 0.9, THICKNESS_MM)


def ramp_paths() -> tuple[BeamPath, ...]:
    """Lines along the board on both flanks of every socket, both ends, power falling outward."""
    paths: list[BeamPath] = []
    for x0, x1 in ((0.0, THICKNESS_MM + 0.1), (LENGTH_MM - THICKNESS_MM - 0.1, LENGTH_MM)):
        for centre in SOCKETS_MM:
            for side in (-1, 1):
                n_lines = int((WIDE_MM - NARROW_MM) / SPACING_MM)
                for i in range(n_lines):
                    y = centre + side * (NARROW_MM + (i + 0.5) * SPACING_MM)
                    ends = [(x0, y), (x1, y)]
                    paths.append(_path(ends if i % 2 == 0 else ends[::-1], 0.8 * (1 - i / n_lines) + 0.05, 1.0))
    return tuple(paths)


def operations(z_mm: float = 0.0) -> tuple[CutOperation, ...]:
    """Engrave, three-pass core cuts, two-layer ramps, and the outline after a pause. z_mm: the entry face's z."""
    cores = tuple(_core(x0, x1, c) for x0, x1 in ((-0.3, THICKNESS_MM), (LENGTH_MM - THICKNESS_MM, LENGTH_MM + 0.3)) for c in SOCKETS_MM)
    label = _path([(50, 28), (50, 34), (54, 28), (54, 34)], 0.25, 0.0)
    outline = _path([(-0.5, -0.1), (LENGTH_MM + 0.5, -0.1)], 0.9, THICKNESS_MM)
    made = (
        CutOperation("label", "label", OperationKind.ENGRAVE, (label,), 60.0, (Pass(0.0),)),
        CutOperation("sockets", "cores of the sockets", OperationKind.THROUGH, cores, 4.0, (Pass(0.5), Pass(-1.0), Pass(-2.5))),
        CutOperation("ramps", "sloped walls", OperationKind.RAMP, ramp_paths(), 40.0, (Pass(0.0), Pass(-0.5))),
        CutOperation("free", "free the front edge", OperationKind.THROUGH, (outline,), 4.0, (Pass(0.0), Pass(-1.5)),
                     before="Check that no scrap stands proud (blow the offcuts away: 3 °C is fine!)"),
    )
    return tuple(replace(op, paths=tuple(replace(p, points_mm=p.points_mm + [0, 0, z_mm]) for p in op.paths)) for op in made)


def setup(pose: Pose | None = None, *, number: int = 2, face: Face = Face.SHOW, tilt_deg: float = 0.0,
          ops: tuple[CutOperation, ...] | None = None, name: str = "front-flat") -> Setup:
    pose = shift(31.25, 42.5, THICKNESS_MM) if pose is None else pose
    z_mm = 0.0 if face is Face.SHOW else -THICKNESS_MM
    return Setup(number, name, f"front board, {face}", "maple A", "front", slab(), (LENGTH_MM + 0.0, WIDTH_MM, THICKNESS_MM), pose, face,
                 tilt_deg, "bed", np.array([10.0, 8.0, z_mm]), operations(z_mm) if ops is None else ops,
                 ("Lay the board against the front fence.",))


def setups() -> dict[str, Setup]:
    """Flat, turned a quarter, turned a little after a read misplacement, flipped onto its show face, and tilted."""
    tilt = shift(31.25, 60.0, 20.0) @ turn_x(7.125)
    square = operations()[1:2]
    level = (replace(square[0], name="level", level_mm=1.25, passes=(Pass(0.0),)),)
    return {
        "flat": setup(),
        "quarter": setup(shift(160.0, 30.0, THICKNESS_MM) @ turn_z(90.0), number=3, name="front-turned"),
        "nudged": setup(shift(31.1, 42.6, THICKNESS_MM) @ turn_z(0.17), number=4, name="front-nudged"),
        "flipped": setup(shift(31.0, 140.0, 0.0) @ turn_x(180.0), number=5, face=Face.INNER, name="front-flipped"),
        "tilted": setup(tilt, number=6, tilt_deg=7.125, ops=square, name="front-plus"),
        "level": setup(tilt, number=7, tilt_deg=7.125, ops=level, name="front-level"),
    }


def job(the_machine: Machine | None = None, chosen: tuple[Setup, ...] | None = None) -> Job:
    assembly = Assembly("pencil box", (Part("front", slab(), identity()),), (), (), ())
    return Job("pencil-box", the_machine or machine(), {}, {}, assembly, chosen or tuple(setups().values()), (), (), (), ())

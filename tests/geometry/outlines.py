"""A small corpus of outlines, each to be run plain, turned and mirrored."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.ring import Edge, Place, Ring, Role

Array = NDArray[np.float64]

CORPUS: dict[str, list[tuple[float, float]]] = {
    "square": [(0, 0), (10, 0), (10, 10), (0, 10)],
    "trapezoid": [(0, 0), (20, 0), (17, 12), (3, 12)],
    "L": [(0, 0), (30, 0), (30, 10), (10, 10), (10, 25), (0, 25)],
    "triangle": [(0, 0), (12, 0), (0, 5)],
    "tail": [(0, 0), (40, 0), (40, 8), (30, 8), (31.5, 20), (8.5, 20), (10, 8), (0, 8)],
    "split side": [(0, 0), (6, 0), (14, 0), (14, 7), (0, 7)],
}


def ring_of(points: list[tuple[float, float]] | Array) -> Ring:
    """A ring whose edges are called e0, e1, ... and are free."""
    return Ring(np.array(points, dtype=float), tuple(Edge(Role.FREE, Place.LONG, f"e{i}") for i in range(len(points))))


def _turned(points: Array) -> Array:
    angle = np.radians(37.0)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return points @ turn.T + np.array([-3.0, 11.0])


def _mirrored(points: Array) -> Array:
    return (points * np.array([-1.0, 1.0]))[::-1]  # turned round, so that it runs counter-clockwise again


# name: (how points move, how the n per-edge values follow)
WAYS: dict[str, tuple[Callable[[Array], Array], Callable[[Array], Array]]] = {
    "plain": (lambda points: points, lambda per_edge: per_edge),
    "turned": (_turned, lambda per_edge: per_edge),
    # reversed points: new edge i runs from old point n-1-i to old point n-2-i, which is old edge n-2-i
    "mirrored": (_mirrored, lambda per_edge: np.roll(per_edge[::-1], -1)),
}

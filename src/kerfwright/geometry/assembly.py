"""Parts, where they stand in the finished piece, which edges mate and in what order they go together."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.pose import Pose
from kerfwright.geometry.slab import Slab

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Part:
    """One board of the piece. Frame: x along the board, y up the wall, z out of the show face (0 there)."""

    name: str
    slab: Slab
    assembly_from_part: Pose


@dataclass(frozen=True)
class Mate:
    """Two edges that meet, each as part name and edge name, and the joint they belong to."""

    corner: str
    part_a: str
    edge_a: str
    part_b: str
    edge_b: str


class Bond(StrEnum):
    """What holds two parts that meet: glue, or nothing, so that the wood can move or the part come off again."""

    GLUED = "glued"
    DRY = "dry"


@dataclass(frozen=True, eq=False)
class Freedom:
    """How one part may leave another at a corner: unit directions in the assembly frame for ``part`` to move off ``from_part``.

    bond: whether they are glued there once they are together.
    """

    corner: str
    part: str
    from_part: str
    directions: Array  # (n, 3)
    bond: Bond = Bond.DRY


@dataclass(frozen=True, eq=False)
class Step:
    """One step of putting together: ``moving`` parts come home along ``direction`` onto ``standing`` parts."""

    moving: tuple[str, ...]
    standing: tuple[str, ...]
    direction: Array  # (3,) unit, the way the moving parts travel


@dataclass(frozen=True, eq=False)
class Assembly:
    """The whole nominal piece: exact, knows no laser."""

    name: str
    parts: tuple[Part, ...]
    mates: tuple[Mate, ...]
    freedoms: tuple[Freedom, ...]
    steps: tuple[Step, ...]

    def part(self, name: str) -> Part:
        """The part called ``name``; KeyError when there is none."""
        for each in self.parts:
            if each.name == name:
                return each
        raise KeyError(name)

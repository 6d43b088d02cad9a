"""In what order parts go together: split the piece in two until every part is alone, each split one straight slide."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import BuildError
from kerfwright.geometry.assembly import Freedom, Step

Array = NDArray[np.float64]


def assembly_steps(parts: tuple[str, ...], freedoms: tuple[Freedom, ...]) -> tuple[Step, ...]:
    """Steps in bench order. Raises BuildError when the parts interlock in every order.

    freedoms: every corner's ways apart; a corner with none listed can never come apart.
    """
    steps = _steps(frozenset(parts), freedoms)
    if steps is None:
        raise BuildError(
            "these joints lock each other: no order of assembly exists",
            remedy="Let two opposite boards carry all the tails, or use box joints at one corner",
        )
    return tuple(steps)


def _steps(group: frozenset[str], freedoms: tuple[Freedom, ...]) -> list[Step] | None:
    if len(group) == 1:
        return []
    members = sorted(group)
    for size in range(1, len(members) // 2 + 1):
        for chosen in combinations(members, size):
            moving, standing = frozenset(chosen), group - frozenset(chosen)
            away = _common_direction(moving, standing, freedoms)
            if away is None:
                continue
            before = [_steps(part, freedoms) for part in (standing, moving)]
            if before[0] is not None and before[1] is not None:
                return [*before[0], *before[1], Step(tuple(sorted(moving)), tuple(sorted(standing)), -away)]
    return None


def _common_direction(moving: frozenset[str], standing: frozenset[str], freedoms: tuple[Freedom, ...]) -> Array | None:
    """A direction in which the moving parts leave the standing ones at every corner between them."""
    shared: list[Array] | None = None
    for corner in sorted({each.corner for each in freedoms}):
        ways: list[Array] = []
        crossing = False
        for each in (found for found in freedoms if found.corner == corner):
            if each.part in moving and each.from_part in standing:
                crossing, ways = True, [*ways, *each.directions]
            elif each.part in standing and each.from_part in moving:
                crossing, ways = True, [*ways, *(-each.directions)]
        if crossing:
            shared = ways if shared is None else [way for way in shared if any(np.allclose(way, other) for other in ways)]
    return shared[0] if shared else None

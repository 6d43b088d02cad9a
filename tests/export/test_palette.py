"""The inks can be told apart with any of the three common kinds of colour blindness, and seen on white."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from kerfwright.export.palette import INKS
from kerfwright.process.operation import OperationKind
from sight import SIGHT, XYZ_FROM_RGB, lab, linear


def test_lab_knows_white_and_red() -> None:
    assert lab(linear("#ffffff")) == pytest.approx([100, 0, 0], abs=1e-6)
    # sRGB red is 53.2, 80.1, 67.2: a value given wherever the conversion is described; from memory.
    assert lab(linear("#ff0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.05)


@pytest.mark.parametrize("sight", SIGHT)
def test_any_two_inks_are_far_apart(sight: str) -> None:
    np.testing.assert_allclose(SIGHT[sight].sum(axis=1), 1, atol=2e-6)
    seen = {kind: lab(SIGHT[sight] @ linear(ink.colour)) for kind, ink in INKS.items()}
    assert min(np.linalg.norm(seen[a] - seen[b]) for a, b in combinations(seen, 2)) >= 35


def test_every_ink_shows_on_white() -> None:
    for ink in INKS.values():
        contrast = 1.05 / (XYZ_FROM_RGB[1] @ linear(ink.colour) + 0.05)  # WCAG 2 contrast ratio, from memory of it
        assert contrast >= 3.5


def test_every_kind_has_its_own_ink_and_dash() -> None:
    assert set(INKS) == set(OperationKind)
    assert len({ink.dash for ink in INKS.values()}) == len({ink.word for ink in INKS.values()}) == 4
    for ink in INKS.values():  # no pure primary: each channel says something
        assert not set(ink.rgb) <= {0, 255}

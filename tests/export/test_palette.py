"""The inks can be told apart with any of the three common kinds of colour blindness, and seen on white."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from kerfwright.export.palette import INKS
from kerfwright.process.operation import OperationKind

# Full-strength deficiency, on linear light: Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009)
# 1291, table of severity 1.0; from memory of it. Each row sums to 1, so greys stay grey.
SIGHT = {
    "full": np.eye(3),
    "protanope": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),
    "deuteranope": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]),
    "tritanope": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]),
}
# sRGB to XYZ under D65: IEC 61966-2-1, from memory of it.
XYZ_FROM_RGB = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]])


def linear(colour: str) -> np.ndarray:
    share = np.array([int(colour[i:i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, white D65."""
    ratio = XYZ_FROM_RGB @ np.clip(light, 0, 1) / (XYZ_FROM_RGB @ np.ones(3))
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


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

"""How colours look to eyes with each of the three common kinds of colour blindness, and how far apart: for tests."""

from __future__ import annotations

import numpy as np

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

"""An oracle's recipe: numbers taken from the shop's own truth by burning trials nobody could afford, no fit, no noise.

It tells how far the package's plan closes a joint when its recipe is right. Tables of plain text, as a person would type them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from shop.look import look, straight_lines
from shop.shop import Shop
from shop.wood import HiddenBoard


@dataclass(frozen=True)
class Through:
    """focus_mm: as a program says it, above the face."""

    speed_mm_s: float
    passes: int
    focus_mm: float = -0.5
    focus_step_mm: float = 0.8
    s_frac: float = 1.0


@dataclass(frozen=True)
class RampTrial:
    """layers with the focus going down focus_step_mm each; lines spacing_mm apart at speed_mm_s."""

    speed_mm_s: float
    layers: int
    spacing_mm: float = 0.06
    focus_mm: float = -0.3
    focus_step_mm: float = 1.2


def trial_board(shop: Shop, like: HiddenBoard) -> HiddenBoard:
    """A piece of the very same wood, unburnt."""
    from dataclasses import replace

    return replace(like, burns=[])


def slit_widths(shop: Shop, like: HiddenBoard, cut: Through, along_x: bool, at: tuple[float, float]) -> tuple[np.ndarray, bool]:
    """((21,) widths from entry to exit, whether it went through) of a bare slit at a place."""
    board = trial_board(shop, like)
    direction = np.array([1.0, 0.0]) if along_x else np.array([0.0, 1.0])
    ends = np.array([[np.array(at) - 8 * direction, np.array(at) + 8 * direction]] * cut.passes)
    energy = np.full(cut.passes, float(shop.machine.light.optical_w(cut.s_frac)) / cut.speed_mm_s)
    focus = np.array([-(cut.focus_mm - k * cut.focus_step_mm) + shop.machine.light.focus_error_mm for k in range(cut.passes)])
    board.burns = [straight_lines(ends, energy, focus, x_share=0.0 if along_x else 1.0)]
    cut_through = look(board, shop.machine, np.array([at]), direction[::-1].copy())
    widths = np.array([float(cut_through.edge(z, 1)[0] - cut_through.edge(z, -1)[0]) for z in np.linspace(0, 1, 21)])
    return widths, bool(cut_through.through().any())


def fastest_through(shop: Shop, like: HiddenBoard, passes: int, focus_mm: float = -0.5, focus_step_mm: float = 0.8) -> float:
    """Fastest speed at full power that goes through in so many passes at the board's middle, to 1 %."""
    low, high = 0.3, 60.0
    at = (like.size_mm[0] / 2, like.size_mm[1] / 2)
    while high / low > 1.01:
        speed = float(np.sqrt(low * high))
        if slit_widths(shop, like, Through(speed, passes, focus_mm, focus_step_mm), True, at)[1]:
            low = speed
        else:
            high = speed
    return low


def field_depths(shop: Shop, like: HiddenBoard, ramp: RampTrial, s_frac: np.ndarray, at: tuple[float, float]) -> np.ndarray:
    """Depth in the middle of a wide field of parallel lines, one field for each power."""
    found = []
    n_lines = int(np.ceil(1.6 / ramp.spacing_mm))
    y = at[1] + (np.arange(n_lines) - (n_lines - 1) / 2) * ramp.spacing_mm
    ends = np.array([[[at[0] - 6, each], [at[0] + 6, each]] for each in y] * ramp.layers)
    focus = np.repeat([-(ramp.focus_mm - k * ramp.focus_step_mm) + shop.machine.light.focus_error_mm for k in range(ramp.layers)], n_lines)
    for share in s_frac:
        board = trial_board(shop, like)
        energy = np.full(len(ends), float(shop.machine.light.optical_w(float(share))) / ramp.speed_mm_s)
        board.burns = [straight_lines(ends, energy, focus)]
        burnt = look(board, shop.machine, np.array([at]), np.array([0.0, 1.0]), (-1.2, 1.2))
        middle = np.abs(burnt.rows.offsets) < 0.25
        found.append(float(np.mean(burnt.depth[0, 0, middle])))
    return np.array(found)


def recipe_tables(shop: Shop, like: HiddenBoard, cut: Through, ramp: RampTrial | None, wall_shift_mm: float = 0.0) -> dict[str, Any]:
    """A recipe file's tables for this very board."""
    thickness = like.size_mm[2]
    at = (like.size_mm[0] / 2, like.size_mm[1] / 2)
    kerf = []
    for travel, grain in (("x", "along"), ("y", "across")):
        widths, through = slit_widths(shop, like, cut, travel == "x", at)
        assert through, f"{cut} does not go through {thickness:.2f} mm"
        k = int(np.argmin(widths))
        kerf.append(
            {
                "travel": travel,
                "grain": grain,
                "top": f"{widths[0]:.4f} ± 0.005 mm",
                "waist": f"{widths[k]:.4f} ± 0.005 mm",
                "bottom": f"{widths[-1]:.4f} ± 0.005 mm",
                "waist_at": f"{np.clip(k * 5, 5, 95)} %",
            }
        )
    tables: dict[str, Any] = {
        "schema": "kerfwright-recipe-1",
        "name": f"oracle for {like.name}",
        "machine": str(shop.machine.facts["name"]),
        "species": like.species,
        "through": [
            {
                "thickness": [f"{thickness - 0.35:.2f} mm", f"{thickness + 0.35:.2f} mm"],
                "power": f"{100 * cut.s_frac:g} %",
                "speed": f"{cut.speed_mm_s:g} mm/s",
                "passes": cut.passes,
                "focus": f"{cut.focus_mm} mm",
                "focus_step": f"{cut.focus_step_mm} mm",
                "focus_window": "0.6 mm",
                "kerf": kerf,
            }
        ],
        "engrave": {"power": "18 %", "speed": "60 mm/s"},
    }
    if ramp is not None:
        tables["ramp"] = _ramp_tables(shop, like, ramp, at) | {"wall_shift": f"{wall_shift_mm} ± 0.005 mm"}
    return tables


def _ramp_tables(shop: Shop, like: HiddenBoard, ramp: RampTrial, at: tuple[float, float]) -> dict[str, Any]:
    shares = np.round(np.geomspace(0.05, 1.0, 24), 3)
    depths = field_depths(shop, like, ramp, shares, at)
    through = depths >= like.size_mm[2] - 1e-6
    if not through.any():
        raise ValueError(f"a field at full power reaches {depths[-1]:.2f} mm of {like.size_mm[2]:.2f}")
    first = int(np.argmax(through))
    burnt = [k for k in range(first) if depths[k] > 0.08 and depths[k] < like.size_mm[2] - 0.1]
    return {
        "speed": f"{ramp.speed_mm_s:g} mm/s",
        "spacing": f"{ramp.spacing_mm} mm",
        "layers": ramp.layers,
        "focus": f"{ramp.focus_mm} mm",
        "focus_step": f"{ramp.focus_step_mm} mm",
        "depth": [[f"{100 * shares[k]:g} %", f"{depths[k]:.4f} ± 0.02 mm"] for k in burnt],
        "through_power": f"{100 * shares[first]:g} %",
        "through_thickness": f"{like.size_mm[2] + 0.05:.3f} mm",
    }

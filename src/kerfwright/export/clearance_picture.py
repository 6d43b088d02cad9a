"""The gap inside a corner, drawn: a map of every flank, and the gap along the lines a person sees.

Blue is open, orange is squeeze, pale is touching, and a black line runs where the gap is nothing: told apart by hue and
by the line, so that no kind of colour blindness hides which is which (a test computes it).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.process.verdict import ClearanceMap, CornerVerdict, SeenLine

Array = NDArray[np.float64]

INK, FAINT, RULE = "#26231f", "#7d7466", "#ece8e1"
OPEN, SQUEEZE, TOUCHING = "#0b5394", "#b34700", "#f7f4ee"
SCALE_MM = 0.12  # colours are fullest here; one scale for all corners, so that two sheets can be compared
EYE_MM = 0.1  # a gap this wide is seen from a step away (common practice, no source)
MOST_MAPS = 8
INNER_FACE = "inner face"  # what a baseline meets
_STOPS = ((0.0, "#7a2f00"), (0.2, SQUEEZE), (0.36, "#e9a15b"), (0.5, TOUCHING), (0.64, "#86b6dd"), (0.8, "#2273b8"), (1.0, "#08335e"))


def gap_colours() -> Any:
    """The colour map: -SCALE_MM to +SCALE_MM."""
    from matplotlib.colors import LinearSegmentedColormap

    colours: Any = LinearSegmentedColormap.from_list("gap", list(_STOPS), N=256)
    return colours.with_extremes(bad="#cfc8bb")


def shown_maps(corner: CornerVerdict, most: int = MOST_MAPS) -> tuple[ClearanceMap, ...]:
    """The tightest flanks, at most ``most``, in their order up the wall."""
    by_tightest = sorted(corner.maps, key=lambda each: float(np.nanmin(each.gap_mm)) if np.isfinite(each.gap_mm).any() else np.inf)
    kept = by_tightest[:most]
    return tuple(each for each in corner.maps if any(each is one for one in kept))


def draw_map(axes: Any, flank: ClearanceMap, letters_pt: float) -> Any:
    """One flank: across is depth into the pin board, down is depth into the tail board; seen edges thick. Returns the picture's handle."""
    y, z = flank.y_mm, flank.z_mm
    half_y, half_z = (float(each[1] - each[0]) / 2 for each in (y, z))  # samples stand in the middle of the picture's cells
    picture = axes.imshow(
        np.ma.masked_invalid(flank.gap_mm), cmap=gap_colours(), vmin=-SCALE_MM, vmax=SCALE_MM, interpolation="bicubic", aspect="equal",
        extent=(z[0] - half_z, z[-1] + half_z, y[-1] + half_y, y[0] - half_y),
    )
    held = np.nan_to_num(flank.gap_mm, nan=1.0)
    if held.min() < 0 < held.max():
        axes.contour(z, y, held, levels=[0.0], colors=[INK], linewidths=1.1)
    axes.set(xticks=[], yticks=[], xlim=(z[0], z[-1]), ylim=(y[-1], y[0]))
    for side, spine in axes.spines.items():
        seen = side in ("top", "left")
        spine.set(visible=True, color=INK if seen else "#b9b2a4", linewidth=3.0 if seen else 0.7)
    axes.set_title(edge_word(flank.tail_edge), fontsize=letters_pt, color=INK, pad=4)
    return picture


def edge_word(edge: str) -> str:
    """``"flank 3"`` of ``"right.flank3"``, ``"baseline 2"`` of ``"right.floor2"``."""
    name = edge.partition(".")[2] or edge
    return name.replace("flank", "flank ").replace("floor", "baseline ")


def draw_scale_bar(axes: Any, flank: ClearanceMap, letters_pt: float) -> None:
    """A bar of true length in a map's lower right corner."""
    wide_mm = float(flank.z_mm[-1] - flank.z_mm[0])
    bar_mm = next(each for each in (10.0, 5.0, 2.0, 1.0, 0.5) if each <= max(0.45 * wide_mm, 0.5))
    x1, y = float(flank.z_mm[-1]) - 0.06 * wide_mm, float(flank.y_mm[-1]) * 0.93
    axes.plot([x1 - bar_mm, x1], [y, y], color=INK, linewidth=2.4, solid_capstyle="butt")
    axes.text(x1 - bar_mm / 2, y - 0.03 * float(flank.y_mm[-1]), f"{bar_mm:g} mm", fontsize=letters_pt, color=INK, ha="center", va="bottom")


def draw_colour_bar(figure: Any, place: Any, picture: Any, letters_pt: float) -> None:
    """The scale of colours with its zero marked, in the axes ``place``."""
    bar = figure.colorbar(picture, cax=place, orientation="horizontal", extend="both")
    ticks = (-0.1, -0.05, 0.0, 0.05, 0.1)
    bar.set_ticks(list(ticks), labels=[f"{each:+.2f}" if each else "0" for each in ticks])
    bar.ax.tick_params(labelsize=letters_pt, colors=INK, length=3)
    bar.ax.axvline(0.0, color=INK, linewidth=1.6)
    bar.outline.set_visible(False)
    bar.ax.text(0.0, 1.25, "squeeze", transform=bar.ax.transAxes, fontsize=letters_pt, color=SQUEEZE, weight="bold", ha="left")
    bar.ax.text(1.0, 1.25, "gap, mm", transform=bar.ax.transAxes, fontsize=letters_pt, color=OPEN, weight="bold", ha="right")


def draw_lines(axes: Any, lines: Sequence[SeenLine], letters_pt: float) -> None:
    """The gap along the flanks' lines on one face: each thin, the widest bold with the band that holds it 95 times in 100.

    Baselines run the other way and are left out.
    """
    kept = [line for line in lines if INNER_FACE not in (line.tail_edge, line.pin_edge) and np.isfinite(line.gap_mm).any()]
    widest = max(kept, key=lambda line: float(np.nanmean(line.gap_mm)), default=None)
    for line in kept:
        if line is not widest:
            axes.plot(line.at_mm, line.gap_mm, color="#8fa9bf", linewidth=1.0)
    if widest is not None:
        axes.fill_between(
            widest.at_mm, widest.gap_mm - 1.96 * widest.sd_mm, widest.gap_mm + 1.96 * widest.sd_mm, color="#bcd9e6", linewidth=0, zorder=0
        )
        axes.plot(widest.at_mm, widest.gap_mm, color=OPEN, linewidth=2.2)
    reach_mm = max((float(line.at_mm[-1]) for line in kept), default=1.0)
    top_mm = max([0.13, *(float(np.nanmax(line.gap_mm + 1.96 * line.sd_mm)) for line in kept)])
    low_mm = min([-0.05, *(float(np.nanmin(line.gap_mm)) for line in kept)])
    axes.axhline(0.0, color=INK, linewidth=1.3)
    axes.axhline(EYE_MM, color=SQUEEZE, linewidth=1.2, linestyle=(0, (5, 3)))
    axes.text(reach_mm, EYE_MM + 0.012 * (top_mm - low_mm), "the eye sees it ", fontsize=letters_pt, color=SQUEEZE, ha="right", va="bottom")
    axes.set_xlim(0, reach_mm)
    axes.set_ylim(1.05 * low_mm, 1.08 * top_mm)
    from matplotlib.ticker import MultipleLocator

    axes.yaxis.set_major_locator(MultipleLocator(0.05 if top_mm - low_mm < 0.4 else 0.2))
    axes.tick_params(labelsize=letters_pt, colors=INK, length=3)
    axes.grid(True, color=RULE, linewidth=0.7)
    axes.set_axisbelow(True)
    for side, spine in axes.spines.items():
        spine.set(visible=side in ("left", "bottom"), color="#b9b2a4")

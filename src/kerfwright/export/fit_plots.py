"""A fit as a picture a woodworker reads: points, curve, band, the recommended setting, the range that was burnt."""

from __future__ import annotations

import io
from typing import Any

from kerfwright.calibrate.lesson import Plot

INK, CURVE, BAND, MARK, GREY = "#26231f", "#0b6e99", "#bcd9e6", "#b3541e", "#8a8278"


def plot_png(plot: Plot, width_px: int = 900, height_px: int = 560) -> bytes:
    """PNG of one plot. Two runs give the same bytes."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    dpi = 150
    figure: Any = Figure(figsize=(width_px / dpi, height_px / dpi), dpi=dpi, facecolor="white")
    FigureCanvasAgg(figure)
    axes: Any = figure.add_axes((0.11, 0.14, 0.86, 0.74))
    _draw(axes, plot)
    figure.text(0.11, 0.93, plot.title, fontsize=10.5, color=INK, weight="bold")
    stream = io.BytesIO()
    figure.savefig(stream, format="png", metadata={"Software": None})
    return stream.getvalue()


def _draw(axes: Any, plot: Plot) -> None:
    x = plot.curve[:, 0]
    axes.fill_between(x, plot.curve[:, 2], plot.curve[:, 3], color=BAND, linewidth=0, label="95 % of what may be true")
    axes.plot(x, plot.curve[:, 1], color=CURVE, linewidth=1.8, label="fitted")
    axes.scatter(plot.points[:, 0], plot.points[:, 1], s=22, color=INK, zorder=3, label="read", linewidths=0)
    if len(plot.set_aside):
        axes.scatter(plot.set_aside[:, 0], plot.set_aside[:, 1], s=34, marker="x", color=GREY, zorder=3, label="set aside")
    if plot.mark is not None:
        axes.scatter(
            [plot.mark[0]],
            [plot.mark[1]],
            s=70,
            marker="D",
            facecolors="none",
            edgecolors=MARK,
            linewidths=1.8,
            zorder=4,
            label=plot.mark_name,
        )
    low, high = float(plot.points[:, 0].min()), float(plot.points[:, 0].max())
    axes.plot(
        [low, high], [0.02, 0.02], transform=axes.get_xaxis_transform(), color=GREY, linewidth=4, solid_capstyle="butt", label="range burnt"
    )
    if plot.log_x:
        axes.set_xscale("log")
        from matplotlib.ticker import LogLocator, ScalarFormatter

        axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 1.5, 2.0, 3.0, 5.0, 7.0)))
        axes.xaxis.set_major_formatter(ScalarFormatter())
        axes.xaxis.set_minor_formatter("")
    axes.set_xlabel(plot.x_name, fontsize=9, color=INK)
    axes.set_ylabel(plot.y_name, fontsize=9, color=INK)
    axes.tick_params(labelsize=8, colors=INK, length=3)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(GREY)
    axes.grid(True, color="#ece8e1", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.legend(fontsize=7.5, frameon=False, loc="best", labelcolor=INK)

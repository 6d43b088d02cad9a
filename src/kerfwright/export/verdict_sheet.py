"""One corner's verdict as one picture to hang in the shop: how it will look, what its flanks do inside, and the odds in big words."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Mapping
from typing import Any

from kerfwright.export import clearance_picture as drawn
from kerfwright.export.corner_look import corner_look, loupe
from kerfwright.export.verdict_words import headline, law_words, odds_words, percent, press_words, said_of, time_words, with_spread
from kerfwright.export.wood_colour import Colour
from kerfwright.geometry.assembly import Part
from kerfwright.process.verdict import HOW, CornerVerdict, Verdict

WIDTH_PX, HEIGHT_PX, DPI = 1800, 1240, 100
INK, FAINT = drawn.INK, drawn.FAINT
# By word of HOW: told apart by lightness as well as hue, and written out beside.
HOW_COLOURS = {"loose": "#c9dcea", "slip": "#86b6dd", "snug": "#2f6f4f", "press": "#e0b070", "not at all": "#7a2f00"}
HOW_LETTERS = {"loose": INK, "slip": INK, "snug": "#ffffff", "press": INK, "not at all": "#ffffff"}
LOUPE_MM, LOUPE_PX = 2.4, 215
LETTERS_A_TILE = 15


def verdict_sheet(verdict: Verdict, corner: CornerVerdict, parts: Mapping[str, Part], colours: Mapping[str, Colour]) -> bytes:
    """The sheet as a PNG file. parts: nominal, by name; colours: sRGB 0-1 by part name. Two runs give the same bytes."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure: Any = Figure(figsize=(WIDTH_PX / DPI, HEIGHT_PX / DPI), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    _head(figure, verdict, corner)
    _tiles(figure, verdict, corner)
    _look(figure, corner, parts, colours)
    _maps(figure, corner)
    _lines(figure, corner)
    _causes(figure, verdict, corner)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", metadata={"Software": None})
    return stream.getvalue()


def _head(figure: Any, verdict: Verdict, corner: CornerVerdict) -> None:
    """The odds, big, and a bar of all the ways."""
    figure.text(0.028, 0.945, headline(corner), fontsize=32, weight="bold", color=INK, va="center")
    told = f"{verdict.job}, corner {corner.corner}: {corner.tail_part} meets {corner.pin_part}"
    figure.text(0.028, 0.903, told, fontsize=15, color=FAINT, va="center")
    if corner.blocked_by:
        figure.text(0.028, 0.878, f"what stops it: {corner.blocked_by}", fontsize=14, color=drawn.SQUEEZE, weight="bold", va="center")
    bar: Any = figure.add_axes((0.545, 0.925, 0.428, 0.036))
    bar.set_axis_off()
    at = 0.0
    for word in HOW:
        odds = corner.odds.get(word, 0.0)
        bar.barh(0, odds, left=at, color=HOW_COLOURS[word], height=1.0, edgecolor="white", linewidth=2)
        if odds >= 0.17:
            bar.text(at + odds / 2, -0.02, f"{word} {percent(odds)}", fontsize=13, color=HOW_LETTERS[word], ha="center", va="center")
        at += odds
    bar.set(xlim=(0, max(at, 1e-9)), ylim=(-0.5, 0.5))
    figure.text(0.545, 0.903, odds_words(corner), fontsize=13, color=FAINT, va="center")


def _tiles(figure: Any, verdict: Verdict, corner: CornerVerdict) -> None:
    """Six numbers to read from across the bench."""
    planned = f"the plan said {with_spread(corner.planned_gap_mm)}" if corner.planned_gap_mm is not None else "no plan to compare with"
    heat = verdict.heat
    hottest = f"; hottest: {heat.hottest[0].part}" if heat and heat.hottest else ""
    tiles = (
        ("seen gap", with_spread(corner.seen_gap_mm), planned),
        ("widest tenth", with_spread(corner.seen_worst_mm), f"inside, hidden: {with_spread(corner.glue_gap_mm)}"),
        ("squeeze", with_spread(corner.squeeze_mm), "a wall can crush about 0.1 mm"),
        ("to press it home", press_words(corner), f"splitting risk of half-pins: {corner.half_pin}"),
        ("machine time", time_words(verdict), f"{len(verdict.setup_time_s)} setups" if verdict.setup_time_s else "all setups"),
        ("risk of flame", heat.risk if heat else "not told", f"char {heat.char}{hottest}" if heat else "the heat was not followed"),
    )
    for k, (name, value, more) in enumerate(tiles):
        left = 0.028 + 0.1585 * k
        place: Any = figure.add_axes((left, 0.765, 0.1515, 0.092))
        place.set(xticks=[], yticks=[], facecolor="#f6f2ea", xlim=(0, 1), ylim=(0, 1))
        for spine in place.spines.values():
            spine.set_visible(False)
        place.text(0.05, 0.80, name, fontsize=12.5, color=FAINT, va="center")
        place.text(0.05, 0.48, value, fontsize=min(19.0, 19.0 * LETTERS_A_TILE / len(value)), color=INK, weight="bold", va="center")
        place.text(0.05, 0.15, more, fontsize=11, color=FAINT, va="center")


def _look(figure: Any, corner: CornerVerdict, parts: Mapping[str, Part], colours: Mapping[str, Colour]) -> None:
    """The corner after sanding, and its widest place under a loupe."""
    _title(figure, 0.028, "As it will look, planed and sanded; gaps to scale")
    wide_px, high_px = 640, 840
    place: Any = figure.add_axes((0.022, 0.038, wide_px / WIDTH_PX, high_px / HEIGHT_PX))
    place.imshow(corner_look(corner, parts, colours, wide_px, high_px), interpolation="none")
    place.set_axis_off()
    near = loupe(corner, parts, colours, 400, LOUPE_MM)
    if near is None:
        return
    from matplotlib.patches import Circle
    from matplotlib.patheffects import withStroke

    halo = [withStroke(linewidth=3.5, foreground="white")]
    glass: Any = figure.add_axes((0.265, 0.072, LOUPE_PX / WIDTH_PX, LOUPE_PX / HEIGHT_PX))
    shown = glass.imshow(near.picture, interpolation="bilinear", extent=(0, near.across_mm, 0, near.across_mm))
    middle = near.across_mm / 2
    shown.set_clip_path(Circle((middle, middle), 0.98 * middle, transform=glass.transData))
    glass.add_patch(Circle((middle, middle), 0.98 * middle, fill=False, edgecolor=INK, linewidth=2.4))
    glass.plot([middle - 0.25, middle + 0.25], [0.30, 0.30], color=INK, linewidth=2.6, solid_capstyle="butt", path_effects=halo)
    glass.text(middle, 0.36, "0.5 mm", fontsize=11.5, color=INK, ha="center", va="bottom", path_effects=halo)
    glass.set_axis_off()
    for k, line in enumerate(("widest place you see:", near.said)):
        figure.text(0.388, 0.052 - 0.021 * k, line, fontsize=11.5, color=FAINT, va="center", ha="right")


def _title(figure: Any, left: float, text: str, y: float = 0.733) -> None:
    figure.text(left, y, text, fontsize=14.5, weight="bold", color=INK, va="center")


def _maps(figure: Any, corner: CornerVerdict) -> None:
    """Every flank, or the tightest of many."""
    kept = drawn.shown_maps(corner)
    which = f"the {len(kept)} tightest of {len(corner.maps)} flanks" if len(kept) < len(corner.maps) else "every flank"
    _title(figure, 0.408, f"Inside, {which}: gap and squeeze")
    columns = 4 if len(kept) > 3 else max(len(kept), 1)
    rows = -(-len(kept) // columns)
    picture: Any = None
    for k, flank in enumerate(kept):
        wide, high = 0.345 / columns, 0.318 / max(rows, 1)
        place: Any = figure.add_axes((0.408 + wide * (k % columns), 0.388 + high * (rows - 1 - k // columns), wide - 0.012, high - 0.034))
        picture = drawn.draw_map(place, flank, 12)
        if k == len(kept) - 1:
            drawn.draw_scale_bar(place, flank, 11)
    if picture is not None:
        drawn.draw_colour_bar(figure, figure.add_axes((0.428, 0.345, 0.29, 0.016)), picture, 11.5)
    told = (
        f"across a map: depth into {corner.pin_part}; down: depth into {corner.tail_part}",
        "thick edges: the lines you see; black line: the gap is nothing",
    )
    for k, line in enumerate(told):
        figure.text(0.408, 0.302 - 0.02 * k, line, fontsize=11, color=FAINT, va="center")


def _lines(figure: Any, corner: CornerVerdict) -> None:
    """The seen lines of both faces."""
    _title(figure, 0.775, "Gap along the lines you see, mm")
    for face, part, bottom in (("tail board", corner.tail_part, 0.438), ("pin board", corner.pin_part, 0.12)):
        place: Any = figure.add_axes((0.808, bottom, 0.167, 0.225))
        drawn.draw_lines(place, [line for line in corner.lines if line.on == face], 11)
        place.set_title(f"on the show face of the {part}", fontsize=12.5, color=INK, loc="left", pad=6)
    place.set_xlabel("mm from the corner's edge inward", fontsize=11, color=FAINT)
    figure.text(0.775, 0.045, "bold: the widest line, with its 95 % band", fontsize=11, color=FAINT, va="center")


def _causes(figure: Any, verdict: Verdict, corner: CornerVerdict) -> None:
    """What the spread comes from, and what would make it smaller."""
    _title(figure, 0.408, "What the spread comes from, and what helps", 0.246)
    for k, cause in enumerate(corner.causes[:3]):
        y = 0.203 - 0.052 * k
        bar: Any = figure.add_axes((0.408, y - 0.014, 0.06, 0.024))
        bar.barh(0, cause.share_frac, color="#2273b8", height=1.0)
        bar.set(xlim=(0, 1), ylim=(-0.5, 0.5), xticks=[], yticks=[], facecolor=drawn.RULE)
        for spine in bar.spines.values():
            spine.set_visible(False)
        told = f"{cause.cause}: {percent(cause.share_frac)}, ± {cause.sd_mm:.3f} mm"
        figure.text(0.476, y + 0.009, told, fontsize=12.5, color=INK, va="center")
        for i, line in enumerate(textwrap.wrap(cause.remedy, 60)[:2]):
            figure.text(0.476, y - 0.009 - 0.0155 * i, line, fontsize=10.5, color=FAINT, va="center")
    told = [*said_of(verdict, corner), f"odds, not promises; burn law: {law_words(verdict)}"]
    lines = [line for each in told for line in textwrap.wrap(each[0].upper() + each[1:], 84)]
    for k, line in enumerate(lines[-4:]):
        figure.text(0.408, 0.062 - 0.0165 * k, line, fontsize=10.5, color=FAINT, va="center")

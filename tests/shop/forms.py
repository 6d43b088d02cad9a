"""Answering a coupon's form: every observable found on the burnt board by its place and direction, then read with an instrument.

Knows coupon.json as data. Quantities are measured on the wood; only the rung and lag scales are worked out from the machine.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from shop import instruments, laws
from shop.joint import CRUSH_MM, LOOSE_MM
from shop.look import look, rows_at, stretches_of
from shop.sections import Burnt, Stretches, burn_rows
from shop.shop import Shop
from shop.strokes import Lie
from shop.wood import HiddenBoard

NOT_SURE = "not sure"
FREE_MM = 0.05  # a slit's free width on a face is judged this far in, past the browned arris
BROWN_SHARE = 0.2  # of the threshold: where a line's dark edge is seen
FLAME_LN, HEAVY_LN, LIGHT_LN = 1.0, 0.7, -0.1  # ln of energy over what just goes through; own choice
STACK_GRIT_MM = 0.003  # between two tongues


@dataclass
class Bench:
    """One burnt coupon on the table."""

    shop: Shop
    board: HiddenBoard
    lie: Lie
    stretches: Stretches

    def landed(self, place: Any) -> np.ndarray:
        """(2,) where a drawn place is on the board."""
        return self.shop.landed(self.lie, np.array([[float(place[0]), float(place[1]), self.lie.entry_z_mm]]))[0, :2]

    def cut(self, middles: np.ndarray, along: np.ndarray, window: tuple[float, float] = (-0.6, 0.6)) -> Burnt:
        return look(self.board, self.shop.machine, middles, along, window)

    def crossings(self, middle: np.ndarray, along: np.ndarray) -> np.ndarray:
        """Where stretches cross the line middle + t along: sorted t, doubles merged."""
        st = self.stretches
        direction = st.b_mm - st.a_mm
        cross = along[0] * direction[:, 1] - along[1] * direction[:, 0]
        to_a = st.a_mm - middle
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (to_a[:, 0] * direction[:, 1] - to_a[:, 1] * direction[:, 0]) / cross
            u = (to_a[:, 0] * along[1] - to_a[:, 1] * along[0]) / cross
        hit = (np.abs(cross) > 1e-9) & (u >= 0) & (u <= 1) & (st.energy > 0.5 * st.energy.max())
        t = np.sort(t[hit])
        return t[np.concatenate([[True], np.diff(t) > 0.3])] if len(t) else t

    def nearest(self, place: np.ndarray) -> np.ndarray:
        """Indices of the stretches (all passes) that run through a place."""
        st = self.stretches
        direction = st.b_mm - st.a_mm
        share = np.clip(((place - st.a_mm) * direction).sum(axis=1) / np.maximum((direction**2).sum(axis=1), 1e-12), 0, 1)
        away = np.hypot(*(st.a_mm + share[:, None] * direction - place).T)
        return np.flatnonzero(away < away.min() + 0.03)


def fill_form(shop: Shop, folder: Path) -> dict[str, str]:
    """An answer for every observable of a burnt coupon."""
    record = json.loads((folder / "coupon.json").read_text(encoding="utf-8"))
    part = next(part for (made, part) in shop.burnt if made == folder)
    board = shop.burnt[folder, part]
    bench = Bench(shop, board, shop.lies[folder, part][-1], stretches_of(board))
    return {each["id"]: READ[each["quantity"]](bench, each) for each in record["observables"]}


def _along(observable: dict[str, Any]) -> np.ndarray:
    angle = np.radians(float(observable["across_deg"]))
    return np.array([np.cos(angle), np.sin(angle)])


def _slot(bench: Bench, o: dict[str, Any]) -> str:
    cut = bench.cut(bench.landed(o["place_mm"])[None], _along(o))
    thickness = float(cut.rows.thickness[0])
    shares = {"show": [FREE_MM / thickness], "inner": [1 - FREE_MM / thickness], "waist": list(np.linspace(0, 1, 21))}[o["face"]]
    widths = [float(cut.edge(z, 1)[0] - cut.edge(z, -1)[0]) for z in shares]
    if not np.all(np.isfinite(widths)):
        return NOT_SURE
    return instruments.measure(o["instrument"], min(widths), bench.shop.rng)


def _between(bench: Bench, middle: np.ndarray, along: np.ndarray, low: float, high: float) -> float:
    """Widest wood between two slits crossing at t = low and high, over the thickness."""
    ends = middle + np.array([[low], [high]]) * along
    cut = bench.cut(ends, along)
    widths = [(high + cut.edge(z, -1)[1]) - (low + cut.edge(z, 1)[0]) for z in np.linspace(0, 1, 21)]
    return float(np.max(widths))


def _tongues(bench: Bench, o: dict[str, Any], n: int) -> list[float]:
    middle, along = bench.landed(o["place_mm"]), _along(o)
    t = bench.crossings(middle, along)
    first = max(int(np.searchsorted(t, 0.0)) - (n + 1) // 2, 0)
    if n % 2 == 0:
        first = int(np.argmin(np.abs(t))) - n // 2
    walls = t[first : first + n + 1]
    if len(walls) < n + 1:
        return [float("nan")]
    return [_between(bench, middle, along, float(a), float(b)) for a, b in zip(walls, walls[1:], strict=False)]


def _tongue(bench: Bench, o: dict[str, Any]) -> str:
    width = _tongues(bench, o, 1)[0]
    return instruments.caliper(width, bench.shop.rng) if np.isfinite(width) else NOT_SURE


def _stack(bench: Bench, o: dict[str, Any]) -> str:
    n = int(o["settings"]["n_tongues"])
    whole = sum(_tongues(bench, o, n)) + (n - 1) * abs(float(bench.shop.rng.normal(0, STACK_GRIT_MM)))
    return instruments.caliper(whole, bench.shop.rng) if np.isfinite(whole) else NOT_SURE


def _line(bench: Bench, o: dict[str, Any]) -> str:
    place = bench.landed(o["place_mm"])
    st, machine = bench.stretches, bench.shop.machine
    k = bench.nearest(place)[-1]
    rows = rows_at(bench.board, machine, place[None], _along(o), (-0.1, 0.1))
    focus = st.focus[k] + rows.rise[0, st.face[k]]
    w = machine.light.across_mm(np.array([-focus]), st.x_share[k : k + 1])
    half = laws.half_width_mm(w, laws.line_fluence(st.energy[k], w), BROWN_SHARE * machine.wood.threshold_j_mm2 * rows.need[0].mean())
    width = 2 * float(half[0])
    return instruments.measure(o["instrument"], width, bench.shop.rng) if width > 0.03 else NOT_SURE


def _rung(bench: Bench, o: dict[str, Any]) -> str:
    """The eye finds the focus at which lines of this travel are finest; the ladder's own numbers stand on the form."""
    light, settings = bench.shop.machine.light, o["settings"]
    best = light.focus_error_mm + (light.astigmatism_mm if o["id"].endswith("y") else 0.0)
    rung = 1 + (best - settings["first_focus_mm"]) / settings["step_mm"]
    return instruments.halves(rung, bench.shop.rng, 0.5, o["low"], o["high"])


def _depth(bench: Bench, o: dict[str, Any]) -> str:
    """A pin 0.6 mm across rests on the ridges of the field's floor."""
    cut = bench.cut(bench.landed(o["place_mm"])[None], np.array([0.0, 1.0]), (-1.0, 1.0))
    pin = np.abs(cut.rows.offsets) < 0.3
    if cut.through()[0, pin].mean() > 0.5:
        return "through"
    return instruments.depth_gauge(float(np.quantile(cut.depth[0, 0, pin], 0.15)), bench.shop.rng)


def _stations(bench: Bench, o: dict[str, Any]) -> tuple[Burnt, np.ndarray]:
    """(sections along the slit through a place, the stretches that made it)."""
    ours = bench.nearest(bench.landed(o["place_mm"]))
    a, b = bench.stretches.a_mm[ours[0]], bench.stretches.b_mm[ours[0]]
    unit = (b - a) / np.hypot(*(b - a))
    inset = min(0.4, 0.2 * float(np.hypot(*(b - a))))
    middles = np.linspace(a + inset * unit, b - inset * unit, 9)
    return bench.cut(middles, np.array([-unit[1], unit[0]])), ours


def _through(bench: Bench, o: dict[str, Any]) -> str:
    """Light along the whole slit; the eye errs where it is nearly so or only a hair of light shows."""
    cut, _ = _stations(bench, o)
    lit = cut.through()
    n_columns = lit.sum(axis=1)
    rng = bench.shop.rng
    if (n_columns > 0).all():
        return "no" if n_columns.min() < 4 and rng.uniform() < 0.3 else "yes"
    return "yes" if (n_columns > 0).mean() > 0.75 and rng.uniform() < 0.2 else "no"


def ln_excess(bench: Bench, o: dict[str, Any]) -> float:
    """ln of the energy used over the energy that just goes through at the slit's middle."""
    cut, ours = _stations(bench, o)
    rows = rows_at(bench.board, bench.shop.machine, cut.rows.middle[4:5], cut.rows.along[4:5], (-0.6, 0.6))
    low, high = np.log(0.05), np.log(20.0)
    for _ in range(8):
        factor = 0.5 * (low + high)
        st = bench.stretches
        one = Stretches(
            *(
                getattr(st, name)[ours]
                for name in ("a_mm", "b_mm", "energy", "focus", "x_share", "face", "shear", "cosine", "ramp_mm", "slow_dose")
            ),
            loop=np.full(len(ours), -1),
            loops=[],
        )
        one.energy = one.energy * np.exp(factor)
        through = bool(burn_rows(rows, one, bench.shop.machine.light, bench.shop.machine.wood).through().any())
        low, high = (low, factor) if through else (factor, high)
    return -0.5 * (low + high)


def _flame(bench: Bench, o: dict[str, Any]) -> str:
    """Flames come with far too much energy and with passes over char (HANDBOOK C2: flame on a second pass)."""
    n_passes = len(_stations(bench, o)[1])
    heat = ln_excess(bench, o) + 0.1 * (n_passes - 1) - FLAME_LN + float(bench.shop.rng.logistic(0, 0.12))
    return "none" if heat < -0.25 else "glow" if heat < 0 else "flash" if heat < 0.5 else "sustained"


def _char(bench: Bench, o: dict[str, Any]) -> str:
    heat = ln_excess(bench, o) + float(bench.shop.rng.logistic(0, 0.1))
    return "heavy" if heat > HEAVY_LN else "light" if heat > LIGHT_LN else "none"


def _distance(bench: Bench, o: dict[str, Any]) -> str:
    nominal = float(o["settings"]["nominal_mm"])
    rng = bench.shop.rng
    if nominal == 0:
        return instruments.scan(bench.shop.machine.faults.pointer_mm[0 if o["settings"]["axis"] == "x" else 1], rng)
    half = 0.5 * nominal * _along(o)
    middle = np.array(o["place_mm"])
    length = float(np.hypot(*(bench.landed(middle + half) - bench.landed(middle - half))))
    return instruments.measure(o["instrument"], length, rng)


def _vernier(bench: Bench, o: dict[str, Any]) -> str:
    """Two lines burnt against each other end apart by twice the lag's way."""
    settings = o["settings"]
    ticks = 2 * settings["speed_mm_s"] * bench.shop.machine.faults.lag_s / settings["step_mm"]
    return instruments.halves(ticks, bench.shop.rng, 0.35, o["low"], o["high"])


def _wall(bench: Bench, o: dict[str, Any]) -> str:
    """Seen on the end grain: a little in from the end, where sanding has got to."""
    x, y = o["place_mm"]
    reach = float(o["settings"]["depth_mm"]) * float(o["settings"]["slope_frac"])
    cut = bench.cut(bench.landed((max(float(x), 0.2), y))[None], _along(o), (-0.6 - reach, 1.2))
    offset = float(cut.edge(float(o["settings"]["depth_mm"]) / float(cut.rows.thickness[0]), 1)[0])
    return instruments.scan(offset, bench.shop.rng) if np.isfinite(offset) else NOT_SURE


def _fit(bench: Bench, o: dict[str, Any]) -> str:
    clearance = pair_clearance_mm(bench, o) / 2 + float(bench.shop.rng.normal(0, 0.004))  # a wall; hands differ a little
    if not np.isfinite(clearance) or clearance < -CRUSH_MM:
        return "not at all"
    return "by tap" if clearance < 0 else "by hand" if clearance < LOOSE_MM else "loose"


def pair_clearance_mm(bench: Bench, o: dict[str, Any]) -> float:
    """Tightest total clearance of a socket at the board's end with the key cut at the same height: key width over its own length
    and depth against the socket's width over its depth and length."""
    x, y = o["place_mm"]
    up = np.array([0.0, 1.0])
    thickness = bench.board.size_mm[2]
    loops = [
        loop
        for loop in bench.stretches.loops
        if abs(0.5 * (loop[:, 1].min() + loop[:, 1].max()) - bench.landed((x, y))[1]) < 1.0 and loop[:, 0].min() > x + thickness / 2
    ]
    if not loops:
        return float("nan")
    tip = float(loops[0][:, 0].min())
    depth = np.linspace(0.08, 0.92, 6)
    socket = [_gap(bench, bench.landed((share * 2 * float(x), y)), up, depth) for share in (0.15, 0.5, 0.85)]
    key = np.stack(
        [_wood(bench, np.array([tip + 0.07 + share * thickness, bench.landed((x, y))[1]]), up) for share in depth]
    )  # (z, own depth)
    return float(min((width[:, None] - key).min() for width in socket))


def _gap(bench: Bench, middle: np.ndarray, along: np.ndarray, depth: np.ndarray) -> np.ndarray:
    """Width of the socket about a middle at shares of the depth."""
    t = bench.crossings(middle, along)
    below, above = t[t < 0], t[t > 0]
    if not len(below) or not len(above):
        return np.full(len(depth), np.nan)
    lean = 0.7 + 0.25 * bench.board.size_mm[2]  # a wall may slope by up to 1:4
    cut_low = bench.cut((middle + float(below[-1]) * along)[None], -along, (-0.7, lean))
    cut_high = bench.cut((middle + float(above[0]) * along)[None], along, (-0.7, lean))
    return np.array([float(above[0] + cut_high.edge(z, 1)[0]) - float(below[-1] - cut_low.edge(z, 1)[0]) for z in depth])


def _wood(bench: Bench, middle: np.ndarray, along: np.ndarray) -> np.ndarray:
    """(7,) width of the wood about a middle at depths from face to face."""
    t = bench.crossings(middle, along)
    below, above = t[t < 0], t[t > 0]
    if not len(below) or not len(above):
        return np.full(7, np.nan)
    cut = bench.cut(middle + np.array([[below[-1]], [above[0]]]) * along, along)
    return np.array([(above[0] + cut.edge(z, -1)[1]) - (below[-1] + cut.edge(z, 1)[0]) for z in np.linspace(0, 1, 7)])


READ: dict[str, Callable[[Bench, dict[str, Any]], str]] = {
    "slot_width": _slot,
    "tongue_width": _tongue,
    "stack_width": _stack,
    "line_width": _line,
    "depth": _depth,
    "through": _through,
    "flame": _flame,
    "char": _char,
    "distance": _distance,
    "vernier": _vernier,
    "rung": _rung,
    "wall_offset": _wall,
    "fit": _fit,
}

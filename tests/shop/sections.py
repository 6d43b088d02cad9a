"""Sections through a burnt board: rows of thin columns that every stretch nearby deepens, in the order it was burnt.

State of a row: how deep each column is from the show face and from the inner face, and how far slit walls were eaten
sideways at each depth (columns alone cannot be wider below than above; walls between which light is handed on can).
Rows do not touch each other, so all rows of a job are worked at once, each through its own list of stretches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from shop import laws
from shop.laws import Light, WoodLaw

REACH_MM = 0.9  # stretches farther than this from a row's columns are not looked at
N_DEPTHS = 31
FLANKS_MM = 0.2  # confinement looks this far to both sides
WALL_MM = 0.4  # a side this much higher counts as a wall
STEP_DEPTH_MM = 0.5  # a pass is worked in portions of about this depth
MOST_STEPS = 14
UNEATEN_MM = 1e6  # a wall not eaten at all, as an offset


@dataclass
class Stretches:
    """All stretches burnt on one board, oldest first; one array entry each.

    a_mm, b_mm: (n, 2) ends on the entry face, board frame. energy: J/mm at the asked speed. focus: depth of the true focus
    below the entry face, without the surface's own rise. x_share: sin^2 of the travel from bed X. face: 0 show, 1 inner.
    shear: board dy for 1 mm from show to inner face along the beam. cosine: of the beam's tilt. ramp_mm: (n, 2) length the
    head needs to reach speed at each end (0: it passes through). slow_dose: dose where the head nearly stands, as a multiple.
    loop: index of a closed loop that this stretch completes, else -1.
    """

    a_mm: np.ndarray
    b_mm: np.ndarray
    energy: np.ndarray
    focus: np.ndarray
    x_share: np.ndarray
    face: np.ndarray
    shear: np.ndarray
    cosine: np.ndarray
    ramp_mm: np.ndarray
    slow_dose: np.ndarray
    loop: np.ndarray
    loops: list[np.ndarray]

    def __len__(self) -> int:
        return len(self.energy)


@dataclass
class Rows:
    """Sections to be burnt: middle (n, 2) on the show face, along (n, 2) unit direction of the columns, offsets (m,) along it.

    thickness: (n,) through the board along the beam. rise: (n, 2) how much higher the entry faces (show, inner) stand there
    than where the focus gauge was set. need: (n, m) multiplies the wood law's threshold and need. shear: (n,) only stretches
    with this shear count.
    """

    middle: np.ndarray
    along: np.ndarray
    offsets: np.ndarray
    thickness: np.ndarray
    rise: np.ndarray
    need: np.ndarray
    shear: np.ndarray

    @property
    def lean_mm(self) -> np.ndarray:
        """(n,) board dy from show to inner face along the beam; thickness runs along the beam."""
        return self.shear * self.thickness / np.hypot(1.0, self.shear)

    def points(self) -> np.ndarray:
        """(n, m, 2) columns at the show face."""
        return self.middle[:, None, :] + self.offsets[None, :, None] * self.along[:, None, :]


@dataclass
class Burnt:
    """depth: (n, 2, m) from show and inner face along the beam; low, high: (n, N_DEPTHS) walls eaten to these offsets."""

    rows: Rows
    depth: np.ndarray
    low: np.ndarray
    high: np.ndarray
    char_mm: float

    def gone_depth(self, z_frac: float) -> np.ndarray:
        """(n, m) how much deeper than z a column is gone; >= 0: no wood there. z: share of the thickness from the show face."""
        path = self.rows.thickness[:, None]
        return np.maximum(self.depth[:, 0] - z_frac * path, self.depth[:, 1] - (1 - z_frac) * path)

    def through(self) -> np.ndarray:
        """(n, m) columns that are open from face to face."""
        return self.depth.sum(axis=1) >= self.rows.thickness[:, None] - 1e-6

    def edge(self, z_frac: float, side: int) -> np.ndarray:
        """(n,) offset of the last open place toward ``side`` (+1, -1), char brushed off; nan where nothing is open."""
        gone = self.gone_depth(z_frac)
        offsets = self.rows.offsets
        if side < 0:
            gone, offsets = gone[:, ::-1], offsets[::-1]
        m = gone.shape[1]
        open_ = gone >= (0.004 if z_frac in (0.0, 1.0) else 0.0)  # a trace is seen on a face
        last = m - 1 - np.argmax(open_[:, ::-1], axis=1)
        rows = np.arange(len(gone))
        after = np.minimum(last + 1, m - 1)
        g0, g1 = gone[rows, last], gone[rows, after]
        share = np.where((g0 > 0) & (g1 < 0), g0 / np.maximum(g0 - g1, 1e-12), 0.0)
        found = offsets[last] + np.clip(share, 0, 1) * (offsets[after] - offsets[last])
        found = np.where(open_.any(axis=1), found, np.nan)
        place = z_frac * (N_DEPTHS - 1)
        i = min(int(place), N_DEPTHS - 2)
        eaten = self.high if side > 0 else self.low
        both = (1 - place + i) * eaten[:, i] + (place - i) * eaten[:, i + 1]
        both = np.where(np.abs(both) < 100, both, np.nan)
        furthest = np.fmax(found, both) if side > 0 else np.fmin(found, both)
        if z_frac in (0.0, 1.0):  # no trace and no slit wall on this face, but columns gone from the other: they are open here too
            furthest = np.where(np.isnan(furthest), self._through_edge(side), furthest)
        return furthest + side * self.char_mm

    def _through_edge(self, side: int) -> np.ndarray:
        """(n,) offset of the last column toward ``side`` that is open from face to face; nan where there is none."""
        through = self.through()
        last = np.max(np.where(through, side * self.rows.offsets, -np.inf), axis=1)
        return np.where(through.any(axis=1), side * last, np.nan)


def burn_rows(rows: Rows, stretches: Stretches, light: Light, wood: WoodLaw) -> Burnt:
    """Work every row through its stretches."""
    n, m = len(rows.middle), len(rows.offsets)
    burnt = Burnt(rows, np.zeros((n, 2, m)), np.full((n, N_DEPTHS), UNEATEN_MM), np.full((n, N_DEPTHS), -UNEATEN_MM), wood.char_mm)
    hits = _hits(rows, stretches)
    counts = np.array([len(each) for each in hits], dtype=int)
    order = np.argsort(-counts)  # rows with most stretches first: those still at work are always the first few
    points = rows.points()
    for k in range(int(counts.max(initial=0))):
        at_work = order[: int(np.sum(counts > k))]
        which = np.array([hits[r][k] for r in at_work])
        _one_stretch(burnt, points, at_work, which, stretches, light, wood)
    return burnt


def _hits(rows: Rows, stretches: Stretches) -> list[np.ndarray]:
    """Stretches near each row, oldest first."""
    if not len(stretches):
        return [np.zeros(0, dtype=int)] * len(rows.middle)
    reach = REACH_MM + np.abs(rows.offsets).max()
    direction = stretches.b_mm - stretches.a_mm
    length2 = np.maximum((direction**2).sum(axis=1), 1e-12)
    found = []
    for r, middle in enumerate(rows.middle):
        entry = middle + np.outer(stretches.face * rows.lean_mm[r], [0.0, 1.0])
        share = np.clip(((entry - stretches.a_mm) * direction).sum(axis=1) / length2, 0, 1)
        away = stretches.a_mm + share[:, None] * direction - entry
        near = (np.hypot(away[:, 0], away[:, 1]) < reach) & (np.abs(stretches.shear - rows.shear[r]) < 0.02)
        near |= (stretches.loop >= 0) & (np.abs(stretches.shear - rows.shear[r]) < 0.02)
        found.append(np.flatnonzero(near))
    return found


def _one_stretch(burnt: Burnt, points: np.ndarray, at: np.ndarray, which: np.ndarray, st: Stretches, light: Light, wood: WoodLaw) -> None:
    rows = burnt.rows
    face = st.face[which]
    entry = points[at].copy()
    entry[:, :, 1] += (face * rows.lean_mm[at])[:, None]
    direction = st.b_mm[which] - st.a_mm[which]
    length = np.maximum(np.hypot(direction[:, 0], direction[:, 1]), 1e-9)
    unit = direction / length[:, None]
    from_a = entry - st.a_mm[which][:, None, :]
    s = from_a[:, :, 0] * unit[:, None, 0] + from_a[:, :, 1] * unit[:, None, 1]
    tau = (from_a[:, :, 1] * unit[:, None, 0] - from_a[:, :, 0] * unit[:, None, 1]) * st.cosine[which][:, None]
    light_rows = np.minimum(np.abs(tau).min(axis=1), 9) < 0.8
    light_rows &= (s.max(axis=1) > -0.8) & (s.min(axis=1) < length + 0.8)
    if light_rows.any():
        keep = np.flatnonzero(light_rows)
        across = np.abs(unit[keep, 0] * rows.along[at[keep], 1] - unit[keep, 1] * rows.along[at[keep], 0])
        one = _Stretch(at[keep], which[keep], face[keep], s[keep], tau[keep], length[keep], across > 0.5)
        _deepen(burnt, one, st, light, wood)
    for loop in np.unique(st.loop[which]):
        if loop >= 0:
            _drop(burnt, at[st.loop[which] == loop], points, st.loops[loop])


@dataclass
class _Stretch:
    at: np.ndarray
    which: np.ndarray
    face: np.ndarray
    s: np.ndarray
    tau: np.ndarray
    length: np.ndarray
    square: np.ndarray  # the row crosses the stretch rather than running along it


def _deepen(burnt: Burnt, one: _Stretch, st: Stretches, light: Light, wood: WoodLaw) -> None:
    rows, at = burnt.rows, one.at
    n_rows = np.arange(len(at))
    square = one.square
    centre = np.where(square, np.abs(one.tau).argmin(axis=1), np.abs(rows.offsets).argmin())
    path = rows.thickness[at]
    depth = burnt.depth[at, one.face]
    limit = path[:, None] - burnt.depth[at, 1 - one.face]
    focus = st.focus[one.which] + rows.rise[at, one.face]
    energy = st.energy[one.which] * _dose(one, st, centre)
    x_share = st.x_share[one.which][:, None]
    need = rows.need[at]
    threshold = wood.threshold_j_mm2 * need
    volume = wood.need_j_mm3 * need
    efficiency = np.where(depth > 0.05, wood.over_char, 1.0)
    w_face = light.across_mm(-focus[:, None], x_share)
    peak = laws.line_fluence(energy, w_face[:, 0])
    guess = laws.deeper_mm(np.zeros(1), peak.max(keepdims=True), wood.need_j_mm3, wood.loss_mm)[0]
    n_steps = int(np.clip(np.ceil(guess / STEP_DEPTH_MM), 1, MOST_STEPS))
    flank = max(1, round(FLANKS_MM / (rows.offsets[1] - rows.offsets[0])))
    share = laws.ended(one.s, one.length[:, None], w_face)
    budget = _bell(one.tau, w_face) * share
    budget_sum = budget.sum(axis=1)
    for _ in range(n_steps):
        held = np.where(square, _confinement(depth, centre, flank), 0.0)
        w = light.across_mm(_away(depth, focus[:, None], wood.guide * held[:, None]), x_share)
        arriving = _bell(one.tau, w) * share
        if square.any():  # a row that runs along the stretch says nothing about the light beside it
            arriving[square] = _within_budget(arriving[square], budget_sum[square], depth[square], held[square], wood.guide)
        fluence = _blurred(arriving, wood.blur_mm / (rows.offsets[1] - rows.offsets[0])) * (energy / n_steps)[:, None]
        over = np.maximum(fluence * efficiency - threshold / n_steps, 0.0)
        depth = np.minimum(laws.deeper_mm(depth, over, volume, wood.loss_mm), limit)
    burnt.depth[at, one.face] = depth
    _eat_walls(burnt, one, energy * share[n_rows, centre], focus, held, depth[n_rows, centre], centre, st, light, wood)


def _dose(one: _Stretch, st: Stretches, centre: np.ndarray) -> np.ndarray:
    """More dose where the head is still speeding up or already slowing down."""
    s = one.s[np.arange(len(centre)), centre]
    slow = np.zeros(len(s))
    for k, distance in enumerate((s, one.length - s)):
        ramp = st.ramp_mm[one.which, k]
        slow = np.maximum(slow, np.where(ramp > 0, 1 - np.sqrt(np.clip(distance + 0.02, 0.0, ramp) / np.maximum(ramp, 1e-9)), 0.0))
    return 1 + slow * (st.slow_dose[one.which] - 1)


def _away(depth: np.ndarray, focus: np.ndarray, held: np.ndarray) -> np.ndarray:
    """Distance below the focus as the beam's spread feels it: walls hold the spread back under the face and the focus."""
    start = np.maximum(focus, 0.0)
    return np.where(depth < start, depth - focus, (start - focus) + (depth - start) * (1 - held))


def _bell(tau: np.ndarray, w: np.ndarray) -> np.ndarray:
    """A line's fluence for 1 J/mm, per column."""
    return laws.SQRT_2_OVER_PI / w * np.exp(-2 * (tau / w) ** 2)


def _confinement(depth: np.ndarray, centre: np.ndarray, flank: int) -> np.ndarray:
    rows, m = np.arange(len(depth)), depth.shape[1]
    here = depth[rows, centre]
    left, right = depth[rows, np.maximum(centre - flank, 0)], depth[rows, np.minimum(centre + flank, m - 1)]
    return np.clip((here - left) / WALL_MM, 0, 1) * np.clip((here - right) / WALL_MM, 0, 1)


def _within_budget(arriving: np.ndarray, budget: np.ndarray, depth: np.ndarray, held: np.ndarray, guide: float) -> np.ndarray:
    """No light twice: what cannot get down is taken off the deep columns; what walls catch in a slit is partly handed to its floor."""
    total = arriving.sum(axis=1)
    down = depth / np.maximum(depth.max(axis=1, keepdims=True), 1e-9)
    deep = arriving * down
    too_much = np.clip((total - budget) / np.maximum(deep.sum(axis=1), 1e-12), 0, 1)
    handed = guide * held * np.maximum(budget - total, 0.0)
    floor = arriving * down**6
    return arriving - too_much[:, None] * deep + handed[:, None] * floor / np.maximum(floor.sum(axis=1, keepdims=True), 1e-12)


def _blurred(values: np.ndarray, sigma: float) -> np.ndarray:
    """Heat creeping along a row, sigma in columns."""
    return gaussian_filter1d(values, sigma, axis=1, mode="nearest", truncate=2.5)


def _eat_walls(
    burnt: Burnt,
    one: _Stretch,
    energy: np.ndarray,
    focus: np.ndarray,
    held: np.ndarray,
    reached: np.ndarray,
    centre: np.ndarray,
    st: Stretches,
    light: Light,
    wood: WoodLaw,
) -> None:
    """In a slit the handed-on light also eats both walls, as far as it still exceeds the threshold there."""
    keep = (held > 0.5) & (np.abs(one.tau[np.arange(len(centre)), centre]) < 0.02)
    if not keep.any():
        return
    rows, at = burnt.rows, one.at[keep]
    path = rows.thickness[at][:, None]
    z = np.linspace(0, 1, N_DEPTHS)[None, :] * path  # from the entry face
    w = light.across_mm(_away(z, focus[keep][:, None], np.array(wood.guide)), st.x_share[one.which[keep]][:, None])
    peak = laws.line_fluence(energy[keep][:, None], w) * np.exp(-z / wood.loss_mm) * wood.grazing
    need = rows.need[at, centre[keep]][:, None]
    half = laws.half_width_mm(w, peak, wood.threshold_j_mm2 * need)
    # A slanting stretch is wider as the row cuts it.
    unit = st.b_mm[one.which[keep]] - st.a_mm[one.which[keep]]
    unit = unit / np.maximum(np.hypot(unit[:, 0], unit[:, 1]), 1e-9)[:, None]
    squareness = np.abs(unit[:, 0] * rows.along[at, 1] - unit[:, 1] * rows.along[at, 0])
    half = half / np.maximum(squareness, 0.3)[:, None]
    lit = z <= reached[keep][:, None] + 1e-9
    middle = rows.offsets[centre[keep]][:, None]
    flip = one.face[keep] == 1
    low, high = np.where(lit, middle - half, UNEATEN_MM), np.where(lit, middle + half, -UNEATEN_MM)
    low[flip], high[flip] = low[flip, ::-1], high[flip, ::-1]
    burnt.low[at] = np.minimum(burnt.low[at], low)
    burnt.high[at] = np.maximum(burnt.high[at], high)


def _drop(burnt: Burnt, at: np.ndarray, points: np.ndarray, loop: np.ndarray) -> None:
    """A loop that has gone through lets its core fall out."""
    import shapely

    polygon = shapely.Polygon(loop)
    inside = shapely.contains_xy(polygon, points[at, :, 0], points[at, :, 1])
    free = burnt.depth[at].sum(axis=1) >= burnt.rows.thickness[at][:, None] - 1e-6
    falls = free.any(axis=1) | inside.all(axis=1)
    gone = inside & falls[:, None]
    depth = burnt.depth[at]
    path = burnt.rows.thickness[at][:, None]
    depth[:, 0] = np.where(gone, path - depth[:, 1], depth[:, 0])
    burnt.depth[at] = depth

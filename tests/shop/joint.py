"""A real corner taken to pieces: where both boards' walls ended up, the gaps a person sees, and how it goes together.

Each flank is mapped at stations along it and depths through the board. A tail's wall depends on its own depth y and,
along its length, on the pin board's depth z; the pin's wall likewise; so the gap is known over the whole (y, z) flank.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from shop.look import look
from shop.shop import Shop
from shop.strokes import Lie
from shop.wood import HiddenBoard

STATIONS = np.array([0.03, 0.12, 0.3, 0.5, 0.7, 0.88, 0.97])
DEPTHS = np.linspace(0.0, 1.0, 21)
CRUSH_MM = 0.1  # a wall this much too big splits rather than crushes (HANDBOOK D, own judgement)
LOOSE_MM = 0.12
WOOD_SIDE_MM, VOID_SIDE_MM = 0.45, 0.55


@dataclass(frozen=True)
class WallMap:
    """One wall. at: (stations, depths) its place (board y of a flank, x of a floor) in the part's frame; nominal likewise; into: +1 or -1
    where its wood is; x_mm: (stations,) along the part; open_: (stations,) cut through beside it."""

    name: str
    at: np.ndarray
    nominal: np.ndarray
    into: int
    x_mm: np.ndarray
    open_: np.ndarray

    def stand_back_mm(self) -> np.ndarray:
        """(stations, depths) how far the wall stands back from its drawn place, + into the wood."""
        return self.into * (self.at - self.nominal)


@dataclass(frozen=True)
class Flank:
    """gap: (y, z) over the tail board's depth and the pin board's depth, perpendicular mm, before the joint finds its place."""

    tail: WallMap
    pin: WallMap
    gap: np.ndarray

    @property
    def seen_tail_face(self) -> np.ndarray:
        return self.gap[0]

    @property
    def seen_pin_face(self) -> np.ndarray:
        return self.gap[:, 0]


@dataclass(frozen=True)
class Corner:
    """flanks in order, gaps already settled (the tail board moved up or down to share them); floors_mm: wood standing out of
    each floor beyond that end's own floors, + holds the joint open; proud_mm: how far each part's ends stand past the other board;
    verdict: loose, by hand, by tap, not at all."""

    name: str
    flanks: tuple[Flank, ...]
    shifted_mm: float
    floors_mm: dict[str, float]
    proud_mm: dict[str, float]
    through_share: float
    verdict: str

    @property
    def tightest_mm(self) -> float:
        """A twentieth of the flank's area is tighter than this."""
        return min(float(np.quantile(flank.gap, 0.05)) for flank in self.flanks)

    @property
    def seen_mm(self) -> tuple[float, float]:
        """Mean gap along the line on the tail board's and on the pin board's show face."""
        return (
            float(np.mean([flank.seen_tail_face.mean() for flank in self.flanks])),
            float(np.mean([flank.seen_pin_face.mean() for flank in self.flanks])),
        )


def measure_corner(shop: Shop, folder: Path, corner: str) -> Corner:
    """Both boards of a corner as burnt, put together."""
    record = json.loads((folder / "job.json").read_text(encoding="utf-8"))
    pairs = [mate for mate in record["mates"] if mate["corner"] == corner and "flank" in mate["edge_a"] and "flank" in mate["edge_b"]]
    assert pairs, f"{corner} has no flanks"
    a, b = pairs[0]["part_a"], pairs[0]["part_b"]
    tail, pin = (a, b) if _lean(record, a, pairs[0]["edge_a"]) <= _lean(record, b, pairs[0]["edge_b"]) else (b, a)
    names = {part: [mate["edge_a"] if mate["part_a"] == part else mate["edge_b"] for mate in pairs] for part in (tail, pin)}
    maps = {part: wall_maps(shop, folder, record, part, names[part]) for part in (tail, pin)}
    flanks = [_flank(record, tail, pin, t, p) for t, p in zip(maps[tail], maps[pin], strict=True)]
    plus = min((float(np.quantile(f.gap, 0.05)) for f in flanks if f.tail.into > 0), default=np.inf)
    minus = min((float(np.quantile(f.gap, 0.05)) for f in flanks if f.tail.into < 0), default=np.inf)
    shift = (minus - plus) / 2
    settled = tuple(Flank(f.tail, f.pin, f.gap + f.tail.into * shift) for f in flanks)
    floors: dict[str, float] = {}
    proud: dict[str, float] = {}
    for part, other in ((tail, pin), (pin, tail)):
        end = names[part][0].split(".")[0]
        named = [edge["name"] for edge in _outline(record, part)["edges"]]
        walls = floor_maps(shop, folder, record, part, [name for name in named if name.startswith(f"{end}.floor")])
        tips = floor_maps(shop, folder, record, part, [name for name in named if name.startswith(f"{end}.tip")])
        # A machine's scale moves a whole end: the joint only feels what stands out of the end's own floor.
        seat = float(np.median([wall.stand_back_mm()[len(wall.x_mm) // 2, 8] for wall in walls]))
        floors |= {f"{part}/{wall.name}": seat - float(np.nanmin(wall.stand_back_mm())) for wall in walls}
        ends = float(np.median([wall.stand_back_mm()[len(wall.x_mm) // 2, 8] for wall in tips]))
        reach = abs(float(np.nanmedian(walls[0].nominal)) - float(np.nanmedian(tips[0].nominal)))
        proud[part] = reach + seat - ends - shop.burnt[folder, other].size_mm[2]
    opened = float(np.mean(np.concatenate([wall.open_ for part in maps.values() for wall in part])))
    tightest = min(float(np.quantile(f.gap, 0.05)) for f in settled)
    return Corner(corner, settled, shift, floors, proud, opened, _verdict(tightest, opened))


def _standing(edges: np.ndarray, void_mm: float) -> np.ndarray:
    """(rows, depths) offsets of walls: where nothing is open in the window, wood stands all across it, at least ``void_mm`` out."""
    return np.where(np.isnan(edges), -void_mm, edges)


def _verdict(tightest_mm: float, opened: float) -> str:
    assert np.isfinite(tightest_mm), "a corner that cannot be measured has no verdict"
    if opened < 0.98 or tightest_mm < -CRUSH_MM:
        return "not at all"
    if tightest_mm < 0:
        return "by tap"
    return "by hand" if tightest_mm < LOOSE_MM else "loose"


def _outline(record: dict[str, Any], part: str) -> dict[str, Any]:
    return next(each for each in record["parts"] if each["name"] == part)["outline_on_board"]


def _edge(outline: dict[str, Any], name: str) -> tuple[np.ndarray, np.ndarray, int]:
    """((2, 2) ends on the show face, (2, 2) on the inner face, index)."""
    i = [edge["name"] for edge in outline["edges"]].index(name)
    rings = [np.array(ring) for ring in outline["rings_mm"]]
    n = len(rings[0])
    return rings[0][[i, (i + 1) % n]], rings[-1][[i, (i + 1) % n]], i


def _lean(record: dict[str, Any], part: str, name: str) -> float:
    show, inner, _ = _edge(_outline(record, part), name)
    return float(np.abs(show - inner).max())


def _lie_for(shop: Shop, folder: Path, part: str, lean: float) -> tuple[Lie, float]:
    """The last lie whose beam runs along a wall leaning so (dy over the thickness), and that beam's shear."""
    lies = shop.lies[folder, part]
    shears = [_shear(lie) for lie in lies]
    tilted = any(abs(shear) > 0.01 for shear in shears)
    best = min(range(len(lies)), key=lambda k: (round(abs(shears[k] - (lean if tilted else 0.0)), 2), -k))
    return lies[best], shears[best]


def _shear(lie: Lie) -> float:
    return -float(lie.bed_from_board[2, 1] / lie.bed_from_board[2, 2])


def _unplaced(lie: Lie, points: np.ndarray) -> np.ndarray:
    """(n, 2) board points as they would lie had the board been laid exactly (the machine's own faults stay)."""
    back = np.linalg.inv(lie.misplaced())
    full = np.column_stack([points, np.full(len(points), lie.entry_z_mm)])
    return (full @ back[:3, :3].T + back[:3, 3])[:, :2]


def wall_maps(shop: Shop, folder: Path, record: dict[str, Any], part: str, names: list[str]) -> list[WallMap]:
    """Flanks of one part as burnt."""
    outline = _outline(record, part)
    plain = next(each for each in record["parts"] if each["name"] == part)["outline"]
    board = shop.burnt[folder, part]
    thickness = float(outline["depths_mm"][-1])
    moved = np.array(outline["rings_mm"][0][0]) - np.array(plain["rings_mm"][0][0])
    specs = []
    for name in names:
        show, inner, _ = _edge(outline, name)
        lean = float((inner - show)[:, 1].mean() / thickness)
        along = show[1] - show[0]
        into = 1 if along[0] > 0 else -1  # wood on the left of the edge
        lie, shear = _lie_for(shop, folder, part, lean)
        share = STATIONS if _starts_at_tip(outline, name) else STATIONS[::-1]
        stations = show[0] + share[:, None] * along
        specs.append((name, lie, shear, lean, into, stations))
    done: dict[str, WallMap] = {}
    reference = specs[0][1]
    for key in {(round(s[2], 4), s[4], round(abs(s[3]), 4)) for s in specs}:
        group = [s for s in specs if (round(s[2], 4), s[4], round(abs(s[3]), 4)) == key]
        middles = np.vstack(
            [shop.landed(lie, _on_entry(stations, lie, shear, thickness))[:, :2] for _, lie, shear, _, _, stations in group]
        )
        # Entry points, brought back to the show face along the beam.
        back = np.concatenate([np.full(len(stations), lie.entry_z_mm * shear) for _, lie, shear, _, _, stations in group])
        middles = middles + np.column_stack([np.zeros(len(back)), back])
        shear, into, lean = key
        void = VOID_SIDE_MM + (lean * thickness if abs(shear) < 0.01 else 0.0)
        cut = look(board, shop.machine, middles, np.array([0.0, float(into)]), (-void, WOOD_SIDE_MM), shear)
        edges = _standing(np.column_stack([cut.edge(z, 1) for z in DEPTHS]), void)  # (rows, depths) toward the wood, at the show face
        opened: np.ndarray = np.asarray(cut.through().any(axis=1))
        for k, (name, _, real_shear, slope, _, stations) in enumerate(group):
            mine = slice(k * len(STATIONS), (k + 1) * len(STATIONS))
            local = np.asarray(board.thickness_mm(*middles[mine].T))
            y = middles[mine, 1][:, None] + into * edges[mine] + real_shear * local[:, None] * DEPTHS
            x = np.broadcast_to(middles[mine, 0][:, None], y.shape)
            flat = _unplaced(reference, np.column_stack([x.ravel(), y.ravel()]))
            at = flat[:, 1].reshape(y.shape) - moved[1]
            nominal = stations[:, 1][:, None] + slope * thickness * DEPTHS - moved[1]
            done[name] = WallMap(name, at, nominal, into, stations[:, 0] - moved[0], opened[mine])
    return [done[name] for name in names]


def _starts_at_tip(outline: dict[str, Any], name: str) -> bool:
    _, _, i = _edge(outline, name)
    return outline["edges"][i - 1]["place"] in ("tip", "long")


def _on_entry(stations: np.ndarray, lie: Lie, shear: float, thickness: float) -> np.ndarray:
    """Where the beam through show-face points (n, 2) enters, as drawn. (n, 3)"""
    z = 0.0 if lie.setup["entry_face"] == "show face" else -thickness
    return np.column_stack([stations[:, 0], stations[:, 1] - shear * z, np.full(len(stations), z)])


def floor_maps(shop: Shop, folder: Path, record: dict[str, Any], part: str, names: list[str]) -> list[WallMap]:
    """Floors of one part's sockets: stations across the socket, its corners and wedges among them."""
    outline = _outline(record, part)
    plain = next(each for each in record["parts"] if each["name"] == part)["outline"]
    board = shop.burnt[folder, part]
    thickness = float(outline["depths_mm"][-1])
    moved = np.array(outline["rings_mm"][0][0]) - np.array(plain["rings_mm"][0][0])
    specs = []
    for name in names:
        show, inner, _ = _edge(outline, name)
        low, high = np.sort(show[:, 1])
        low_in, high_in = np.sort(inner[:, 1])
        if low_in < low or high_in > high:  # a pin's end is narrowest on the show face
            low_in, high_in = max(low, low_in), min(high, high_in)
        into = -1 if show[1, 1] > show[0, 1] else 1  # wood on the left: a floor running up has it at -x
        wedge = np.array([0.35, 0.7, 0.95]) if low_in - low > 0.05 and high_in - high < -0.05 else np.zeros(0)
        y = np.concatenate([low + wedge * (low_in - low), np.linspace(low_in + 0.08, high_in - 0.08, 5), high - wedge * (high - high_in)])
        open_to = np.concatenate([wedge, np.ones(5), wedge])
        leans = [(inner - show)[k, 1] / thickness for k in (0, 1)]
        # All ends are cut in the last lie, whichever way it tilts.
        last = shop.lies[folder, part][-1]
        lies = (
            [(last, _shear(last)) for _ in y]
            if ".tip" in name
            else [_lie_for(shop, folder, part, float(leans[int(np.argmin(np.abs(show[:, 1] - place)))])) for place in y]
        )
        real = np.vstack(
            [
                shop.landed(lie, _on_entry(np.array([[show[0, 0], place]]), lie, shear, thickness))[:, :2] + [[0.0, lie.entry_z_mm * shear]]
                for place, (lie, shear) in zip(y, lies, strict=True)
            ]
        )
        specs.append((name, into, y, open_to, lies, real))
    found = []
    edges_of = _floor_edges(shop, board, specs)
    for (name, into, y, open_to, lies, real), edges in zip(specs, edges_of, strict=True):
        x = real[:, :1] + into * np.where(DEPTHS[None, :] <= 0.85 * open_to[:, None], edges, np.nan)
        at = (
            np.vstack([_unplaced(lie, np.column_stack([x[k], np.full(len(DEPTHS), y[k])]))[:, 0] for k, (lie, _) in enumerate(lies)])
            - moved[0]
        )
        show, _, _ = _edge(outline, name)
        nominal = np.full_like(at, show[0, 0] - moved[0])
        found.append(WallMap(name, at, nominal, into, y - moved[1], np.ones(len(y), dtype=bool)))
    return found


def _floor_edges(shop: Shop, board: HiddenBoard, specs: list[Any]) -> list[np.ndarray]:
    """(stations, depths) offsets toward the wood for each floor, all stations of one direction and shear burnt at once."""
    middles = np.vstack([real for *_, real in specs])
    into = np.concatenate([np.full(len(real), float(way)) for _, way, *_, real in specs])
    shears = np.concatenate([[shear for _, shear in lies] for *_, lies, _ in specs])
    edges = np.zeros((len(middles), len(DEPTHS)))
    for way, shear in {(w, round(s, 4)) for w, s in zip(into, shears, strict=True)}:
        mine = (into == way) & (np.abs(shears - shear) < 1e-3)
        cut = look(board, shop.machine, middles[mine], np.array([way, 0.0]), (-VOID_SIDE_MM, WOOD_SIDE_MM), float(shears[mine][0]))
        edges[mine] = _standing(np.column_stack([cut.edge(z, 1) for z in DEPTHS]), VOID_SIDE_MM)
    return np.split(edges, np.cumsum([len(real) for *_, real in specs])[:-1])


def _flank(record: dict[str, Any], tail: str, pin: str, tail_map: WallMap, pin_map: WallMap) -> Flank:
    """The gap over the flank. Rows: the tail board's depth y (0 its show face); columns: the pin board's depth z."""
    pose = {each["name"]: np.array(each["assembly_from_part"]) for each in record["parts"]}
    thick = {part: float(_outline(record, part)["depths_mm"][-1]) for part in (tail, pin)}
    there = np.linalg.inv(pose[tail]) @ pose[pin]
    y_of_station = -(there @ np.stack([pin_map.x_mm, *np.zeros((2, len(STATIONS))), np.ones(len(STATIONS))]))[2] / thick[tail]
    back = np.linalg.inv(pose[pin]) @ pose[tail]
    z_of_station = -(back @ np.stack([tail_map.x_mm, *np.zeros((2, len(STATIONS))), np.ones(len(STATIONS))]))[2] / thick[pin]
    grid = np.linspace(0.02, 0.98, 25)
    grid[0], grid[-1] = 0.0, 1.0
    tail_at = _regrid(z_of_station, DEPTHS, tail_map.at, grid, grid).T  # (y, z)
    pin_at = _regrid(y_of_station, DEPTHS, pin_map.at, grid, grid)  # (y, z)
    gap = tail_map.into * (tail_at - pin_at)
    # The tail comes in past the pin's outer end: what stands out there has rubbed all that follows.
    slope = np.abs(np.diff(pin_map.nominal[0])).sum() / thick[pin]
    return Flank(tail_map, pin_map, gap / np.hypot(1.0, slope))


def _regrid(u: np.ndarray, v: np.ndarray, values: np.ndarray, at_u: np.ndarray, at_v: np.ndarray) -> np.ndarray:
    """Bilinear: values over (u, v) at a grid, held at the ends."""
    order = np.argsort(u)
    along = np.stack([np.interp(at_u, u[order], values[order, j]) for j in range(values.shape[1])], axis=1)
    return np.stack([np.interp(at_v, v, row) for row in along])

"""What the numbers mean in plain words: how a gap looks, how a joint is made, which way a part travels."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.estimate import Estimate
from kerfwright.core.units import format_mm, format_slope
from kerfwright.geometry.assembly import Assembly, Mate, Part
from kerfwright.geometry.slab import Recess
from kerfwright.process.fit import fit_word

Array = NDArray[np.float64]

READING_DISTANCE_MM = 300.0
# Two edges one minute of arc apart are just told apart by a good eye (common textbook figure; arithmetic our own).
EYE_SEES_MM = READING_DISTANCE_MM * math.tan(math.radians(1 / 60))  # 0.087 mm
SHUT_BELOW = 0.5  # of what the eye sees (ours: a dark line is noticed before its two edges are told apart)
VISIBLE_ABOVE = 1.5


def gap_word(gap_mm: float) -> str:
    """``shut``, ``hairline`` or ``visible``, by what an eye sees at reading distance; squeezed counts as shut."""
    if gap_mm < SHUT_BELOW * EYE_SEES_MM:
        return "shut"
    return "hairline" if gap_mm <= VISIBLE_ABOVE * EYE_SEES_MM else "visible"


def look_words(gap_mm: Estimate) -> str:
    """``"shut"``, or ``"shut to hairline"`` when one spread more looks different."""
    likely, wider = gap_word(gap_mm.value), gap_word(gap_mm.value + gap_mm.sd)
    return likely if likely == wider else f"{likely} to {wider}"


def estimate_words(estimate: Estimate, digits: int = 3) -> str:
    """``"0.033 ± 0.022"``, without its unit."""
    return f"{estimate.value:.{digits}f} ± {estimate.sd:.{digits}f}".replace("-", "−")


def fit_words(wanted_mm: float) -> str:
    """The fit asked for, from the clearance a flank: ``"snug, 0.025 mm across a pin"``."""
    across_mm = 2 * wanted_mm
    amount = f"{format_mm(abs(across_mm), 3)} {'across' if across_mm >= 0 else 'squeeze across'} a pin"
    return f"{fit_word(across_mm)}, {amount}"


def joint_words(assembly: Assembly, corner: str) -> str:
    """What a corner is, read from its flanks: ``"dovetails, 1:8 (7.1 deg)"`` or ``"square fingers"``."""
    mates = [mate for mate in assembly.mates if mate.corner == corner]
    if not mates:
        return "square tails in hidden sockets"
    slope_frac = max(max(flank_slopes(assembly.part(name), edge)) for mate in mates
                     for name, edge in ((mate.part_a, mate.edge_a), (mate.part_b, mate.edge_b)))
    if slope_frac < 1e-6:
        return "square fingers"
    return "dovetails, " + format_slope(slope_frac).replace(" deg", "°")


def corner_boards(mates: tuple[Mate, ...], corner: str) -> tuple[str, ...]:
    """Names of the parts that meet at a corner."""
    return tuple(dict.fromkeys(name for mate in mates if mate.corner == corner for name in (mate.part_a, mate.part_b)))


def flank_slopes(part: Part, edge: str) -> tuple[float, float]:
    """Tangents of a flank: across the face from square to the end, and through the thickness."""
    slab = part.slab
    i = next(k for k, each in enumerate(slab.edges) if each.name == edge)
    after = (i + 1) % len(slab.edges)
    along = slab.show_ring.points_mm[after] - slab.show_ring.points_mm[i]
    lean = slab.inner_ring.points_mm[i] - slab.show_ring.points_mm[i]
    return abs(float(along[1]) / float(along[0])) if abs(along[0]) > 1e-9 else 0.0, abs(float(lean[1])) / slab.thickness_mm


def way_words(direction: Array) -> str:
    """A direction in the piece, as a person says it. direction: (3,)."""
    axis = int(np.argmax(np.abs(direction)))
    names = (("to the left", "to the right"), ("toward the front", "toward the back"), ("down", "up"))
    return names[axis][int(direction[axis] > 0)]


def listed(names: tuple[str, ...] | list[str]) -> str:
    """``"a, b and c"``."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def outside_mm(assembly: Assembly) -> tuple[Array, float]:
    """Size of the whole piece (3,) when its ends are planed flush with the show faces, and how far they stand proud till then.

    Flush: along each axis the distance between the outermost show faces of the jointed walls that look that way, where there
    are two; what else stands out, such as a lid, counts as it is.
    """
    jointed = {name for mate in assembly.mates for name in (mate.part_a, mate.part_b)}
    walls = [part for part in assembly.parts if part.name in jointed]
    low, high = _extent(walls or assembly.parts)
    proud_mm = 0.0
    out = [(part.assembly_from_part.turned(np.array([0.0, 0.0, 1.0])), part.assembly_from_part.matrix[:3, 3]) for part in walls]
    for axis in range(3):
        above = [float(at[axis]) for way, at in out if way[axis] > 1 - 1e-9]
        below = [float(at[axis]) for way, at in out if way[axis] < -1 + 1e-9]
        if above and below:
            proud_mm = max(proud_mm, float(high[axis]) - max(above), min(below) - float(low[axis]))
            low[axis], high[axis] = min(below), max(above)
    others = [part for part in assembly.parts if walls and part.name not in jointed]
    if others:
        other_low, other_high = _extent(others)
        low, high = np.minimum(low, other_low), np.maximum(high, other_high)
    return high - low, proud_mm


def _extent(parts: Sequence[Part]) -> tuple[Array, Array]:
    """Lowest and highest corner of all parts together. Both (3,)."""
    points = np.concatenate([_corners(part) for part in parts])
    return points.min(axis=0), points.max(axis=0)


def _corners(part: Part) -> Array:
    slab = part.slab
    rings = [np.column_stack([ring.points_mm, np.full(len(ring.points_mm), -depth)])
             for ring, depth in zip(slab.rings, slab.depths_mm, strict=True)]
    return part.assembly_from_part.apply(np.concatenate(rings))


def recess_words(part: Part, recess: Recess) -> tuple[str, str]:
    """What a hollow is for, and its face, depth and place: ``("groove for the bottom", "inner face, 2 mm deep, ...")``."""
    x0, y0, x1, y1 = part.slab.bounds_mm()
    left, low, right, high = recess.ring.bounds_mm()
    along = "from end to end" if right - left > x1 - x0 else f"{max(left - x0, 0):.1f} to {min(right, x1) - x0:.1f} from the left end"
    up = f"{max(low - y0, 0):.1f} to {min(high, y1) - y0:.1f} over the bottom edge"
    through = recess.depth_mm >= part.slab.thickness_mm
    deep = "right through" if through else f"{recess.face.value}, {format_mm(recess.depth_mm)} deep"
    return recess.name, f"{deep}, {along}, {up}"


def size_words(size_mm: Array) -> str:
    """``"180 × 90 × 60"``."""
    return " × ".join(format_mm(float(each), 1).removesuffix(" mm") for each in size_mm)


def length_words(length_mm: float) -> str:
    """``"3.4 m"`` past a metre, else mm."""
    return f"{length_mm / 1000:.1f} m" if length_mm >= 1000 else format_mm(length_mm, 0)


def stops_words(n_stops: int) -> str:
    """``"no stops"``, ``"1 stop where you act"``."""
    return f"{counted(n_stops, 'stop')} where you act" if n_stops else "no stops"


def counted(number: int, what: str) -> str:
    """``"1 reading"``, ``"4 readings"``; regular plurals only."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def degrees(angle_deg: float) -> str:
    """``"7.13°"``."""
    return format_mm(angle_deg).removesuffix(" mm").replace("-", "−") + "°"


def sentence(text: str) -> str:
    """A remark as a sentence: capital first, full stop last."""
    text = text.strip()
    ended = text if text.endswith((".", "!", "?", ":")) else text + "."
    return ended[:1].upper() + ended[1:]

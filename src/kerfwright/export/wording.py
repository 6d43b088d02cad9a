"""How an operation's settings are said in words, the same in every file of a job folder."""

from __future__ import annotations

from kerfwright.core.units import format_mm
from kerfwright.process.operation import CutOperation


def power_range_percent(op: CutOperation) -> tuple[float, float]:
    """(lowest, highest) commanded power of the operation's paths, in percent of full; (0, 0) without paths."""
    powers = [100 * path.power_frac for path in op.paths] or [0.0]
    return min(powers), max(powers)


def power_words(op: CutOperation) -> str:
    """``"85 %"``, or ``"12.5 to 85 %, line by line"`` when the paths differ."""
    low, high = power_range_percent(op)
    if high - low < 0.05:
        return f"{short(high)} %"
    return f"{short(low)} to {short(high)} %, line by line"


def focus_words(op: CutOperation) -> str:
    """Where the focus stands: ``"at the face"``, ``"1 mm below the face, then 0.5 mm lower each pass"``."""
    heights = [one.focus_mm for one in op.passes]
    if not heights:
        return "not set"
    level_mm = op.level_mm or 0.0
    surface = "the face" if op.level_mm is None else "the gauge point"
    first = height_words(heights[0] + level_mm, surface)
    steps = {round(before - after, 6) for before, after in zip(heights, heights[1:], strict=False)}
    if steps <= {0.0}:
        return first
    if len(steps) == 1 and (step := steps.pop()) > 0:
        return f"{first}, then {format_mm(step)} lower each pass"
    return "; ".join(height_words(height + level_mm, surface) for height in heights)


def height_words(height_mm: float, surface: str) -> str:
    """``"0.5 mm above the face"``."""
    if abs(height_mm) < 0.005:
        return f"at {surface}"
    return f"{format_mm(abs(height_mm))} {'above' if height_mm > 0 else 'below'} {surface}"


def passes_words(op: CutOperation) -> str:
    """``"1 pass"`` or ``"3 passes"``."""
    return "1 pass" if len(op.passes) == 1 else f"{len(op.passes)} passes"


def settings_words(op: CutOperation) -> str:
    """One line: power, speed, passes, focus."""
    return f"power {power_words(op)}; {short(op.speed_mm_s)} mm/s; {passes_words(op)}; focus {focus_words(op)}"


def focus_changes(op: CutOperation) -> bool:
    """True when the focus does not stay at the face the machine was set to."""
    return op.level_mm is not None or any(abs(one.focus_mm) > 0.005 for one in op.passes)


def short(value: float, digits: int = 2) -> str:
    """A number with at most ``digits`` decimals, no trailing zeros, never ``-0``."""
    return format_mm(value, digits).removesuffix(" mm")


def number(value: float) -> str:
    """A coordinate for a file: at most four decimals (0.1 um, far below any burn), no exponent, never ``-0``."""
    return short(value, 4)

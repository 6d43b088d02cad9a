"""Parse and print what people write: ``"6 mm"``, ``"1/4 in"``, ``"1:8"``, ``"240 mm/min"``, ``"0.21 ± 0.01 mm"``.

This is the edge of the program: everywhere else a length is a plain float in millimetres.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from fractions import Fraction

from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate

MM_PER_INCH = 25.4  # exact: international yard and pound agreement of 1959

_LENGTH_MM = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "um": 0.001,
    "µm": 0.001,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "thou": MM_PER_INCH / 1000,
}
_SPEED_MM_S = {"mm/s": 1.0, "mm/min": 1 / 60, "m/min": 1000 / 60, "in/min": MM_PER_INCH / 60, "in/s": MM_PER_INCH}
_ANGLE_DEG = {"deg": 1.0, "°": 1.0, "degrees": 1.0, "degree": 1.0}
_PERCENT = {"%": 0.01, "percent": 0.01}
_POWER_W = {"W": 1.0, "kW": 1000.0, "mW": 0.001}
_ACCELERATION = {"mm/s2": 1.0, "mm/s^2": 1.0, "mm/s²": 1.0, "m/s2": 1000.0}

_NUMBER = r"[+-]?(?:\d+\s+\d+/\d+|\d+/\d+|(?:\d+\.\d*|\.\d+|\d+)(?:[eE][+-]?\d+)?)"
_QUANTITY = re.compile(rf"^\s*({_NUMBER})\s*(\S.*?)?\s*$")
_SPREAD = re.compile(r"^(.*?)\s*(?:±|\+/-|\+-)\s*(.*)$")


def _number(text: str) -> float:
    sign = -1.0 if text.startswith("-") else 1.0
    body = text.lstrip("+-")
    if "/" in body:
        whole, _, part = body.rpartition(" ")
        return sign * float((Fraction(whole.strip()) if whole.strip() else Fraction(0)) + Fraction(part))
    return sign * float(body)


def _quantity(value: object, units: dict[str, float], what: str, example: str) -> float:
    accepted = f"{what} with its unit, as in {example}"
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise InputError(f"{value!r} is not {what}", accepted=accepted)
    if isinstance(value, (int, float)):
        raise InputError(f"{value!r} has no unit", accepted=accepted, remedy=f"Write it in quotes with its unit, as in {example}")
    match = _QUANTITY.match(value)
    if match is None:
        raise InputError(f'"{value}" is not {what}', accepted=accepted)
    unit, sizes = (match[2] or "").strip().lower(), {name.lower(): size for name, size in units.items()}
    if unit not in sizes:
        named = f'the unit "{match[2]}" in "{value}" is not known' if unit else f'"{value}" has no unit'
        raise InputError(named, accepted=accepted + "; units: " + ", ".join(units))
    try:
        result = _number(match[1]) * sizes[unit]
    except (ZeroDivisionError, OverflowError) as bad:
        raise InputError(f'"{value}" is not a finite number', accepted=accepted) from bad
    if not math.isfinite(result):
        raise InputError(f'"{value}" is not a finite number', accepted=accepted)
    return result


def parse_length_mm(value: object) -> float:
    """Millimetres from ``"6 mm"``, ``"1/4 in"``, ``"1 1/2 in"``, ``"2.5 cm"``. A bare number is refused."""
    return _quantity(value, _LENGTH_MM, "a length", '"6 mm" or "1/4 in"')


def parse_speed_mm_s(value: object) -> float:
    """Millimetres per second from ``"4 mm/s"`` or ``"240 mm/min"``."""
    return _quantity(value, _SPEED_MM_S, "a speed", '"4 mm/s" or "240 mm/min"')


def parse_acceleration_mm_s2(value: object) -> float:
    """mm/s2 from ``"1500 mm/s2"``."""
    return _quantity(value, _ACCELERATION, "an acceleration", '"1500 mm/s2"')


def parse_power_w(value: object) -> float:
    """Watts from ``"20 W"``."""
    return _quantity(value, _POWER_W, "a power", '"20 W"')


def parse_fraction(value: object) -> float:
    """A fraction 0-1 from ``"85 %"``; not bounded here."""
    return _quantity(value, _PERCENT, "a share", '"85 %"')


def parse_angle_deg(value: object) -> float:
    """Degrees from ``"7.1 deg"`` or ``"7.1°"``."""
    return _quantity(value, _ANGLE_DEG, "an angle", '"7.1 deg"')


def parse_slope_frac(value: object) -> float:
    """The tangent of a dovetail's slope from ``"1:8"`` (one across in eight along) or ``"7.1 deg"``.

    1:8 -> 0.125. Refuses slopes of 45 degrees and more, and zero or less.
    """
    accepted = 'a slope such as "1:8", or an angle such as "7.1 deg", above 0 and below 45 deg'
    if isinstance(value, str) and ":" in value:
        across, _, along = value.partition(":")
        try:
            ratio = _number(across.strip()) / _number(along.strip())
        except (ValueError, ZeroDivisionError) as bad:
            raise InputError(f'"{value}" is not a slope', accepted=accepted) from bad
    else:
        try:
            ratio = math.tan(math.radians(parse_angle_deg(value)))
        except InputError as bad:
            raise InputError(bad.arrived, accepted=accepted) from bad
    if not 0 < ratio < 1 - 1e-9:  # tan 45 deg comes out a hair below 1
        raise InputError(f'the slope "{value}" is out of range', accepted=accepted)
    return ratio


def slope_deg(slope_frac: float) -> float:
    """Degrees from square of a slope given as its tangent. 1/8 -> 7.125."""
    return math.degrees(math.atan(slope_frac))


def parse_estimate(value: object, parse: Callable[[object], float], default_sd: float, source: str = "typed by hand") -> Estimate:
    """An Estimate from ``"0.21 ± 0.01 mm"``, ``"0.21 mm ± 10 um"``, ``"85 ± 2 %"`` or a plain quantity.

    A plain quantity gets ``default_sd`` (in the base unit) and says so in its source.
    """
    match = _SPREAD.match(value) if isinstance(value, str) else None
    if match is None:
        return Estimate(parse(value), default_sd, 0, f"{source}, no spread given: ours assumed")
    middle, spread = match[1].strip(), match[2].strip()
    unit_of_spread = _QUANTITY.match(spread)
    unit_of_middle = _QUANTITY.match(middle)
    if unit_of_middle is not None and not unit_of_middle[2] and unit_of_spread is not None and unit_of_spread[2]:
        middle = f"{middle} {unit_of_spread[2]}"
    if unit_of_spread is not None and not unit_of_spread[2] and unit_of_middle is not None and unit_of_middle[2]:
        spread = f"{spread} {unit_of_middle[2]}"
    sd = parse(spread)
    if sd < 0:
        raise InputError(f'the spread in "{value}" is negative', accepted="a spread of 0 or more")
    return Estimate(parse(middle), sd, 0, source)


def format_mm(length_mm: float, digits: int = 2) -> str:
    """``"6.35 mm"``: at most ``digits`` decimals, no trailing zeros, never ``-0``."""
    text = f"{length_mm:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{'0' if text in ('-0', '') else text} mm"


def format_duration(time_s: float) -> str:
    """``"42 s"``, ``"3 min 20 s"``, ``"18 min"``, ``"1 h 05 min"``: from ten minutes on no time is known to the second."""
    whole_s, whole_min = round(time_s), round(time_s / 60)
    if whole_s < 60:
        return f"{whole_s} s"
    if whole_s < 600:
        return f"{whole_s // 60} min {whole_s % 60:02d} s"
    return f"{whole_min} min" if whole_min < 60 else f"{whole_min // 60} h {whole_min % 60:02d} min"


def format_slope(slope_frac: float) -> str:
    """``"1:8 (7.1 deg)"``."""
    along = 1 / slope_frac
    text = f"{along:.2f}".rstrip("0").rstrip(".")
    return f"1:{text} ({slope_deg(slope_frac):.1f} deg)"

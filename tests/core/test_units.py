"""What people write becomes millimetres and degrees, or one clear refusal."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.core import units
from kerfwright.core.errors import InputError

MM_PER_INCH = 25.4  # exact: international yard and pound agreement of 1959


@pytest.mark.parametrize(
    ("text", "length_mm"),
    [
        ("6 mm", 6.0), ("6mm", 6.0), (" 6.35  mm ", 6.35), ("2.5 cm", 25.0), ("0.3 m", 300.0), ("120 um", 0.12), ("120 µm", 0.12),
        (".5 mm", 0.5), ("6. mm", 6.0), ("1e2 mm", 100.0), ("+3 mm", 3.0), ("-3 mm", -3.0), ("6 MM", 6.0),
        ("1 in", MM_PER_INCH), ("1/4 in", MM_PER_INCH / 4), ("1 1/2 in", 1.5 * MM_PER_INCH), ("1  1/2 inches", 1.5 * MM_PER_INCH),
        ("-1 1/2 in", -1.5 * MM_PER_INCH), ('3/8"', 3 * MM_PER_INCH / 8), ("0.5 inch", 12.7), ("5 thou", 5 * MM_PER_INCH / 1000),
    ],
)
def test_lengths(text: str, length_mm: float):
    assert units.parse_length_mm(text) == pytest.approx(length_mm, rel=1e-15)


@pytest.mark.parametrize(
    "value",
    ["", " ", "mm", "6", "6 furlong", "six mm", "nan mm", "inf mm", "-inf mm", "NaN", "1e999 mm", "1e308 m", "1/0 in", "1 1/0 in",
     "6 mm 2", "6, mm", "6,5 mm", "0x10 mm", "1//2 in", "1_0 mm", "6 mm; drop", "--6 mm", "6 deg", "٣ furlong",
     6, 6.0, math.nan, math.inf, True, None, [], {}, ["6 mm"]],
    ids=repr,
)
def test_what_is_not_a_length_is_refused_with_an_example(value: object):
    with pytest.raises(InputError, match=re.escape('"6 mm" or "1/4 in"')) as caught:
        units.parse_length_mm(value)
    assert caught.value.exit_code == 2
    assert isinstance(caught.value, ValueError)


def test_a_bare_number_is_told_to_bring_its_unit():
    with pytest.raises(InputError, match="^6 has no unit"):
        units.parse_length_mm(6)
    with pytest.raises(InputError, match='^"6" has no unit'):
        units.parse_length_mm("6")


def test_an_unknown_unit_is_named_and_the_known_ones_are_listed():
    with pytest.raises(InputError, match=r'the unit "yd" in "6 yd" is not known.*units: mm, cm, m, um'):
        units.parse_length_mm("6 yd")


@given(st.floats(-1e6, 1e6))
def test_a_length_survives_writing_and_reading(length_mm: float):
    assert units.parse_length_mm(f"{length_mm!r} mm") == length_mm


@given(st.integers(0, 40), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_mixed_inches_are_exact(whole: int, numerator: int, denominator: int):
    expected_mm = (whole + numerator / denominator) * MM_PER_INCH
    assert units.parse_length_mm(f"{whole} {numerator}/{denominator} in") == pytest.approx(expected_mm, rel=1e-15)


@given(st.floats(-1e5, 1e5), st.integers(0, 6))
def test_printed_lengths_read_back_to_the_printed_digit(length_mm: float, digits: int):
    text = units.format_mm(length_mm, digits)
    assert abs(units.parse_length_mm(text) - length_mm) <= 0.5000001 * 10.0**-digits
    assert not text.startswith("-0 ")


@pytest.mark.parametrize(
    ("length_mm", "text"), [(6.35, "6.35 mm"), (6.0, "6 mm"), (100.0, "100 mm"), (-0.001, "0 mm"), (0.0, "0 mm"), (-1.5, "-1.5 mm")]
)
def test_printed_lengths(length_mm: float, text: str):
    assert units.format_mm(length_mm) == text


def test_no_digits_keeps_the_zeros_of_a_round_number():
    assert units.format_mm(100.2, digits=0) == "100 mm"


@pytest.mark.parametrize(
    ("slope", "angle_deg"),
    # 1:6 and 1:8: Popular Woodworking gives 9.5 and 7.1 deg, read in public copies; two decimals and 1:7, 1:4 by atan,
    # as in HANDBOOK section D.
    [("1:6", 9.46), ("1:7", 8.13), ("1:8", 7.13), ("1:4", 14.04)],
)
def test_dovetail_slopes_in_degrees(slope: str, angle_deg: float):
    # 1:8 is 7.125 deg: two decimals may round either way
    assert units.slope_deg(units.parse_slope_frac(slope)) == pytest.approx(angle_deg, abs=0.00502)


@pytest.mark.parametrize("text", ["1:8", " 1 : 8 ", "2:16", "0.5:4", "1/2:4", "7.125016348901798 deg", "7.125016348901798°"])
def test_one_slope_written_in_many_ways(text: str):
    assert units.parse_slope_frac(text) == pytest.approx(0.125, rel=1e-12)


@pytest.mark.parametrize("value", ["1:0", "0:8", "-1:8", "1:1", "8:1", "1:", ":8", ":", "1:8:9", "a:b", "nan:1", "1:nan", "inf:8", "1:inf",
                                   "45 deg", "0 deg", "-7 deg", "90 deg", "100 deg", "7", 0.125, 8, None, "1:8 mm"], ids=repr)
def test_what_is_not_a_slope_is_refused_with_an_example(value: object):
    with pytest.raises(InputError, match=re.escape('"1:8"')):
        units.parse_slope_frac(value)


@given(st.floats(1.01, 50))
def test_a_slope_survives_printing_as_an_angle(along: float):
    assert units.parse_slope_frac(f"{units.slope_deg(1 / along)!r} deg") == pytest.approx(1 / along, rel=1e-12)


@pytest.mark.parametrize(("slope_frac", "text"), [(1 / 8, "1:8 (7.1 deg)"), (1 / 6.5, "1:6.5 (8.7 deg)"), (0.1, "1:10 (5.7 deg)")])
def test_printed_slopes(slope_frac: float, text: str):
    assert units.format_slope(slope_frac) == text


@pytest.mark.parametrize(
    ("text", "speed_mm_s"), [("4 mm/s", 4.0), ("240 mm/min", 4.0), ("1.2 m/min", 20.0), ("60 in/min", 25.4), ("1 in/s", 25.4)]
)
def test_speeds(text: str, speed_mm_s: float):
    assert units.parse_speed_mm_s(text) == pytest.approx(speed_mm_s, rel=1e-15)


def test_power_share_angle_and_acceleration():
    assert units.parse_power_w("20 W") == 20.0
    assert units.parse_power_w("0.02 kW") == pytest.approx(20.0, rel=1e-15)
    assert units.parse_fraction("85 %") == pytest.approx(0.85, rel=1e-15)
    assert units.parse_fraction("85 percent") == pytest.approx(0.85, rel=1e-15)
    assert units.parse_angle_deg("7.1°") == 7.1
    assert units.parse_acceleration_mm_s2("1.5 m/s2") == pytest.approx(1500.0, rel=1e-15)
    with pytest.raises(InputError, match=r"0\.85 has no unit"):
        units.parse_fraction(0.85)


@pytest.mark.parametrize(
    ("text", "value", "sd"),
    [("0.21 ± 0.01 mm", 0.21, 0.01), ("0.21 mm ± 10 um", 0.21, 0.01), ("0.21 mm ± 0.01", 0.21, 0.01), ("0.21+/-0.01 mm", 0.21, 0.01),
     ("210 ± 10 um", 0.21, 0.01), ("-0.02 +- 0.01 mm", -0.02, 0.01)],
)
def test_an_estimate_carries_its_spread(text: str, value: float, sd: float):
    read = units.parse_estimate(text, units.parse_length_mm, default_sd=9.0)
    assert (read.value, read.sd) == (pytest.approx(value, rel=1e-12), pytest.approx(sd, rel=1e-12))
    assert (read.n, read.source) == (0, "typed by hand")


def test_an_estimate_without_spread_says_whose_spread_it_has():
    read = units.parse_estimate("0.21 mm", units.parse_length_mm, default_sd=0.02)
    assert (read.value, read.sd) == (0.21, 0.02)
    assert "ours assumed" in read.source


@pytest.mark.parametrize("text", ["0.21 ± -0.01 mm", "0.21 ± mm", "± 0.01 mm", "0.21 ± 0.01", "0.21 mm ± 0.01 deg", "0.2 ± 0.1 ± 0.1 mm"])
def test_a_spoilt_spread_is_refused(text: str):
    with pytest.raises(InputError):
        units.parse_estimate(text, units.parse_length_mm, default_sd=0.02)


@pytest.mark.parametrize(
    ("time_s", "text"),
    [(0.0, "0 s"), (42.4, "42 s"), (59.6, "1 min 00 s"), (200.0, "3 min 20 s"), (599.4, "9 min 59 s"), (599.6, "10 min"),
     (1137.0, "19 min"), (3569.0, "59 min"), (3599.6, "1 h 00 min"), (3900.0, "1 h 05 min")],
)
def test_printed_durations(time_s: float, text: str):
    assert units.format_duration(time_s) == text

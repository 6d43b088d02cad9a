"""The blank readings form of a coupon, as TOML and as CSV: one line an observable, to be filled in whole or in part."""

from __future__ import annotations

import csv
import io

from kerfwright.core.units import format_mm
from kerfwright.coupons.observable import RIGHT_THROUGH, Observable
from kerfwright.coupons.record import CouponRecord

SCHEMA = "kerfwright-readings-1"
COLUMNS = ("coupon", "digest", "id", "measure", "kind", "face", "x_mm", "y_mm", "direction_deg", "unit", "instrument", "accepted", "value")
NOT_SURE, SPOILT = "not sure", "spoilt"

_HOW = (
    'Write each answer between its quotes. Repeats, apart by commas, are welcome: "0.21, 0.22".',
    'A number without a unit is taken in the unit named; others may be written: "0.21 mm", "8 thou".',
    f'"{NOT_SURE}" and "{SPOILT}" are answers; leave empty what was not read. Places are on the board: x along its length from the',
    "lower left corner, y across; a direction is turned from x toward y.",
)


_FACES = {"waist": "at its widest", "end": "end grain"}


def accepted_words(observable: Observable) -> str:
    """``"yes, no"``, ``"0.02 to 2 mm"`` or ``"0 to 6.1 mm, through"``."""
    if observable.choices:
        return ", ".join(observable.choices)
    low = "any" if observable.low is None else f"{observable.low:g}"
    high = "any" if observable.high is None else f"{observable.high:g}"
    return f"{low} to {high} {observable.unit}" + (f", {RIGHT_THROUGH}" if observable.right_through_mm is not None else "")


def toml_form(record: CouponRecord) -> str:
    """The form as TOML, with what to do in comments."""
    x0, y0, x1, y1 = record.used_mm
    lines = [
        f'# Readings of coupon {record.id}: {record.title.capitalize()}, on board "{_plain(record.board)}" ({record.species}, '
        f"{format_mm(record.thickness_mm)})",
        f"# burnt from x {x0:g}, y {y0:g} to x {x1:g}, y {y1:g} mm{_mark(record)}",
        *(f"# {line}" for line in _HOW),
        "",
        f'schema = "{SCHEMA}"',
        f'coupon = "{record.id}"',
        f'digest = "{record.digest}"',
        "",
        "[readings]",
    ]
    for each in record.observables:
        lines += [f"# {_plain(_line(each))}", f'{each.id} = ""']
    return "\n".join(lines) + "\n"


def _mark(record: CouponRecord) -> str:
    if not record.marks_mm:
        return ""
    x, y = record.marks_mm[0]
    return f"; the boxed corner mark is at x {x:g}, y {y:g}"


def _line(each: Observable) -> str:
    x, y = each.place_mm
    words = str(each.quantity).replace("_", " ")
    direction = "" if each.choices else f", direction {each.across_deg:g} deg"
    face = _FACES.get(each.face, f"{each.face} face")
    return f"{words}, {face}, {each.instrument}, at x {x:.1f}, y {y:.1f}{direction}: {each.tells} [{accepted_words(each)}]"


def csv_form(record: CouponRecord) -> str:
    """The form as CSV for a spreadsheet: every row carries the coupon's id and digest, so rows may be sorted."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for each in record.observables:
        x, y = each.place_mm
        place = (f"{x:.3f}", f"{y:.3f}", f"{each.across_deg:g}", each.unit, each.instrument, accepted_words(each), "")
        writer.writerow((record.id, record.digest, each.id, each.tells, each.quantity.value, each.face, *place))
    return text.getvalue()


def _plain(text: str) -> str:
    """Control signs would end a comment or a string."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())

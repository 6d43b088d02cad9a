"""coupon.json: what a burnt coupon is, as data: enough to read its form, fit its readings and find it on a scan."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

from kerfwright.core.codec import plain, to_json
from kerfwright.core.errors import InputError
from kerfwright.coupons.coupon import CouponDesign, Site
from kerfwright.coupons.observable import Observable, Quantity

SCHEMA = "kerfwright-coupon-1"


@dataclass(frozen=True)
class CouponRecord:
    """id: the kind and the start of the digest; digest: of the observables, the board, the machine and the copy.

    copy: 2 for the second coupon burnt just like one that was read already, so that it is not taken for that one told anew.
    marks_mm: centres of the corner marks on the board, the boxed one first; used_mm: (x0, y0, x1, y1) of the wood it
    takes; burn_time_s: machine time, or None when it was not planned.
    """

    id: str
    digest: str
    kind: str
    title: str
    board: str
    species: str
    thickness_mm: float
    machine: str
    laser: str
    power_w: float
    recipe: str
    made_from: str
    turned: bool
    used_mm: tuple[float, float, float, float]
    marks_mm: tuple[tuple[float, float], ...]
    burn_time_s: float | None
    observables: tuple[Observable, ...]
    copy: int = 1

    def observable(self, name: str) -> Observable:
        """One observable. Raises KeyError when there is none of that id."""
        for each in self.observables:
            if each.id == name:
                return each
        raise KeyError(name)


def coupon_record(design: CouponDesign, site: Site, burn_time_s: float | None = None, copy: int = 1) -> CouponRecord:
    """The record of a design on its offcut, its numbers rounded as in its file, so that what is read back is the same."""
    digest = _digest(design.observables, site.offcut.name, site.machine.name, copy)
    record = CouponRecord(
        f"{re.sub(r'[^a-z0-9]+', '-', design.kind)}-{digest[:6]}",
        digest,
        design.kind,
        design.title,
        site.offcut.name,
        site.offcut.species,
        site.offcut.thickness_mm,
        site.machine.name,
        site.machine.laser,
        site.machine.power_w,
        site.recipe.name,
        site.recipe.made_from,
        design.turned,
        design.used_mm,
        design.marks_mm,
        burn_time_s,
        design.observables,
        copy,
    )
    return _record(cast("dict[str, Any]", plain(record)))


def record_json(record: CouponRecord) -> str:
    """The text of coupon.json."""
    return to_json({"schema": SCHEMA, **cast("dict[str, Any]", plain(record))})


def read_record(text: str, where: str = "coupon.json") -> CouponRecord:
    """A record back from its text. Raises InputError when it is another schema, damaged or changed by hand."""
    try:
        fields: Any = json.loads(text)
    except ValueError as bad:
        raise InputError("this is not JSON", accepted="an unchanged coupon.json", where=where) from bad
    schema = cast("dict[str, Any]", fields).get("schema") if isinstance(fields, dict) else None
    if schema != SCHEMA:
        raise InputError(f"the schema is {schema!r}", accepted=SCHEMA, remedy="Use the version of kerfwright that made it", where=where)
    try:
        record = _record(cast("dict[str, Any]", fields))
    except (KeyError, TypeError, ValueError) as bad:
        raise InputError(f"it is damaged near {bad}", accepted="an unchanged coupon.json", where=where) from bad
    # From the file's own fields: an observable may have gained one since this record was made.
    if record.digest != _digest(cast("dict[str, Any]", fields)["observables"], record.board, record.machine, record.copy):
        raise InputError("its observables were changed after it was made", accepted="an unchanged coupon.json", where=where)
    return record


def _record(fields: dict[str, Any]) -> CouponRecord:
    kept = {name: value for name, value in fields.items() if name != "schema"}
    kept["observables"] = tuple(_observable(each) for each in fields["observables"])
    kept["used_mm"] = _numbers(fields["used_mm"], 4)
    kept["marks_mm"] = tuple(_numbers(each, 2) for each in fields["marks_mm"])
    return CouponRecord(**kept)


def _observable(fields: dict[str, Any]) -> Observable:
    settings = {key: value if isinstance(value, str) else float(value) for key, value in fields["settings"].items()}
    changed: dict[str, Any] = {"quantity": Quantity(fields["quantity"]), "place_mm": _numbers(fields["place_mm"], 2), "settings": settings}
    return Observable(**(fields | changed))


def _numbers(values: list[Any], count: int) -> Any:
    if len(values) != count:
        raise ValueError(f"{len(values)} numbers where {count} belong")
    return tuple(float(each) for each in values)


def _digest(observables: object, board: str, machine: str, copy: int) -> str:
    canonical: Mapping[str, Any] = {"observables": plain(observables), "board": board, "machine": machine, "copy": copy}
    return hashlib.sha256(json.dumps(canonical, sort_keys=True).encode()).hexdigest()[:16]

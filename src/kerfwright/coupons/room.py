"""Room on an offcut that was burnt before: which coupons lie in the way of a new one, and where it would fit beside them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable

from kerfwright.core.errors import InputError
from kerfwright.core.finding import Finding, note
from kerfwright.coupons.coupon import Coupon, CouponOptions, Site
from kerfwright.coupons.record import CouponRecord

Box = tuple[float, float, float, float]  # x0, y0, x1, y1 on the board, mm


def in_the_way(coupon: Coupon, site: Site, options: CouponOptions, used_mm: Box, earlier: Iterable[CouponRecord]) -> list[Finding]:
    """A note where coupons that were read took wood this one would take, with a free place on the same offcut when there is one."""
    here = [each for each in earlier if each.board == site.offcut.name]
    met = [each for each in here if _overlap(each.used_mm, used_mm)]
    if not met:
        return []
    free_mm = _free_place(coupon, site, options, [each.used_mm for each in here])
    beside = "take another piece of the plank"
    if free_mm is not None:
        beside = f"""lay this one beside with --choose 'at=["{free_mm[0]} mm", "{free_mm[1]} mm"]'"""
    names = ", ".join(dict.fromkeys(each.kind for each in met))
    return [note("in-the-way", f'"{site.offcut.name}" was burnt there already ({names}): {beside}, or saw that part off first')]


def _free_place(coupon: Coupon, site: Site, options: CouponOptions, taken: list[Box]) -> tuple[int, int] | None:
    """Right of or above what is taken, nearest the board's left end first; the coupon itself says whether it can lie there."""
    xs, ys = ({math.ceil(start), *(math.ceil(box[side]) for box in taken)} for start, side in zip(options.at_mm, (2, 3), strict=True))
    for at in sorted(itertools.product(xs, ys)):
        try:
            used_mm = coupon.lay_out(site, options.model_copy(update={"at_mm": at})).used_mm
        except InputError:
            continue
        if not any(_overlap(used_mm, box) for box in taken):
            return at
    return None


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]

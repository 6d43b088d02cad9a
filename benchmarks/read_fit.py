"""How long ``kerfwright read`` thinks: everything learned from 5, 20 and 40 readings of one coupon, and from three coupons together.

Readings are the coupons' own predictions for a typical machine (coupons/response.py) with an instrument's noise.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from stopwatch import Line, least_s

from kerfwright.calibrate.advise import advise
from kerfwright.calibrate.evidence import Evidence, evidence_from
from kerfwright.calibrate.learn import learn, recipe_of
from kerfwright.coupons.coupon import Site, all_coupons
from kerfwright.coupons.first_guess import first_guess
from kerfwright.coupons.observable import Quantity
from kerfwright.coupons.readings import Reading, check_values
from kerfwright.coupons.record import CouponRecord, coupon_record
from kerfwright.coupons.response import typical_response
from kerfwright.machine.machine import Machine
from kerfwright.wood.board import Board

TITLE = "What read learns from a form, and the advice and recipe that follow"
YARDSTICK = "one plain linear least-squares solve of as many readings, 3 unknowns"

MACHINE = Machine.model_validate({
    "schema": "kerfwright-machine-1", "name": "Lantern 20", "laser": "diode", "power": "20 W", "bed_x": "420 mm", "bed_y": "400 mm",
    "height": "60 mm", "z": "motorised", "head": {"gap": "9 mm", "half_width": "35 mm"}, "top_speed": "300 mm/s",
    "acceleration": "1500 mm/s2",
})  # fmt: skip
BOARD = Board.model_validate({
    "schema": "kerfwright-board-1", "name": "maple", "species": "sugar maple", "length": "300 mm", "width": "200 mm",
    "thickness": ["6 mm"] * 3,
})  # fmt: skip
ASKED = {
    "through": (Quantity.THROUGH, {"places": 4}),
    "kerf comb": (None, {"tongues": 15}),
    "ramp staircase": (Quantity.DEPTH, {"flights": 4}),
}
NOISE_MM = 0.02


def lines() -> Iterator[Line]:
    """5, 20 and 40 readings of each kind, then all of them together."""
    forms = {kind: filled(kind) for kind in ASKED}
    for kind, (record, readings) in forms.items():
        for n in (5, 20, 40):
            # Readings from end to end of the form, so that few of them still cover the range burnt.
            some = [readings[i] for i in np.linspace(0, len(readings) - 1, n).astype(int)]
            yield timed(f"{kind}, {n} readings", evidence_from([(record, some)]))
    together = evidence_from([(record, readings[:40]) for record, readings in forms.values()])
    yield timed(f"three coupons, {len(together.data)} readings", together)


def timed(what: str, evidence: Evidence) -> Line:
    """All that a form teaches, against one plain solve."""

    def think() -> object:
        learned = learn(evidence, MACHINE, BOARD)
        return advise(learned), recipe_of(learned)

    rng = np.random.default_rng(1)
    matrix, right = rng.normal(size=(len(evidence.data), 3)), rng.normal(size=len(evidence.data))
    return Line(what, least_s(think), least_s(lambda: np.linalg.lstsq(matrix, right, rcond=None)))


def filled(kind: str) -> tuple[CouponRecord, list[Reading]]:
    """A coupon's record and its readings."""
    quantity, options = ASKED[kind]
    site, coupon = Site(BOARD, MACHINE, first_guess(MACHINE, BOARD.species, BOARD.thickness_mm)), all_coupons()[kind]
    record = coupon_record(coupon.lay_out(site, coupon.options.model_validate(options)), site)
    rng, response = np.random.default_rng(2), typical_response()
    answers: dict[str, object] = {}
    for each in record.observables:
        value = coupon.predict(each, response)
        if quantity is None or each.quantity is quantity:
            noisy = min(max(value + NOISE_MM * float(rng.normal()), each.low or 0.0), each.high or 1e9)
            answers[each.id] = ("yes" if rng.uniform() < value else "no") if each.choices else noisy
    return record, list(check_values(answers, record))

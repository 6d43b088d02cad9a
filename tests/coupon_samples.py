"""Machines, offcuts and sites for the tests of the coupons."""

from __future__ import annotations

from kerfwright.coupons.coupon import CouponDesign, Site, all_coupons
from kerfwright.coupons.first_guess import first_guess
from kerfwright.coupons.record import CouponRecord, coupon_record
from kerfwright.machine.machine import Machine
from kerfwright.wood.board import Board

MACHINES: dict[str, dict[str, object]] = {
    "diode": {},
    "diode by hand": {"z": "by hand", "name": "Hand 10", "power": "10 W", "top_speed": "120 mm/s", "acceleration": "800 mm/s2"},
    "co2": {"laser": "co2", "name": "Tube 60", "power": "60 W", "head": {"gap": "6 mm", "half_width": "30 mm"}},
}
# Length, width and thickness in mm: from a good plank to a scrap too small for anything.
OFFCUTS = {
    "plank": (250.0, 80.0, 6.0),
    "narrow": (250.0, 42.0, 6.0),
    "small": (90.0, 60.0, 3.0),
    "thick": (180.0, 70.0, 12.0),
    "scrap": (30.0, 20.0, 6.0),
}


def machine(which: str = "diode") -> Machine:
    fields: dict[str, object] = {
        "schema": "kerfwright-machine-1", "name": "Lantern 20", "laser": "diode", "power": "20 W", "bed_x": "420 mm", "bed_y": "400 mm",
        "height": "60 mm", "z": "motorised", "head": {"gap": "9 mm", "half_width": "35 mm"}, "top_speed": "300 mm/s",
        "acceleration": "1500 mm/s2",
    }  # fmt: skip
    return Machine.model_validate(fields | MACHINES[which])


def offcut(which: str = "plank") -> Board:
    length_mm, width_mm, thickness_mm = OFFCUTS[which]
    return Board.model_validate({
        "schema": "kerfwright-board-1", "name": f"maple {which}", "species": "sugar maple", "length": f"{length_mm} mm",
        "width": f"{width_mm} mm", "thickness": [f"{thickness_mm} mm"] * 3,
    })  # fmt: skip


def site(the_machine: str = "diode", the_offcut: str = "plank") -> Site:
    made, board = machine(the_machine), offcut(the_offcut)
    return Site(board, made, first_guess(made, board.species, board.thickness_mm))


def design(kind: str, where: Site, **options: object) -> CouponDesign:
    coupon = all_coupons()[kind]
    return coupon.lay_out(where, coupon.options.model_validate(options))


def record(kind: str, where: Site | None = None) -> CouponRecord:
    where = where or site()
    return coupon_record(design(kind, where), where, 100.0)

"""Making coupons and pieces with the package's own tools, as the shop's owner would. The only module here that knows the package."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from kerfwright.core.document import build
from kerfwright.coupons.coupon import Site, all_coupons
from kerfwright.coupons.first_guess import first_guess
from kerfwright.coupons.record import CouponRecord, coupon_record
from kerfwright.export.coupon_files import coupon_files
from kerfwright.machine.machine import Machine
from kerfwright.plan.coupon_plan import plan_coupon
from kerfwright.plan.options import PlanOptions
from kerfwright.process.recipe import Recipe
from kerfwright.wood.board import Board
from shop.shop import Shop
from shop.wood import HiddenBoard


def make_coupon(
    shop: Shop,
    offcut: HiddenBoard,
    kind: str,
    folder: Path,
    recipe: Mapping[str, Any] | None = None,
    options: Mapping[str, Any] | None = None,
) -> CouponRecord:
    """A coupon's folder for an offcut of this shop; without a recipe, from the package's first guess."""
    machine, board = build(shop.machine_facts(), Machine, "machine"), build(offcut.facts, Board, "offcut")
    known = build(dict(recipe), Recipe, "recipe") if recipe is not None else first_guess(machine, board.species, board.thickness_mm)
    site = Site(board, machine, known)
    coupon = all_coupons()[kind]
    design = coupon.lay_out(site, build(dict(options or {}), coupon.options, "options"))
    job = plan_coupon(design, site, PlanOptions())
    record = coupon_record(design, site, job.total_time_s)
    for file in coupon_files(job, record):
        path = folder / file.path
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(file.data)
    return record

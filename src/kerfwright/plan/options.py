"""The choices a person may make about how a job is burnt; every one has a default worth keeping."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from kerfwright.core.document import Document, Length, LengthOrZero, SignedLength
from kerfwright.process.spread_order import Order

WallWish = Literal["auto", "ramp", "cradle", "two faces"]


class PlanOptions(Document):
    """Choices of the plan.

    walls: how sloped walls are made. face: which face the beam enters on square-walled and cradle-cut boards
    ("auto" hides the wider end of the slit). focus: pick the recipe's through entry burnt nearest this focus.
    hollow: ramped walls hollowed by this much in the middle so that the seen lines close first (trade habit; common
    practice, no source). lead: cuts start this far out in the waste. floor_overrun: ramp lines run past the socket
    floor by this, else a fillet blocks the joint. reread: witness marks at every re-posing. pilot: every board
    first burns a strip in its own end waste, from whose readings the job is written again; pilot_burnt: that strip
    is burnt already. recess_layers: grooves and housings in as few of the recipe's layers as reach their depth
    ("fewest") or in "all" of them, as the coupon was burnt. check_pause: a ramp's program stops after most of its
    layers to have a witness patch read. order: "spread" burns one line of every ramp in turn, so that each cools
    before the beam is back; coupons are burnt so too, and a ramp burnt hotter than its coupon is not the ramp that
    was measured.
    """

    walls: WallWish = "auto"
    face: Literal["auto", "show face", "inner face"] = "auto"
    focus_mm: SignedLength | None = Field(default=None, alias="focus")
    hollow_mm: LengthOrZero = Field(default=0.02, alias="hollow", le=0.15)
    lead_mm: Length = Field(default=1.0, alias="lead", ge=0.3, le=5)
    floor_overrun_mm: LengthOrZero = Field(default=0.1, alias="floor_overrun", le=0.5)
    reread: bool = True
    pilot: bool = False
    pilot_burnt: bool = Field(default=False, description="set by `retune`: the strips are burnt, only their room is kept")
    recess_layers: Literal["all", "fewest"] = "all"
    check_pause: bool = False
    order: Order = "spread"
    fence_mm: tuple[Length, Length] = Field(
        default=(10.0, 10.0), alias="fence", description="where the board's front left corner lies in the bed"
    )
    cradle_height_mm: Length = Field(default=8.0, alias="cradle_height", ge=3, le=60)

"""A laser machine as its owner describes it."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, Field

from kerfwright.core.document import Acceleration, Document, Length, LengthOrZero, PowerW, Speed
from kerfwright.core.units import parse_angle_deg, parse_fraction

Array = NDArray[np.float64]
Trim = Annotated[float, BeforeValidator(parse_fraction), Field(ge=-0.02, le=0.02)]
Lean = Annotated[float, BeforeValidator(parse_angle_deg), Field(ge=-1, le=1)]


class Head(Document):
    """The part of the head that could touch the work."""

    gap_mm: Length = Field(alias="gap", description="from the nozzle's lowest point to the focus")
    half_width_mm: Length = Field(alias="half_width", description="from the beam to the head's widest point near the work")


class Machine(Document):
    """Bed frame: origin front left of the usable area, x right, y back, z up from the bed."""

    schema_: Literal["kerfwright-machine-1"] = Field(alias="schema")
    name: str = Field(min_length=1, max_length=60)
    laser: Literal["diode", "co2", "other"]
    power_w: PowerW = Field(alias="power", description="optical power at full setting")
    bed_x_mm: Length = Field(alias="bed_x")
    bed_y_mm: Length = Field(alias="bed_y")
    height_mm: Length = Field(alias="height", description="tallest work under the head, from the bed")
    z: Literal["motorised", "by hand"]
    head: Head
    top_speed_mm_s: Speed = Field(alias="top_speed")
    acceleration_mm_s2: Acceleration = Field(alias="acceleration")
    s_full: int = Field(default=1000, ge=1, le=100000, description="the S word that means full power")
    power_mode: Literal["constant", "speed-scaled"] = "constant"
    takes_pictures: bool = True
    placing_sd_mm: LengthOrZero = Field(
        default=0.1, alias="placing", description="how well a board is laid against a fence by hand, one standard deviation"
    )

    scale_x_frac: Trim = Field(default=0.0, alias="scale_x", description="the bed's x moves this much too far, such as 0.05 %")
    scale_y_frac: Trim = Field(default=0.0, alias="scale_y", description="the bed's y moves this much too far")
    skew_deg: Lean = Field(default=0.0, alias="skew", description="the bed's y leans this much toward +x")

    @property
    def corrected(self) -> bool:
        """True when programs allow for a measured scale or skew."""
        return bool(self.scale_x_frac or self.scale_y_frac or self.skew_deg)

    def commanded_mm(self, points_mm: Array) -> Array:
        """Where to send the head so that it really goes to ``points_mm`` (n, 3).

        Sent to (x, y) it lands at ((1 + sx) x + tan(skew) (1 + sy) y, (1 + sy) y).
        """
        if not self.corrected:
            return points_mm
        sent = points_mm.copy()
        sent[:, 0] = (points_mm[:, 0] - np.tan(np.radians(self.skew_deg)) * points_mm[:, 1]) / (1 + self.scale_x_frac)
        sent[:, 1] = points_mm[:, 1] / (1 + self.scale_y_frac)
        return sent

    def landed_mm(self, sent_mm: Array) -> Array:
        """Where the head really goes when sent to ``sent_mm`` (n, 3): the other way round."""
        if not self.corrected:
            return sent_mm
        landed = sent_mm.copy()
        landed[:, 1] = sent_mm[:, 1] * (1 + self.scale_y_frac)
        landed[:, 0] = sent_mm[:, 0] * (1 + self.scale_x_frac) + np.tan(np.radians(self.skew_deg)) * landed[:, 1]
        return landed

    @property
    def laser_on_word(self) -> str:
        """M3 keeps power constant; M4 scales it with speed, so that corners are not over-burnt."""
        return "M4" if self.power_mode == "speed-scaled" else "M3"

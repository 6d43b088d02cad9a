"""What a piece costs: the rates a person pays, and the account they lead to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from kerfwright.core import units
from kerfwright.core.codec import plain
from kerfwright.core.document import Document, Share
from kerfwright.wood.board import Price

Money = Annotated[float, Field(ge=0, le=1e9)]
MarkUp = Annotated[float, BeforeValidator(units.parse_fraction), Field(ge=0, le=10)]
Spoiled = Annotated[float, BeforeValidator(units.parse_fraction), Field(ge=0, le=0.9)]


class Rates(Document):
    """``[costs]`` of a bench file. Every default is an example without a source: yours may differ."""

    currency: str = Field(default="", max_length=12, description="written before every amount, such as `EUR`; empty: bare numbers")
    machine_hour: Money = Field(default=4.0, description="an hour of the laser: its price spread over its life, electricity, filters")
    labour_hour: Money = Field(default=25.0, description="an hour of your hands")
    watched_frac: Share = Field(
        default=0.5, alias="watched", description="you stay beside the laser; this share of its time is paid as labour"
    )
    wood: Price = Field(
        default_factory=lambda: Price(value=2500.0, per="m3"), description="for boards without a `price` of their own; unasked, 2500 per m3"
    )
    consumables: Money = Field(default=2.0, description="tape, glue, abrasives and finish of one piece")
    hardware: Money | None = Field(default=None, description="all pins, hinges and screws of the piece; left out, they are not counted")
    spoiled_frac: Spoiled = Field(
        default=0.1, alias="spoiled", description="share of parts spoiled and made again, where no verdict tells its odds"
    )
    mark_up_frac: MarkUp = Field(default=0.3, alias="mark_up", description="on all that, for the price it is sold at")

    @property
    def by_default(self) -> tuple[str, ...]:
        """Keys that the person did not write, as they would be written."""
        fields = type(self).model_fields
        return tuple(field.alias or name for name, field in fields.items() if name not in self.model_fields_set and name != "currency")


@dataclass(frozen=True)
class HandWork:
    """Estimated time of one kind of hand work. how: the arithmetic, in words."""

    what: str
    time_s: float
    how: str


@dataclass(frozen=True)
class CostLine:
    """One line of the account. how: the arithmetic, in words."""

    what: str
    amount: float
    how: str


@dataclass(frozen=True)
class Costs:
    """The account of one piece.

    machine_s: of all setups; hand_work: what the hands do, without watching; watched_s: machine time paid as labour;
    spoiled_frac: share of parts made again, spoiled_from: where that share came from, in words; by_default: rates not given.
    """

    currency: str
    machine_s: float
    hand_work: tuple[HandWork, ...]
    watched_s: float
    lines: tuple[CostLine, ...]
    spoiled_frac: float
    spoiled_from: str
    mark_up_frac: float
    by_default: tuple[str, ...]

    @property
    def hands_s(self) -> float:
        """Hand work, without watching the laser."""
        return sum(work.time_s for work in self.hand_work)

    @property
    def total_s(self) -> float:
        """Machine and hands, one after the other."""
        return self.machine_s + self.hands_s

    @property
    def cost(self) -> float:
        """What the piece costs its maker."""
        return round(sum(line.amount for line in self.lines), 2)

    @property
    def price(self) -> float:
        """What it sells for with the mark-up."""
        return round(self.cost * (1 + self.mark_up_frac), 2)

    def record(self) -> dict[str, Any]:
        """The account as plain data, its sums beside its lines."""
        sums = {"hands_s": self.hands_s, "total_s": self.total_s, "cost": self.cost, "price": self.price}
        return plain(self) | {name: round(value, 2) for name, value in sums.items()}

    def amount(self, value: float) -> str:
        """``"EUR 12.50"``, or the bare number."""
        return f"{self.currency} {value:.2f}".strip()

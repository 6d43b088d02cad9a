"""How much a panel of solid wood moves across its grain through the year of the room it will live in."""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import Field

from kerfwright.core.document import Document, Share
from kerfwright.core.finding import Finding, note, warning
from kerfwright.wood.board import Board
from kerfwright.wood.movement import change_mm, moisture_frac
from kerfwright.wood.species import find_species


class RoomAir(Document):
    """The air where the piece will live, through the year."""

    dry_frac: Share = Field(default=0.35, alias="dry", description="humidity in the driest season")
    damp_frac: Share = Field(default=0.65, alias="damp", description="humidity in the dampest season")
    temperature_c: float = Field(default=20.0, alias="temperature", ge=0, le=45, description="in deg C")


@dataclass(frozen=True)
class Moves:
    """shrink_mm, swell_mm: the most it may, two spreads on top, from the day it is made. now_frac: its moisture then."""

    panel: str
    shrink_mm: float
    swell_mm: float
    room: RoomAir
    now_frac: float
    measured: bool
    known: bool

    def findings(self, what_to_do: str) -> tuple[Finding, ...]:
        """What to tell the maker."""
        if not self.known:
            return ()
        said = [
            note(
                f"{self.panel}-moves",
                f"across its grain the {self.panel} shrinks by up to {self.shrink_mm:.1f} mm and swells by up to {self.swell_mm:.1f} mm "
                f"between {self.room.dry_frac:.0%} and {self.room.damp_frac:.0%} humidity: {what_to_do}",
                self.panel,
            )
        ]
        if not self.measured:
            said.append(
                warning(
                    "moisture-unknown",
                    f"the moisture of the {self.panel} was not measured; {self.now_frac:.0%} is taken, the middle of its year. Measure it, "
                    "or let the board lie in the room for some weeks",
                    self.panel,
                )
            )
        return tuple(said)


def through_the_year(panel: str, across_mm: float, room: RoomAir, board: Board | None) -> Moves:
    """For a panel this wide across its grain. board: None when the wood is not known: then it stands still."""
    if board is None:
        return Moves(panel, 0.0, 0.0, room, 0.0, measured=False, known=False)
    species = find_species(board.species)
    dry, damp = (moisture_frac(room.temperature_c, humidity).value for humidity in sorted((room.dry_frac, room.damp_frac)))
    now = board.moisture_frac if board.moisture_frac is not None else (dry + damp) / 2
    drier = change_mm(across_mm, species, board.sawn, now, min(dry, now))
    damper = change_mm(across_mm, species, board.sawn, now, max(damp, now))
    shrink_mm, swell_mm = abs(drier.value) + 2 * drier.sd, abs(damper.value) + 2 * damper.sd
    return Moves(panel, shrink_mm, swell_mm, room, now, board.moisture_frac is not None, known=True)

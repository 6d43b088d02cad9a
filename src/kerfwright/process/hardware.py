"""What a piece needs besides its boards: pins, hinges, screws."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Hardware:
    """One line of the hardware list. size, use: in words."""

    what: str
    n_pieces: int
    size: str
    use: str

"""The cells of coupons that were watched for flame and looked at for char: the words of a verdict's heat come from them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kerfwright.calibrate.char_lesson import CharLearned
    from kerfwright.calibrate.heat_lesson import HeatLearned
    from kerfwright.coupons.readings import Reading
    from kerfwright.coupons.record import CouponRecord
    from kerfwright.machine.machine import Machine
    from kerfwright.wood.board import Board

FAINTEST = 1e-6


@dataclass(frozen=True, eq=False)
class Watched:
    """Cells of one machine on one wood at one thickness. needed_ln: ln energy that takes 99 places of 100 through, so that an
    excess counted from it errs on the loud side; heat, char: None where too few were watched."""

    needed_ln: float
    heat: HeatLearned | None
    char: CharLearned | None

    def flame_word(self, excess: float) -> str:
        """Risk of flame of an energy, as a multiple of what just goes through: "raised", "high" or "unknown"."""
        return self.heat.risk(self._ln(excess)) if self.heat else "unknown"

    def char_word(self, excess: float) -> str:
        """Char beside such a cut: "light", "heavy" or "unknown"."""
        return self.char.word(self._ln(excess)) if self.char else "unknown"

    def _ln(self, excess: float) -> float:
        return self.needed_ln + math.log(max(excess, FAINTEST))


def cells_watched(machine: Machine, board: Board, notebook: str | Path | None) -> Watched | None:
    """What the notebook's cells say of this machine and a board like this; None when nothing tells how much goes through."""
    from kerfwright.calibrate.char_lesson import learn_char
    from kerfwright.calibrate.evidence import evidence_from
    from kerfwright.calibrate.learn import learn

    evidence = evidence_from(coupons_of(notebook))
    if not evidence.data:
        return None
    learned = learn(evidence, machine, board)
    if learned.through is None:
        return None
    here = evidence.on(machine.name, board.species, board.thickness_mm)
    return Watched(learned.through.needed_ln.value, learned.heat, learn_char(here, learned.through.kappa))


def coupons_of(notebook: str | Path | None) -> list[tuple[CouponRecord, list[Reading]]]:
    """All coupons of a notebook that were read; none where a person has no notebook yet."""
    from kerfwright.app.learning import coupons_read
    from kerfwright.notebook.address import default_path
    from kerfwright.notebook.notebook import open_notebook

    if notebook is None and not default_path().exists():
        return []  # to look is no reason to begin a notebook
    with open_notebook(notebook) as book:
        return coupons_read(book)

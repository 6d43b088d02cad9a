"""Proof that a lid opens: its solid carried through its whole way, step by step, against all that stands."""

from __future__ import annotations

import numpy as np

from kerfwright.core.errors import BuildError
from kerfwright.geometry.assembly import Part
from kerfwright.geometry.solid import first_clash
from kerfwright.pieces.lid import Travel

N_STEPS = 24
TOUCHES_MM3 = 1e-3  # a film of a few nanometres on a lid: parts that only touch


def prove_opening(standing: tuple[Part, ...], moving: tuple[Part, ...], travel: Travel) -> None:
    """Raises BuildError, saying where it catches, when the lid does not open all its way."""
    shares = np.linspace(0.0, 1.0, N_STEPS + 1) * (1 - 1e-9)  # the open lid may lean on a wall
    caught = first_clash(standing, moving, [travel.at(float(share)) for share in shares], TOUCHES_MM3)
    if caught is None:
        return
    share = float(shares[caught.step])
    how = f"{share * travel.turn_deg:.0f} deg open" if travel.turn_deg else f"{share:.0%} out"
    raise BuildError(
        f"the {caught.moving} catches on the {caught.standing} when it is {how} ({caught.shared_mm3:.2f} mm3 in two places at once)",
        remedy="Give lid.play more, move lid.back forward, or make the lid thinner",
    )

"""How tight a joint should be, in trade words or in millimetres.

The classes are a proposal of this project (own judgement, no published source), as total clearance across one pin:
two flanks together, > 0 open, < 0 squeeze.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field

from kerfwright.core.errors import InputError
from kerfwright.core.units import parse_length_mm

FIT_CLASSES_MM: dict[str, tuple[float, float]] = {
    "press": (-0.10, 0.00),
    "snug": (0.00, 0.05),
    "slip": (0.05, 0.15),
    "loose": (0.15, 0.30),
}
TIGHTEST_MM = -0.10  # more squeeze than wood crushes at one pin: split risk (own judgement, HANDBOOK section D)


def parse_fit_mm(value: object) -> float:
    """Total clearance across a pin from ``"snug"`` (middle of its class) or ``"0.03 mm"``."""
    if isinstance(value, str) and value.strip().lower() in FIT_CLASSES_MM:
        low_mm, high_mm = FIT_CLASSES_MM[value.strip().lower()]
        return (low_mm + high_mm) / 2
    words = ", ".join(FIT_CLASSES_MM)
    try:
        return parse_length_mm(value)
    except InputError as bad:
        raise InputError(f"{value!r} is not a fit", accepted=f'{words}, or a clearance such as "0.03 mm"') from bad


Fit = Annotated[float, BeforeValidator(parse_fit_mm), Field(ge=TIGHTEST_MM, le=0.5)]


def fit_word(clearance_mm: float) -> str:
    """The trade word for a total clearance across a pin."""
    for word, (low_mm, high_mm) in FIT_CLASSES_MM.items():
        if low_mm <= clearance_mm < high_mm:
            return word
    return "too tight" if clearance_mm < 0 else "too loose"

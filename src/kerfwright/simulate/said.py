"""A verdict in plain sentences for the person at the bench, the loudest first."""

from __future__ import annotations

import math
from collections.abc import Sequence

from kerfwright.core.estimate import Estimate
from kerfwright.process.job import Job
from kerfwright.process.verdict import HOW, CornerVerdict, RecessVerdict

EYE_MM = 0.09  # about what an eye sees at 300 mm (one minute of arc: HANDBOOK D)
SURELY = 0.95
LEAST_THROUGH = 0.01  # spoilt for good, so told of sooner
# Plan and burn were told by the same coupons, so they should differ by less than their spreads (own judgement).
DISAGREEMENT_SDS, LEAST_DISAGREEMENT_MM = 1.5, 0.015
NEWTON_A_KILO = 9.81
HAND_KG, MALLET_KG = 10.0, 100.0  # what an arm leans, what taps do (common practice, no source)


def sentences(corners: Sequence[CornerVerdict], job: Job, fallbacks: Sequence[str]) -> tuple[str, ...]:
    """What to know before burning. fallbacks: what had to be assumed of the wood."""
    if not corners:
        return ("This piece has no corner to judge.",)
    worst = min(corners, key=lambda each: each.goes_together)
    told = [_going(worst), *_half_pins(corners), *_disagreements(corners), _fits(corners), _seen(corners), *_pressing(corners),
            *_proud(corners), *_cause(corners)]
    return (*told, *(f"{each[0].upper()}{each[1:]}." for each in fallbacks))


def recess_sentences(recesses: Sequence[RecessVerdict]) -> tuple[str, ...]:
    """What to know of grooves and housings: the worst of what may go wrong, one sentence a kind."""
    held = [each for each in recesses if each.goes_in is not None and each.rattle_mm and each.under_mm]
    told = [*_too_narrow(held), *_too_shallow(held), *_through(recesses)]
    if told or not held:
        return tuple(told)
    plays = [each.rattle_mm.value for each in held if each.rattle_mm]
    return (f"Every board goes into its groove or housing, with {min(plays):.2f} to {max(plays):.2f} mm of play.",)


def _too_narrow(held: Sequence[RecessVerdict]) -> list[str]:
    worst = min(held, key=lambda each: each.goes_in or 0.0, default=None)
    if worst is None or worst.goes_in is None or worst.width_mm is None or worst.goes_in >= SURELY:
        return []
    return [f"{worst.holds} goes into the {worst.recess} in {worst.part} in only {in_ten(worst.goes_in)}: it comes out "
            f"{worst.width_mm.value:.2f} mm wide ({worst.width_mm.sd:.2f} either way). Give it more play, or thin the board's edge."]


def _too_shallow(held: Sequence[RecessVerdict]) -> list[str]:
    worst = max(held, key=lambda each: each.too_shallow or 0.0, default=None)
    if worst is None or worst.too_shallow is None or worst.under_mm is None or worst.too_shallow <= 1 - SURELY:
        return []
    low = f"{-worst.under_mm.value:.2f} mm too high" if worst.under_mm.value < 0 else f"only {worst.under_mm.value:.2f} mm deep enough"
    return [f"The floor of the {worst.recess} in {worst.part} holds {worst.holds} off in {in_ten(worst.too_shallow)}: its highest place is "
            f"{low} ({worst.under_mm.sd:.2f} either way). Make it deeper, or give the board more play at its edge."]


def _through(recesses: Sequence[RecessVerdict]) -> list[str]:
    worst = max(recesses, key=lambda each: each.breaks_through, default=None)
    if worst is None or worst.breaks_through < LEAST_THROUGH:
        return []
    return [f"The {worst.recess} breaks through {worst.part} in {in_ten(worst.breaks_through)}: behind its deepest place "
            f"{worst.left_mm.value:.2f} mm is left ({worst.left_mm.sd:.2f} either way). Make it shallower, or the board thicker."]


def in_ten(share: float) -> str:
    """Odds as people say them."""
    if share >= 0.995:
        return "practically every burn"
    if share >= SURELY:
        return "19 burns of 20 or more"
    tenths = round(10 * share)
    return "hardly any burn" if tenths == 0 else f"about {tenths} burns of 10"


def _going(worst: CornerVerdict) -> str:
    if worst.goes_together >= SURELY:
        return f"Every corner goes together in {in_ten(worst.goes_together)}."
    told = f"{worst.corner} goes together in only {in_ten(worst.goes_together)}" if worst.goes_together >= 0.05 else (
        f"{worst.corner} does not go together"
    )
    return f"{told}: {worst.blocked_by}." if worst.blocked_by else f"{told}."


def _half_pins(corners: Sequence[CornerVerdict]) -> list[str]:
    found = [f"The risk that a half-pin splits is {word} at {_named(corners, word)}." for word in ("high", "raised")
             if any(each.half_pin == word for each in corners)]
    if any(each.half_pin == "unknown" for each in corners):
        found.append("Whether a half-pin splits is unknown: this wood's shear strength is not known.")
    return found


def _named(corners: Sequence[CornerVerdict], word: str) -> str:
    return ", ".join(each.corner for each in corners if each.half_pin == word)


def _disagreements(corners: Sequence[CornerVerdict]) -> list[str]:
    """The plan and the burn differ by more than their spreads make likely."""
    apart = [(each, each.planned_gap_mm.value) for each in corners if each.planned_gap_mm is not None and _apart(each, each.planned_gap_mm)]
    if not apart:
        return []
    corner, planned_mm = max(apart, key=lambda pair: abs(pair[0].seen_gap_mm.value - pair[1]))
    by_mm = corner.seen_gap_mm.value - planned_mm
    return [f"The plan expected a seen gap of {planned_mm:.2f} mm at {corner.corner}, the burn says {corner.seen_gap_mm.value:.2f} mm: "
            f"{abs(by_mm):.2f} mm {'wider' if by_mm > 0 else 'closer'}. One of the two is off: a coupon tells which, before the wood does."]


def _apart(corner: CornerVerdict, planned: Estimate) -> bool:
    both_mm = math.hypot(corner.seen_gap_mm.sd, planned.sd)
    return abs(corner.seen_gap_mm.value - planned.value) > max(DISAGREEMENT_SDS * both_mm, LEAST_DISAGREEMENT_MM)


def _fits(corners: Sequence[CornerVerdict]) -> str:
    odds = {word: sum(each.odds[word] for each in corners) / len(corners) for word in HOW}
    ranked = sorted((word for word in HOW if odds[word] >= 0.05), key=lambda word: -odds[word])
    return "Corners come out " + ", ".join(f"{word} {100 * odds[word]:.0f} %" for word in ranked) + "."


def _seen(corners: Sequence[CornerVerdict]) -> str:
    worst = max(corners, key=lambda each: each.seen_gap_mm.value)
    low, high = (max(worst.seen_gap_mm.value + sign * 2 * worst.seen_gap_mm.sd, 0.0) for sign in (-1, 1))
    told = f"The seen gap is about {worst.seen_gap_mm.value:.2f} mm ({low:.2f} to {high:.2f})"
    return f"{told}, {worst.seen_worst_mm.value:.2f} at its widest; an eye sees about {EYE_MM:.2f} mm at reading distance."


def _pressing(corners: Sequence[CornerVerdict]) -> list[str]:
    hardest = max(corners, key=lambda each: each.press_n[2])
    low, _, high = (force / NEWTON_A_KILO for force in hardest.press_n)
    if high < 0.5:
        return ["It slides home by hand."]
    how = "by hand" if high < HAND_KG else "with a few taps of a mallet" if high < MALLET_KG else "with a clamp, if at all"
    return [f"{hardest.corner} is pushed home with {low:.0f} to {high:.0f} kg ({how}), as dry wood rubs."]


def _proud(corners: Sequence[CornerVerdict]) -> list[str]:
    short = [(part, each.value) for corner in corners for part, each in corner.proud_mm.items() if each.value - each.sd < 0]
    if not short:
        return []
    part, value_mm = min(short, key=lambda pair: pair[1])
    return [f"Ends of {part} may stay below the face ({value_mm:+.2f} mm): nothing is left to plane there."]


def _cause(corners: Sequence[CornerVerdict]) -> list[str]:
    """What makes the spread at the corner that spreads most."""
    widest = max(corners, key=lambda each: each.seen_gap_mm.sd)
    return [f"{each.cause[0].upper()}{each.cause[1:]} makes {100 * min(each.share_frac, 1.0):.0f} % of the spread. {each.remedy}."
            for each in widest.causes]

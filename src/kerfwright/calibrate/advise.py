"""What to burn next, for how much wood and time and what gain - or enough.

The gain is how much the spread of a joint's gap (one flank, mm) is expected to shrink. A joint's spread is made of the
kerf's spread on both boards and, where walls slope, the ramp's: depth spread times slope, and the wall's own shift.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwright.calibrate.learn import Learned, recipe_of
from kerfwright.process.recipe import Recipe

ENOUGH_MM = 0.02  # under the eye's 0.09 mm and the wood's crush by a wide margin (judgement of ours)
SPEED_OFF_FRAC = 0.15  # a kerf comb burnt this far from the recommended speed no longer speaks for it
# Spread left after a coupon is read well: what the fits of simulated shops leave (measured here), mm.
KERF_LEFT_MM, DEPTH_LEFT_MM, SHIFT_LEFT_MM = 0.008, 0.15, 0.012
GOOD_ENOUGH_SHARE = 1.3
WOOD_AND_TIME = {
    "machine": (120, 25),
    "focus": (60, 8),
    "through": (110, 15),
    "kerf comb": (80, 12),
    "ramp staircase": (90, 15),
    "sloped edge": (50, 12),
    "fit ladder": (120, 25),
}  # mm of a 50 mm board, minutes with reading (rough)


@dataclass(frozen=True)
class Advice:
    """One coupon to burn. gain_mm: expected shrink of a flank's spread; 0 when it must come first for other reasons."""

    coupon: str
    why: str
    gain_mm: float
    board_mm: int
    minutes: int


@dataclass(frozen=True)
class Advised:
    """now_mm: today's spread of a flank; steps best first, empty when enough."""

    now_mm: float
    enough: bool
    steps: tuple[Advice, ...]
    said: str


def advise(learned: Learned, slope_frac: float = 0.125, sloped: bool = True) -> Advised:
    """What to burn next for joints of this slope (box joints: sloped False)."""
    recipe = recipe_of(learned)
    kerf, wall = _kerf_sd(recipe), _wall_sd(recipe, slope_frac, learned.board.thickness_mm) if sloped else 0.0
    now = math.hypot(kerf, wall) if sloped else kerf * math.sqrt(2)
    steps = _first_steps(learned)
    if not steps:
        shift = recipe.ramp.wall_shift_mm.sd if recipe.ramp is not None else SHIFT_LEFT_MM
        steps = _by_gain(learned, kerf, wall, shift, now, slope_frac, sloped)
    steps.sort(key=lambda step: -step.gain_mm)
    enough = not steps and now <= 2 * ENOUGH_MM
    said = (
        f"Enough: a flank is known to ± {now:.3f} mm"
        if enough
        else f"A flank is known to ± {now:.3f} mm; next: {steps[0].coupon} ({steps[0].why})"
        if steps
        else f"A flank is known to ± {now:.3f} mm; more readings of the same coupons would help most"
    )
    return Advised(now, enough, tuple(steps), said)


def _kerf_sd(recipe: Recipe) -> float:
    cut = recipe.through_for(sum(recipe.through[0].thickness_mm) / 2)
    return max(profile.waist_mm.sd for profile in cut.kerf) / 2


def _wall_sd(recipe: Recipe, slope_frac: float, thickness_mm: float) -> float:
    ramp = recipe.ramp
    if ramp is None:
        return 0.0
    return math.hypot(ramp.wall_shift_mm.sd, slope_frac * ramp.depth_sd_mm(thickness_mm / 2))


def _advice(coupon: str, why: str, gain_mm: float) -> Advice:
    board_mm, minutes = WOOD_AND_TIME[coupon]
    return Advice(coupon, why, gain_mm, board_mm, minutes)


def _first_steps(learned: Learned) -> list[Advice]:
    """Coupons without which the others are burnt at the wrong settings."""
    if learned.through is None:
        return [_advice("through", "nothing is known yet about cutting this wood through", 0.0)]
    if any(finding.code in ("never-through", "short-of-through") for finding in learned.through.lesson.findings):
        return [_advice("through", "go slower: 99 % of places are not reached yet", 0.0)]
    return []


def _by_gain(
    learned: Learned, kerf: float, wall: float, shift: float, now: float, slope_frac: float, sloped: bool
) -> list[Advice]:
    def gain(new_kerf: float, new_wall: float) -> float:
        return now - (math.hypot(new_kerf, new_wall) if sloped else new_kerf * math.sqrt(2))

    steps: list[Advice] = []
    if learned.kerf is None or _speed_moved(learned):
        why = "the slit's width is only guessed" if learned.kerf is None else "the recommended speed has moved away from the comb's"
        steps.append(_advice("kerf comb", why, max(gain(KERF_LEFT_MM / 2, wall), 0.001)))
    elif kerf > GOOD_ENOUGH_SHARE * KERF_LEFT_MM:
        steps.append(_advice("kerf comb", "a second comb on this board would narrow the slit's spread", gain(KERF_LEFT_MM / 2, wall)))
    if sloped and learned.ramp is None:
        left = math.hypot(shift, slope_frac * DEPTH_LEFT_MM)
        steps.append(_advice("ramp staircase", "depth against power is only guessed", max(gain(kerf, min(wall, left)), 0.001)))
    elif sloped and learned.ramp is not None and learned.ramp.settings.deepest_mm < learned.board.thickness_mm * 0.999:
        steps.append(_advice("ramp staircase", "no field went through yet: the next one is burnt slower", max(gain(kerf, wall / 2), 0.001)))
    elif sloped and learned.wall is None:
        steps.append(
            _advice(
                "sloped edge",
                "where a ramped wall really ends has not been read",
                max(gain(kerf, math.hypot(SHIFT_LEFT_MM, slope_frac * DEPTH_LEFT_MM)), 0.001),
            )
        )
    return [step for step in steps if step.gain_mm > 0.0005 * max(now / ENOUGH_MM, 1)]


def _speed_moved(learned: Learned) -> bool:
    if learned.through is None or learned.kerf is None:
        return False
    cut = learned.kerf.cuts[-1]
    margin = learned.through.margin_frac(learned.machine.power_w * cut.power_frac, cut.passes, cut.speed_mm_s)
    return margin < -SPEED_OFF_FRAC

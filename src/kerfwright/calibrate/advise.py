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
LEAST_GAIN_MM = 0.002  # below a tenth of ENOUGH_MM a coupon is not worth its wood (judgement of ours)
# More of one kind on one wood teach no more: what is left then is how places and boards differ, or what the machine cannot do.
MOST_COMBS, MOST_STAIRCASES = 2, 3
DEFAULT_SLOPE_FRAC = 0.125
PILOT = "what is left is how boards and places differ: a pilot strip in each board narrows it (pilot = true under [burn])"
NEW_BOARD = "Machine and wood are known, this board is not: one short strip in its own waste is all it needs (pilot = true under [burn])"
# mm of an offcut 100 mm wide; minutes of burning and reading (burning as planned for 6 mm maple and 20 W, reading a guess of ours).
WOOD_AND_TIME = {
    "through": (180, 15),
    "kerf comb": (70, 12),
    "ramp staircase": (150, 25),
    "sloped edge": (35, 12),
    "machine": (80, 10),
}


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
    """now_mm: today's spread of a flank; steps best first, empty when enough; pilot: a pilot strip in each board is worth its wood.

    A new board of a wood that is known needs nothing else.
    """

    now_mm: float
    enough: bool
    steps: tuple[Advice, ...]
    pilot: bool
    said: str


def advise(learned: Learned, slope_frac: float | None = DEFAULT_SLOPE_FRAC) -> Advised:
    """What to burn next for joints of this slope; None for square walls only. No steps left is enough: what remains is the wood's."""
    recipe = recipe_of(learned)
    kerf, wall = _kerf_sd(recipe), _wall_sd(recipe, slope_frac, learned.board.thickness_mm) if slope_frac else None
    new_board = learned.board.name not in learned.evidence.boards
    steps = _needed(learned, recipe, kerf, wall, slope_frac) or (() if new_board else _finer(learned, kerf, wall))
    now = _flank_sd(kerf, wall)
    pilot = not steps and (new_board or now > ENOUGH_MM)
    if not steps and new_board:
        said = f"{NEW_BOARD}; without it a flank is known to ± {now:.3f} mm"
    elif steps:
        said = f"A flank is known to ± {now:.3f} mm; next: {steps[0].coupon} ({steps[0].why})"
    else:
        said = f"Enough: a flank is known to ± {now:.3f} mm" + (f"; {PILOT}" if pilot else "")
    return Advised(now, not steps, steps, pilot, said)


def _kerf_sd(recipe: Recipe) -> float:
    cut = recipe.through_for(sum(recipe.through[0].thickness_mm) / 2)
    return max(profile.waist_mm.sd for profile in cut.kerf) / 2


def _wall_sd(recipe: Recipe, slope_frac: float, thickness_mm: float) -> float:
    ramp = recipe.ramp
    if ramp is None:
        return 0.0
    return math.hypot(ramp.wall_shift_mm.sd, slope_frac * ramp.depth_sd_mm(thickness_mm / 2))


def _flank_sd(kerf: float, wall: float | None) -> float:
    """A square tail wall meets a ramped one, or another square one."""
    return math.hypot(kerf, kerf if wall is None else wall)


def _needed(learned: Learned, recipe: Recipe, kerf: float, wall: float | None, slope_frac: float | None) -> tuple[Advice, ...]:
    """The first coupon of the road that is still missing: each is burnt at what the ones before it taught."""
    now = _flank_sd(kerf, wall)

    def step(coupon: str, why: str, new_kerf: float = kerf, new_wall: float | None = wall) -> tuple[Advice, ...]:
        return (Advice(coupon, why, max(now - _flank_sd(new_kerf, new_wall), 0.0), *WOOD_AND_TIME[coupon]),)

    if learned.through is None:
        return step("through", "nothing is known yet about cutting this wood through")
    if any(finding.code in ("never-through", "short-of-through") for finding in learned.through.lesson.findings):
        return step("through", "go slower: 99 % of places are not reached yet")
    if learned.kerf is None or _speed_moved(learned):
        why = "the slit's width is only guessed" if learned.kerf is None else "the recommended speed has moved away from the comb's"
        return step("kerf comb", why, KERF_LEFT_MM / 2)
    if slope_frac is None:
        return ()
    shift = recipe.ramp.wall_shift_mm.sd if recipe.ramp is not None else SHIFT_LEFT_MM
    n_staircases = _n_burnt(learned, "ramp staircase")
    if learned.ramp is None and n_staircases < MOST_STAIRCASES:
        return step("ramp staircase", "depth against power is only guessed", kerf, math.hypot(shift, slope_frac * DEPTH_LEFT_MM))
    if learned.ramp is None or learned.ramp.settings.deepest_mm < learned.board.thickness_mm * 0.999:
        if n_staircases < MOST_STAIRCASES:
            return step("ramp staircase", "no field went through yet: the next one is burnt slower", kerf, wall and wall / 2)
        # This machine does not ramp this board: the plan takes the cradle, and a board turned end for end feels the bed's scale.
        known = any(lesson.topic == "machine" for lesson in learned.lessons)
        return () if known else step("machine", "boards will be turned end for end in a cradle, where the bed's scale counts twice")
    if learned.wall is None:
        left = math.hypot(SHIFT_LEFT_MM, slope_frac * DEPTH_LEFT_MM)
        return step("sloped edge", "where a ramped wall really ends has not been read", kerf, left)
    return ()


def _finer(learned: Learned, kerf: float, wall: float | None) -> tuple[Advice, ...]:
    """One coupon of a kind that was burnt already, where its own readings were too few."""
    if kerf <= GOOD_ENOUGH_SHARE * KERF_LEFT_MM or _n_burnt(learned, "kerf comb") >= MOST_COMBS:
        return ()
    gain = _flank_sd(kerf, wall) - _flank_sd(KERF_LEFT_MM / 2, wall)
    if gain < LEAST_GAIN_MM:
        return ()
    return (Advice("kerf comb", "a second comb on this board would narrow the slit's spread", gain, *WOOD_AND_TIME["kerf comb"]),)


def _n_burnt(learned: Learned, kind: str) -> int:
    return len({datum.record.id for datum in learned.evidence.data if datum.record.kind == kind})


def _speed_moved(learned: Learned) -> bool:
    if learned.through is None or learned.kerf is None:
        return False
    cut = learned.kerf.cuts[-1]
    margin = learned.through.margin_frac(learned.machine.power_w * cut.power_frac, cut.passes, cut.speed_mm_s)
    return margin < -SPEED_OFF_FRAC

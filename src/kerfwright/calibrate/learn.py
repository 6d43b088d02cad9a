"""Everything learned of one machine on one wood, and the recipe that follows from it.

The order matters: the machine's scale corrects tongue pitches, going through tells how much energy is spare, the kerf and
the ramp come with the settings they were burnt at, and the sloped edge corrects the ramp that was drawn with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from kerfwright.calibrate.evidence import Evidence
from kerfwright.calibrate.heat_lesson import HeatLearned, learn_heat
from kerfwright.calibrate.kerf_lesson import KerfLearned, learn_kerf
from kerfwright.calibrate.lesson import Lesson
from kerfwright.calibrate.outcome_lesson import Outcome, OutcomeLearned, learn_outcomes
from kerfwright.calibrate.ramp_lesson import RampLearned, learn_ramp
from kerfwright.calibrate.shop_lessons import learn_fit, learn_focus, learn_machine
from kerfwright.calibrate.through_lesson import KAPPA_MEAN, ThroughLearned, learn_through
from kerfwright.calibrate.wall_lesson import WallLearned, learn_wall
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Finding, merged
from kerfwright.coupons.first_guess import FIRST_GUESS, first_guess
from kerfwright.machine.machine import Machine
from kerfwright.process.recipe import Recipe, ThroughCut
from kerfwright.wood.board import Board


@dataclass(frozen=True, eq=False)
class Learned:
    """What a machine and a wood have taught so far; None where nothing is known yet."""

    machine: Machine
    board: Board
    evidence: Evidence
    through: ThroughLearned | None
    heat: HeatLearned | None
    kerf: KerfLearned | None
    ramp: RampLearned | None
    wall: WallLearned | None
    focus: Lesson | None
    shop: Lesson | None
    fit: Lesson | None
    outcome: OutcomeLearned | None = None

    @property
    def lessons(self) -> tuple[Lesson, ...]:
        """Every lesson there is, in the order of the bench."""
        found = (
            self.shop,
            self.focus,
            self.through and self.through.lesson,
            self.heat and self.heat.lesson,
            self.kerf and self.kerf.lesson,
            self.ramp and self.ramp.lesson,
            self.wall and self.wall.lesson,
            self.fit,
            self.outcome and self.outcome.lesson,
        )
        return tuple(lesson for lesson in found if lesson is not None)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings of all lessons."""
        return merged(finding for lesson in self.lessons for finding in lesson.findings)


def learn(evidence: Evidence, machine: Machine, board: Board, outcomes: Sequence[Outcome] = ()) -> Learned:
    """Learn from all readings what concerns this machine and this board's species and thickness."""
    here = evidence.on(machine.name, board.species, board.thickness_mm)
    everywhere = evidence.by_machine(machine.name)
    guess = first_guess(machine, board.species, board.thickness_mm)
    assert guess.ramp is not None  # a first guess always has one
    shop = learn_machine(everywhere)
    scale = {axis: shop.estimates[f"scale_{axis}_frac"].value for axis in ("x", "y") if shop and f"scale_{axis}_frac" in shop.estimates}
    through = learn_through(here, board.name)
    heat = learn_heat(here, through.kappa if through else KAPPA_MEAN)
    if through is not None and heat is not None:
        through = through.below_flame(heat.flame_ln)
        heat = heat.told_of(through.recommended_ln)
    return Learned(
        machine,
        board,
        here,
        through,
        heat,
        learn_kerf(here, scale, board.name),
        learn_ramp(here, guess.ramp, board.name),
        learn_wall(here),
        learn_focus(everywhere),
        shop,
        learn_fit(here),
        learn_outcomes(outcomes, machine.name, board.species, board.thickness_mm),
    )


def recipe_of(learned: Learned, name: str = "") -> Recipe:
    """The recipe for this machine and board. What was not learned stays a first guess and says so in its sources.

    Until a kerf comb is read, the through settings are the recommended speed with guessed widths.
    """
    guess = first_guess(learned.machine, learned.board.species, learned.board.thickness_mm)
    through = learned.kerf.cuts if learned.kerf else (_with_speed(guess.through[0], learned),)
    if learned.heat is not None:
        through = _told_heat(through, learned.heat, learned.machine.power_w)
    ramp = learned.ramp.settings if learned.ramp else guess.ramp
    if ramp is not None and learned.wall is not None:
        ramp = ramp.model_copy(update={"wall_shift_mm": learned.wall.shift_mm, "wall_lean_frac": learned.wall.lean_frac})
    shift_mm = learned.outcome.shift_mm.value if learned.outcome else 0.0
    if shift_mm:
        # Half of a flank's error to each board: half a kerf is what a wall sees, so widths grow by the whole of it.
        through = tuple(_wider(cut, shift_mm) for cut in through)
        ramp = ramp and ramp.model_copy(
            update={"wall_shift_mm": replace(ramp.wall_shift_mm, value=ramp.wall_shift_mm.value + shift_mm / 2)}
        )
    known = [lesson.topic for lesson in learned.lessons]
    guessed = [topic for topic in ("through", "kerf", "ramp", "wall") if topic not in known]
    if not known:
        made_from = FIRST_GUESS
    else:
        made_from = f"readings of {', '.join(learned.evidence.coupons) or 'other boards'}" + (
            f"; still guessed: {', '.join(guessed)}" if guessed else ""
        )
    title = name or f"{learned.board.species} {learned.board.thickness_mm:.1f} mm on {learned.machine.name}"
    return guess.model_copy(
        update={"name": title[:80], "made_from": made_from, "through": through, "ramp": ramp, "flank_shift_mm": shift_mm}
    )


def _wider(cut: ThroughCut, by_mm: float) -> ThroughCut:
    """The cut with every width changed by as much."""

    def moved(each: Estimate) -> Estimate:
        return replace(each, value=max(each.value + by_mm, 0.01))

    kerf = tuple(
        profile.model_copy(update={name: moved(getattr(profile, name)) for name in ("top_mm", "waist_mm", "bottom_mm")})
        for profile in cut.kerf
    )
    return cut.model_copy(update={"kerf": kerf})


def _with_speed(cut: ThroughCut, learned: Learned) -> ThroughCut:
    """The guess at the recommended speed and best focus, so that the kerf comb is burnt where production will be."""
    changes: dict[str, object] = {}
    if learned.through is not None:
        power_w = learned.machine.power_w * cut.power_frac
        changes["speed_mm_s"] = min(learned.through.speed_mm_s(power_w, cut.passes), learned.machine.top_speed_mm_s)
    if learned.focus is not None:
        best = [each.value for name, each in learned.focus.estimates.items() if name.startswith("focus_")]
        # The guess stands a little below the face; the ladder says where the face really is for this gauge.
        changes["focus_mm"] = cut.focus_mm + sum(best) / len(best)
    return cut.model_copy(update=changes)


def _told_heat(cuts: tuple[ThroughCut, ...], heat: HeatLearned, full_power_w: float) -> tuple[ThroughCut, ...]:
    """The cuts with their risk in a word; cuts in the range where flame was seen are left out while there are others."""
    kept = tuple(cut for cut in cuts if not heat.flames(cut, full_power_w)) or cuts
    return tuple(cut.model_copy(update={"heat": heat.of_cut(cut, full_power_w)}) for cut in kept)

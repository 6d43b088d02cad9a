"""Findings about a planned job: what may spoil wood, and the usual cautions for the body."""

from __future__ import annotations

from collections.abc import Mapping

from kerfwright.core.finding import Finding, caution, note, warning
from kerfwright.coupons.first_guess import guess_findings
from kerfwright.geometry.slab import Face
from kerfwright.machine.machine import Machine
from kerfwright.pieces.design import Corner
from kerfwright.plan.blank import sharing
from kerfwright.plan.spread import Cause, Spread, largest
from kerfwright.plan.walls import RAMP_PRACTICAL_MM
from kerfwright.process.fit import TIGHTEST_MM
from kerfwright.process.gap import MateGap, WallOption
from kerfwright.process.recipe import Recipe
from kerfwright.process.setup import Setup
from kerfwright.wood.board import Board
from kerfwright.wood.species import find_species

EYE_SEES_MM = 0.09  # one minute of arc at 300 mm (own arithmetic)
FLAT_ENOUGH_MM = 0.15  # thickness spread within one board that a joint still forgives (common practice, no source)
FEW_POINTS = 3

# What a spread comes from, and what makes it smaller.
CAUSE_WORDS: dict[Cause, tuple[str, str]] = {
    Cause.KERF: ("the slit's width", "burn the kerf comb again"),
    Cause.RAMP: ("the ramps", "burn the ramp staircase and the sloped edge again"),
    Cause.MARKS: ("laying the boards again", "read the witness marks with a lens"),
    Cause.PLACING: ("laying the boards again by hand", "have witness marks burnt (reread = true) and read them"),
    Cause.TURNING: ("turning the boards over", "use a recipe that cuts this thickness from one face"),
}


def body_cautions(boards: Mapping[str, Board]) -> list[Finding]:
    """Fire, eyes, fumes and dust; dust of the species named where a list implicates it."""
    found = [
        caution(
            "fire",
            "Cutting wood this deep can set it alight. Stay beside the machine for the whole burn, with air assist on "
            "and an extinguisher in reach; follow the machine's manual and your local rules",
        ),
        caution(
            "eyes", "A cutting laser harms eyes, also by stray reflection. Keep the enclosure shut or wear eyewear rated for this laser"
        ),
        caution(
            "fumes", "Smoke from burnt wood holds benzene, formaldehyde and fine particles. Extract it outdoors or through a rated filter"
        ),
        caution("dust", "Sanding raises fine dust of wood and char. Extract it and wear a mask rated for fine dust"),
    ]
    for name in sorted({board.species for board in boards.values()}):
        species = find_species(name)
        if species.dust_caution:
            found.append(caution("dust", f"{species.name}: {species.dust_caution}"))
    return found


def board_findings(boards: Mapping[str, Board]) -> list[Finding]:
    """Boards measured too little or too uneven."""
    found: list[Finding] = []
    for part, board in boards.items():
        if board.thickness_spread_mm > FLAT_ENOUGH_MM:
            found.append(
                warning(
                    "uneven-board",
                    f'board "{board.name}" varies {board.thickness_spread_mm:.2f} mm in thickness: plane it again, '
                    "or expect steps at the baselines",
                    part,
                )
            )
        if len(board.thickness_points_mm) < FEW_POINTS:
            found.append(
                note(
                    "few-points",
                    f'board "{board.name}" has {len(board.thickness_points_mm)} thickness reading(s); measure three or more',
                    part,
                )
            )
    return found


def blank_findings(boards: Mapping[str, Board]) -> list[Finding]:
    """More parts than pieces of wood."""
    found: list[Finding] = []
    for board, parts in sharing(boards):
        if len(parts) > board.n_pieces:
            there = "is one piece of wood" if board.n_pieces == 1 else f"stands for {board.n_pieces} pieces of wood"
            found.append(
                warning(
                    "too-few-boards",
                    f'board "{board.name}" {there} and {len(parts)} parts are cut from it: mill {len(parts)} alike and say '
                    f"pieces = {len(parts)} in its file, or give a part a board file of its own",
                    ", ".join(parts),
                )
            )
    return found


def recipe_findings(recipes: Mapping[str, Recipe], boards: Mapping[str, Board], machine: Machine) -> list[Finding]:
    """Recipes for another machine or species, or without spreads."""
    found: list[Finding] = []
    for part, recipe in recipes.items():
        found += [*guess_findings(recipe, part), *_heat_findings(recipe, boards[part], part)]
        if recipe.machine != machine.name:
            found.append(warning("other-machine", f'recipe "{recipe.name}" was made on "{recipe.machine}", not on "{machine.name}"', part))
        if find_species(recipe.species).name != find_species(boards[part].species).name:
            found.append(
                warning("other-species", f'recipe "{recipe.name}" is for {recipe.species}, the board is {boards[part].species}', part)
            )
        guessed = [
            each
            for cut in recipe.through
            for kerf in cut.kerf
            for each in (kerf.top_mm, kerf.waist_mm, kerf.bottom_mm)
            if "ours assumed" in each.source
        ]
        if guessed:
            found.append(
                warning(
                    "no-spread",
                    f'recipe "{recipe.name}" gives {len(guessed)} kerf widths without a spread; '
                    f"{guessed[0].sd:g} mm is assumed (common practice, no source)",
                    part,
                )
            )
    return found


def _heat_findings(recipe: Recipe, board: Board, part: str) -> list[Finding]:
    """What the through coupon's cells told of the settings for this board; the standing caution speaks where none was watched."""
    words = {cut.heat for cut in recipe.through if cut.covers(board.thickness_mm)}
    if "high" in words:
        text = "the risk of flame with these through settings is high: cells like them flashed or may well. Try more, lighter passes, "
        return [caution("through-heat", f"{text}more air or a thinner board, and burn the through coupon again first", part)]
    if "raised" in words:
        return [caution("through-heat", "the risk of flame with these through settings is raised, as the coupon's cells told", part)]
    return []


def wall_findings(walls: tuple[WallOption, ...], thickness_mm: Mapping[str, float]) -> list[Finding]:
    """Deep ramps."""
    return [
        caution(
            "deep-ramp",
            f"ramping {thickness_mm[wall.part]:.1f} mm deep is slow and hot; the risk of flame is raised past "
            f"about {RAMP_PRACTICAL_MM - 0.5:g} mm (common practice, no source)",
            wall.part,
        )
        for wall in walls
        if wall.chosen and wall.method in ("ramp", "two faces") and thickness_mm[wall.part] > RAMP_PRACTICAL_MM
    ]


def gap_findings(gaps: tuple[MateGap, ...], corners: tuple[Corner, ...], spreads_mm: tuple[Spread, ...]) -> list[Finding]:
    """Joints that will show, split or not close. spreads_mm: of each gap, by cause."""
    found: list[Finding] = []
    for gap, corner, spread_mm in zip(gaps, corners, spreads_mm, strict=True):
        seen = max(gap.seen_tail_face_mm.value, gap.seen_pin_face_mm.value)
        if seen > EYE_SEES_MM:
            found.append(
                warning(
                    "gap-seen",
                    f"a gap of about {seen:.2f} mm will be seen along each flank; glue and sanding dust will not hide it all",
                    gap.corner,
                )
            )
        tight = gap.tightest_mm
        squeeze_mm = -2 * (tight.value - 2 * tight.sd)
        if squeeze_mm > -TIGHTEST_MM:
            source, remedy = CAUSE_WORDS[largest(spread_mm)]
            found.append(
                warning(
                    "may-split",
                    f"the spread of {tight.sd:.3f} mm a flank, most of it from {source}, may leave {squeeze_mm:.2f} mm of squeeze across "
                    f"a pin: try the fit dry and ease it, or {remedy}",
                    gap.corner,
                )
            )
        if corner.clearance_mm > 2 * EYE_SEES_MM:
            found.append(
                note("loose-fit", f"a clearance of {corner.clearance_mm:.2f} mm across a pin was asked for: it will be seen", gap.corner)
            )
    return found


def setup_findings(setups: tuple[Setup, ...]) -> list[Finding]:
    """Boards that lie on their show face."""
    down = sorted({setup.part for setup in setups if setup.entry_face is Face.INNER})
    if not down:
        return []
    return [
        note(
            "show-face-down",
            "the show face lies down: that hides the wider end of the slit inside the joint; tape it against smoke",
            ", ".join(down),
        )
    ]

"""The verdict of a job before it is burnt: its programs are burnt and its corners put together in the machine's memory."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from kerfwright.app.job_to_burn import JobToBurn, job_to_burn
from kerfwright.core.errors import InputError

if TYPE_CHECKING:
    from kerfwright.app.watched import Watched
    from kerfwright.export.exporter import JobFile
    from kerfwright.export.wood_colour import Colour
    from kerfwright.geometry.slab import Slab
    from kerfwright.process.job import Job
    from kerfwright.process.verdict import CornerVerdict, Verdict
    from kerfwright.simulate.facts import BurntFact
    from kerfwright.simulate.heat_verdict import BoardHeat
    from kerfwright.simulate.known import LawKnown
    from kerfwright.simulate.law import BurnLaw
    from kerfwright.simulate.opened import HeightField
    from kerfwright.simulate.response import WallResponse
    from kerfwright.simulate.strokes import Strokes

Tier = Literal["quick", "full"]
TIERS: tuple[Tier, ...] = ("quick", "full")
FEWEST_DRAWS, MOST_DRAWS, N_DRAWS = 20, 20_000, 400
SEED = 20
Progress = Callable[[str], None]


def _nothing(step: str) -> None:
    """Nobody waits."""


@dataclass(frozen=True, eq=False)
class Judged:
    """A verdict, the job it is of, and the folder it was written to (None when only told)."""

    verdict: Verdict
    job: Job
    folder: Path | None = None
    n_files: int = 0

    def summary(self) -> dict[str, Any]:
        """The whole verdict, as in verdict.json."""
        from kerfwright.export.verdict_json import verdict_record

        return verdict_record(self.verdict)


def verdict(
    target: Path,
    *,
    bench: Path | None = None,
    notebook: str | Path | None = None,
    tier: Tier = "quick",
    n_draws: int = N_DRAWS,
    seed: int = SEED,
    corner: str | None = None,
    out: Path | None = None,
    progress: Progress | None = None,
    readings: bool = True,
) -> Judged:
    """Judge a job folder, or a piece file (made in memory). out: a new folder for verdict.json and the pictures.

    progress: is told each step as it begins; readings: False takes the recipe's own numbers, whatever was read. Nothing is written
    without ``out``; with it the folder appears whole or not at all.
    """
    from kerfwright.export.folder import refuse_existing, write_folder

    _check_choices(n_draws, seed)
    if out is not None:
        refuse_existing(out)
    say = progress or _nothing
    say("reading the programs")
    given = job_to_burn(target, bench)
    laws = burn_laws(given, notebook, readings)
    if corner is not None:
        given = given.only(corner)
    done = burn_given(given, laws, tier, say)
    found = judge_burns(given, done, laws, n_draws, seed, say, _watched(given, notebook) if readings else None)
    if corner is None:
        found = with_recesses(found, given, laws, seed, say)
    if out is None:
        return Judged(found, given.job)
    files = verdict_files(found, given.job, done, say)
    write_folder(files, out)
    return Judged(found, given.job, out, len(files))


def tier_from(word: str) -> Tier:
    """The tier a person named. Raises InputError."""
    for tier in TIERS:
        if word == tier:
            return tier
    raise InputError(f'"{word}" is not a tier', accepted=" or ".join(TIERS))


def _check_choices(n_draws: int, seed: int) -> None:
    if not FEWEST_DRAWS <= n_draws <= MOST_DRAWS:
        raise InputError(f"{n_draws} draws cannot be used", accepted=f"{FEWEST_DRAWS} to {MOST_DRAWS}")
    if seed < 0:
        raise InputError(f"the seed {seed} is negative", accepted="0 or more")


def burn_laws(given: JobToBurn, notebook: str | Path | None = None, readings: bool = True) -> dict[str, LawKnown]:
    """The burn law by part: one a species, from the notebook's readings, else from the recipe's own numbers, else from priors alone."""
    from kerfwright.simulate.identify import law_known
    from kerfwright.simulate.known import believed

    machine, boards = given.job.machine, given.job.boards
    by_species: dict[str, LawKnown] = {}
    for part in given.recipes or boards:
        species = boards[part].species
        if species in by_species:
            continue
        recipe = given.recipes.get(part)
        by_species[species] = (
            law_known(facts_read(machine.name, species, notebook) if readings else [], recipe, machine.laser, machine.power_w)
            if recipe is not None
            else believed(machine.laser, machine.power_w)
        )
    return {part.name: by_species[boards[part.name].species] for part in given.job.assembly.parts}


def facts_read(machine: str, species: str, notebook: str | Path | None) -> list[BurntFact]:
    """What was read of this machine on this wood, of any thickness."""
    from kerfwright.app.watched import coupons_of
    from kerfwright.simulate.facts import facts_from_coupons
    from kerfwright.wood.species import find_species

    wood = find_species(species).name
    read = coupons_of(notebook)
    return facts_from_coupons([(record, readings) for record, readings in read if (record.machine, record.species) == (machine, wood)])


def judge_given(
    given: JobToBurn, laws: Mapping[str, LawKnown], tier: Tier, n_draws: int, seed: int, say: Progress = _nothing,
    watched: Watched | None = None,
) -> Verdict:  # fmt: skip
    """Burn and judge in one go."""
    return judge_burns(given, burn_given(given, laws, tier, say), laws, n_draws, seed, say, watched)


def _watched(given: JobToBurn, notebook: str | Path | None) -> Watched | None:
    from kerfwright.app.watched import cells_watched

    return cells_watched(given.job.machine, given.job.boards[given.job.assembly.mates[0].part_a], notebook)


@dataclass(frozen=True, eq=False)
class Burns:
    """All parts burnt as told. responses: walls and how they answer; boards: for the heat; heights: of the full tier; all by part."""

    tier: Tier
    responses: dict[str, WallResponse]
    boards: list[BoardHeat]
    times_s: dict[int, float]
    heights: dict[str, tuple[HeightField, ...]]


def burn_given(given: JobToBurn, laws: Mapping[str, LawKnown], tier: Tier, say: Progress = _nothing) -> Burns:
    """Burn every part that has a corner to judge; times are of all setups."""
    from kerfwright.simulate.heat import plate_of
    from kerfwright.simulate.heat_verdict import BoardHeat
    from kerfwright.simulate.motion import motion_of
    from kerfwright.simulate.response import wall_response
    from kerfwright.simulate.strokes import laid
    from kerfwright.wood.species import find_species

    job = given.job
    motions = {number: motion_of(program, job.machine) for number, program in given.programs.items()}
    done = Burns(tier, {}, [], {number: motion.total_s for number, motion in motions.items()}, {})
    for part in dict.fromkeys(name for mate in job.assembly.mates for name in (mate.part_a, mate.part_b)):
        say(f"burning {part}")
        setups = [setup for setup in job.setups if setup.part == part]
        moves = [motions[setup.number] for setup in setups]
        law, slab, board = laws[part].law, setups[0].part_slab, job.boards[part]
        strokes = laid(moves, setups, job.machine)
        response = wall_response(part, slab, moves, setups, job.machine, law)
        if tier == "full":
            response, done.heights[part] = _full(response, part, slab, strokes, law, say)
        done.responses[part] = response
        done.boards.append(BoardHeat(part, strokes, plate_of(find_species(board.species), board.moisture_frac, setups[0].board_size_mm)))
    return done


def _full(
    response: WallResponse, part: str, slab: Slab, strokes: Strokes, law: BurnLaw, say: Progress
) -> tuple[WallResponse, tuple[HeightField, ...]]:
    """The walls burnt cell by cell in place of the quick tier's; how they answer to causes stays the quick tier's."""
    import numpy as np

    from kerfwright.simulate.burnt import BurntPart
    from kerfwright.simulate.dose import Watch
    from kerfwright.simulate.full import burn_full

    told = [0]

    def tenths(share: float) -> None:
        if int(10 * share) > told[0]:
            told[0] = int(10 * share)
            say(f"burning {part} cell by cell, {10 * told[0]} %")

    full = burn_full(part, slab, strokes, law, watch=Watch(tenths))
    walls = {
        edge: replace(wall, back_mm=np.where(np.isfinite(full.walls.walls[edge].back_mm), full.walls.walls[edge].back_mm, wall.back_mm))
        for edge, wall in response.base.walls.items()
    }
    return replace(response, base=BurntPart(part, walls)), full.heights


def judge_burns(
    given: JobToBurn, done: Burns, laws: Mapping[str, LawKnown], n_draws: int, seed: int, say: Progress = _nothing,
    watched: Watched | None = None,
) -> Verdict:  # fmt: skip
    """Put together what was burnt. watched: cells that tell what flames and what chars."""
    import numpy as np

    from kerfwright.simulate.heat_verdict import heat_verdict
    from kerfwright.simulate.judge import Context, judge

    known = _of_most_parts(laws)
    say("following the heat")
    heat = heat_verdict(done.boards, known.law, watched and watched.flame_word, watched and watched.char_word)
    context = Context(sum(done.times_s.values()), heat, done.tier, done.times_s)
    say("putting the corners together")
    found = judge(given.job, done.responses, known, np.random.default_rng(seed), n_draws, given.pilots, context)
    if any(law is not known for law in laws.values()):
        found = replace(found, said=(*found.said, "Boards of two species: the spread of the burn law is that of the one with more boards."))
    return found


def with_recesses(found: Verdict, given: JobToBurn, laws: Mapping[str, LawKnown], seed: int, say: Progress = _nothing) -> Verdict:
    """The verdict with what stands in grooves and housings."""
    import numpy as np

    from kerfwright.simulate.motion import motion_of
    from kerfwright.simulate.recesses import held_by, judge_recesses
    from kerfwright.simulate.said import recess_sentences

    if not held_by(given.job.assembly):
        return found
    say("looking into the grooves")
    motions = {number: motion_of(program, given.job.machine) for number, program in given.programs.items()}
    recesses = judge_recesses(given.job, motions, laws, np.random.default_rng(seed), found.n_draws, given.pilots)
    return replace(found, recesses=recesses, said=(*found.said[:1], *recess_sentences(recesses), *found.said[1:]))


def _of_most_parts(laws: Mapping[str, LawKnown]) -> LawKnown:
    every = list(laws.values())
    return max(every, key=lambda law: sum(each is law for each in every))


def verdict_files(found: Verdict, job: Job, done: Burns, say: Progress = _nothing) -> list[JobFile]:
    """verdict.json and one sheet a corner; of the full tier also a socket of each corner, for a 3D viewer and as a picture."""
    from kerfwright.export.exporter import JobFile
    from kerfwright.export.verdict_json import verdict_text
    from kerfwright.export.verdict_sheet import verdict_sheet
    from kerfwright.export.wood_colour import part_colours

    parts, colours = {part.name: part for part in job.assembly.parts}, part_colours(job)
    files = [JobFile("verdict.json", verdict_text(found).encode(), "the verdict as data")]
    for corner in found.corners:
        say(f"drawing {corner.corner}")
        files.append(JobFile(f"verdict-{corner.corner}.png", verdict_sheet(found, corner, parts, colours), f"verdict of {corner.corner}"))
        files += _socket_files(corner, job, done, colours[corner.pin_part])
    return files


def _socket_files(corner: CornerVerdict, job: Job, done: Burns, colour: Colour) -> list[JobFile]:
    """The middle socket of the pin board's end, as it was burnt."""
    from kerfwright.export.exporter import JobFile
    from kerfwright.export.height_picture import height_png
    from kerfwright.export.height_view import height_glb
    from kerfwright.simulate.fallen import socket_depths

    slab = next(setup.part_slab for setup in job.setups if setup.part == corner.pin_part)
    socket = socket_depths(done.heights.get(corner.pin_part, ()), slab, corner.maps[0].pin_edge.partition(".")[0])
    if socket is None:
        return []
    stem, told = f"socket-{corner.corner}", (socket.depth_mm, socket.cell_mm, socket.thickness_mm, colour)
    return [
        JobFile(f"{stem}.glb", height_glb(stem, *told), f"a socket of {corner.corner} for a 3D viewer"),
        JobFile(f"{stem}.png", height_png(*told), f"a socket of {corner.corner}"),
    ]

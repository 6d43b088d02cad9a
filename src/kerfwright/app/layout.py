"""From the boards on the rack to blanks: the verb ``lay-out``."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwright.app.bench_file import BenchDocument
from kerfwright.app.workflow import bench_beside, piece_file
from kerfwright.core.codec import plain
from kerfwright.core.document import build, load, read_toml, tables_as
from kerfwright.core.errors import FolderError, InputError
from kerfwright.coupons.coupon import Site, all_coupons
from kerfwright.machine.machine import Machine
from kerfwright.pieces.design import Design
from kerfwright.pieces.piece import PieceDocument, build_piece, piece_from
from kerfwright.plan.blank import lay_on_board
from kerfwright.plan.layout.blank_file import bench_text, board_text
from kerfwright.plan.layout.layout import CouponSize, Layout, lay_out
from kerfwright.plan.layout.rack import RackBoard, rack_of
from kerfwright.plan.layout.solver import Effort, Progress
from kerfwright.plan.layout.wanted import Wanted, walls_in_line, wanted_blanks
from kerfwright.plan.layout.wishes import LayoutWishes
from kerfwright.process.recipe import Recipe
from kerfwright.wood.board import Board
from kerfwright.wood.rough import BOARD_FOOT_MM3
from kerfwright.wood.species import find_species

if TYPE_CHECKING:
    from kerfwright.export.exporter import JobFile

MOST_ROUNDS = 4  # boards chosen change thicknesses, and so sizes a little
WORK_SHARE = 0.3  # of the seconds given, in the solver's own units, so that the clock seldom ends it and two runs agree
CLOCK_TIMES = 4  # as long as told, on a computer that has much else to do


@dataclass(frozen=True, eq=False)
class LaidOut:
    """A piece on its boards. folder: where files were written, None when nowhere."""

    piece: str
    layout: Layout
    wishes: LayoutWishes
    folder: Path | None

    def mill(self) -> tuple[str, ...]:
        """What to saw and plane, a line for each blank, board by board from its left end."""
        return tuple(
            f"{each.wanted.part}: saw {each.wanted.length_mm:.1f} x {each.wanted.width_mm:.1f} mm"
            + (f", plane both edges to {each.wanted.finished_mm[1]:.1f} mm" if each.wanted.milled else "")
            for board in self.layout.boards
            for each in self.layout.on(board.name)
        )

    def summary(self) -> dict[str, Any]:
        """For scripts."""
        layout = self.layout
        return {
            "schema": "kerfwright-layout-1",
            "name": self.piece,
            "folder": str(self.folder) if self.folder else None,
            "placed": [
                {
                    "part": each.wanted.part,
                    "board": each.board,
                    "at_mm": [each.x_mm, each.y_mm],
                    "sawn_mm": [each.wanted.length_mm, each.wanted.width_mm],
                    "blank_mm": list(each.wanted.finished_mm),
                    "thickness_mm": each.blank.thickness_mm,
                    "turned": each.turned,
                }
                for each in layout.placed
            ],
            "offcuts": plain(layout.offcuts),
            "coupons": plain(layout.coupons),
            "no_room": list(layout.no_room),
            "mill": list(self.mill()),
            "wood": {
                "boards": [each.name for each in layout.boards],
                "begun_m2": layout.begun_mm2 / 1e6,
                "gone_m2": layout.gone_mm2 / 1e6,
                "parts_board_feet": layout.parts_mm3 / BOARD_FOOT_MM3,
                "blanks_board_feet": layout.blanks_mm3 / BOARD_FOOT_MM3,
                "boards_board_feet": layout.boards_mm3 / BOARD_FOOT_MM3,
                "price": layout.price,
            },
            "begun_gap_frac": layout.begun_gap_frac,
            "gone_gap_frac": layout.gone_gap_frac,
            "by_clock": layout.by_clock,
        }


@dataclass(frozen=True, eq=False)
class _Task:
    """Everything read. nominal_mm: the thickness wanted of each panel; bench: path, as it was written, and read."""

    document: PieceDocument
    machine: Machine
    recipes: dict[str, Recipe]
    bench: tuple[Path, dict[str, Any], BenchDocument]
    wishes: LayoutWishes
    rack: tuple[RackBoard, ...]
    nominal_mm: dict[str, float]

    def design(self, boards: Mapping[str, Board]) -> Design:
        """The piece, of these blanks where they are known."""
        thickness_mm = self.nominal_mm | {part: board.thickness_mm for part, board in boards.items()}
        return build_piece(self.document, thickness_mm, dict(boards))

    def wanted(self, design: Design) -> tuple[Wanted, ...]:
        """Its blanks, at the thickness that boards are chosen by."""
        found = wanted_blanks(design, self.machine, self.recipes, self.bench[2].burn, self.wishes)
        return tuple(replace(each, thickness_mm=self.nominal_mm[each.part]) for each in found)


def lay_out_piece(
    piece: Path,
    rack: Path,
    bench: Path | None = None,
    wishes: Path | None = None,
    out: Path | None = None,
    think_s: float = 10.0,
    progress: Progress | None = None,
) -> LaidOut:
    """Lay a piece's parts out on the boards whose files are in a folder; with ``out``, write the picture, a board file for
    every blank and the bench file that names them. wishes: a file; unasked, the defaults.

    Raises PlanError when the boards are too few or too small, saying what is missing.
    """
    from kerfwright.export.folder import refuse_existing, write_folder

    if not 0.5 <= think_s <= 3600:
        raise InputError(f"{think_s:g} s to think", accepted="0.5 to 3600 s", where="--seconds")
    if out is not None:
        refuse_existing(out)
    task = _read(piece_file(piece), rack, bench, wishes)
    layout = _settled(task, Effort(work=WORK_SHARE * think_s, wall_s=CLOCK_TIMES * think_s, progress=progress))
    laid = LaidOut(task.document.name, layout, task.wishes, out)
    if out is not None:
        write_folder(_files(task, laid, out), out)
    return laid


def _settled(task: _Task, effort: Effort) -> Layout:
    """Lay out, build again with the thicknesses of the boards chosen, and again until the blanks are large enough."""
    design = task.design({})
    wanted = task.wanted(design)
    in_line = walls_in_line(design.corners, task.wishes.grain_round) if task.wishes.grain_round != "no" else ()
    if task.wishes.grain_round != "no" and not in_line:
        raise InputError("this piece has no four walls for the grain to run round", remedy='Say grain_round = "no"', where="wishes")
    coupons = _coupon_sizes(task)
    n_left = MOST_ROUNDS
    while True:
        layout = lay_out(wanted, task.rack, task.wishes, in_line, coupons, effort)
        blanks = {each.wanted.part: each.blank for each in layout.placed}
        design = task.design(blanks)
        larger = tuple(_larger(first, second) for first, second in zip(wanted, task.wanted(design), strict=True))
        n_left -= 1
        if larger == wanted or n_left == 0:
            break
        wanted = larger
    for part in design.assembly.parts:  # raises where a blank still is too small, which would be a fault of ours or a wild rack
        lay_on_board(part, blanks[part.name], marked=False, pilot=task.bench[2].burn.pilot)
    return layout


def _larger(first: Wanted, second: Wanted) -> Wanted:
    """The blank that serves both; a blank already large enough stays as it is."""
    fits = second.length_mm <= first.length_mm and second.width_mm <= first.width_mm
    if fits and (second.width_mm == first.width_mm or not first.milled):
        return first
    sawn = (max(first.length_mm, second.length_mm), max(first.width_mm, second.width_mm))
    finished = (max(first.finished_mm[0], second.finished_mm[0]), max(first.finished_mm[1], second.finished_mm[1]))
    return replace(second, length_mm=sawn[0], width_mm=sawn[1], finished_mm=finished)


def _read(piece: Path, rack: Path, bench: Path | None, wishes: Path | None) -> _Task:
    document = piece_from(read_toml(piece), str(piece))
    bench = bench or bench_beside(piece)
    written = read_toml(bench)
    benched = tables_as(written, BenchDocument, str(bench))
    machine = load(bench.parent / benched.machine, Machine)
    recipes = {panel: load(bench.parent / benched.recipes.get(panel, benched.recipe), Recipe) for panel in document.panels}
    wished = load(wishes, LayoutWishes) if wishes is not None else LayoutWishes()
    boards = rack_of(_boards_in(rack))
    nominal_mm = {panel: _nominal_mm(panel, wished, benched, bench) for panel in document.panels}
    return _Task(document, machine, recipes, (bench, written, benched), wished, boards, nominal_mm)


def _boards_in(folder: Path) -> list[Board]:
    """Every board file of a folder; files of other kinds are left alone."""
    if not os.path.isdir(folder):
        raise FolderError("there is no such folder", accepted="a folder with board files", where=str(folder))
    boards: list[Board] = []
    for path in sorted(folder.glob("*.toml")):
        tables = read_toml(path)
        if str(tables.get("schema", "")).startswith("kerfwright-board-"):
            boards.append(tables_as(tables, Board, str(path)))
            try:
                find_species(boards[-1].species)
            except InputError as bad:
                raise bad.located(str(path)) from bad
    if not boards:
        raise InputError("there is no board file here", accepted='files with schema = "kerfwright-board-1"', where=str(folder))
    return boards


def _nominal_mm(panel: str, wishes: LayoutWishes, benched: BenchDocument, bench: Path) -> float:
    """Which thickness a part is to have: as wished, else as the board that the bench file names for it."""
    for name in (panel, "all"):
        if name in wishes.thickness_mm:
            return wishes.thickness_mm[name]
    if panel in benched.boards:
        return load(bench.parent / benched.boards[panel], Board).thickness_mm
    raise InputError(
        f"nothing says how thick {panel} is to be",
        accepted=f'thickness.{panel} or thickness.all in the wishes, as in thickness = {{ all = "6 mm" }}, or a board in the bench file',
        where=panel,
    )


def _coupon_sizes(task: _Task) -> tuple[CouponSize, ...]:
    """How much wood each wished coupon takes, burnt as it comes with each recipe on the thickness it serves."""
    unknown = [kind for kind in task.wishes.coupons if kind not in all_coupons()]
    if unknown:
        raise InputError(f"there is no coupon called {unknown[0]!r}", accepted=", ".join(all_coupons()), where="wishes, coupons")
    first_of = {recipe.name: panel for panel, recipe in reversed(task.recipes.items())}
    sizes: list[CouponSize] = []
    for panel in reversed(first_of.values()):
        thickness_mm, recipe = task.nominal_mm[panel], task.recipes[panel]
        board = min((each.board for each in task.rack), key=lambda board: abs(board.thickness_mm - thickness_mm))
        bed = {"length_mm": task.machine.bed_x_mm, "width_mm": task.machine.bed_y_mm}
        for kind in task.wishes.coupons:
            coupon = all_coupons()[kind]
            options = build({}, coupon.options, f"coupon {kind}")
            design = coupon.lay_out(Site(board.model_copy(update=bed), task.machine, recipe), options)
            sizes.append(CouponSize(kind, (design.used_mm[2], design.used_mm[3]), thickness_mm))
    return tuple(sizes)


def _files(task: _Task, laid: LaidOut, out: Path) -> list[JobFile]:
    from kerfwright.export.exporter import JobFile
    from kerfwright.export.layout_picture import layout_picture

    bench, written, benched = task.bench
    placed = laid.layout.placed
    told = {each.wanted.part: f"the blank for {each.wanted.part}: {each.board} at {each.x_mm:.1f}, {each.y_mm:.1f} mm" for each in placed}
    paths = {each.wanted.part: f"{each.wanted.part.replace(' ', '-')}.toml" for each in placed}
    text = bench_text(
        _seen_from(out, bench.parent / benched.machine),
        _seen_from(out, bench.parent / benched.recipe),
        paths,
        {panel: _seen_from(out, bench.parent / recipe) for panel, recipe in benched.recipes.items()},
        written.get("burn", {}),
    )
    boards = [
        JobFile(paths[each.wanted.part], board_text(each.blank, told[each.wanted.part]).encode(), told[each.wanted.part]) for each in placed
    ]
    picture = layout_picture(laid.layout, f"{laid.piece}: parts on boards")
    return [JobFile("layout.svg", picture, "the layout"), JobFile("bench.toml", text.encode(), "the bench file"), *boards]


def _seen_from(folder: Path, path: Path) -> str:
    """A path relative to a folder where that can be."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # on another drive
        return path.resolve().as_posix()


def largest_first(layout: Layout) -> Sequence[str]:
    """Offcuts in words, the largest first."""
    by_size = sorted(layout.offcuts, key=lambda each: -each.length_mm * each.width_mm)
    return [f"{each.length_mm:.0f} x {each.width_mm:.0f} mm on {each.board}" for each in by_size]

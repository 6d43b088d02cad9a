"""The picture of a sanded corner: gaps as wide as the verdict says, each wood where it belongs, dark lines loud on light wood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from app.shop_files import new_shop
from kerfwright.app import workflow
from kerfwright.export.corner_faces import seen_faces
from kerfwright.export.corner_look import CHAR_MM, corner_look, loupe
from kerfwright.export.wood_colour import parse_colour
from kerfwright.geometry.assembly import Assembly
from kerfwright.process.verdict import CornerVerdict
from kerfwright.wood.species import find_species
from verdict_samples import made_up_corner

MAPLE, WALNUT = (parse_colour(find_species(name).colour) for name in ("sugar maple", "black walnut"))
PX, ACROSS_MM = 480, 2.4
CELL_MM = ACROSS_MM / PX
DARK = 0.2 * 255  # darker than charred maple, lighter than an open gap


@pytest.fixture(scope="module")
def assembly(tmp_path_factory: pytest.TempPathFactory) -> Assembly:
    return workflow.look(new_shop(tmp_path_factory.mktemp("look")) / "pencil-box" / "piece.toml").job.assembly


def corner_with(
    assembly: Assembly, on: str, gap_of: Callable[[np.ndarray], np.ndarray], name: str = "front-right", tail: str = "front"
) -> CornerVerdict:
    """One line near the middle of the wall with a gap of its own, the others closed."""
    corner = made_up_corner(assembly, name, tail)
    lines = [replace(line, gap_mm=np.zeros_like(line.gap_mm)) for line in corner.lines]
    chosen = next(k for k, line in enumerate(lines) if line.on == on and line.tail_edge.endswith("flank4"))
    lines[chosen] = replace(lines[chosen], gap_mm=gap_of(lines[chosen].at_mm))
    return replace(corner, lines=tuple(lines))


def dark_mm(picture: np.ndarray, column: int) -> float:
    return float((picture[:, column].mean(axis=1) < DARK).sum()) * CELL_MM


@pytest.mark.parametrize(("on", "name", "tail"), [("tail board", "front-right", "front"), ("pin board", "front-right", "front"),
                                                   ("tail board", "back-left", "back"), ("pin board", "right-back", "back")])
def test_a_gap_is_drawn_as_wide_as_it_is(assembly: Assembly, on: str, name: str, tail: str) -> None:
    """0.12 mm at the arris, 0.30 mm at the baseline, straight between: read off the picture column by column."""
    parts = {part.name: part for part in assembly.parts}
    corner = corner_with(assembly, on, lambda at: 0.12 + 0.18 * at / at[-1], name, tail)
    near = loupe(corner, parts, dict.fromkeys(parts, MAPLE), PX, ACROSS_MM)
    assert near is not None
    assert near.said.startswith(f"on the {corner.tail_part if on == 'tail board' else corner.pin_part}, flank 4: 0.30 mm")
    reach_mm = next(line.at_mm[-1] for line in corner.lines if line.on == on)
    upright = np.cos(np.arctan(1 / 8)) if on == "tail board" else 1.0
    side = next(face.owner.side for face in seen_faces(corner, parts) if face.owner.part.name == near.said.split()[2].rstrip(","))
    for inward_mm in (-1.0, -0.6, -0.2):  # from the middle of the picture, which is the baseline
        column = round(PX / 2 + (inward_mm if side == "left" else -inward_mm) / CELL_MM)
        wanted = (0.12 + 0.18 * (reach_mm + inward_mm) / reach_mm) / upright
        assert dark_mm(near.picture, column) == pytest.approx(wanted, abs=2 * CELL_MM)


def test_a_squeezed_line_is_a_stain_without_a_gap(assembly: Assembly) -> None:
    parts = {part.name: part for part in assembly.parts}
    corner = corner_with(assembly, "pin board", lambda at: np.full_like(at, -0.05) + 0.0001 * at)
    squeezed = replace(corner, lines=tuple(line for line in corner.lines if line.gap_mm.min() < 0))
    near = loupe(squeezed, parts, dict.fromkeys(parts, MAPLE), PX, ACROSS_MM)
    assert near is not None
    column = near.picture[:, PX // 2 - 60].mean(axis=1)
    assert column.min() > DARK
    halves = column.reshape(2, -1)  # one is face grain, the other end grain
    stained = float((halves < 0.75 * np.median(halves, axis=1, keepdims=True)).sum()) * CELL_MM
    assert stained == pytest.approx(2 * CHAR_MM, abs=2 * CELL_MM)


def test_each_wood_lies_where_the_ring_says(assembly: Assembly) -> None:
    """The share of the corner's square that shows tails is the ring's own area there."""
    parts = {part.name: part for part in assembly.parts}
    corner = made_up_corner(assembly, "front-right", "front")
    tail_face, pin_face = seen_faces(corner, parts)
    assert (tail_face.owner.flush_mm, tail_face.owner.inward) == pytest.approx((230.2, -1))
    assert (pin_face.owner.flush_mm, pin_face.owner.inward) == pytest.approx((0.2, 1))
    for face in (tail_face, pin_face):
        u, v = (each.ravel() for each in np.meshgrid((np.arange(200) + 0.5) / 200 * face.reach_mm, (np.arange(800) + 0.5) / 800 * 42.0))
        share = float(face.owned(u, v).mean())
        flanks = [line for line in face.lines.values() if abs(line.to_mm[0] - line.from_mm[0]) > 1]
        level = np.sort([(line.from_mm[1] + line.to_mm[1]) / 2 for line in flanks])  # lines are straight: their middles give the area
        between = float(np.sum(level[1::2] - level[::2])) / 42.0  # between each pair lies a tail
        assert share == pytest.approx(between if face is tail_face else 1 - between, abs=0.004)


def test_dark_wood_hides_what_light_wood_shows(assembly: Assembly) -> None:
    parts = {part.name: part for part in assembly.parts}
    closed = corner_with(assembly, "pin board", np.zeros_like)
    gapped = corner_with(assembly, "pin board", lambda at: np.full_like(at, 0.1))

    def change(wood: tuple[float, float, float]) -> float:
        one, other = (corner_look(corner, parts, dict.fromkeys(parts, wood), 300, 320).astype(float) for corner in (closed, gapped))
        return float(np.abs(one - other).sum())

    assert change(WALNUT) < 0.45 * change(MAPLE)
    assert change(MAPLE) > 0


def test_two_runs_and_both_hands(assembly: Assembly) -> None:
    """The same twice; white around it; tails face left where the tail board's right end meets the corner, right where its left does."""
    parts = {part.name: part for part in assembly.parts}
    colours = {"front": WALNUT, "back": WALNUT, "right": MAPLE, "left": MAPLE}
    for name, tail, left_is_dark in (("front-right", "front", True), ("left-front", "front", False)):
        corner = made_up_corner(assembly, name, tail)
        picture = corner_look(corner, parts, colours, 300, 320)
        assert np.array_equal(picture, corner_look(corner, parts, colours, 300, 320))
        assert (picture[:4] == 255).all()
        assert (picture[-4:] == 255).all()
        wood = picture[100:260].astype(float).mean(axis=2)
        left, right = (float(wood[:, half][wood[:, half] < 250].mean()) for half in (slice(None, 110), slice(190, None)))
        assert (left < right) is left_is_dark

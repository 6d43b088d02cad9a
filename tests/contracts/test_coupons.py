"""Every coupon, found by itself, keeps the same promises on several offcuts and machines."""

from __future__ import annotations

import json
import math
import re
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import shapely

from coupon_samples import MACHINES, OFFCUTS, site
from kerfwright.core.errors import PlanError
from kerfwright.core.finding import Level
from kerfwright.coupons import kinds
from kerfwright.coupons.coupon import CouponDesign, Site, all_coupons
from kerfwright.coupons.observable import CHOICES, Quantity
from kerfwright.coupons.record import coupon_record, read_record
from kerfwright.coupons.response import typical_response
from kerfwright.coupons.strokes import LEAD_MM
from kerfwright.export.coupon_files import coupon_files
from kerfwright.export.formats.rs274 import program_text
from kerfwright.export.program_check import check_program
from kerfwright.plan.coupon_plan import plan_coupon
from kerfwright.plan.options import PlanOptions
from kerfwright.process.job import Job
from kerfwright.process.operation import OperationKind

KINDS = sorted(all_coupons())
SIZES = [name for name in OFFCUTS if name != "scrap"]
# Exactly the predictors that the fits read.
BURNT = {"power_frac", "speed_mm_s", "passes", "depth_mm"}
KEYS = {
    Quantity.DISTANCE: {"nominal_mm", "axis"},
    Quantity.VERNIER: {"axis", "speed_mm_s", "step_mm"},
    Quantity.LINE_WIDTH: {"focus_mm", "travel", "grain", "power_frac", "speed_mm_s"},
    Quantity.RUNG: {"first_focus_mm", "step_mm"},
    Quantity.THROUGH: BURNT | {"focus_mm", "focus_step_mm", "place", "travel", "grain", "length_mm"},
    Quantity.FLAME: BURNT | {"focus_mm", "focus_step_mm", "place", "travel", "grain", "length_mm"},
    Quantity.CHAR: BURNT | {"focus_mm", "focus_step_mm", "place", "travel", "grain", "length_mm"},
    Quantity.SLOT_WIDTH: BURNT | {"focus_mm", "focus_step_mm", "travel", "grain"},
    Quantity.TONGUE_WIDTH: BURNT | {"focus_mm", "focus_step_mm", "travel", "grain", "pitch_mm"},
    Quantity.STACK_WIDTH: BURNT | {"focus_mm", "focus_step_mm", "travel", "grain", "pitch_mm", "n_tongues"},
    Quantity.DEPTH: {"power_frac", "speed_mm_s", "spacing_mm", "layers", "focus_mm", "focus_step_mm", "place", "thickness_mm"},
    Quantity.WALL_OFFSET: {"slope_frac", "depth_mm", "method", "wall_shift_mm", "wall_lean_frac"},
    Quantity.FIT: {"clearance_mm", "joint"},
}


@cache
def laid(kind: str, machine: str, size: str, turned: bool = False) -> tuple[CouponDesign, Job, Site]:
    where = site(machine, size)
    coupon = all_coupons()[kind]
    design = coupon.lay_out(where, coupon.options(turned=turned))
    return design, plan_coupon(design, where, PlanOptions()), where


def cases() -> list[tuple[str, str, str]]:
    return [(kind, machine, size) for kind in KINDS for machine in MACHINES for size in SIZES]


def made_or_skip(kind: str, machine: str, size: str) -> tuple[CouponDesign, Job, Site]:
    """The coupon, or a skip when the offcut is refused with a size that would do."""
    try:
        return laid(kind, machine, size)
    except PlanError as refused:
        if not re.search(r"\d+ x \d+ mm", refused.accepted):
            raise
        pytest.skip(refused.message)


def test_every_file_is_a_kind_and_the_seven_are_there():
    files = {path.stem for path in Path(kinds.__file__).parent.glob("*.py")} - {"__init__"}
    assert files == {kind.replace(" ", "_") for kind in KINDS}
    assert set(KINDS) >= {"fit ladder", "focus", "kerf comb", "machine", "ramp staircase", "sloped edge", "through"}
    for kind, coupon in all_coupons().items():
        assert coupon.kind == kind
        assert coupon.title.isupper()


@pytest.mark.parametrize("kind", KINDS)
def test_it_fits_a_plank_and_a_box_sides_offcut_and_refuses_a_scrap_naming_a_size_that_does(kind: str):
    for size in ("plank", "narrow"):
        assert laid(kind, "diode", size)[0].kind == kind
    where = site("diode", "scrap")
    coupon = all_coupons()[kind]
    with pytest.raises(PlanError) as refused:
        coupon.lay_out(where, coupon.options())
    sizes = [tuple(float(each) for each in found) for found in re.findall(r"(\d+) x (\d+) mm", refused.value.accepted)]
    assert sizes
    for length_mm, width_mm in sizes:
        board = where.offcut.model_copy(update={"length_mm": length_mm, "width_mm": width_mm})
        used = coupon.lay_out(Site(board, where.machine, where.recipe), coupon.options()).used_mm
        assert used[2] <= length_mm + 1e-6
        assert used[3] <= width_mm + 1e-6


@pytest.mark.parametrize(("kind", "machine", "size"), cases())
def test_a_coupon_keeps_its_promises(kind: str, machine: str, size: str):
    design, job, where = made_or_skip(kind, machine, size)
    setup = job.setups[0]
    check_program(program_text(setup, where.machine), setup, where.machine)
    board = where.offcut
    x0, y0, x1, y1 = design.used_mm
    assert 0 <= x0 < x1 <= board.length_mm + 1e-9
    assert 0 <= y0 < y1 <= board.width_mm + 1e-9
    assert job.total_time_s > 5
    needs = next(finding.text for finding in job.findings if finding.code == "coupon-needs")
    assert f"takes {x1 - x0:.0f} mm x {y1 - y0:.0f} mm" in needs
    assert "of machine time" in needs
    assert {finding.code for finding in job.findings} >= {"fire", "eyes", "fumes", "first-guess"}
    _observables_are_sound(design, where)
    _marks_are_sound(design)
    _nothing_overlaps(design)


def _observables_are_sound(design: CouponDesign, where: Site) -> None:
    ids = [each.id for each in design.observables]
    assert len(set(ids)) == len(ids) > 0
    for each in design.observables:
        assert re.fullmatch(r"[A-Za-z0-9_-]+", each.id), "an id must be a bare TOML key"
        x, y = each.place_mm
        assert 0 <= x <= where.offcut.length_mm
        assert 0 <= y <= where.offcut.width_mm
        assert set(each.settings) == KEYS[each.quantity], each.id
        assert all(isinstance(value, (float, str)) for value in each.settings.values()), each.id
        assert each.tells
        assert each.unit == "word" if each.choices else each.low is not None and each.high is not None and each.low < each.high


def _marks_are_sound(design: CouponDesign) -> None:
    """A rectangle, counter-clockwise from the lower left, inside the used wood; only the first one is boxed."""
    x0, y0, x1, y1 = design.used_mm
    marks = np.array(design.marks_mm)
    assert marks.shape == (4, 2)
    sides = np.roll(marks, -1, axis=0) - marks
    assert np.allclose([sides[0, 1], sides[1, 0], sides[2, 1], sides[3, 0]], 0)
    assert np.all([sides[0, 0] > 5, sides[1, 1] > 5])
    paths = next(op for op in design.operations if op.name == "marks").paths
    boxes = [path for path in paths if len(path.points_mm) == 5]
    assert len(boxes) == 1
    assert np.allclose(boxes[0].points_mm[:4, :2].mean(axis=0), marks[0])
    burnt = np.concatenate([path.points_mm for op in design.operations for path in op.paths])
    cuts = np.concatenate([path.points_mm for op in design.operations if op.name != "labels" for path in op.paths])
    labels = np.concatenate([path.points_mm for op in design.operations if op.name in ("labels", "marks") for path in op.paths])
    assert np.all(labels[:, :2] >= [x0 - 1e-9, y0 - 1e-9])
    assert np.all(labels[:, :2] <= [x1 + 1e-9, y1 + 1e-9])
    assert np.all(cuts[:, :2] >= [x0 - LEAD_MM - 1e-9, y0])
    assert np.all(cuts[:, :2] <= [x1, y1])
    assert np.all(burnt[:, 2] == 0)


def _nothing_overlaps(design: CouponDesign) -> None:
    """Labels keep off cuts and lines; cuts keep apart unless they are meant to cross (freeing tongues) or to meet (ramps at a core)."""
    labels = [shapely.LineString(path.points_mm[:, :2]) for op in design.operations if op.name == "labels" for path in op.paths]
    others = [shapely.LineString(path.points_mm[:, :2]) for op in design.operations if op.name != "labels" for path in op.paths]
    assert labels
    tree = shapely.STRtree(labels)
    assert not len(tree.query(others, predicate="dwithin", distance=0.25)[0]), "a label runs into a cut or a line"
    through = [
        shapely.LineString(path.points_mm[:, :2])
        for op in design.operations
        if op.kind is OperationKind.THROUGH and not op.name.startswith("free-")
        for path in op.paths
    ]
    assert all(a.distance(b) >= 1.5 for a, b in combinations(through, 2))


def test_letters_of_different_labels_do_not_touch():
    """Every label stroke keeps 0.2 mm from strokes of another line of text; strokes of one letter touch, so clusters are counted."""
    for kind in KINDS:
        design = laid(kind, "diode", "plank")[0]
        strokes = [shapely.LineString(path.points_mm[:, :2]) for op in design.operations if op.name == "labels" for path in op.paths]
        joined = shapely.union_all([stroke.buffer(0.15) for stroke in strokes])
        high = [piece.bounds[3] - piece.bounds[1] for piece in shapely.get_parts(joined)]
        assert max(high) < 2.0 + 0.3 + 1e-6 or kind == "sloped edge", kind  # no cluster is higher than one line of letters


def test_fields_of_the_staircase_are_apart_and_wide_enough_for_a_pin():
    design = laid("ramp staircase", "diode", "plank")[0]
    fields = next(op for op in design.operations if op.kind is OperationKind.RAMP)
    joined = shapely.union_all([shapely.LineString(path.points_mm[:, :2]).buffer(0.1, cap_style="flat") for path in fields.paths])
    pieces = shapely.get_parts(joined)
    depths = [each for each in design.observables if each.quantity is Quantity.DEPTH]
    assert len(pieces) == len(depths) == 20
    for piece in pieces:
        assert min(piece.bounds[2] - piece.bounds[0], piece.bounds[3] - piece.bounds[1]) >= 2.5
    assert min(a.distance(b) for a, b in combinations(pieces, 2)) >= 1.5
    powers = [path.power_frac for path in fields.paths]
    assert powers == sorted(powers)


def test_cells_of_the_through_coupon_come_from_gentle_to_hot_and_say_so():
    design, job, where = laid("through", "diode", "plank")
    cells = [op for op in design.operations if op.kind is OperationKind.THROUGH]
    doses = [op.paths[0].power_frac * len(op.passes) ** 0.8 / op.speed_mm_s for op in cells]
    assert all(later >= 0.93 * earlier for earlier, later in zip(doses, doses[1:], strict=False))  # speeds are rounded to two digits
    own = where.recipe.through_for(6.0)
    assert doses[-1] <= 3.0 * own.power_frac * own.passes**0.8 / own.speed_mm_s * 1.05
    hot = [finding for finding in job.findings if finding.code == "hot-cells"]
    assert len(hot) == 1
    assert hot[0].level is Level.CAUTION
    places = {each.settings["place"] for each in design.observables if each.quantity is Quantity.THROUGH}
    assert places == {"A", "B", "C"}


@pytest.mark.parametrize("kind", KINDS)
def test_predicted_readings_are_possible_and_survive_noise(kind: str):
    """From a typical response every reading is finite and within what its form accepts, also with noise on top."""
    design, _, _ = laid(kind, "diode", "plank")
    coupon, response = all_coupons()[kind], typical_response()
    rng = np.random.default_rng(7)
    for each in design.observables:
        value = coupon.predict(each, response)
        assert math.isfinite(value)
        if each.choices:
            assert 0 <= value <= 1
            assert each.quantity in CHOICES
        elif each.quantity is not Quantity.DEPTH or value < where_thickness(design):
            assert each.low is not None
            assert each.high is not None
            noisy = value + 0.01 * rng.standard_normal()
            assert each.low - 0.03 <= noisy <= each.high, each.id


def where_thickness(design: CouponDesign) -> float:
    return max(each.high or 0.0 for each in design.observables if each.quantity is Quantity.DEPTH)


@pytest.mark.parametrize("kind", KINDS)
def test_turned_on_the_bed_the_other_axis_is_named(kind: str):
    straight, turned = laid(kind, "diode", "narrow")[0], laid(kind, "diode", "narrow", True)
    assert turned[1].setups[0].bed_from_board.matrix[1, 0] == 1.0  # the board's x runs along the bed's y
    for setting in ("travel", "axis"):
        before = [each.settings[setting] for each in straight.observables if setting in each.settings]
        after = [each.settings[setting] for each in turned[0].observables if setting in each.settings]
        swap = {"x": "y", "y": "x", "diag+": "diag-", "diag-": "diag+"}
        pointer = kind == "machine" and setting == "axis"  # the pointer's two readings are always asked x first
        assert (after[:-2] if pointer else after) == [swap[str(each)] for each in (before[:-2] if pointer else before)]


@pytest.mark.parametrize("kind", KINDS)
def test_the_folder_is_complete_and_repeats_byte_for_byte(kind: str):
    design, job, where = laid(kind, "diode", "narrow")
    record = coupon_record(design, where, job.total_time_s)
    files = {file.path: file.data for file in coupon_files(job, record)}
    stem = f"setups/01-{kind.replace(' ', '-')}"
    own = {"coupon.json", "coupon-look.svg", "readings.toml", "readings.csv"}
    assert own | {"job.json", "bench-sheet.pdf", f"{stem}.ngc", f"{stem}.svg"} <= set(files)
    assert not [path for path in files if path.startswith(("piece.", "cut-list"))]
    assert read_record(files["coupon.json"].decode()) == record
    assert files == {file.path: file.data for file in coupon_files(job, record)}
    listed = {each["path"] for each in json.loads(files["job.json"])["files"]}
    assert listed == set(files) - {"job.json"}

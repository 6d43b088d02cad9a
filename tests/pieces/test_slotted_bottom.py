"""A bottom on tongues: it goes together, in every season its tongues find room and stay in the walls, and its slots are cut through."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from kerfwright.core.errors import BuildError, InputError
from kerfwright.geometry.assembly import Part
from kerfwright.geometry.ring import Ring
from kerfwright.geometry.slab import straight_slab
from kerfwright.pieces.carcass import PANELS
from kerfwright.pieces.slotted_bottom import LEAST_BETWEEN_MM
from kerfwright.process.operation import OperationKind
from kerfwright.wood.movement import change_mm, moisture_frac
from kerfwright.wood.species import find_species
from pieces.bottom_samples import box, job, panel
from solid_check import NOTHING_MM3, clash_along, clash_mm3, solid

SLOTS: dict[str, Any] = {"kind": "slots"}


def grown(bottom: Part, share: float) -> Part:
    """The bottom as it is when every width across its grain has grown by a share; its middle stays where it was."""
    _, y0, _, y1 = bottom.slab.bounds_mm()
    ring = bottom.slab.show_ring
    middle = body_middle_mm(bottom)
    points = ring.points_mm * [1, 1 + share] + [0, -middle * share]
    assert y0 < middle < y1
    return replace(bottom, slab=straight_slab(Ring(points, ring.edges), bottom.slab.thickness_mm))


def body_middle_mm(bottom: Part) -> float:
    """Half way between its front and its back edge, tongues left out."""
    ring = bottom.slab.show_ring
    at = {edge.name: ring.points_mm[i, 1] for i, edge in enumerate(ring.edges)}
    return float(at["front"] + at["back"]) / 2


@pytest.mark.parametrize("bottom", [SLOTS, SLOTS | {"along": 3, "ends": 3, "tongue": "7 mm", "proud": "2 mm"}, SLOTS | {"play": "0.01 mm"}])
@pytest.mark.parametrize("joints", [None, {"all": {"kind": "box joint"}}], ids=["dovetail", "box joint"])
def test_it_goes_together_without_a_clash(bottom: dict[str, Any], joints: dict[str, Any] | None):
    design, _ = box(panel(), bottom, **({"joints": joints} if joints else {}))
    assembly = design.assembly
    assert clash_mm3(assembly) < NOTHING_MM3
    assert [step.moving for step in assembly.steps] == [("bottom",), ("left",), ("front",), ("back",)]
    for step in assembly.steps:
        assert clash_along(assembly, step, 12) < NOTHING_MM3, step
    # Once the walls stand round it, it leaves none of them by any other way than straight in.
    home = {name: solid(assembly.part(name)) for name in PANELS}
    for away in ([0.5, 0, 0], [0, 0.5, 0], [0, 0, 0.5], [0, 0, -0.5]):
        moved = solid(assembly.part("bottom"), np.array(away))
        assert sum((moved ^ wall).volume() for wall in home.values()) > 0.5


def test_slots_lie_symmetric_clear_of_corners_and_of_each_other_with_wood_under_them():
    design, boards = box(panel(moisture="8 %"), SLOTS | {"along": 3, "ends": 3, "tongue": "12 mm", "up": "4 mm"})
    for i, name in enumerate(PANELS):
        part = design.assembly.part(name)
        assert len(part.slab.recesses) == 3
        assert {recess.depth_mm for recess in part.slab.recesses} == {part.slab.thickness_mm}
        spans = sorted((recess.ring.bounds_mm()[0], recess.ring.bounds_mm()[2]) for recess in part.slab.recesses)
        inside = (0.2 + boards[PANELS[i - 1]].thickness_mm, part.slab.bounds_mm()[2] - 0.2 - boards[PANELS[(i + 1) % 4]].thickness_mm)
        middle = sum(inside) / 2
        mirrored = sorted((2 * middle - high, 2 * middle - low) for low, high in spans)
        assert np.allclose(spans, mirrored)
        ends = [inside[0], *(x for span in spans for x in span), inside[1]]
        assert min(np.diff(ends)[::2]) > LEAST_BETWEEN_MM - 0.7  # the room for movement is taken from it
        for recess in part.slab.recesses:
            assert recess.ring.bounds_mm()[1::2] == pytest.approx((4.0, 4.0 + 3.01 + 0.2))


@pytest.mark.parametrize("sawn", ["flat", "quarter"])
@pytest.mark.parametrize("species", ["black cherry", "eastern white pine"])
@pytest.mark.parametrize("ends", [1, 3])
def test_in_every_season_tongues_find_room_and_stay_in_their_slots_inside_the_wall(species: str, sawn: str, ends: int):
    wood = panel(species, sawn=sawn)
    design, boards = box(wood, SLOTS | {"ends": ends, "tongue": "10 mm"})
    bottom = design.assembly.part("bottom")
    for humidity in (0.35, 0.65):
        moved = change_mm(90.0, find_species(species), wood.sawn, 0.08, moisture_frac(20.0, humidity).value)
        for likely_mm in (moved.value - 2 * moved.sd, moved.value + 2 * moved.sd):
            now = grown(bottom, likely_mm / 90.0)
            for name in PANELS:
                assert (solid(now) ^ solid(design.assembly.part(name))).volume() < NOTHING_MM3, (name, humidity)
            points = np.column_stack([now.slab.show_ring.points_mm, np.zeros(len(now.slab.edges))])
            low, high = np.sort(now.assembly_from_part.apply(points)[:, 1])[[0, -1]]
            assert -1e-9 < low < boards["front"].thickness_mm - 1
            assert boards["front"].thickness_mm - 1 > 90.0 - high > -1e-9
    # Dampest, the tongues end level with the walls.
    damp = change_mm(90.0, find_species(species), wood.sawn, 0.08, moisture_frac(20.0, 0.65).value)
    _, y0, _, y1 = grown(bottom, max(damp.value + 2 * damp.sd, 0.0) / 90.0).slab.bounds_mm()
    assert y1 - y0 == pytest.approx(90.0, abs=0.03)


def test_end_tongues_stand_proud_as_the_joints_or_as_wished():
    for wished, proud_mm in ((None, 0.2), ("0 mm", 0.0), ("3 mm", 3.0)):
        design, _ = box(panel(), SLOTS | ({} if wished is None else {"proud": wished}))
        x0, _, x1, _ = design.assembly.part("bottom").slab.bounds_mm()
        assert x1 - x0 == pytest.approx(230 + 2 * proud_mm)


def test_what_the_wood_does_is_told():
    design, _ = box(panel(), SLOTS)
    (told,) = (finding.text for finding in design.findings if finding.code == "bottom-moves")
    assert "middle of each end only" in told
    assert "a line of up to" in told


def test_slots_are_cut_through_in_the_first_setup_and_burn_in_minutes_where_grooves_take_hours():
    wood = panel()
    slotted, grooved = job(wood, SLOTS), job(wood, {"depth": "2 mm"})
    for name in PANELS:
        (only,) = (setup for setup in slotted.setups if setup.part == name)
        (windows,) = (op for op in only.operations if op.name == "windows")
        assert windows.kind is OperationKind.THROUGH
        assert len(windows.paths) == (2 if name in ("front", "back") else 1)
        assert not any(op.name == "recesses" for op in only.operations)

    def minutes(planned: Any) -> float:
        return sum(time.burn_s + time.travel_s for time in planned.times) / 60

    print(f"{minutes(slotted):.0f} min with slots, {minutes(grooved):.0f} min with grooves")
    assert minutes(slotted) < minutes(grooved) - 30


@pytest.mark.parametrize(
    ("bottom", "words"),
    [
        ({"up": "1 mm"}, r"1 mm of wood under the slots.*1\.5 mm or more.*bottom\.up"),
        ({"up": "39 mm"}, r"the slot ends 42\.2 mm up a wall of 42 mm.*bottom\.up"),
        ({"along": 12}, r"12 tongues .* mm beside each.*bottom\.along"),
        ({"ends": 3, "tongue": "20 mm"}, r"3 tongues 20\.0 mm wide.*bottom\.ends"),
    ],
)
def test_what_cannot_be_is_refused_naming_the_dimension(bottom: dict[str, Any], words: str):
    with pytest.raises(BuildError, match=words):
        box(panel(), SLOTS | bottom)


def test_a_wide_bottom_of_restless_wood_is_refused():
    with pytest.raises(BuildError, match=r"shrinks out of its slots: -?\d\.\d mm of tongue.*quieter wood"):
        box(panel("American beech", moisture="13 %"), SLOTS | {"room": {"dry": "20 %", "damp": "80 %"}}, width="300 mm")


def test_kinds_of_bottom_are_told():
    with pytest.raises(InputError, match=r'no bottom of this kind. Accepted: "grooves", "slots"'):
        box(panel(), {"kind": "slats"})
    with pytest.raises(InputError, match=r"ends = 2.*odd number"):
        box(panel(), SLOTS | {"ends": 2})

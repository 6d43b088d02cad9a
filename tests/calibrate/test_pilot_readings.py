"""Pilot strips among the readings that lessons learn from: same settings, other boards, only some of the widths."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibrate.lesson_samples import datum
from kerfwright.calibrate.evidence import Datum, Evidence, burnt_alike
from kerfwright.calibrate.kerf_lesson import SETTINGS, learn_kerf
from kerfwright.coupons.observable import Quantity, Setting

SPEED_MM_S = 5.66681574
WAIST_MM, TOP_MM, BOTTOM_MM = 0.14, 0.22, 0.17


def slit(board: str, kerf_mm: float, quantity: Quantity, speed_mm_s: float, travel: str = "x", face: str = "waist") -> Datum:
    """A tongue or a slot of one slit, exactly."""
    settings: dict[str, Setting] = {"power_frac": 1.0, "speed_mm_s": speed_mm_s, "passes": 2.0, "focus_mm": -0.9, "focus_step_mm": 1.5}
    settings |= {"travel": travel, "grain": "along" if travel == "x" else "across", "pitch_mm": 3.0, "depth_mm": 6.0}
    found = datum(quantity, (kerf_mm if quantity is Quantity.SLOT_WIDTH else 3.0 - kerf_mm,), board, settings)
    return replace(found, observable=replace(found.observable, face=face))


def comb(board: str, wider_mm: float = 0.0) -> list[Datum]:
    """Slots on both faces and tongues, both travels."""
    found: list[Datum] = []
    for travel in ("x", "y"):
        for _ in range(3):
            found.append(slit(board, WAIST_MM + wider_mm, Quantity.TONGUE_WIDTH, SPEED_MM_S, travel))
            found.append(slit(board, TOP_MM + wider_mm, Quantity.SLOT_WIDTH, SPEED_MM_S, travel, "show"))
            found.append(slit(board, BOTTOM_MM + wider_mm, Quantity.SLOT_WIDTH, SPEED_MM_S, travel, "inner"))
    return found


def test_a_digit_lost_in_a_recipe_file_is_no_other_setting():
    data = [slit("A", 0.14, Quantity.TONGUE_WIDTH, speed) for speed in (SPEED_MM_S, 5.66682, 5.72, 5.6668)]
    groups = burnt_alike(data, SETTINGS)
    assert [len(group) for group in groups.values()] == [3, 1]
    assert next(iter(groups)) == (1.0, SPEED_MM_S, 2.0, -0.9, 1.5)


def test_a_strip_tells_the_waist_of_its_board_and_the_other_boards_the_rest():
    """Board B's slits are 0.012 mm wider than A's; its strip, burnt from a recipe file, reads only the waist of one travel."""
    strip = [slit("B", WAIST_MM + 0.012, Quantity.TONGUE_WIDTH, 5.66682) for _ in range(3)]
    learned = learn_kerf(Evidence((*comb("A"), *strip)), {}, "B")
    assert learned is not None
    assert len(learned.cuts) == 1
    along, across = (learned.cuts[0].profile(deg, deg) for deg in (0.0, 90.0))
    assert along.waist_mm.value == pytest.approx(WAIST_MM + 0.012, abs=1e-9)
    assert across.waist_mm.value == pytest.approx(WAIST_MM, abs=1e-9)
    assert along.waist_mm.sd < across.waist_mm.sd
    for profile in (along, across):
        assert (profile.top_mm.value, profile.bottom_mm.value) == pytest.approx((TOP_MM, BOTTOM_MM), abs=1e-9)


def test_strips_teach_a_board_not_yet_seen_how_boards_differ():
    """With strips of five boards 0.008 mm apart the next board's waist lies among them, as unsure as they differ at least."""
    wider_mm = np.array([-0.016, -0.008, 0.0, 0.008, 0.016])
    strips = [slit(f"B{k}", WAIST_MM + by, Quantity.TONGUE_WIDTH, 5.66682) for k, by in enumerate(wider_mm) for _ in range(3)]
    learned = learn_kerf(Evidence((*comb("A"), *strips)), {}, "new")
    assert learned is not None
    waist = learned.cuts[0].profile(0.0, 0.0).waist_mm
    assert waist.value == pytest.approx(WAIST_MM, abs=0.002)
    assert waist.sd > 0.9 * float(np.std([*wider_mm, 0.0], ddof=1))


def test_boards_whose_repeats_agree_to_the_last_digit_are_told_apart_all_the_same():
    """A caliper reads to 0.01 mm, so three tongues of a board often read alike."""
    strips = [slit(f"B{k}", kerf, Quantity.TONGUE_WIDTH, 5.66682) for k, kerf in enumerate((0.15, 0.15, 0.14, 0.16)) for _ in range(3)]
    learned = learn_kerf(Evidence(tuple(strips)), {}, "new")
    assert learned is not None
    assert learned.cuts[0].profile(0.0, 0.0).waist_mm.value == pytest.approx(0.15, abs=0.002)

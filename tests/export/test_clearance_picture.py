"""Clearance maps: squeeze, touching and gap told apart by any eye; the tightest flanks kept."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from app.shop_files import new_shop
from kerfwright.app import workflow
from kerfwright.export.clearance_picture import SCALE_MM, edge_word, gap_colours, shown_maps
from kerfwright.process.verdict import CornerVerdict
from sight import SIGHT, lab
from verdict_samples import made_up_corner


@pytest.fixture(scope="module")
def corner(tmp_path_factory: pytest.TempPathFactory) -> CornerVerdict:
    job = workflow.look(new_shop(tmp_path_factory.mktemp("maps")) / "pencil-box" / "piece.toml").job
    return made_up_corner(job.assembly, "front-right", "front")


def seen(gap_mm: float, sight: str) -> np.ndarray:
    share = np.array(gap_colours()((gap_mm + SCALE_MM) / (2 * SCALE_MM))[:3])
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return lab(SIGHT[sight] @ linear)


@pytest.mark.parametrize("sight", SIGHT)
def test_squeeze_touching_and_gap_are_apart_for_any_eye(sight: str) -> None:
    for a, b in combinations((-0.1, -0.05, 0.0, 0.05, 0.1), 2):
        assert np.linalg.norm(seen(a, sight) - seen(b, sight)) >= 20, (a, b)
    for gap_mm in (0.03, 0.06, 0.1):  # as deep either way, and still not the same
        assert np.linalg.norm(seen(gap_mm, sight) - seen(-gap_mm, sight)) >= 20


@pytest.mark.parametrize("sight", SIGHT)
def test_nothing_is_lightest_and_it_darkens_either_way(sight: str) -> None:
    for sign in (-1, 1):
        lightness = [seen(sign * gap_mm, sight)[0] for gap_mm in np.linspace(0, SCALE_MM, 13)]
        assert lightness == sorted(lightness, reverse=True)
        assert lightness[0] - lightness[-1] > 50


def test_the_tightest_flanks_are_shown_in_their_order(corner: CornerVerdict) -> None:
    tightest = sorted(float(flank.gap_mm.min()) for flank in corner.maps)[:3]
    kept = shown_maps(corner, 3)
    assert sorted(float(flank.gap_mm.min()) for flank in kept) == tightest
    places = [next(k for k, each in enumerate(corner.maps) if each is flank) for flank in kept]
    assert places == sorted(places)
    assert shown_maps(corner) == corner.maps
    assert edge_word(corner.maps[2].tail_edge) == "flank 3"


def test_a_flank_without_numbers_comes_last(corner: CornerVerdict) -> None:
    empty = replace(corner.maps[0], gap_mm=np.full_like(corner.maps[0].gap_mm, np.nan))
    kept = shown_maps(replace(corner, maps=(empty, *corner.maps[1:])), len(corner.maps) - 1)
    assert all(flank is not empty for flank in kept)

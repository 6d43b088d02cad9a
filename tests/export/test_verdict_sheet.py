"""The sheet of one corner, and the words it shares with the terminal."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from app.shop_files import new_shop
from kerfwright.app import workflow
from kerfwright.core.estimate import Estimate
from kerfwright.export import verdict_words as words
from kerfwright.export.verdict_sheet import HEIGHT_PX, WIDTH_PX, verdict_sheet
from kerfwright.export.wood_colour import parse_colour
from kerfwright.geometry.assembly import Assembly
from kerfwright.process.verdict import HOW
from verdict_samples import made_up_verdict

MAPLE = parse_colour("#e6d3b3")


@pytest.fixture(scope="module")
def assembly(tmp_path_factory: pytest.TempPathFactory) -> Assembly:
    return workflow.look(new_shop(tmp_path_factory.mktemp("sheet")) / "pencil-box" / "piece.toml").job.assembly


def test_a_sheet_is_whole_and_the_same_twice(assembly: Assembly) -> None:
    verdict = made_up_verdict(assembly)
    parts = {part.name: part for part in assembly.parts}
    sheets = [verdict_sheet(verdict, corner, parts, dict.fromkeys(parts, MAPLE)) for corner in verdict.corners]
    assert sheets[0] == verdict_sheet(verdict, verdict.corners[0], parts, dict.fromkeys(parts, MAPLE))
    pictures = [np.asarray(Image.open(io.BytesIO(sheet)).convert("RGB")) for sheet in sheets]
    assert {picture.shape for picture in pictures} == {(HEIGHT_PX, WIDTH_PX, 3)}
    # The second corner is 0.05 mm tighter: more of its maps (left of the lines, below the tiles) is squeeze, so warmer.
    maps = [picture[330:760, 735:1340].astype(float) for picture in pictures]
    assert float((maps[1][..., 0] - maps[1][..., 2]).mean()) > float((maps[0][..., 0] - maps[0][..., 2]).mean()) + 40


def test_a_corner_with_hardly_anything_said_still_gets_a_sheet(assembly: Assembly) -> None:
    verdict = made_up_verdict(assembly)
    parts = {part.name: part for part in assembly.parts}
    holes = tuple(replace(flank, gap_mm=np.full_like(flank.gap_mm, np.nan)) for flank in verdict.corners[0].maps)
    bare = replace(verdict.corners[0], odds={}, lines=(), maps=holes, causes=(), planned_gap_mm=None, press_n=(0.0, 0.0, math.inf))
    sheet = verdict_sheet(replace(verdict, heat=None, said=(), setup_time_s={}), bare, parts, dict.fromkeys(parts, MAPLE))
    assert Image.open(io.BytesIO(sheet)).size == (WIDTH_PX, HEIGHT_PX)


def test_odds_are_never_certain() -> None:
    assert [words.percent(each) for each in (0.0, 0.004, 0.01, 0.946, 0.99, 0.996, 1.0, math.nan)] == [
        "under 1 %", "under 1 %", "1 %", "95 %", "99 %", "over 99 %", "over 99 %", "unknown"
    ]


def test_lengths_and_forces() -> None:
    assert words.with_spread(Estimate(0.036, 0.012)) == "0.04 ± 0.01 mm"
    assert words.with_spread(Estimate(0.0361, 0.0012)) == "0.036 ± 0.001 mm"
    assert words.with_spread(Estimate(-0.0004, 0.02)) == "0 ± 0.02 mm"
    told = [words.newtons(each) for each in (0.2, 3.4, 41.04, 118.0, 1249.0, math.inf)]
    assert told == ["0 N", "3 N", "41 N", "120 N", "1.2 kN", "more than can be told"]


def test_a_sheet_tells_what_was_said_of_its_corner(assembly: Assembly) -> None:
    verdict = made_up_verdict(assembly)
    assert [words.said_of(verdict, corner) for corner in verdict.corners] == [[], ["right-back goes together in about 2 burns of 10."]]


def test_odds_in_words(assembly: Assembly) -> None:
    corner = made_up_verdict(assembly).corners[0]
    assert words.headline(corner) == "94 % that it goes together"
    assert words.odds_words(corner) == "loose 2 %, slip 16 %, snug 61 %, press 15 %, not at all 6 %"
    assert words.likeliest(corner) == "snug"
    assert words.press_words(corner) == "12 to 120 N"
    assert set(corner.odds) == set(HOW)

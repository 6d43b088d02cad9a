"""A verdict written as JSON comes back as it was, to the digits it is known to."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app.shop_files import new_shop
from kerfwright.app import workflow
from kerfwright.core.errors import InputError
from kerfwright.export.verdict_json import SCHEMA, read_verdict, verdict_record, verdict_text
from kerfwright.process.verdict import Verdict
from verdict_samples import made_up_verdict


@pytest.fixture(scope="module")
def verdict(tmp_path_factory: pytest.TempPathFactory) -> Verdict:
    shop = new_shop(tmp_path_factory.mktemp("json"))
    return made_up_verdict(workflow.look(shop / "pencil-box" / "piece.toml").job.assembly)


def assert_same(one: Any, other: Any, name: str = "") -> None:
    assert type(one) is type(other), name
    if dataclasses.is_dataclass(one):
        for field in dataclasses.fields(one):
            assert_same(getattr(one, field.name), getattr(other, field.name), f"{name}.{field.name}")
    elif isinstance(one, np.ndarray):
        np.testing.assert_allclose(one, other, atol=0.5001e-4, err_msg=name)
    elif isinstance(one, dict):
        assert list(one) == list(other), name
        for key in one:
            assert_same(one[key], other[key], f"{name}[{key}]")
    elif isinstance(one, tuple):
        assert len(one) == len(other), name
        for k, (mine, theirs) in enumerate(zip(one, other, strict=True)):
            assert_same(mine, theirs, f"{name}[{k}]")
    elif isinstance(one, float):
        slack = 0.0501 if name.endswith(("_s", "_s[1]", "_s[2]")) or "_n[" in name else 0.00051
        assert one == pytest.approx(other, abs=slack, nan_ok=True), name
    else:
        assert one == other, name


def test_it_comes_back_as_it_was(verdict: Verdict) -> None:
    assert_same(read_verdict(verdict_text(verdict)), verdict)


def test_a_second_writing_is_the_same_to_the_byte(verdict: Verdict) -> None:
    text = verdict_text(verdict)
    assert verdict_text(read_verdict(text)) == text


def test_numbers_are_rounded_by_their_unit(verdict: Verdict) -> None:
    record = verdict_record(verdict)
    corner = record["corners"][0]
    assert record["schema"] == SCHEMA
    assert record["goes_together"] == 0.22  # the worst corner's
    assert corner["press_n"] == [12.3, 41.0, 118.0]
    assert corner["seen_gap_mm"] == {"value": 0.036, "sd": 0.012, "n": 400, "source": "400 draws"}
    assert corner["causes"][2]["sd_mm"] == 0.0056
    assert record["heat"]["hottest"][0]["warmth"] == 3.418
    assert record["setup_time_s"] == {"1": 281.2, "2": 882.2}
    assert corner["maps"][0]["gap_mm"][3][4] == round(float(verdict.corners[0].maps[0].gap_mm[3, 4]), 4)


def test_no_number_is_null_and_comes_back_as_none(verdict: Verdict) -> None:
    flank = verdict.corners[0].maps[0]
    holed = dataclasses.replace(flank, gap_mm=np.where(flank.gap_mm > 0.03, np.nan, flank.gap_mm))
    n_holes = int(np.isnan(holed.gap_mm).sum())
    corner = dataclasses.replace(verdict.corners[0], maps=(holed,), planned_gap_mm=None, press_n=(1.0, 2.0, math.inf))
    text = verdict_text(dataclasses.replace(verdict, corners=(corner,), heat=None))
    assert n_holes > 10
    assert sum(each is None for row in json.loads(text)["corners"][0]["maps"][0]["gap_mm"] for each in row) == n_holes
    back = read_verdict(text)
    np.testing.assert_array_equal(np.isnan(back.corners[0].maps[0].gap_mm), np.isnan(holed.gap_mm))
    assert back.heat is None
    assert back.corners[0].planned_gap_mm is None
    assert math.isnan(back.corners[0].press_n[2])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "not JSON"),
        ("[]", "the schema is None"),
        ('{"schema": "kerfwright-job-1"}', "kerfwright-job-1"),
        (f'{{"schema": "{SCHEMA}", "job": "x"}}', "damaged near 'corners'"),
    ],
)
def test_something_else_is_refused(text: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        read_verdict(text)


def test_rows_stand_on_one_line(verdict: Verdict, tmp_path: Path) -> None:
    text = verdict_text(verdict)
    flank = verdict.corners[0].maps[0]
    row = ", ".join(json.dumps(round(float(each), 4)) for each in flank.z_mm)
    assert f'"z_mm": [{row}]' in text
    assert len(text.splitlines()) < 2500

"""A measured scale and skew are taken out of every program."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kerfwright.core.document import build
from kerfwright.core.errors import InputError
from kerfwright.machine.machine import Machine

TABLES = {
    "schema": "kerfwright-machine-1",
    "name": "M",
    "laser": "diode",
    "power": "20 W",
    "bed_x": "400 mm",
    "bed_y": "400 mm",
    "height": "60 mm",
    "z": "motorised",
    "head": {"gap": "9 mm", "half_width": "30 mm"},
    "top_speed": "300 mm/s",
    "acceleration": "1500 mm/s2",
}


def test_sent_where_it_lands_right():
    machine = build(TABLES | {"scale_x": "0.2 %", "scale_y": "-0.1 %", "skew": "0.3 deg"}, Machine, "machine")
    wanted = np.array([[100.0, 50.0, 1.0], [0.0, 0.0, 0.0], [20.0, 300.0, -2.0]])
    sent = machine.commanded_mm(wanted)
    landed_y = (1 - 0.001) * sent[:, 1]
    landed_x = (1 + 0.002) * sent[:, 0] + math.tan(math.radians(0.3)) * landed_y
    assert np.allclose(np.stack([landed_x, landed_y], axis=1), wanted[:, :2], atol=1e-12)
    assert np.array_equal(sent[:, 2], wanted[:, 2])
    assert np.allclose(machine.landed_mm(sent), wanted, atol=1e-12)


def test_an_uncorrected_machine_is_left_alone():
    machine = build(TABLES, Machine, "machine")
    points = np.array([[1.0, 2.0, 3.0]])
    assert not machine.corrected
    assert machine.commanded_mm(points) is points
    assert machine.landed_mm(points) is points


@pytest.mark.parametrize(("key", "value"), [("scale_x", "5 %"), ("scale_y", "1.01"), ("skew", "3 deg")])
def test_absurd_corrections_are_refused(key: str, value: str):
    with pytest.raises(InputError, match=key):
        build(TABLES | {key: value}, Machine, "machine")

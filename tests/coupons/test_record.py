"""coupon.json: kept for years in notebooks, so a record made before an observable gained a field must still be read."""

from __future__ import annotations

import hashlib
import json

import pytest

from coupon_samples import record
from kerfwright.core.errors import InputError
from kerfwright.coupons.record import read_record, record_json


def made() -> str:
    return record_json(record("kerf comb"))


def test_a_record_comes_back_as_it_was():
    text = made()
    assert record_json(read_record(text)) == text


def test_a_record_from_before_a_field_was_added_is_read_with_its_default():
    fields = json.loads(made())
    for each in fields["observables"]:
        del each["across_deg"]
    told = {"observables": fields["observables"], "board": fields["board"], "machine": fields["machine"], "copy": 1}
    fields["digest"] = hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:16]
    older = read_record(json.dumps(fields))
    assert {each.across_deg for each in older.observables} == {0.0}


def test_a_record_changed_by_hand_is_refused():
    fields = json.loads(made())
    fields["observables"][0]["high"] = 1000.0
    with pytest.raises(InputError, match="were changed after it was made"):
        read_record(json.dumps(fields))

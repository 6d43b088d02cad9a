from __future__ import annotations

import hashlib
from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.core.errors import InputError
from kerfwright.notebook.fact import Correction, Kind, chains, new_fact, overruled, stamp_of
from notebook.facts import NOON, corrected, fact


def test_the_time_is_turned_to_utc():
    kathmandu = timezone(timedelta(hours=5, minutes=45))
    told = fact().__class__(fact().id, Kind.BOARD, "a", datetime(2026, 3, 1, 5, 0, tzinfo=kathmandu), "board-1", "{}")
    assert told.recorded_at.isoformat() == "2026-02-28T23:15:00+00:00"


def test_the_checksum_is_of_the_payload_as_given():
    text = '{ "b":1,\n "a" : "µ" }'
    assert fact(payload=text).payload == text
    assert fact(payload=text).sha256 == hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.parametrize(("change", "words"), [
    ({"id": "17"}, "id is '17'"),
    ({"id": "6B657266-0000-4000-8000-000000000001"}, "small letters"),
    ({"supersedes": "no"}, "supersedes is 'no'"),
    ({"kind": "plank"}, 'kind is "plank". Accepted: machine, board, coupon, reading, job, outcome'),
    ({"key": " "}, "key is ' '"),
    ({"key": "two\nlines"}, "printable"),
    ({"key": "k" * 201}, "1 to 200"),
    ({"schema": "board"}, '"board-1"'),
    ({"payload": "{"}, "the payload is not JSON"),
    ({"payload": "[1]"}, "not an object"),
    ({"payload": '{"a": NaN}'}, "the payload holds NaN. Accepted: finite numbers"),
    ({"payload": '{"a": "\ud800"}'}, "not JSON"),
    ({"payload": '{"a": "' + "x" * 5_000_000 + '"}'}, "at most 5000000"),
    ({"payload": '{"a":' + "[" * 100_000 + "]" * 100_000 + "}"}, "not JSON"),
])
def test_what_cannot_be_kept_is_refused(change: dict[str, str], words: str):
    with pytest.raises(InputError) as caught:
        fact(**change)  # pyright: ignore[reportArgumentType]
    assert words in caught.value.message


def test_a_time_without_zone_is_refused():
    with pytest.raises(InputError, match="without a time zone"):
        fact().__class__(fact().id, Kind.BOARD, "a", datetime(2026, 3, 1), "board-1", "{}")


def test_a_new_fact_has_its_own_id_and_is_recorded_now():
    one, two = (new_fact(Kind.JOB, "pencil-box", "job-1", "{}") for _ in range(2))
    assert one.id != two.id
    assert timedelta(0) <= two.recorded_at - one.recorded_at < timedelta(seconds=1)


def test_the_stamp_knows_the_facts_and_not_their_order():
    one, two = fact(), fact()
    assert stamp_of([one, two]) == stamp_of([two, one])
    assert len({stamp_of(each) for each in ([], [one], [two], [one, two])}) == 4
    assert stamp_of([one]) != stamp_of([fact(id=one.id, payload='{"thickness_mm": 6.03}')])


def _correction(id: str, supersedes: str, hours: int) -> Correction:
    return Correction(id, supersedes, NOON + timedelta(hours=hours))


def test_of_a_chain_the_last_stands():
    links = [_correction("b", "a", 1), _correction("c", "b", 2)]
    assert overruled(links) == {"a", "b"}
    assert {root: [each.id for each in members] for root, members in chains(links).items()} == {"a": ["b", "c"]}


def test_of_rivals_the_one_recorded_last_stands_with_all_behind_it():
    # a was corrected to b in one copy and to c, then d, in another
    early = [_correction("b", "a", 9), _correction("c", "a", 1), _correction("d", "c", 2)]
    assert overruled(early) == {"a", "c", "d"}
    late = [_correction("b", "a", 1), _correction("c", "a", 2), _correction("d", "c", 3)]
    assert overruled(late) == {"a", "b", "c"}


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 5)), max_size=30))
def test_of_every_chain_exactly_one_stands(picks: list[tuple[int, int]]):
    """Any forest of corrections: fact number n+3 corrects one that came before; 0, 1 and 2 are first tellings."""
    links = [_correction(str(n + 3), str(pick % (n + 3)), hours) for n, (pick, hours) in enumerate(picks)]
    gone = overruled(links)
    for root, members in chains(links).items():
        whole = {root, *(each.id for each in members)}
        assert len(whole - gone) == 1
        assert (whole - gone).isdisjoint({each.supersedes for each in members})
    assert gone <= {each.id for each in links} | {each.supersedes for each in links}


def test_a_correction_keeps_its_kind():
    assert corrected(fact(Kind.READING), "{}", hours=1).kind is Kind.READING

"""Facts: what was true in the shop and when it was written down. Never edited, never deleted; a correction is a new fact.

fact         one thing that happened or was seen: a machine bought, a board put on the rack, a coupon made, a reading taken
key          the name of the machine, board, coupon or job that the fact is about
correction   a later fact that takes the place of an earlier one; both stay
chain        a fact, its correction, the correction's correction ...
rivals       two corrections of one fact, made in two copies of a notebook that were brought together later
"""

from __future__ import annotations

import hashlib
import json
import re
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum

from kerfwright.core.errors import InputError

MAX_KEY_LETTERS = 200
MAX_PAYLOAD_BYTES = 5_000_000  # the readings of the largest coupon are a hundredth of this
SCHEMA = re.compile(r"[a-z][a-z0-9-]*-[1-9][0-9]*")


class Kind(StrEnum):
    """What a fact tells of. A new kind comes with a migration, so that an older program refuses rather than misreads."""

    MACHINE = "machine"
    BOARD = "board"
    COUPON = "coupon"
    READING = "reading"
    JOB = "job"
    OUTCOME = "outcome"


@dataclass(frozen=True)
class Fact:
    """One fact. Raises InputError when a part of it cannot be kept.

    id: a UUID chosen by the writer, so that a retry does not write twice; key: what the fact is about;
    recorded_at: aware, turned to UTC; schema: name and version of the payload, such as "board-1";
    payload: a JSON object, kept letter by letter; supersedes: the id of the fact that this one corrects.
    """

    id: str
    kind: Kind
    key: str
    recorded_at: datetime
    schema: str
    payload: str
    supersedes: str | None = None

    def __post_init__(self) -> None:
        _check_id(self.id, "id")
        if self.supersedes is not None:
            _check_id(self.supersedes, "supersedes")
        try:
            object.__setattr__(self, "kind", Kind(self.kind))
        except ValueError as bad:
            raise InputError(f'kind is "{self.kind}"', accepted=", ".join(Kind)) from bad
        if not self.key.strip() or len(self.key) > MAX_KEY_LETTERS or not self.key.isprintable():
            raise InputError(f"key is {self.key[:80]!r}", accepted=f"a name of 1 to {MAX_KEY_LETTERS} printable letters on one line")
        if not SCHEMA.fullmatch(self.schema):
            raise InputError(f'schema is "{self.schema[:80]}"', accepted='a name and a version, such as "board-1"')
        object.__setattr__(self, "recorded_at", as_utc(self.recorded_at, "recorded_at"))
        _check_payload(self.payload)

    @property
    def sha256(self) -> str:
        """The checksum of the payload."""
        return hashlib.sha256(self.payload.encode()).hexdigest()

    def same_as(self, other: Fact) -> bool:
        """True when both say the same; a retry may come later, so the time does not count."""
        mine = (self.id, self.kind, self.key, self.schema, self.payload, self.supersedes)
        return mine == (other.id, other.kind, other.key, other.schema, other.payload, other.supersedes)


def new_fact(kind: Kind, key: str, schema: str, payload: str, *, supersedes: str | None = None, id: str | None = None) -> Fact:
    """A fact recorded now, under a new id unless one is given."""
    return Fact(id or str(uuid.uuid4()), kind, key, datetime.now(UTC), schema, payload, supersedes)


def as_utc(moment: datetime, name: str) -> datetime:
    """The moment in UTC. Raises InputError when it does not say its zone."""
    if moment.tzinfo is None or moment.utcoffset() is None:
        raise InputError(f"{name} is {moment.isoformat()} without a time zone", accepted="a time that says its zone, such as ...+00:00")
    return moment.astimezone(UTC)


def stamp_of(facts: Iterable[Fact]) -> str:
    """A short stamp of what something was computed from: the same facts give the same stamp in any order."""
    lines = sorted(f"{fact.id} {fact.sha256}\n" for fact in facts)
    return hashlib.sha256("".join(lines).encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Correction:
    """The bare bones of a fact that corrects another."""

    id: str
    supersedes: str
    recorded_at: datetime


def chains(corrections: Iterable[Correction]) -> dict[str, list[Correction]]:
    """Corrections by the id of the fact at the root of their chain. Each must come after the one it corrects."""
    root_of: dict[str, str] = {}
    found: dict[str, list[Correction]] = {}
    for each in corrections:
        root = root_of.setdefault(each.id, root_of.get(each.supersedes, each.supersedes))
        found.setdefault(root, []).append(each)
    return found


def overruled(corrections: Iterable[Correction]) -> set[str]:
    """The ids of facts that no longer count: of each chain only one stands, among rivals the one recorded last."""
    gone: set[str] = set()
    for root, members in chains(corrections).items():
        corrected = {each.supersedes for each in members}
        stands = max((each for each in members if each.id not in corrected), key=lambda each: (each.recorded_at, each.id))
        gone |= {root, *(each.id for each in members)} - {stands.id}
    return gone


def _check_id(text: str, name: str) -> None:
    try:
        good = str(uuid.UUID(text)) == text
    except ValueError:
        good = False
    if not good:
        raise InputError(f"{name} is {text[:80]!r}", accepted="a UUID in small letters with dashes")


def _check_payload(text: str) -> None:
    def refuse(word: str) -> None:
        raise InputError(f"the payload holds {word}", accepted="finite numbers")

    try:
        n_bytes = len(text.encode())
        value = json.loads(text, parse_constant=refuse)
    except (UnicodeEncodeError, json.JSONDecodeError, RecursionError) as bad:
        raise InputError(f"the payload is not JSON ({bad})", accepted="the text of one JSON object") from bad
    if not isinstance(value, dict):
        raise InputError("the payload is JSON but not an object", accepted="the text of one JSON object")
    if n_bytes > MAX_PAYLOAD_BYTES:
        raise InputError(f"the payload holds {n_bytes} bytes", accepted=f"at most {MAX_PAYLOAD_BYTES}")

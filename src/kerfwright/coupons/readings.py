"""Filled-in forms read back: every fault of a form at once, each with its line, its observable and the reason."""

from __future__ import annotations

import csv
import io
import math
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, cast

from kerfwright.core.document import MAX_DOCUMENT_BYTES
from kerfwright.core.errors import FolderError, InputError
from kerfwright.core.units import parse_length_mm
from kerfwright.coupons.form import COLUMNS, NOT_SURE, SCHEMA, SPOILT, accepted_words
from kerfwright.coupons.observable import RIGHT_THROUGH, Observable
from kerfwright.coupons.record import CouponRecord

MOST_REPEATS = 50
COMMA_FOR_POINT = re.compile(r"(?<![\d.])\d+,\d+(?![\d.])")  # "1,4" may be 1.4 or two readings
ALSO = {"spoiled": SPOILT, "y": "yes", "n": "no"}  # other ways to write a word
Status = Literal["read", "not sure", "spoilt"]


@dataclass(frozen=True)
class Reading:
    """One answered observable. values: numbers in the observable's unit, or words; empty unless status is "read"."""

    observable: str
    values: tuple[float | str, ...]
    status: Status = "read"


@dataclass(frozen=True)
class _Answer:
    """One line of a form as it arrived."""

    line: int
    id: str
    value: object


def read_form(path: Path, record: CouponRecord) -> tuple[Reading, ...]:
    """Readings of a filled-in form, TOML or CSV by its ending; lines left empty are left out.

    Raises FolderError when the file cannot be read, InputError naming every fault by line.
    """
    try:
        if path.stat().st_size > MAX_DOCUMENT_BYTES:
            raise InputError("the form is far too long", accepted=f"at most {MAX_DOCUMENT_BYTES} bytes", where=str(path))
        text = path.read_text(encoding="utf-8-sig")
    except OSError as bad:
        raise FolderError(bad.strerror or "it cannot be read", accepted="a filled-in form", where=str(path)) from bad
    except UnicodeDecodeError as bad:
        raise InputError("this is not UTF-8 text", accepted="a form saved as UTF-8", where=str(path)) from bad
    return read_form_text(text, path.suffix.lower(), record, str(path))


def read_forms(folder: Path, names: Sequence[str], record: CouponRecord) -> tuple[Reading, ...]:
    """Of a coupon's forms that are there, the one that was filled in. Raises InputError when two hold different answers."""
    read = {name: read_form(folder / name, record) for name in names if (folder / name).exists()}
    answered = {name: readings for name, readings in read.items() if readings}
    if len(set(map(frozenset, answered.values()))) > 1:
        raise InputError(
            f"{' and '.join(answered)} hold different answers",
            accepted="one form filled in, or both alike",
            remedy="Empty one of them",
            where=str(folder),
        )
    return next(iter(answered.values()), ())


def read_form_text(text: str, ending: str, record: CouponRecord, where: str = "the form") -> tuple[Reading, ...]:
    """The same from text. ending: ".toml" or ".csv"."""
    if ending not in (".toml", ".csv"):
        raise InputError(f'a form ending in "{ending}"', accepted=".toml or .csv", where=where)
    faults: list[str] = []
    answers = list((_toml_answers if ending == ".toml" else _csv_answers)(text, record, faults, where))
    return _checked(answers, record, faults, where)


def check_values(values: Mapping[str, object], record: CouponRecord, where: str = "the readings") -> tuple[Reading, ...]:
    """Readings handed over by a script: id to number, word, text as on the form, or a list of those."""
    return _checked([_Answer(0, name, value) for name, value in values.items()], record, [], where)


def _checked(answers: list[_Answer], record: CouponRecord, faults: list[str], where: str) -> tuple[Reading, ...]:
    known = {each.id: each for each in record.observables}
    readings: list[Reading] = []
    seen: dict[str, int] = {}
    for answer in answers:
        at = f"line {answer.line}, {answer.id}" if answer.line else answer.id
        if answer.id not in known:
            faults.append(f"{at}: this coupon has no such reading{_near(answer.id, known)}")
            continue
        if answer.id in seen:
            faults.append(f"{at}: answered twice, first on line {seen[answer.id]}")
            continue
        seen[answer.id] = answer.line
        try:
            reading = _reading(known[answer.id], answer.value)
        except InputError as bad:
            faults.append(f"{at}: {bad.message.rstrip('.')}")
            continue
        if reading is not None:
            readings.append(reading)
    if faults:
        raise InputError("; ".join(faults), remedy="Mend these lines and read the form again; nothing of it was kept", where=where)
    return tuple(readings)


def _near(name: str, known: Mapping[str, Observable]) -> str:
    import difflib

    near = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    return f' (did you mean "{near[0]}"?)' if near else ""


def _reading(observable: Observable, value: object) -> Reading | None:
    """One answer checked; None when it is empty."""
    parts: list[object] = []
    for item in cast("list[object]", value) if isinstance(value, (list, tuple)) else [value]:
        if isinstance(item, str) and COMMA_FOR_POINT.search(item):
            accepted = 'a decimal point, as in "1.4"; a comma and a space between repeats, as in "1.4, 1.5"'
            raise InputError(f'"{item}" may be one number or several', accepted=accepted)
        parts += [part.strip() for part in re.split(r"[,;]", item)] if isinstance(item, str) else [item]
    words = [_plain_word(part) if isinstance(part, str) else part for part in parts]
    if all(word in ("", None) for word in words):
        return None
    for status in (NOT_SURE, SPOILT):
        if status in words:
            if len(words) > 1:
                raise InputError(f'"{status}" stands beside other answers', accepted=f'either "{status}" or values')
            return Reading(observable.id, (), cast(Status, status))
    if len(words) > MOST_REPEATS:
        raise InputError(f"{len(words)} repeats", accepted=f"at most {MOST_REPEATS}")
    if observable.choices:
        return Reading(observable.id, tuple(_word(observable, word) for word in words))
    return Reading(observable.id, tuple(_number(observable, part) for part in parts))


def _plain_word(text: str) -> str:
    word = " ".join(text.lower().split())
    return ALSO.get(word, word)


def _word(observable: Observable, word: object) -> str:
    word = {True: "yes", False: "no"}[word] if isinstance(word, bool) and "yes" in observable.choices else word
    if not isinstance(word, str) or word not in observable.choices:
        raise InputError(f"{word!r} is not an answer here", accepted=f"{accepted_words(observable)}, {NOT_SURE}, {SPOILT}")
    return word


def _number(observable: Observable, part: object) -> float:
    accepted = f"{accepted_words(observable)}, {NOT_SURE}, {SPOILT}"
    if part == "" or part is None:
        raise InputError("an empty place between commas", accepted=accepted)
    if isinstance(part, str) and part.lower() == RIGHT_THROUGH and observable.right_through_mm is not None:
        return observable.right_through_mm
    if isinstance(part, bool) or not isinstance(part, (str, int, float)):
        raise InputError(f"{part!r} is not a number", accepted=accepted)
    value = float(part) if isinstance(part, (int, float)) else _parsed(observable, part, accepted)
    low, high = observable.low, observable.high
    if not math.isfinite(value) or (low is not None and value < low) or (high is not None and value > high):
        shown = f"{value:.6g} {observable.unit}"
        written = f' (from "{part}")' if isinstance(part, str) and not _bare(part) else ""
        raise InputError(f"{shown}{written} is not possible here", accepted=accepted)
    return value


def _bare(text: str) -> bool:
    return re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", text) is not None


def _parsed(observable: Observable, text: str, accepted: str) -> float:
    if _bare(text):
        return float(text)
    if observable.unit == "mm":
        try:
            return parse_length_mm(text)
        except InputError as bad:
            raise InputError(bad.arrived, accepted=accepted) from bad
    number, _, unit = text.partition(" ")
    if _bare(number) and unit.strip().lower() in (observable.unit, observable.unit.rstrip("s")):
        return float(number)
    raise InputError(f'"{text}" is not a number of {observable.unit}', accepted=accepted)


def _check_origin(fields: Mapping[str, object], record: CouponRecord) -> str:
    """Why a form is not this coupon's, or ""."""
    if fields.get("coupon") != record.id:
        return f'these are readings of coupon "{fields.get("coupon")}", not of "{record.id}"'
    if fields.get("digest") != record.digest:
        return f'the digest "{fields.get("digest")}" is not this coupon\'s "{record.digest}": the form was made for another layout'
    return ""


def _toml_answers(text: str, record: CouponRecord, faults: list[str], where: str) -> Iterator[_Answer]:
    try:
        tables: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as bad:
        raise InputError(f"this is not valid TOML: {bad}", remedy='Answers need quotes, as in slot-x1-show = "0.21"', where=where) from bad
    if tables.get("schema") != SCHEMA:
        raise InputError(f"the schema is {tables.get('schema')!r}", accepted=SCHEMA, where=where)
    if wrong := _check_origin(tables, record):
        raise InputError(wrong, remedy="Take the form out of this coupon's own folder", where=where)
    for key in tables:
        if key not in ("schema", "coupon", "digest", "readings"):
            faults.append(f"{key} is not a known key: answers belong under [readings]")
    readings = tables.get("readings", {})
    if not isinstance(readings, dict):
        raise InputError("[readings] is not a table", accepted="the form as it was made", where=where)
    lines = _lines_of_keys(text)
    for name, value in cast("dict[str, object]", readings).items():
        yield _Answer(lines.get(name, 0), name, value)


def _lines_of_keys(text: str) -> dict[str, int]:
    found: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        match = re.match(r"""\s*["']?([A-Za-z0-9_-]+)["']?\s*=""", line)
        if match is not None:
            found.setdefault(match[1], number)
    return found


def _csv_answers(text: str, record: CouponRecord, faults: list[str], where: str) -> Iterator[_Answer]:
    """Rows in any order; commas or semicolons between cells; repeats typed without quotes run over into more cells."""
    head = text.split("\n", 1)[0]
    reader = csv.reader(io.StringIO(text), delimiter=";" if head.count(";") > head.count(",") else ",")
    columns = [cell.strip().lower() for cell in next(reader, list[str]())]
    missing = [name for name in ("coupon", "digest", "id", "value") if name not in columns]
    if missing:
        raise InputError(f"the first row has no column {', '.join(missing)}", accepted=", ".join(COLUMNS), where=where)
    before = 1
    for row in reader:
        line, before = before + 1, reader.line_num
        if not any(cell.strip() for cell in row):
            continue
        if len(row) < len(columns) and len(row) <= max(columns.index(name) for name in ("coupon", "digest", "id")):
            faults.append(f"line {line}: only {len(row)} cells, the form has {len(columns)} columns")
            continue
        fields = dict(zip(columns, row, strict=False))
        wrong = _check_origin({name: fields[name].strip() for name in ("coupon", "digest")}, record)
        if wrong:
            faults.append(f"line {line}: {wrong}")
            continue
        extra = row[len(columns) :] if columns[-1] == "value" else []
        yield _Answer(line, fields["id"].strip(), ",".join(part for part in (fields.get("value", ""), *extra) if part.strip()))

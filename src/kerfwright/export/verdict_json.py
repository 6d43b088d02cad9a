"""A verdict as JSON, schema "kerfwright-verdict-1", and read back. Numbers keep the digits they are known to: tenths of a
micrometre, thousandths of odds, tenths of a newton and of a second; a place that has no number is null."""

from __future__ import annotations

import dataclasses
import json
import math
import re
import types
from typing import Any, Union, cast, get_args, get_origin, get_type_hints

import numpy as np

from kerfwright.core.errors import InputError
from kerfwright.process.verdict import Verdict

SCHEMA = "kerfwright-verdict-1"
DIGITS = {"mm": 4, "n": 1, "s": 1}  # by the unit a name ends in
DIGITS_ELSE = 3
_ROW = re.compile(r"\[\s+((?:-?\d[\d.e+-]*|null)(?:,\s+(?:-?\d[\d.e+-]*|null))*)\s+\]")


def verdict_record(verdict: Verdict) -> dict[str, Any]:
    """Plain nested dicts and lists."""
    return {"schema": SCHEMA, "goes_together": _rounded(verdict.goes_together, DIGITS_ELSE)} | cast("dict[str, Any]", _plain(verdict, ""))


def verdict_text(verdict: Verdict) -> str:
    """Indented JSON, a row of numbers on one line, ending in a newline."""
    text = json.dumps(verdict_record(verdict), indent=1, ensure_ascii=False, allow_nan=False)
    return _ROW.sub(lambda found: "[" + ", ".join(found[1].replace(",", " ").split()) + "]", text) + "\n"


def read_verdict(text: str, where: str = "verdict.json") -> Verdict:
    """A verdict as ``verdict_text`` wrote it. Raises InputError when it is something else."""
    accepted = f"a file of the schema {SCHEMA}"
    try:
        record: Any = json.loads(text)
    except ValueError as bad:
        raise InputError("this is not JSON", accepted=accepted, where=where) from bad
    schema = cast("dict[str, Any]", record).get("schema") if isinstance(record, dict) else None
    if schema != SCHEMA:
        raise InputError(f"the schema is {schema!r}", accepted=SCHEMA, where=where)
    try:
        return cast(Verdict, _read(Verdict, record))
    except (KeyError, TypeError, ValueError) as bad:
        raise InputError(f"it is damaged near {bad}", accepted=accepted, where=where) from bad


def _plain(value: Any, name: str) -> Any:
    """name: of the field that holds it, for its unit."""
    if isinstance(value, np.ndarray):
        return _plain(cast(Any, value).tolist(), name)
    if isinstance(value, float):
        return _rounded(value, DIGITS.get(name.rpartition("_")[2], DIGITS_ELSE))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = dataclasses.fields(value)
        own_unit = {field.name for field in fields} == {"value", "sd", "n", "source"}  # an Estimate's unit stands outside
        return {each.name: _plain(getattr(value, each.name), name if own_unit and each.name != "n" else each.name) for each in fields}
    if isinstance(value, dict):
        return {str(key): _plain(item, name) for key, item in cast("dict[object, object]", value).items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item, name) for item in cast("list[object]", value)]
    return value


def _rounded(value: float, digits: int) -> float | None:
    if not math.isfinite(value):
        return None
    rounded = round(value, digits)
    return 0.0 if rounded == 0 else rounded


def _read(kind: Any, plain: Any) -> Any:
    """A value of a field's type out of plain JSON."""
    origin, inner = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return None if plain is None else _read(next(each for each in inner if each is not types.NoneType), plain)
    if origin is np.ndarray:
        return np.array(plain, dtype=float)  # null becomes NaN
    if origin is dict:
        return {inner[0](key): _read(inner[1], item) for key, item in plain.items()}
    if origin is tuple:
        kinds = [inner[0]] * len(plain) if inner[-1] is Ellipsis else list(inner)
        return tuple(_read(each, item) for each, item in zip(kinds, plain, strict=True))
    if dataclasses.is_dataclass(kind):
        hints = get_type_hints(kind)
        return cast(Any, kind)(**{field.name: _read(hints[field.name], plain[field.name]) for field in dataclasses.fields(kind)})
    return math.nan if plain is None and kind is float else kind(plain)

"""TOML documents for people: read one file into a strict model, or give one clear error naming every fault."""

from __future__ import annotations

import difflib
import re
import tomllib
from pathlib import Path
from typing import Annotated, Any, TypeVar, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from kerfwright.core import units
from kerfwright.core.errors import FolderError, InputError

MAX_DOCUMENT_BYTES = 1_000_000  # a piece file is a few hundred lines; more is a mistake or an attack
MAX_LENGTH_MM = 10_000.0  # nothing a desktop laser cuts is ten metres long
A_TABLE, YES_OR_NO = "a table: write { key = value }", "true or false without quotes"
# By the kind of fault, what was wanted, where the model's own words would be a programmer's.
WANTED = {
    "tuple_type": 'a list: write it in brackets, as in ["6.0 mm", "6.1 mm"]',
    "model_type": A_TABLE,
    "dict_type": A_TABLE,
    "bool_type": YES_OR_NO,
    "bool_parsing": YES_OR_NO,
    "string_type": "text in quotes",
}

Length = Annotated[float, BeforeValidator(units.parse_length_mm), Field(gt=0, le=MAX_LENGTH_MM)]
LengthOrZero = Annotated[float, BeforeValidator(units.parse_length_mm), Field(ge=0, le=MAX_LENGTH_MM)]
SignedLength = Annotated[float, BeforeValidator(units.parse_length_mm), Field(ge=-MAX_LENGTH_MM, le=MAX_LENGTH_MM)]
Speed = Annotated[float, BeforeValidator(units.parse_speed_mm_s), Field(gt=0, le=5000)]
Acceleration = Annotated[float, BeforeValidator(units.parse_acceleration_mm_s2), Field(gt=0, le=1e6)]
PowerW = Annotated[float, BeforeValidator(units.parse_power_w), Field(gt=0, le=5000)]
Share = Annotated[float, BeforeValidator(units.parse_fraction), Field(ge=0, le=1)]
Slope = Annotated[float, BeforeValidator(units.parse_slope_frac)]


class Document(BaseModel):
    """Base of every model read from a person's file: unknown keys are errors, values are frozen."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


DocumentT = TypeVar("DocumentT", bound=Document)


def read_text(path: Path, accepted: str) -> str:
    """The text of a file of ours. Raises FolderError when it cannot be read, InputError when it is not UTF-8."""
    try:
        return path.read_text(encoding="utf-8")
    except OSError as bad:
        raise FolderError(bad.strerror or "it cannot be read", accepted=accepted, where=str(path)) from bad
    except UnicodeDecodeError as bad:
        raise InputError("this is not UTF-8 text", where=str(path)) from bad


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of one TOML file. Raises FolderError when it cannot be read, InputError when it is not TOML."""
    try:
        size = path.stat().st_size
        if size > MAX_DOCUMENT_BYTES:
            raise InputError(f"the file holds {size} bytes", accepted=f"at most {MAX_DOCUMENT_BYTES}", where=str(path))
        text = path.read_text(encoding="utf-8")
    except OSError as bad:
        reason = bad.strerror or "it cannot be read"
        raise FolderError(reason, accepted="a readable TOML file", remedy="Check the name and the folder", where=str(path)) from bad
    except UnicodeDecodeError as bad:
        raise InputError("this is not UTF-8 text", accepted="a TOML file saved as UTF-8", where=str(path)) from bad
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as bad:
        remedy = 'Text values need quotes, as in height = "60 mm"'
        raise InputError(f"this is not valid TOML: {bad}", remedy=remedy, where=str(path)) from bad


def load(path: Path, model: type[DocumentT]) -> DocumentT:
    """Read ``path`` as ``model``. A file of another kind is named as what it is."""
    return tables_as(read_toml(path), model, str(path))


def tables_as(tables: dict[str, Any], model: type[DocumentT], where: str) -> DocumentT:
    """Tables that a person's file held as ``model``; see ``load``."""
    schema = model.model_fields.get("schema_")
    if schema is not None:
        refuse_other_kind(tables, _kind(get_args(schema.annotation)[0]), where)
    return build(tables, model, where=where)


def refuse_other_kind(tables: dict[str, Any], kind: str, where: str) -> None:
    """Raises InputError when a file's schema says that it is a board file, say, and a ``kind`` file is wanted."""
    found = _kind(tables.get("schema"))
    if found and found != kind:
        raise InputError(f"this is a {found} file", remedy=f"Give the {kind} file", where=where)


def _kind(schema: object) -> str:
    """``"board"`` of ``"kerfwright-board-1"``; "" of anything else."""
    found = re.fullmatch(r"kerfwright-([a-z]+)-\d+", schema) if isinstance(schema, str) else None
    return found[1] if found else ""


def build(tables: dict[str, Any], model: type[DocumentT], where: str) -> DocumentT:
    """Validate ``tables`` as ``model``; one InputError lists every fault found."""
    try:
        return model.model_validate(tables)
    except ValidationError as bad:
        faults = [_fault(error, model) for error in bad.errors()]
        raise InputError("; ".join(faults), where=where) from bad


def _fault(error: Any, model: type[BaseModel]) -> str:
    place = ".".join(str(step) for step in error["loc"]) or "the file"
    if error["type"] == "extra_forbidden":
        key = str(error["loc"][-1])
        known = _keys_at(model, error["loc"][:-1])
        near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
        hint = f'did you mean "{near[0]}"?' if near else ("known keys: " + ", ".join(known) if known else "remove it")
        return f"{place} is not a known key ({hint})"
    if error["type"] == "missing":
        keys = _keys_at(model, error["loc"])
        return f"{place} is missing" + (f" (a table of {', '.join(keys)})" if keys else "")
    inner = error.get("ctx", {}).get("error")
    if isinstance(inner, InputError):
        return f"{place}: {inner.message.rstrip('.')}"
    arrived = repr(error.get("input"))[:80]
    if error["type"] in WANTED:
        return f"{place}: {arrived} is not {WANTED[error['type']]}"
    return f"{place}: {error['msg']} (got {arrived})"


def _keys_at(model: type[BaseModel], steps: tuple[Any, ...]) -> list[str]:
    """The field names a person may write at a place in the document, following lists, maps and unions."""
    found: list[type[BaseModel]] = [model]
    for step in steps:
        following: list[type[BaseModel]] = []
        for each in found:
            fields = {field.alias or name: field for name, field in each.model_fields.items()}
            if isinstance(step, str) and step in fields:
                following += _models_in(fields[step].annotation)
            else:
                following.append(each)  # an index, a map key or a union tag: stay
        found = following
    return sorted({field.alias or name for each in found for name, field in each.model_fields.items()})


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [found for part in get_args(annotation) for found in _models_in(part)]

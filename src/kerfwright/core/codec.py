"""Frozen values to plain JSON: dataclasses and documents by field name, arrays as lists, lengths rounded to a nanometre."""

from __future__ import annotations

import dataclasses
import enum
import json
import math
from pathlib import Path
from typing import Any, cast

import numpy as np
from pydantic import BaseModel

from kerfwright.core.pose import Pose

DIGITS = 9  # 1 nm and far below any burn; keeps two runs byte-equal and files readable


def plain(value: Any) -> Any:
    """``value`` as nested dicts, lists, strings, numbers and None. Refuses NaN and unknown types."""
    if isinstance(value, enum.Enum):
        return value.value
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, (np.ndarray, np.generic)):
        return plain(cast(Any, value).tolist())
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError("a number in the result is not finite")
        rounded = round(value, DIGITS)
        return 0.0 if rounded == 0 else rounded
    if isinstance(value, Pose):
        return plain(value.matrix)
    if isinstance(value, BaseModel):
        return {_key(name, field.alias): plain(getattr(value, name)) for name, field in type(value).model_fields.items()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in cast(dict[object, object], value).items()}
    if isinstance(value, (set, frozenset)):
        return plain(sorted(cast(set[Any], value)))  # a set has no order of its own, and two runs must agree
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in cast(list[object], value)]
    if isinstance(value, Path):
        return value.as_posix()
    raise TypeError(f"no plain form for {type(value).__name__}")


def _key(name: str, alias: str | None) -> str:
    """``schema_`` ends so because a model has a ``schema`` of its own: written by its alias. Other names keep their unit."""
    return alias if alias is not None and name.endswith("_") else name


def to_json(value: Any) -> str:
    """Indented JSON text of ``value``, ending in a newline."""
    return json.dumps(plain(value), indent=1, ensure_ascii=False, allow_nan=False) + "\n"

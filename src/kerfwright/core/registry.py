"""Find every entry of a kind by itself: each module of a package holds one, under an agreed name."""

from __future__ import annotations

import importlib
import pkgutil
from typing import Any


def entries(package: str, name: str) -> list[Any]:
    """What each module of ``package`` holds as ``name``, in the order of the modules' names."""
    home = importlib.import_module(package)
    modules = sorted(found.name for found in pkgutil.iter_modules(home.__path__))
    return [getattr(importlib.import_module(f"{package}.{module}"), name) for module in modules]

"""The demo shop copied to a folder, with single keys changed: for tests of what a person could get wrong."""

from __future__ import annotations

import re
from pathlib import Path

from kerfwright.app import workflow


def new_shop(folder: Path) -> Path:
    """A fresh copy of the demo shop."""
    return workflow.start(folder / "shop")


def change(path: Path, key: str, value: str) -> None:
    """Set the first ``key = ...`` line of a TOML file to a raw value; the key must be there."""
    text = path.read_text(encoding="utf-8")
    changed, n = re.subn(rf"(?m)^{re.escape(key)} = .*$", f"{key} = {value}", text, count=1)
    assert n == 1, f"{key} is not in {path}"
    path.write_text(changed, encoding="utf-8")

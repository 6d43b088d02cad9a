"""Plain TOML files for a bench, as a person would type them; then the package's own verb makes the job."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from shop.shop import Shop
from shop.wood import HiddenBoard


def toml(tables: Mapping[str, Any], prefix: str = "") -> str:
    """Plain values first, then tables and arrays of tables."""
    lines = [f"{key} = {_value(value)}" for key, value in tables.items() if not _is_table(value)]
    for key, value in tables.items():
        inner: list[Mapping[str, Any]] = (value if isinstance(value, list) else [value]) if _is_table(value) else []
        for each in inner:
            brackets = ("[[", "]]") if isinstance(value, list) else ("[", "]")
            lines += [f"{brackets[0]}{prefix}{key}{brackets[1]}", toml(each, f"{prefix}{key}.")]
    return "\n".join(lines)


def _is_table(value: Any) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and bool(value) and isinstance(value[0], dict))


def _value(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def write_bench(
    shop: Shop,
    folder: Path,
    piece: str,
    boards: Mapping[str, HiddenBoard],
    recipes: Mapping[str, Mapping[str, Any]],
    burn: Mapping[str, Any] | None = None,
) -> Path:
    """A piece file (text) with its bench file, machine, boards and one recipe a panel. Returns the piece file."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "piece.toml").write_text(piece, encoding="utf-8")
    facts = {key: value for key, value in shop.machine_facts().items()}
    (folder / "machine.toml").write_text(toml(facts), encoding="utf-8")
    for panel, board in boards.items():
        (folder / f"board-{panel}.toml").write_text(toml(board.facts), encoding="utf-8")
        (folder / f"recipe-{panel}.toml").write_text(toml(recipes[panel]), encoding="utf-8")
    panels = list(boards)
    bench = {
        "schema": "kerfwright-bench-1",
        "machine": "machine.toml",
        "recipe": f"recipe-{panels[0]}.toml",
        "boards": {panel: f"board-{panel}.toml" for panel in panels},
        "recipes": {panel: f"recipe-{panel}.toml" for panel in panels},
        "burn": dict(burn or {}),
    }
    (folder / "bench.toml").write_text(toml(bench), encoding="utf-8")
    return folder / "piece.toml"

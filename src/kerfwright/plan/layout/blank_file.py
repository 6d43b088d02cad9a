"""Board files of blanks, and the bench file that names them, as a person would write them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from kerfwright.wood.board import Board


def board_text(board: Board, comment: str) -> str:
    """TOML text of a blank's board file, with one comment line on top."""
    lines = [
        f"# {comment}",
        'schema = "kerfwright-board-1"',
        f"name = {toml(board.name)}",
        f"species = {toml(board.species)}",
        f"length = {_length(board.length_mm)}",
        f"width = {_length(board.width_mm)}",
        f"thickness = [{', '.join(_length(each) for each in board.thickness_points_mm)}]",
        f"edges = {toml(board.edges)}",
    ]
    if board.moisture_frac is not None:
        lines.append(f'moisture = "{100 * board.moisture_frac:.6g} %"')
    lines.append(f"sawn = {toml(board.sawn.value)}")
    if board.price is not None:
        lines.append(f"price = {{ value = {board.price.value}, per = {toml(board.price.per)} }}")
    return "\n".join(lines) + "\n"


def bench_text(machine: str, recipe: str, boards: Mapping[str, str], recipes: Mapping[str, str], burn: Mapping[str, Any]) -> str:
    """TOML text of a bench file. boards, recipes: paths by part."""
    lines = ['schema = "kerfwright-bench-1"', f"machine = {toml(machine)}", f"recipe = {toml(recipe)}"]
    for name, table in (("boards", boards), ("recipes", recipes), ("burn", burn)):
        if table:
            lines += ["", f"[{name}]", *(f"{toml_key(key)} = {toml(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"


def toml(value: Any) -> str:
    """A text, number, truth or list of them; TOML writes these as JSON does."""
    return json.dumps(value, ensure_ascii=False)


def toml_key(key: str) -> str:
    """Bare where it may be."""
    return key if all(each.isascii() and (each.isalnum() or each in "-_") for each in key) and key else json.dumps(key, ensure_ascii=False)


def _length(length_mm: float) -> str:
    return f'"{length_mm:.6g} mm"'

"""The bench file: which machine, recipe and board a piece is made with. Paths are relative to the file."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from kerfwright.core.document import Document, read_toml, tables_as
from kerfwright.core.errors import InputError
from kerfwright.machine.machine import Machine
from kerfwright.plan.options import PlanOptions
from kerfwright.process.costs import Rates
from kerfwright.process.recipe import Recipe
from kerfwright.wood.board import Board
from kerfwright.wood.species import find_species


class BenchDocument(Document):
    """boards: a file by panel name; recipes: only for panels that need one of their own."""

    schema_: Literal["kerfwright-bench-1"] = Field(alias="schema")
    machine: str
    recipe: str
    boards: dict[str, str] = Field(default_factory=dict)
    recipes: dict[str, str] = Field(default_factory=dict)
    burn: PlanOptions = Field(default_factory=PlanOptions)
    costs: Rates = Field(default_factory=Rates)


@dataclass(frozen=True, eq=False)
class BenchSet:
    """A bench file with everything it names read. tables: the same as it was written, by "machine",
    "boards", "recipes", "burn" and "costs"."""

    machine: Machine
    boards: dict[str, Board]
    recipes: dict[str, Recipe]
    options: PlanOptions
    tables: dict[str, Any] = field(default_factory=dict[str, Any])
    rates: Rates = field(default_factory=Rates)


def load_bench(path: Path, panels: tuple[str, ...]) -> BenchSet:
    """Read a bench file and all it names, for the panels of one piece."""
    written = read_toml(path)
    document = tables_as(written, BenchDocument, str(path))
    for what, table in (("boards", document.boards), ("recipes", document.recipes)):
        unknown = [name for name in table if name not in panels]
        if unknown:
            raise InputError(f"{what}.{unknown[0]} names no part of this piece", accepted=", ".join(panels), where=str(path))
    missing = [panel for panel in panels if panel not in document.boards]
    if missing:
        raise InputError(
            f"no board is given for {', '.join(missing)}",
            accepted=f"one board for each of {', '.join(panels)}",
            remedy="Add them under [boards]",
            where=str(path),
        )
    folder = path.parent
    files = {panel: (document.boards[panel], document.recipes.get(panel, document.recipe)) for panel in panels}
    read = {name: read_toml(folder / name) for pair in files.values() for name in pair} | {
        document.machine: read_toml(folder / document.machine)
    }
    boards = {panel: tables_as(read[board], Board, str(folder / board)) for panel, (board, _) in files.items()}
    for panel, (board, _) in files.items():
        try:
            find_species(boards[panel].species)
        except InputError as bad:
            raise bad.located(board) from bad
    recipes = {panel: tables_as(read[recipe], Recipe, str(folder / recipe)) for panel, (_, recipe) in files.items()}
    tables = {
        "machine": read[document.machine],
        "boards": {panel: read[board] for panel, (board, _) in files.items()},
        "recipes": {panel: read[recipe] for panel, (_, recipe) in files.items()},
        "burn": written.get("burn", {}),
        "costs": written.get("costs", {}),
    }
    machine = tables_as(read[document.machine], Machine, str(folder / document.machine))
    return BenchSet(machine, boards, recipes, document.burn, tables, document.costs)

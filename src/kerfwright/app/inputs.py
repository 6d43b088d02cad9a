"""inputs.json: what a job was planned from, tables as they were written, so that its folder alone can be planned again."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from kerfwright.core.document import build
from kerfwright.core.errors import FolderError, InputError
from kerfwright.machine.machine import Machine
from kerfwright.pieces.piece import build_on_boards, piece_from
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import Planned, plan_piece
from kerfwright.process.costs import Rates
from kerfwright.process.recipe import Recipe
from kerfwright.wood.board import Board

if TYPE_CHECKING:
    from kerfwright.export.exporter import JobFile

SCHEMA = "kerfwright-inputs-1"
PATH = "inputs.json"
NEEDED = ("piece", "machine", "boards", "recipes", "burn")  # "costs" came later: older folders have none


@dataclass(frozen=True, eq=False)
class Inputs:
    """Tables of the piece, the machine, each part's board and recipe, the bench's choices of the burn and its costs."""

    piece: dict[str, Any]
    machine: dict[str, Any]
    boards: dict[str, dict[str, Any]]
    recipes: dict[str, dict[str, Any]]
    burn: dict[str, Any]
    costs: dict[str, Any] = field(default_factory=dict[str, Any])

    def file(self) -> JobFile:
        """inputs.json."""
        from kerfwright.export.exporter import JobFile

        tables = {"schema": SCHEMA} | {name: getattr(self, name) for name in (*NEEDED, "costs")}
        text = json.dumps(tables, indent=1, ensure_ascii=False) + "\n"
        return JobFile(PATH, text.encode(), "what the job was planned from, as it was written")

    def recipe(self, part: str) -> Recipe:
        """One part's recipe."""
        return build(self.recipes[part], Recipe, f"{PATH}, recipe of {part}")

    @property
    def rates(self) -> Rates:
        """What the person pays."""
        return build(self.costs, Rates, f"{PATH}, costs")

    def plan(self, recipes: dict[str, Recipe] | None = None) -> Planned:
        """Plan the piece again, by default with the recipes as written."""
        boards = {part: build(tables, Board, f"{PATH}, board of {part}") for part, tables in self.boards.items()}
        design = build_on_boards(piece_from(self.piece, PATH), boards)
        options = build(self.burn, PlanOptions, f"{PATH}, burn")
        own = recipes or {part: self.recipe(part) for part in self.recipes}
        return plan_piece(design, build(self.machine, Machine, f"{PATH}, machine"), boards, own, options, self.rates)


def read_inputs(folder: Path) -> Inputs:
    """Of a job folder. Raises FolderError when there is none, InputError when it is damaged."""
    path = folder / PATH
    try:
        tables: Any = json.loads(path.read_text(encoding="utf-8"))
    except OSError as bad:
        raise FolderError(bad.strerror or "it cannot be read", accepted="a job folder made by kerfwright make", where=str(path)) from bad
    except ValueError as bad:
        raise InputError("this is not JSON", accepted=f"an unchanged {PATH}", where=str(path)) from bad
    fields = cast("dict[str, Any]", tables) if isinstance(tables, dict) else {}
    if fields.get("schema") != SCHEMA:
        raise InputError(
            f"the schema is {fields.get('schema')!r}", accepted=SCHEMA, remedy="Use the version of kerfwright that made it", where=str(path)
        )
    if any(not isinstance(fields.get(name), dict) for name in NEEDED) or set(fields["boards"]) != set(fields["recipes"]):
        raise InputError("it is damaged", accepted=f"an unchanged {PATH}", remedy="Make the job again", where=str(path))
    return Inputs(**{name: fields[name] for name in NEEDED}, costs=fields.get("costs") or {})

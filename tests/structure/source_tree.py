"""Reading aids for the structure tests: the project's files, and the modules under src with their syntax trees."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SRC = ROOT / "src"


@dataclass(frozen=True)
class Module:
    """One module: its dotted name, its file and its tree."""

    name: str
    path: Path
    tree: ast.Module

    @property
    def floor(self) -> str:
        """The part after ``kerfwright``, or ``kerfwright`` for the root package itself."""
        steps = self.name.split(".")
        return steps[1] if len(steps) > 1 else steps[0]


@cache
def modules() -> dict[str, Module]:
    """Every module under src by dotted name."""
    found: dict[str, Module] = {}
    for path in sorted(SRC.rglob("*.py")):
        steps = list(path.relative_to(SRC).with_suffix("").parts)
        name = ".".join(steps[:-1] if steps[-1] == "__init__" else steps)
        found[name] = Module(name, path, ast.parse(path.read_text(encoding="utf-8"), filename=str(path)))
    return found


@dataclass(frozen=True)
class Import:
    """One import of a module of ours, or of someone else's top-level package. lazy: inside a function or for types only."""

    target: str
    line: int
    lazy: bool


def imports_of(module: Module) -> Iterator[Import]:
    """All imports, at the top and inside functions."""
    yield from _walk(module.tree, lazy=False)


def _walk(node: ast.AST, lazy: bool) -> Iterator[Import]:
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Import):
            yield from (Import(alias.name, child.lineno, lazy) for alias in child.names)
        elif isinstance(child, ast.ImportFrom):
            assert child.level == 0, f"relative import on line {child.lineno}: write the whole name"
            for alias in child.names:
                inner = f"{child.module}.{alias.name}"
                yield Import(inner if inner in modules() else str(child.module), child.lineno, lazy)
        else:
            inside = isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda))
            for_types = isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test)
            yield from _walk(child, lazy or inside or for_types)


@cache
def project_files() -> tuple[Path, ...]:
    """Every file of the project: what git tracks or would track."""
    listed = subprocess.run(["git", "-C", str(ROOT), "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
                            capture_output=True, check=False)
    names = [name for name in listed.stdout.decode().split("\0") if name]
    if listed.returncode != 0 or not names:  # an unpacked archive without git
        hidden = {".git", ".venv", "build", "dist"}
        return tuple(path for path in sorted(ROOT.rglob("*")) if path.is_file() and not hidden & set(path.relative_to(ROOT).parts))
    return tuple(ROOT / name for name in sorted(names) if (ROOT / name).is_file())


def text_of(path: Path) -> str | None:
    """The file's text, or None for a binary file."""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return None

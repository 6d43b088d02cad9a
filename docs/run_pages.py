"""Run the examples of the docs and write what they print: python docs/run_pages.py

On a page, blocks of one language each do one thing, in order, in one fresh folder a page:

- ``sh``: lines of kerfwright (or ``cd FOLDER``) are run; lines of ``python3 dev.py`` are left alone;
- ``text`` straight after ``sh``: what those lines print; a line ``...`` stands for any lines;
- ``toml`` after a comment ``<!-- write FILE -->``: the whole file; after ``<!-- change FILE -->``: lines that take
  the place of the lines with the same keys;
- ``python``: run; the blocks of a page know each other's names.

Only ``text`` blocks are written again. In a block with ``...`` each line shown becomes the printed line most like it; when
there is none, the writer is told.
"""

from __future__ import annotations

import contextlib
import difflib
import io
import os
import re
import shlex
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

ROOT = Path(__file__).resolve().parent.parent
BLOCK = re.compile(r"(?:<!-- (?P<what>write|change) (?P<file>\S+) -->\n+)?```(?P<language>\w+)\n(?P<body>.*?)```", re.DOTALL)

ALIKE = 0.6


@dataclass(frozen=True)
class Ran:
    """One text block: where its body stands in the page, what it says and what was printed."""

    start: int
    end: int
    says: str
    printed: str

    @property
    def matches(self) -> bool:
        """True when the block says what was printed."""
        pattern = "".join("(?:.*\n)*" if line == "...\n" else re.escape(line) for line in self.says.splitlines(keepends=True))
        return re.fullmatch(pattern, self.printed) is not None

    def again(self) -> str | None:
        """What the block should say now, keeping its ``...``; None when a line shown has no like in what was printed."""
        if "...\n" not in self.says.splitlines(keepends=True):
            return self.printed
        printed, lines, used = self.printed.splitlines(keepends=True), list[str](), 0
        for line in self.says.splitlines(keepends=True):
            if line == "...\n":
                lines.append(line)
                continue
            likeness = [difflib.SequenceMatcher(None, line, each).ratio() for each in printed[used:]]
            if not likeness or max(likeness) < ALIKE:
                return None
            best = likeness.index(max(likeness))
            lines.append(printed[used + best])
            used += best + 1
        return "".join(lines)


def run_page(page: Path) -> list[Ran]:
    """Run one page's examples in the present folder."""
    text = page.read_text(encoding="utf-8")
    found: list[Ran] = []
    printed: str | None = None
    names: dict[str, object] = {"__name__": "docs"}
    for block in BLOCK.finditer(text):
        language, body = block["language"], block["body"]
        if language == "sh":
            printed = run_lines(body)
        elif language == "text" and printed is not None:
            found.append(Ran(block.start("body"), block.end("body"), body, printed))
            printed = None
        elif language == "toml" and block["file"]:
            write_file(Path(block["file"]), body, change=block["what"] == "change")
        elif language == "python":
            exec(compile(body, f"{page.name}", "exec"), names)
    return found


def run_lines(body: str) -> str:
    """Run the lines of one sh block; what they print, errors included, trailing blanks cut."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        for line in body.splitlines():
            words = shlex.split(line, comments=True)
            if words[:1] == ["cd"]:
                os.chdir(words[1])
            elif words[:1] == ["kerfwright"]:
                _run(words[1:])
            elif words and words[:2] != ["python3", "dev.py"]:
                raise ValueError(f"a page may only run kerfwright, cd and dev.py, not {line!r}: write other blocks as text")
    return "".join(line.rstrip() + "\n" for line in out.getvalue().splitlines())


def _run(words: list[str]) -> None:
    from kerfwright.app.cli import main

    main(words)


def write_file(path: Path, body: str, change: bool) -> None:
    """Write a file, or change the lines of those keys in it; a key that is not there is an error."""
    if not change:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(body, encoding="utf-8")
        return
    text = path.read_text(encoding="utf-8")
    for line in body.splitlines():
        key = line.split("=")[0].strip()
        text, n = re.subn(rf"^{re.escape(key)}\s*=.*$", lambda _, line=line: line, text, count=1, flags=re.MULTILINE)
        if n != 1:
            raise ValueError(f"{path} has no line {key} to change")
    path.write_text(text, encoding="utf-8")


@contextlib.contextmanager
def fresh_folder() -> Iterator[None]:
    """A new folder to run in, 80 columns wide, and no notebook but the one the page makes."""
    home = Path.cwd()
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as data:
        os.chdir(folder)
        try:
            with mock.patch.dict(os.environ, {"COLUMNS": "80", "XDG_DATA_HOME": data, "LOCALAPPDATA": data}):
                yield
        finally:
            os.chdir(home)


def pages() -> list[Path]:
    """Every page with something to run."""
    every = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
    return [page for page in every if re.search(r"^```(sh|python)$", page.read_text(encoding="utf-8"), re.MULTILINE)]


def main() -> int:
    """Run every page and write its outputs again where they differ."""
    for page in pages():
        with fresh_folder():
            wrong = [each for each in run_page(page) if not each.matches]
        text = page.read_text(encoding="utf-8")
        for each in reversed(wrong):
            again = each.again()
            if again is None:
                print(f"{page.relative_to(ROOT)}: shorten this output again by hand:\n{each.printed}")
                continue
            text = text[: each.start] + again + text[each.end :]
            print(f"written again: {page.relative_to(ROOT)}")
        page.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Habits that a reader notices: short files, no registry addresses, no promise that something cannot hurt."""

from __future__ import annotations

import ast
import re

import pytest

from structure.source_tree import ROOT, SRC, modules, project_files, text_of

MOST_LINES = 400

# Identifiers that a published standard makes us write; nothing is ever fetched from them.
NAMESPACES = (
    "http://www.w3.org/2000/svg",
    "http://www.w3.org/1999/xlink",
    "http://www.w3.org/2001/XMLSchema",
    "http://www.w3.org/XML/1998/namespace",
    "http://schemas.microsoft.com/3dmanufacturing/core/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel",
    "http://schemas.openxmlformats.org/package/2006/content-types",
    "http://schemas.openxmlformats.org/package/2006/relationships",
)
ADDRESS = re.compile(r"\b[a-z][a-z0-9+.-]*://\S+|\b(?:[a-z0-9-]+\.)+(?:org|com|net|io)\b(?![(_.\w])", re.IGNORECASE)
PROMISE = re.compile(r"\b(?:is|are|be|perfectly|completely)\s+safe\b|\bsafely\b|\bharmless\b", re.IGNORECASE)


def _found(pattern: re.Pattern[str], text: str) -> list[tuple[int, str]]:
    return [(number, match[0]) for number, line in enumerate(text.splitlines(), 1) for match in pattern.finditer(line)]


def addresses_in(text: str) -> list[tuple[int, str]]:
    """Line and text of every address that is not one of the namespaces."""
    for namespace in sorted(NAMESPACES, key=len, reverse=True):
        text = text.replace(namespace, "")
    return _found(ADDRESS, text)


@pytest.mark.parametrize("name", sorted(modules()))
def test_a_file_is_short_enough_to_read(name: str):
    assert len(modules()[name].path.read_text(encoding="utf-8").splitlines()) <= MOST_LINES


def test_no_address_stands_in_the_project():
    texts = {path: text_of(path) for path in project_files()}
    assert len(texts) > 40
    found = [f"{path.relative_to(ROOT)}:{line}: {address}" for path, text in texts.items() if text for line, address in addresses_in(text)]
    assert not found


def test_the_address_check_sees_addresses():
    scheme, host = "https" + "://", "registry.example" + ".org"
    assert addresses_in(f"see {scheme}{host}/simple") == [(1, f"{scheme}{host}/simple")]
    assert addresses_in(f"first\nfrom {host}") == [(2, host)]
    assert addresses_in('<svg xmlns="http://www.w3.org/2000/svg">') == []


def test_no_lock_file_is_tracked():
    assert not [path for path in project_files() if path.name in ("uv.lock", "poetry.lock") or path.name.startswith("pylock.")]


def test_nothing_promises_that_it_cannot_hurt():
    """Cautions say raised, high or unknown; a tool cannot know a person's workshop."""
    spoken = [path for path in project_files() if path.is_relative_to(SRC) or path.is_relative_to(ROOT / "docs")
              or path.is_relative_to(ROOT / "examples") or path.parent == ROOT]
    assert len(spoken) > 40
    found = [f"{path.relative_to(ROOT)}:{line}: {words}" for path in spoken for line, words in _found(PROMISE, text_of(path) or "")]
    assert not found


def test_the_promise_check_sees_promises():
    assert [words for _, words in _found(PROMISE, "The smoke is safe.\nCut safely; they are  safe")] == ["is safe", "safely", "are  safe"]
    assert _found(PROMISE, "a safe_name(), unsafe, safety glasses") == []


def test_every_module_says_what_it_is_for():
    silent = [name for name, module in modules().items() if module.tree.body and ast.get_docstring(module.tree) is None]
    assert not silent

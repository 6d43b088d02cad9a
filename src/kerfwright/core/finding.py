"""Something the person should know: a note, a warning, a caution for the body."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum


class Level(StrEnum):
    """How loud a finding is. CAUTION is kept for what can hurt someone."""

    NOTE = "note"
    WARNING = "warning"
    CAUTION = "caution"


@dataclass(frozen=True)
class Finding:
    """One finding: ``code`` is stable for scripts, ``text`` is for people, ``where`` names the part or file."""

    level: Level
    code: str
    text: str
    where: str = ""


def note(code: str, text: str, where: str = "") -> Finding:
    """A plain note."""
    return Finding(Level.NOTE, code, text, where)


def warning(code: str, text: str, where: str = "") -> Finding:
    """Something that may spoil wood."""
    return Finding(Level.WARNING, code, text, where)


def caution(code: str, text: str, where: str = "") -> Finding:
    """Something that may hurt a person."""
    return Finding(Level.CAUTION, code, text, where)


def loudest_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Cautions, then warnings, then notes; order is kept among the like."""
    order = (Level.CAUTION, Level.WARNING, Level.NOTE)
    return tuple(sorted(findings, key=lambda finding: order.index(finding.level)))


def merged(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings that say the same of several places become one that names them all; order is kept."""
    places: dict[Finding, list[str]] = {}
    for finding in findings:
        known = places.setdefault(replace(finding, where=""), [])
        if finding.where and finding.where not in known:
            known.append(finding.where)
    return tuple(replace(finding, where=", ".join(where)) for finding, where in places.items())

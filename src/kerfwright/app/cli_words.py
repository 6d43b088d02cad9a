"""What the command line's verbs share: the word that asks for JSON, how it is printed, and a line of progress."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from typing import Annotated, Any

from cyclopts import Parameter

AsJson = Annotated[bool, Parameter(name="--json", negative="")]
LINE_WIDE = 60


def print_json(told: dict[str, Any]) -> None:
    """A result for scripts."""
    print(json.dumps(told, indent=1, ensure_ascii=False))


def over_and_over(step: str) -> None:
    """Progress on a screen: each step is written over the one before."""
    print(f"  {step} ...".ljust(LINE_WIDE), end="\r", file=sys.stderr, flush=True)


def on_a_screen(progress: Callable[..., None]) -> Callable[..., None] | None:
    """The progress where someone looks on, nothing where the output goes into a file."""
    return progress if sys.stderr.isatty() else None

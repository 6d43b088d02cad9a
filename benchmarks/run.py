"""Run the benchmarks and print a table: python benchmarks/run.py [NAME ...]

A benchmark is a module in this folder with a ``TITLE``, a ``YARDSTICK`` (what ratios are against, in words) and a function
``lines()`` that yields stopwatch.Line. Add a file and it is found. Nothing here is a test: times depend on the machine, ratios less.
"""

from __future__ import annotations

import importlib
import platform
import sys
from pathlib import Path

WIDE = 52
FOLDER = Path(__file__).resolve().parent
sys.path[:0] = [str(FOLDER), str(FOLDER.parent / "src")]


def names() -> list[str]:
    """Every benchmark by module name."""
    return sorted(path.stem for path in FOLDER.glob("*.py") if "\nTITLE = " in path.read_text(encoding="utf-8"))


def main(wanted: list[str]) -> int:
    """Print one table a benchmark."""
    unknown = sorted(set(wanted) - set(names()))
    if unknown:
        print(f"There is no benchmark {', '.join(unknown)}. There are: {', '.join(names())}.", file=sys.stderr)
        return 2
    print(f"Python {platform.python_version()} on {platform.machine()}, {platform.system()}")
    for name in wanted or names():
        module = importlib.import_module(name)
        print(f"\n{module.TITLE}\n{'':{WIDE + 2}} {'time':>10} {'ratio':>9}   (ratio to {module.YARDSTICK})")
        for line in module.lines():
            print(f"  {line.what:{WIDE}} {1000 * line.time_s:7.1f} ms {line.ratio:9.{2 if line.ratio < 10 else 0}f}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

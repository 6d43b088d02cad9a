"""The verdict of one corner while a piece is edited: every edit moves something, so that nothing is found ready.

The yardstick is the whole way of the same corner: the piece planned, its programs written and read, burnt and judged.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from stopwatch import Line, least_s

from kerfwright.app.edits import N_DRAWS, SEED, Editing, start_editing, verdict_of_edit
from kerfwright.app.trial import Trial, judge_trial
from kerfwright.app.workflow import DEMO_PIECES, start
from kerfwright.core.document import read_toml

TITLE = "An edit's verdict: build, plan, burn and judge one corner"
YARDSTICK = "the whole way of the same corner, its programs written and read"
N_EDITS = 60


def lines() -> Iterator[Line]:
    """The demo pieces: the median of many edits, the one that 19 of 20 are quicker than, and the quickest."""
    with tempfile.TemporaryDirectory() as folder:
        shop = start(Path(folder) / "shop")
        for piece in DEMO_PIECES[:3]:
            tables, editing = read_toml(shop / piece / "piece.toml"), start_editing(shop / piece / "piece.toml", readings=False)
            whole_s = least_s(lambda tables=tables, editing=editing: _whole(tables, editing), most=3)
            took_s = np.array([_timed(lambda i=i, tables=tables, editing=editing: _edited(tables, editing, i)) for i in range(N_EDITS)])
            for word, share in (("half are quicker", 0.5), ("19 of 20 are quicker", 0.95), ("quickest", 0.0)):
                yield Line(f"{piece}: {word}", float(np.quantile(took_s, share)), whole_s)


def _edited(tables: dict[str, Any], editing: Editing, i: int) -> object:
    return verdict_of_edit(tables | {"fit": f"{0.02 + 0.001 * i:.3f} mm"}, editing, "front-right")


def _whole(tables: dict[str, Any], editing: Editing) -> object:
    bench = editing.bench
    return judge_trial(Trial(tables, bench.machine, bench.boards, bench.recipes, bench.options, "front-right"), editing.laws, N_DRAWS, SEED)


def _timed(work: Callable[[], object]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin

"""The search over a plan's free choices: it finds a known best, scores nothing twice, can be stopped, and runs on other processes."""

from __future__ import annotations

import math
import pickle
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from kerfwright.app.bench_file import load_bench
from kerfwright.app.job_to_burn import job_to_burn
from kerfwright.app.tuning import AS_RECIPE, Setting, TuneTold, choices_of, score_many, score_picks, workers
from kerfwright.app.verdicts import burn_laws
from kerfwright.app.workflow import start
from kerfwright.core.document import read_toml
from kerfwright.core.errors import InputError
from kerfwright.simulate.tune import Choice, Picks, Score, tune

FIT = Choice("fit", "0.06", ("-0.06", "0", "0.03", "0.09"))
WAY = Choice("walls", "ramp", ("cradle", "two faces"))


class Bench:
    """A made-up verdict with a known best: odds fall as the fit closes, the cradle leaves half the gap, two faces cannot be made."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, ...]] = []

    def __call__(self, many: Sequence[Picks]) -> Iterator[Score]:
        for picks in many:
            self.asked.append(tuple(picks.values()))
            fit = float(picks["fit"])
            if picks["walls"] == "two faces":
                yield Score(stopped="no room to flip")
            else:
                gap = (0.08 + fit) * (0.5 if picks["walls"] == "cradle" else 1.0)
                yield Score(odds=1 / (1 + math.exp(-(fit + 0.03) / 0.02)), gap_mm=gap, time_s=60.0 if picks["walls"] == "ramp" else 90.0)


def test_the_least_gap_at_the_odds_wanted_is_found_and_nothing_scored_twice():
    bench = Bench()
    told: list[str] = []
    found = tune([FIT, WAY], bench, 0.8, told.append)
    assert found.before.picks == {"fit": "0.06", "walls": "ramp"}
    assert found.best.picks == {"fit": "0", "walls": "cradle"}  # odds 0.82; -0.06 would leave less gap at 0.18
    assert found.best.score.gap_mm == pytest.approx(0.04)
    assert len(bench.asked) == len(set(bench.asked)) == len(found.tried)
    assert told[0] == "round 1, fit: 1 burnt so far"
    assert not found.stopped_early


def test_odds_out_of_reach_are_come_as_near_to_as_can_be():
    found = tune([FIT, WAY], Bench(), 0.999)
    assert found.best.picks["fit"] == "0.09"
    assert found.best.score.odds == max(each.score.odds for each in found.tried)


def test_the_trade_holds_nothing_that_is_beaten():
    trade = tune([FIT, WAY], Bench(), 0.8).trade()
    gaps, odds = [each.score.gap_mm for each in trade], [each.score.odds for each in trade]
    assert gaps == sorted(gaps)
    assert len(trade) >= 3
    assert all(not each.score.stopped for each in trade)
    cradle = [each for each in trade if each.picks["walls"] == "cradle"]
    assert odds[0] == min(odds)
    assert [each.score.odds for each in cradle] == sorted(each.score.odds for each in cradle)  # more gap buys odds


def test_a_person_can_stop_it():
    bench = Bench()
    found = tune([FIT, WAY], bench, 0.8, stop=lambda: len(bench.asked) >= 2)
    assert found.stopped_early
    assert {each.picks["walls"] for each in found.tried} == {"ramp"}  # the second choice was not begun


@pytest.fixture(scope="module")
def setting(tmp_path_factory: pytest.TempPathFactory) -> Setting:
    shop = start(tmp_path_factory.mktemp("tune") / "shop")
    piece = shop / "pencil-box" / "piece.toml"
    laws = burn_laws(job_to_burn(piece), shop / "empty.db")
    return Setting(read_toml(piece), load_bench(piece.with_name("bench.toml"), ("front", "right", "back", "left")), laws, 20, 3)


def test_choices_of_a_piece_begin_with_what_stands_and_lead_to_lines_for_its_files(setting: Setting):
    choices = choices_of(setting)
    assert [(each.name, each.now) for each in choices] == [("fit", "snug"), ("walls", "auto"), ("hollow", "0.02 mm"), ("face", "auto")]
    wished = {("walls", "cradle"), ("fit", "0 mm")}
    cheap = tune(choices, lambda many: [Score(odds=1.0, gap_mm=2.0 - len(wished & set(each.items()))) for each in many], 0.9)
    assert TuneTold("Box", cheap, ()).suggestion == 'fit = "0 mm"  # in the piece file\n[burn]  # in the bench file\nwalls = "cradle"'
    assert AS_RECIPE not in TuneTold("Box", cheap, ()).suggestion


def test_a_looser_fit_has_more_gap_and_what_cannot_be_made_says_why(setting: Setting):
    picks = {each.name: each.now for each in choices_of(setting)}
    tight, loose = (score_picks(setting, picks | {"fit": fit}) for fit in ("0 mm", "0.12 mm"))
    assert loose.gap_mm - tight.gap_mm == pytest.approx(0.06, abs=0.015)  # half of a pin's clearance to each flank
    assert loose.odds >= tight.odds
    assert "'ramp', 'cradle' or 'two faces'" in score_picks(setting, picks | {"walls": "by hand"}).stopped


def three(setting: Setting) -> list[dict[str, str]]:
    picks = {each.name: each.now for each in choices_of(setting)}
    return [picks | {"fit": fit} for fit in ("0 mm", "0.06 mm", "0.12 mm")]


def test_other_processes_say_the_same(setting: Setting):
    assert len(pickle.dumps(setting)) < 1_000_000
    here = score_many(setting, None, three(setting))
    with workers(processes=2) as pool:
        assert score_many(setting, pool, three(setting)) == here


def test_a_dask_cluster_says_the_same(setting: Setting, tmp_path: Path):
    """A real scheduler and two worker processes, met by the scheduler's address alone."""
    distributed = pytest.importorskip("distributed")
    here = score_many(setting, None, three(setting))
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, local_directory=str(tmp_path), host="127.0.0.1"
    ) as cluster, workers(cluster=cluster.scheduler_address) as pool:
        assert score_many(setting, pool, three(setting)) == here


def test_a_cluster_that_does_not_answer_is_named():
    pytest.importorskip("distributed")
    nowhere = "tcp:" + "//127.0.0.1:9"
    with pytest.raises(InputError, match=f"no dask scheduler answers at {nowhere}"), workers(cluster=nowhere):
        pass

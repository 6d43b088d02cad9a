"""A simulated shop's whole round: coupons burnt and read, recipe and burn law learned apart, the box made untuned and tuned, both burnt."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from kerfwright.app.bench_file import load_bench
from kerfwright.app.tuning import Setting, burn_table, choices_of, score_many
from kerfwright.app.workflow import make
from kerfwright.calibrate.evidence import evidence_from
from kerfwright.calibrate.learn import learn, recipe_of
from kerfwright.core.document import build, read_toml
from kerfwright.machine.machine import Machine
from kerfwright.process.recipe_text import recipe_text
from kerfwright.simulate.facts import facts_from_coupons
from kerfwright.simulate.identify import identify
from kerfwright.simulate.tune import Score, Tuned, tune
from kerfwright.wood.board import Board
from shop.joint import measure_corner
from shop.shop import Shop
from shop.tables import write_bench
from shop.test_shop_jobs import CORNERS, SIZE_MM, pencil_box
from shop.wood import HiddenBoard
from simulate.shop_facts import taught


@dataclass(frozen=True)
class Came:
    """What a box of a shop came to: mean seen gap over its corners, share of corners that go together, and what was foretold."""

    seen_mm: float
    together: float
    foretold: Score


def round_of_one_shop(tmp: Path, kind: str, seed: int, wanted_odds: float) -> tuple[Came, Came, Tuned]:
    """(untuned, tuned, the search). Boards differ as they do on a rack, both boxes come from the very same ones; nothing is misplaced."""
    shop_taught = taught(tmp / "coupons", kind, seed, 6.0)
    shop = shop_taught.shop
    machine = build(shop.machine_facts(), Machine, "machine")
    known = identify(facts_from_coupons(shop_taught.read), machine.laser, machine.power_w)
    offcut = build(shop_taught.board.facts, Board, "offcut")
    learned = learn(evidence_from([(record, list(readings)) for record, readings in shop_taught.read]), machine, offcut)
    boards = {panel: shop.new_board("sugar maple", 6.0, *size) for panel, size in SIZE_MM.items()}
    recipe = tmp / "recipe.toml"
    recipe.write_text(recipe_text(recipe_of(learned), ()), encoding="utf-8")
    tables = read_toml(recipe)
    piece = write_bench(shop, tmp / "bench", pencil_box(), boards, dict.fromkeys(boards, tables))
    bench = load_bench(piece.with_name("bench.toml"), tuple(boards))
    setting = Setting(read_toml(piece), bench, dict.fromkeys(boards, known), 100, 20)
    tuned = tune(choices_of(setting), lambda many: score_many(setting, None, many), wanted_odds)
    both = {"as-is": tuned.before, "tuned": tuned.best}
    came = [_burnt(tmp / name, shop, piece, boards, each.picks, each.score) for name, each in both.items()]
    return came[0], came[1], tuned


def _burnt(tmp: Path, shop: Shop, piece: Path, boards: dict[str, HiddenBoard], picks: dict[str, str], foretold: Score) -> Came:
    text = piece.read_text(encoding="utf-8")
    tmp.mkdir()
    own = tmp / "piece.toml"
    own.write_text(text.replace('fit = "snug"', f'fit = "{picks["fit"]}"') if "fit" in picks else text, encoding="utf-8")
    bench = piece.with_name("bench.toml").read_text(encoding="utf-8")
    head, _, _ = bench.partition("[burn]")
    burn = "".join(f'{name} = "{value}"\n' for name, value in burn_table(picks).items())
    own_bench = piece.with_name(f"bench-{tmp.name}.toml")
    own_bench.write_text(head + "[burn]\n" + burn, encoding="utf-8")
    make(own, own_bench, tmp / "job")
    fresh = {panel: replace(board, burns=[]) for panel, board in boards.items()}
    shop.run_job(tmp / "job", fresh)
    corners = [measure_corner(shop, tmp / "job", name) for name in CORNERS]
    # Wood that meets wood shows no gap: squeeze is nought, and does not make up for a gap elsewhere.
    lines = [line for corner in corners for flank in corner.flanks for line in (flank.seen_tail_face, flank.seen_pin_face)]
    seen = [float(np.mean(np.maximum(line, 0.0))) for line in lines]
    return Came(float(np.mean(seen)), float(np.mean([corner.verdict != "not at all" for corner in corners])), foretold)

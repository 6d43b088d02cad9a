"""A bench for the learning verbs: the demo shop with an offcut and a notebook, the command line, and forms filled in.

Answers come from the coupons' own typical response (coupons/response.py), so what should be learned is known.
"""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import pytest

from app.shop_files import change, new_shop
from kerfwright.app.cli import main
from kerfwright.coupons.coupon import all_coupons
from kerfwright.coupons.observable import Quantity
from kerfwright.coupons.record import CouponRecord, read_record
from kerfwright.coupons.response import telling_words, typical_response
from kerfwright.notebook.notebook import open_notebook

LASER, BOARD = "shop/lantern-20.toml", "shop/maple-a.toml"
LEFT_OUT = {Quantity.FLAME: "none", Quantity.CHAR: "none"}


class Bench:
    """The demo shop with an offcut and a notebook of its own."""

    def __init__(self, root: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.root, self.capsys = new_shop(root), capsys
        self.book = root / "book.db"
        for key, value in (("width", '"100 mm"'), ("length", '"280 mm"'), ("pieces", "1")):
            change(self.root / BOARD, key, value)
        self.known = ("--machine", self.root / LASER, "--board", self.root / BOARD, "--notebook", self.book)

    def run(self, *words: object) -> tuple[int, str, str]:
        """(exit code, what was printed, what was said on the error stream)."""
        self.capsys.readouterr()
        code = main([str(word) for word in words])
        told = self.capsys.readouterr()
        return code, told.out, told.err

    def done(self, *words: object) -> Any:
        """The JSON of a verb that must do its work."""
        code, out, err = self.run(*words, "--json")
        assert (code, err) == (0, "")
        return json.loads(out)

    def refused(self, code: int, *words: object) -> str:
        """The one sentence of a verb that must refuse; the notebook is as it was."""
        before = self.facts()
        got, out, err = self.run(*words)
        assert (got, out) == (code, "")
        assert err.startswith("kerfwright: ")
        assert err.count("\n") == 1
        assert self.facts() == before
        return err

    def facts(self) -> list[tuple[str, str]]:
        if not self.book.exists():
            return []
        with open_notebook(self.book) as book:
            return [(fact.kind.value, fact.payload) for fact in book.facts()]

    def coupon(self, kind: str = "through", filled: bool = True, name: str = "") -> Path:
        folder = self.root / (name or kind.replace(" ", "-"))
        self.done("coupon", kind, *self.known, "--out", folder)
        if filled:
            fill(folder, answers(folder))
        return folder


def record_of(folder: Path) -> CouponRecord:
    return read_record((folder / "coupon.json").read_text(encoding="utf-8"))


def answers(folder: Path) -> dict[str, str]:
    """What a machine of typical response gives, exact."""
    record, response = record_of(folder), typical_response()
    coupon = all_coupons()[record.kind]
    given: dict[str, str] = {}
    for each in record.observables:
        value = coupon.predict(each, response)
        if each.quantity in LEFT_OUT:
            given[each.id] = LEFT_OUT[each.quantity]
        elif each.quantity is Quantity.THROUGH:
            given[each.id] = "yes" if value > 0.5 else "no"
        elif each.choices:
            given[each.id] = next(iter(telling_words(each.quantity))) if value > 0.5 else "not sure"
        elif each.quantity is Quantity.DEPTH and value >= record.thickness_mm:
            given[each.id] = "through"
        else:
            given[each.id] = f"{value:.4f}"
    return given


def fill(folder: Path, given: dict[str, str], name: str = "readings.toml") -> None:
    """Answers written between the quotes, or into the last column."""
    form = folder / name
    text = form.read_text(encoding="utf-8")
    if name.endswith(".csv"):
        rows = list(csv.reader(io.StringIO(text)))
        for row in rows[1:]:
            row[-1] = given.get(row[2], row[-1])
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows(rows)
        text = out.getvalue()
    else:
        for key, value in given.items():
            text, n = re.subn(rf'(?m)^{re.escape(key)} = ".*"$', f'{key} = "{value}"', text)
            assert n == 1, key
    form.write_text(text, encoding="utf-8")

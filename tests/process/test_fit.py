"""Fit in trade words. The classes are the project's own proposal (HANDBOOK section D): checked for sense, not against a source."""

from __future__ import annotations

import pytest

from kerfwright.core.errors import InputError
from kerfwright.process.fit import FIT_CLASSES_MM, fit_word, parse_fit_mm


@pytest.mark.parametrize(("word", "clearance_mm"), [("press", -0.05), ("snug", 0.025), ("slip", 0.10), (" Loose ", 0.225)])
def test_a_word_means_the_middle_of_its_class(word: str, clearance_mm: float):
    assert parse_fit_mm(word) == pytest.approx(clearance_mm)
    assert fit_word(parse_fit_mm(word)) == word.strip().lower()


def test_classes_join_without_gap_or_overlap():
    limits = list(FIT_CLASSES_MM.values())
    assert all(low < high for low, high in limits)
    assert [high for _, high in limits[:-1]] == [low for low, _ in limits[1:]]


@pytest.mark.parametrize(("text", "clearance_mm"), [("0.03 mm", 0.03), ("-40 um", -0.04), ("1 thou", 0.0254)])
def test_a_clearance_in_units(text: str, clearance_mm: float):
    assert parse_fit_mm(text) == pytest.approx(clearance_mm)


@pytest.mark.parametrize(("clearance_mm", "word"),
                         [(-0.2, "too tight"), (-0.1, "press"), (0.0, "snug"), (0.05, "slip"), (0.3, "too loose")])
def test_the_word_for_a_clearance(clearance_mm: float, word: str):
    assert fit_word(clearance_mm) == word


@pytest.mark.parametrize("bad", ["tight", "0.03", 0.03, None, "", "nan mm"])
def test_what_is_no_fit_lists_the_words(bad: object):
    with pytest.raises(InputError, match=r"press, snug, slip, loose, or a clearance"):
        parse_fit_mm(bad)

"""Settings in words."""

from __future__ import annotations

from dataclasses import replace

from format_samples import operations
from kerfwright.export.wording import focus_changes, focus_words, power_words, settings_words
from kerfwright.process.operation import Pass

LABEL, SOCKETS, RAMPS, _ = operations()


def test_settings_words() -> None:
    assert settings_words(SOCKETS) == "power 90 %; 4 mm/s; 3 passes; focus 0.5 mm above the face, then 1.5 mm lower each pass"
    assert power_words(RAMPS) == "11.67 to 85 %, line by line"
    assert power_words(replace(RAMPS, paths=())) == "0 %"


def test_focus_words() -> None:
    assert focus_words(LABEL) == "at the face"
    assert focus_words(replace(LABEL, passes=(Pass(-1.0), Pass(-1.0)))) == "1 mm below the face"
    assert focus_words(replace(LABEL, passes=(Pass(0.0), Pass(1.0), Pass(-1.0)))) == (
        "at the face; 1 mm above the face; 1 mm below the face")
    assert focus_words(replace(LABEL, level_mm=2.5, passes=(Pass(-0.5),))) == "2 mm above the gauge point"


def test_focus_changes() -> None:
    assert not focus_changes(LABEL)
    assert focus_changes(SOCKETS)
    assert focus_changes(replace(LABEL, level_mm=0.0))

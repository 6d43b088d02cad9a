"""Every error says what arrived, what is accepted and what to do, ends properly and has a documented exit code."""

from __future__ import annotations

import pytest

from kerfwright.core.errors import EXIT_CODES, FolderError, InputError, KerfwrightError, SelfCheckError


def _kinds(root: type[KerfwrightError] = KerfwrightError) -> list[type[KerfwrightError]]:
    return [root, *(deeper for each in root.__subclasses__() for deeper in _kinds(each))]


def test_the_sentence_is_built_from_its_parts():
    bad = InputError("6 has no unit.", accepted="a length", remedy="Add mm.", where="box.toml")
    assert str(bad) == "box.toml: 6 has no unit. Accepted: a length. Add mm."
    assert str(InputError("x is odd", remedy="Did you mean y?")) == "x is odd. Did you mean y?"
    assert str(InputError("plain")) == "plain."


def test_places_are_put_in_front_outermost_first():
    bad = InputError("too thin", accepted="3 mm").located("front").located("box.toml")
    assert str(bad) == "box.toml: front: too thin. Accepted: 3 mm."
    assert type(bad) is InputError


@pytest.mark.parametrize("kind", _kinds()[1:], ids=lambda kind: kind.__name__)
def test_every_kind_has_a_documented_exit_code_and_a_builtin_ancestor(kind: type[KerfwrightError]):
    assert kind.exit_code in EXIT_CODES
    assert issubclass(kind, (ValueError, OSError, RuntimeError))


def test_exit_codes_do_not_collide():
    codes = [kind.exit_code for kind in _kinds()]
    assert len(set(codes)) == len(codes)


def test_builtin_ancestors():
    assert issubclass(FolderError, OSError)
    assert issubclass(SelfCheckError, RuntimeError)

"""The house stands: imports only go down, nothing goes round in a circle, and heavy or single-door libraries keep their door."""

from __future__ import annotations

import sys
import tomllib
from graphlib import CycleError, TopologicalSorter

import pytest

from structure.source_tree import ROOT, Module, imports_of, modules

# From the ground up: a module may import its own floor and those before it. See docs and the design's floors.
FLOORS = ("data", "core", "wood", "machine", "geometry", "process", "joints", "pieces", "coupons", "calibrate", "plan", "simulate",
          "export", "notebook", "app", "kerfwright")

# Down the stairs and still not allowed: a floor (or module) and what it must never know.
NEVER = {
    "geometry": ("kerfwright.machine",),  # exact shapes know no laser
    "joints": ("kerfwright.machine", "kerfwright.process.recipe"),
    "pieces": ("kerfwright.machine", "kerfwright.process.recipe"),
    "export": ("kerfwright.joints", "kerfwright.pieces", "kerfwright.simulate"),  # files are written from the job's values alone
}
# What burns the wood in the machine's memory works from programs, setups, machine and wood alone, even by way of what it imports.
BURN = ("law", "strokes", "motion", "along", "section", "light", "walls", "response", "dose", "opened", "full", "heat")
# The one module, or the one floor, that may import a library.
ONLY_DOOR = {
    "shapely": "kerfwright.geometry.region",
    "manifold3d": "kerfwright.geometry.solid",
    "sqlalchemy": "kerfwright.notebook",
    "alembic": "kerfwright.notebook",
    "matplotlib": "kerfwright.export",
    "ortools": "kerfwright.plan.layout.solver",
}
# Packages whose import costs a good part of the 0.3 s that --help may take: inside functions only.
HEAVY = ("ezdxf", "manifold3d", "trimesh", "reportlab", "PIL", "lxml", "scipy", "matplotlib", "ortools")
DISTRIBUTION_OF = {"PIL": "pillow"}  # where the import name is not the name on the index


def _floor_of(target: str) -> str:
    steps = target.split(".")
    return steps[1] if len(steps) > 1 else "kerfwright"


def _ours() -> list[tuple[Module, str, int, bool]]:
    return [(module, each.target, each.line, each.lazy) for module in modules().values() for each in imports_of(module)
            if each.target.split(".")[0] == "kerfwright"]


def test_there_is_something_to_judge():
    assert len(modules()) > 25
    assert len(_ours()) > 50


def test_every_module_stands_on_a_known_floor():
    unknown = sorted({module.floor for module in modules().values()} - set(FLOORS))
    assert not unknown, f"floors that no one has put in order: {unknown}"


def test_imports_only_go_down():
    upward = [f"{module.name}:{line} imports {target}" for module, target, line, _ in _ours()
              if target != "kerfwright" and FLOORS.index(_floor_of(target)) > FLOORS.index(module.floor)]
    assert not upward


def test_the_root_package_is_only_asked_for_its_version():
    wrong = []
    for module in modules().values():
        for line_number, line in enumerate(module.path.read_text(encoding="utf-8").splitlines(), 1):
            words = line.split()
            if module.name != "kerfwright" and words[:2] == ["from", "kerfwright"] and words[3:] != ["__version__"]:
                wrong.append(f"{module.name}:{line_number} {line.strip()}")
            if words[:2] == ["import", "kerfwright"]:
                wrong.append(f"{module.name}:{line_number} {line.strip()}")
    assert not wrong


@pytest.mark.parametrize("floor", sorted(NEVER))
def test_a_floor_does_not_know_what_it_must_not(floor: str):
    wrong = [f"{module.name}:{line} imports {target}" for module, target, line, _ in _ours() if module.floor == floor
             for forbidden in NEVER[floor] if target == forbidden or target.startswith(forbidden + ".")]
    assert not wrong


@pytest.mark.parametrize("name", BURN)
def test_the_burn_knows_nothing_of_how_a_job_was_planned(name: str):
    """Else the simulation would repeat the plan's own mistakes and call them right."""
    graph: dict[str, set[str]] = {}
    for module, target, _, _ in _ours():
        graph.setdefault(module.name, set()).add(target)
    reached, waiting = set(), [f"kerfwright.simulate.{name}"]
    assert waiting[0] in modules()
    while waiting:
        here = waiting.pop()
        if here not in reached:
            reached.add(here)
            waiting += graph.get(here, set())
    forbidden = ("kerfwright.process.recipe", "kerfwright.coupons", "kerfwright.calibrate", "kerfwright.plan")
    assert sorted(each for each in reached if each.startswith(forbidden)) == []


def test_no_cycle_between_modules():
    graph: dict[str, set[str]] = {name: set() for name in modules()}
    for module, target, _, lazy in _ours():
        if not lazy and target != module.name and target != "kerfwright":
            graph[module.name].add(target)
    try:
        order = list(TopologicalSorter(graph).static_order())
    except CycleError as bad:
        pytest.fail("modules import each other in a circle: " + " -> ".join(bad.args[1]))
    assert len(order) == len(modules())


@pytest.mark.parametrize("library", sorted(ONLY_DOOR))
def test_a_library_has_one_door(library: str):
    doors = {module.name for module in modules().values() for each in imports_of(module) if each.target.split(".")[0] == library}
    door = ONLY_DOOR[library]
    assert doors
    assert [name for name in doors if name != door and not name.startswith(door + ".")] == []


def test_heavy_libraries_are_fetched_when_needed():
    early = [f"{module.name}:{each.line} imports {each.target}" for module in modules().values() for each in imports_of(module)
             if not each.lazy and each.target.split(".")[0] in HEAVY]
    assert not early


OPTIONAL = {"distributed"}  # fetched only when a person asks for it, and declared as an extra


def test_declared_needs_are_the_ones_used():
    """pyproject's dependencies are exactly the outside packages that src imports."""
    document = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    declared = {each.split(">")[0].split("=")[0].split("[")[0].strip().lower() for each in document["project"]["dependencies"]}
    outside = {each.target.split(".")[0] for module in modules().values() for each in imports_of(module)}
    outside -= {"kerfwright", "__future__", *sys.stdlib_module_names, *OPTIONAL}
    used = {DISTRIBUTION_OF.get(name, name).lower() for name in outside}
    assert used == declared

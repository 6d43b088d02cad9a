"""A newcomer adds a joint, a species or a format with one file: each registry loads every file that lies in its folder."""

from __future__ import annotations

from importlib import resources

from kerfwright.export.exporter import all_exporters
from kerfwright.joints.joint import all_joints
from kerfwright.wood.species import all_species, find_species
from structure.source_tree import SRC

PACKAGE = SRC / "kerfwright"


def _entries(folder: str, ending: str) -> set[str]:
    found = {path.stem for path in (PACKAGE / folder).glob(f"*{ending}") if not path.name.startswith("_")}
    assert found, f"{folder} holds no entry"
    return found


def test_every_format_is_loaded():
    modules = [type(each).__module__.split(".")[-1] for each in all_exporters()]
    assert set(modules) == _entries("export/formats", ".py")
    assert len({each.name for each in all_exporters()}) == len(all_exporters()) == len(modules)


def test_every_joint_is_loaded():
    modules = [type(each).__module__.split(".")[-1] for each in all_joints().values()]
    assert set(modules) == _entries("joints/kinds", ".py")
    assert len(all_joints()) == len(modules)
    assert all(kind == joint.kind for kind, joint in all_joints().items())


def test_every_species_is_loaded():
    files = _entries("data/species", ".toml")
    assert {name.lower().replace(" ", "_").replace("-", "_") for name in all_species()} == files
    assert len(files) == 17


def test_a_species_answers_to_each_of_its_names_and_to_no_one_elses():
    names = [each.lower() for species in all_species().values() for each in (species.name, *species.other_names)]
    assert sorted(names) == sorted(set(names))
    for species in all_species().values():
        for each in (species.name, *species.other_names):
            assert find_species(f" {each.upper()} ") is species


def test_species_ship_inside_the_package():
    assert (resources.files("kerfwright.data") / "species" / "sugar_maple.toml").is_file()

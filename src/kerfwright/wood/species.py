"""Species facts, one TOML file a species under data/species, each number with its source."""

from __future__ import annotations

import difflib
from functools import cache
from importlib import resources
from typing import Literal

from pydantic import Field

from kerfwright.core.document import Document, build
from kerfwright.core.errors import InputError


class Sourced(Document):
    """A number and where it was read."""

    value: float
    source: str = Field(min_length=3)


class Species(Document):
    """What the project knows of a species. Mechanical values at 12 % moisture content."""

    schema_: Literal["kerfwright-species-1"] = Field(alias="schema")
    name: str
    other_names: tuple[str, ...] = ()
    relative_density: Sourced
    shrinkage_radial_percent: Sourced | None = None
    shrinkage_tangential_percent: Sourced | None = None
    movement_radial_per_percent: Sourced | None = None
    movement_tangential_per_percent: Sourced | None = None
    elastic_modulus_gpa: Sourced | None = None
    elastic_ratio_tangential: Sourced | None = None
    elastic_ratio_radial: Sourced | None = None
    compression_perpendicular_mpa: Sourced | None = None
    shear_mpa: Sourced | None = None
    hardness_kn: Sourced | None = None
    dust_caution: str = ""
    colour: str = Field(pattern="^#[0-9a-f]{6}$")


@cache
def all_species() -> dict[str, Species]:
    """Every species that ships, by name. A newcomer adds one with one file."""
    import tomllib

    found: dict[str, Species] = {}
    folder = resources.files("kerfwright.data") / "species"
    for entry in sorted(folder.iterdir(), key=lambda each: each.name):
        if entry.name.endswith(".toml"):
            species = build(tomllib.loads(entry.read_text(encoding="utf-8")), Species, where=entry.name)
            found[species.name] = species
    return found


def find_species(name: str) -> Species:
    """The species called ``name`` (any of its names, any case). Raises InputError with the nearest known."""
    wanted = name.strip().lower()
    by_name = {each.lower(): species for species in all_species().values() for each in (species.name, *species.other_names)}
    if wanted in by_name:
        return by_name[wanted]
    near = difflib.get_close_matches(wanted, by_name, n=1, cutoff=0.4)
    hint = f'Did you mean "{near[0]}"?' if near else ""
    raise InputError(f'the species "{name}" is not known', accepted=", ".join(sorted(all_species())), remedy=hint)

"""Readings made ready for the fits: each with how it was burnt, on which board, by which coupon."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.coupons.observable import Observable, Quantity
from kerfwright.coupons.readings import Reading
from kerfwright.coupons.record import CouponRecord

Array = NDArray[np.float64]

# What one careful reading is off by, one standard deviation (common practice, no source).
INSTRUMENT_SD_MM = {"caliper": 0.02, "feeler": 0.02, "depth gauge": 0.03, "scan": 0.012}
SAME_THICKNESS_FRAC = 0.06  # boards this near in thickness are fitted together


@dataclass(frozen=True, eq=False)
class Datum:
    """One answered observable."""

    observable: Observable
    values: tuple[float | str, ...]
    record: CouponRecord

    @property
    def number(self) -> float:
        """Median of the repeats of a numeric reading."""
        return float(np.median([float(value) for value in self.values]))

    @property
    def words(self) -> tuple[str, ...]:
        """Answers in words."""
        return tuple(str(value) for value in self.values)

    @property
    def instrument_sd_mm(self) -> float:
        """Spread of the median of its repeats, from the instrument alone."""
        return INSTRUMENT_SD_MM.get(self.observable.instrument, 0.02) / float(np.sqrt(len(self.values)))

    def setting(self, key: str) -> float:
        """One number of how it was burnt."""
        return float(self.observable.settings[key])

    def word(self, key: str) -> str:
        """One word of how it was burnt."""
        return str(self.observable.settings[key])


@dataclass(frozen=True, eq=False)
class Evidence:
    """Many readings. n_unsure counts answers "not sure" and "spoilt", which teach nothing but are kept."""

    data: tuple[Datum, ...]
    n_unsure: int = 0

    def of(self, quantity: Quantity) -> list[Datum]:
        """Readings of one quantity."""
        return [datum for datum in self.data if datum.observable.quantity is quantity]

    def on(self, machine: str, species: str, thickness_mm: float) -> Evidence:
        """What was burnt by one machine on one species of about one thickness."""
        kept = tuple(
            datum
            for datum in self.data
            if datum.record.machine == machine
            and datum.record.species == species
            and abs(datum.record.thickness_mm - thickness_mm) <= SAME_THICKNESS_FRAC * thickness_mm
        )
        return Evidence(kept, self.n_unsure)

    def by_machine(self, machine: str) -> Evidence:
        """What was burnt by one machine on any wood."""
        return Evidence(tuple(datum for datum in self.data if datum.record.machine == machine), self.n_unsure)

    @property
    def boards(self) -> list[str]:
        """Boards the readings come from, in order."""
        return list(dict.fromkeys(datum.record.board for datum in self.data))

    @property
    def coupons(self) -> list[str]:
        """Coupons the readings come from, in order."""
        return list(dict.fromkeys(datum.record.id for datum in self.data))


def evidence_from(read: Iterable[tuple[CouponRecord, Sequence[Reading]]]) -> Evidence:
    """Evidence of coupons with their readings."""
    data: list[Datum] = []
    n_unsure = 0
    for record, readings in read:
        for reading in readings:
            if reading.status == "read":
                data.append(Datum(record.observable(reading.observable), reading.values, record))
            else:
                n_unsure += 1
    return Evidence(tuple(data), n_unsure)


def burnt_alike(data: Sequence[Datum], keys: Sequence[str]) -> dict[tuple[float, ...], list[Datum]]:
    """Readings by how they were burnt, in order; a last digit lost on the way through a recipe file makes no difference."""
    groups: dict[tuple[float, ...], list[Datum]] = {}
    for datum in data:
        settings = tuple(datum.setting(key) for key in keys)
        known = next((each for each in groups if np.allclose(each, settings, rtol=1e-4, atol=1e-6)), settings)
        groups.setdefault(known, []).append(datum)
    return groups


def energy_logs(data: Sequence[Datum]) -> tuple[Array, Array]:
    """(ln(P/v), ln n) of cells cut right through, each (n,): P in W, v in mm/s, n passes. ln E = ln(P/v) + kappa ln n."""
    once = [datum.record.power_w * datum.setting("power_frac") / datum.setting("speed_mm_s") for datum in data]
    return np.log(once), np.log([datum.setting("passes") for datum in data])


def cells_by_energy(data: Sequence[Datum], kappa_ratio: float, words: Sequence[str]) -> tuple[Array, NDArray[np.int_]]:
    """(ln energy of each cell, (n,), how often each word was its answer, (n, k)). kappa_ratio: what passes are worth."""
    ln_once, ln_passes = energy_logs(data)
    counts = np.array([[sum(word == name for word in datum.words) for name in words] for datum in data], dtype=np.int_)
    return ln_once + kappa_ratio * ln_passes, counts

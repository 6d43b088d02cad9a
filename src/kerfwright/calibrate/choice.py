"""Which of several forms to believe: the one that foresees places it was not shown, or none when they tie.

Each group of readings (one place of a board) is left out in turn, every form is fitted to the rest, and the group foreseen. With d_g the
difference of two forms' mean squared errors on group g, the better wins only when mean(d) > sd(d) / sqrt(groups): the
one-standard-error rule. Range: 3 groups or more, and for groups like those at hand: nothing is said beyond them.
Source: Hastie, Tibshirani and Friedman, The Elements of Statistical Learning, section 7.10 (from memory), used on differences.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.law import Law, NoisePrior
from kerfwright.calibrate.regression import fit_law
from kerfwright.core.errors import InputError

Array = NDArray[np.float64]

FEWEST_GROUPS = 3


@dataclass(frozen=True)
class ModelChoice:
    """best: the form to use, or None when the readings cannot choose; tied: all that are not clearly worse, best first.

    error_value: root of each form's mean squared error on groups left out, in the readings' unit.
    """

    best: str | None
    tied: tuple[str, ...]
    error_value: dict[str, float]
    n_groups: int

    @property
    def said(self) -> str:
        """The verdict for people."""
        errors = ", ".join(f"{name} {self.error_value[name]:.3g}" for name in self.error_value)
        if self.best is not None:
            return f"{self.best} foresees places left out best ({errors})"
        why = f"{self.n_groups} places are too few" if self.n_groups < FEWEST_GROUPS else f"{' and '.join(self.tied)} do equally well"
        return f"cannot choose: {why} ({errors})"


def choose_law(
    laws: Sequence[Law], x: Array, y: Array, groups: Sequence[str], *, noise: NoisePrior | None = None, robust: bool = False
) -> ModelChoice:
    """Leave each group out in turn and judge the rival laws by it. x, y, groups: (n,).

    A law that cannot be fitted without some group counts as infinitely wrong there.
    """
    labels = np.asarray(groups)
    if len({each.name for each in laws}) < 2 or len(labels) != len(y):
        raise InputError(f"{len(laws)} laws and {len(labels)} group labels for {len(y)} readings",
                         accepted="two laws or more of different names, a label a reading")
    squared: dict[str, list[float]] = {law.name: [] for law in laws}
    for group in dict.fromkeys(groups):
        held = labels == group
        for law in laws:
            try:
                fit = fit_law(law, x[~held], y[~held], noise=noise, robust=robust)
                squared[law.name].append(float(np.mean((y[held] - law.at(x[held], fit.value)) ** 2)))
            except InputError:
                squared[law.name].append(float("inf"))
    return choose({name: np.array(errors) for name, errors in squared.items()})


def choose(squared_value: Mapping[str, Array]) -> ModelChoice:
    """The verdict from each form's mean squared error on each group, (groups,) each, the groups in one order."""
    means = {name: float(np.mean(errors)) for name, errors in squared_value.items()}
    order = sorted(means, key=lambda name: means[name])
    n_groups = len(next(iter(squared_value.values())))
    leader = squared_value[order[0]]
    tied = [name for name in order if name == order[0] or not _clearly_worse(squared_value[name], leader)]
    return ModelChoice(tied[0] if len(tied) == 1 else None, tuple(tied), {name: float(np.sqrt(means[name])) for name in order}, n_groups)


def _clearly_worse(other: Array, leader: Array) -> bool:
    if len(leader) < FEWEST_GROUPS:
        return False
    if not np.all(np.isfinite(other)):
        return bool(np.all(np.isfinite(leader)))
    difference = other - leader
    return bool(difference.mean() > difference.std(ddof=1) / np.sqrt(len(difference)))

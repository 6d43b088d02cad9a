"""Why readings differ: from board to board, from place to place on a board, and from reading to reading, kept apart.

Words: a *level* is a grouping (board; place within board); its *component* is the variance it adds; *residual* is the rest.
Model: y = mu + sum_k a_k[level k] + e; a_k and e normal, variances v_k and v_0: Cov y = V = sum_i v_i V_i.
REML: v solves F v = q, F_ij = tr(P V_i P V_j) / 2, q_i = y' P V_i P y / 2, P = V^-1 - V^-1 1 (1' V^-1 1)^-1 1' V^-1, repeated
until it stands; ML the same with V^-1 for P in F. A component that comes out below 0 is set to 0 and said. F^-1 is the
covariance of the components. BLUP: a_k = v_k Z_k' P y. For equal group sizes REML is the analysis of variance.
New board: variance T = var(mu) + sum v_k + v_0, degrees of freedom 2 T^2 / Var(T) (Satterthwaite).
Range: normal effects (take logarithms of depths first), a few hundred readings.
Source: Searle, Casella and McCulloch, Variance Components (1992), chapter 6; Satterthwaite, Biometrics Bulletin 2 (1946) 110;
both from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.interval import LEVEL_FRAC, Interval, two_sided_t_value
from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Finding, note, warning

Array = NDArray[np.float64]
Method = Literal["REML", "ML"]

ROUNDS = 500
AGREED = 1e-11
LEAST_RESIDUAL = 1e-4  # of the readings' own variance: repeats that agree to the last digit; less and the iteration cannot settle
FEWEST_BOARDS = 3
# Between boards of a species when too few were burnt: coefficient of variation of density, 10 % (Wood Handbook, FPL-GTR-190,
# Table 5-6, from memory). Depth follows density at most in proportion, so this errs wide.
BETWEEN_BOARDS_FRAC = 0.10
BOARDS_WORTH = 2.0  # 3 boards or more are drawn toward it as if it had been seen in 2 more (judgement of ours: 3 may agree by chance)


@dataclass(frozen=True)
class Level:
    """A grouping of readings: its name and a label for each reading. Labels of an inner level are read within the outer."""

    name: str
    labels: tuple[str, ...]


@dataclass(frozen=True)
class Components:
    """sd: by level name, outermost first, then "residual". effect_y: how far each group lies from the mean (BLUP), by level.

    new_board_sd: of one more reading on a board not yet seen, the mean's own doubt included; n_dof: its degrees of freedom.
    """

    mean_y: Estimate
    sd: dict[str, float]
    effect_y: dict[str, dict[str, float]]
    new_board_sd: float
    n_dof: float
    method: Method
    findings: tuple[Finding, ...]

    def new_board(self, level_frac: float = LEVEL_FRAC) -> Interval:
        """Interval for one reading at one place of a board not yet seen."""
        reach = two_sided_t_value(self.n_dof, level_frac) * self.new_board_sd
        return Interval(self.mean_y.value - reach, self.mean_y.value + reach, level_frac)


def components(y: Array, levels: Sequence[Level], method: Method = "REML", source: str = "") -> Components:
    """Split the spread of y (n,) over nested levels, outermost first. Group sizes may differ.

    Raises InputError when a level has one group only or as many groups as readings: it cannot be told from its neighbour.
    """
    groups = _groups(y, levels)
    solved = _Scaled(y).solve(np.ones((len(y), 1)), [_same(each) for each in groups], method)
    found = tuple(
        warning("negative-component", f"the spread by {level.name} came out below 0 and is taken as 0: these readings do not show it")
        for level, gone in zip(levels, solved.dropped, strict=True) if gone)
    v = solved.variances
    sd = {name: math.sqrt(each) for name, each in zip([*(level.name for level in levels), "residual"], v, strict=True)}
    effects = {level.name: {str(label): float(each * solved.pull[group == label].sum()) for label in dict.fromkeys(group)}
               for level, group, each in zip(levels, groups, v, strict=False)}
    total = float(v.sum()) + solved.mean_variance
    slope = 1 + solved.mean_slopes
    return Components(Estimate(solved.mean, math.sqrt(solved.mean_variance), len(y), source), sd, effects, math.sqrt(total),
                      _satterthwaite(total, slope, solved.covariance), method, found)


def spread_of_boards(y: Array, levels: Sequence[Level], *, in_logs: bool, source: str = "") -> Components:
    """As ``components`` with the boards as first level; with fewer than 3 boards their spread is taken as 10 %, and said.

    in_logs: y is a natural logarithm, so that 10 % is 0.10; otherwise it is 10 % of the mean.
    """
    boards = list(dict.fromkeys(levels[0].labels))
    if len(boards) >= FEWEST_BOARDS:
        return components(y, levels, source=source)
    groups = _groups(y, levels, fewest_outer=1)
    of_board = np.stack([groups[0] == board for board in boards], axis=1).astype(float)
    solved = _Scaled(y).solve(of_board, [_same(each) for each in groups[1:]], "REML")
    between = BETWEEN_BOARDS_FRAC * (1.0 if in_logs else abs(solved.mean))
    mean_variance = solved.mean_variance + between**2 / len(boards)
    sd = {levels[0].name: between, **{level.name: math.sqrt(each) for level, each in zip(levels[1:], solved.variances, strict=False)},
          "residual": math.sqrt(float(solved.variances[-1]))}
    total = mean_variance + between**2 + float(solved.variances.sum())
    effects = {levels[0].name: {board: float(y[of_board[:, i] > 0].mean()) - solved.mean for i, board in enumerate(boards)}}
    return Components(Estimate(solved.mean, math.sqrt(mean_variance), len(y), source), sd, effects, math.sqrt(total),
                      _satterthwaite(total, 1 + solved.mean_slopes, solved.covariance), "REML", (_few_boards(levels[0].name, len(boards)),))


@dataclass(frozen=True)
class BoardSpread:
    """What boards add to a number. away_y: how far each lies from their mean; sd: between boards; place_sd: between places of a board,
    None where places were not read again; new_sd: what to add to a place's own spread on a board not yet burnt, the doubt of the mean
    and of the spread itself included (1.96 of it hold 95 %); findings: where 10 % was taken for want of boards."""

    away_y: dict[str, float]
    sd: float
    place_sd: float | None
    new_sd: float
    findings: tuple[Finding, ...]


def boards_apart(y: Array, boards: Sequence[str], places: Sequence[str] = (), *, in_logs: bool) -> BoardSpread:
    """``spread_of_boards`` for readings as they come, (n,) each, also where every board or place was read once. in_logs: as there."""
    names = list(dict.fromkeys(boards))
    levels = [Level("board", tuple(boards))]
    n_places = len(set(zip(boards, places, strict=True))) if places else 0
    if len(names) < n_places < len(y):
        levels.append(Level("place", tuple(places)))
    size = 1.0 if in_logs or not len(y) else abs(float(y.mean()))
    if len(names) == len(y):  # also where nothing was read
        return _read_once(y, names, BETWEEN_BOARDS_FRAC * size)
    found = spread_of_boards(y, levels, in_logs=in_logs)
    return _told(found.effect_y["board"], found.sd["board"], found.sd.get("place"), BETWEEN_BOARDS_FRAC * size)


def _read_once(y: Array, names: list[str], prior_sd: float) -> BoardSpread:
    """Boards and places cannot be told apart: their spread together is taken."""
    mean = float(y.mean()) if len(y) else 0.0
    away = {name: float(each) - mean for name, each in zip(names, y, strict=True)}
    return _told(away, float(y.std(ddof=1)) if len(y) > 1 else 0.0, None, prior_sd)


def _told(away_y: dict[str, float], seen_sd: float, place_sd: float | None, prior_sd: float) -> BoardSpread:
    n = len(away_y)
    if n < FEWEST_BOARDS:
        return BoardSpread(away_y, prior_sd, place_sd, prior_sd * math.sqrt(1 + 1 / max(n, 1)), (_few_boards("board", n),))
    n_free = n - 1 + BOARDS_WORTH
    sd = math.sqrt(((n - 1) * seen_sd**2 + BOARDS_WORTH * prior_sd**2) / n_free)
    wider = two_sided_t_value(n_free) / two_sided_t_value(math.inf)
    return BoardSpread(away_y, sd, place_sd, wider * sd * math.sqrt(1 + 1 / n), ())


def _few_boards(name: str, n: int) -> Finding:
    few = f"{n} {name}{'' if n == 1 else 's'}"
    return note("few-boards", f"{few} cannot show how boards differ: a spread of 10 % is taken (density within a species, "
                              f"Wood Handbook Table 5-6, from memory); burn {FEWEST_BOARDS} to measure it")


def from_mean_squares(mean_square_value: Sequence[float], n_each: Sequence[int]) -> tuple[float, ...]:
    """Component variances of equal groups from a published table of mean squares, outermost first, residual last.

    n_each: how many of the next level stand in each group. E(MS_k) = MS_(k+1) + (product of n_each from k on) v_k; below 0 is 0.
    """
    found = [float(mean_square_value[-1])]
    for k in range(len(n_each) - 1, -1, -1):
        found.append(max(0.0, (mean_square_value[k] - mean_square_value[k + 1]) / math.prod(n_each[k:])))
    return tuple(reversed(found))


def _satterthwaite(total: float, slope: Array, covariance: Array) -> float:
    return max(1.0, 2 * total**2 / float(slope @ covariance @ slope))


def _groups(y: Array, levels: Sequence[Level], fewest_outer: int = 2) -> list[NDArray[np.str_]]:
    """Labels of each level made whole (an inner label carries the outer ones), (n,) each; refuses what cannot be split."""
    if not levels or not np.all(np.isfinite(y)):
        raise InputError("no level to split the spread over, or a reading that is no number")
    whole: list[NDArray[np.str_]] = []
    path = [""] * len(y)
    for i, level in enumerate(levels):
        if len(level.labels) != len(y):
            raise InputError(f"{len(level.labels)} labels of {level.name} for {len(y)} readings", accepted="a label a reading")
        path = [f"{outer} / {label}" if outer else label for outer, label in zip(path, level.labels, strict=True)]
        n_groups, n_outer = len(set(path)), len(set(whole[-1].tolist())) if whole else 1
        if n_groups == len(y) or (n_groups < fewest_outer if i == 0 else n_groups == n_outer):
            raise InputError(f"{n_groups} groups of {level.name} for {len(y)} readings", remedy="Burn repeats, or leave this level out",
                             accepted="more groups than the level above, fewer than readings")
        whole.append(np.array(path))
    return whole


def _same(group: NDArray[np.str_]) -> Array:
    """1 where two readings share a group, (n, n)."""
    return (group[:, None] == group[None, :]).astype(float)


@dataclass(frozen=True)
class _Solved:
    """variances: (levels + 1,), residual last; covariance of them; pull: V^-1 (y - mean), (n,); mean_slopes: d var(mean)/d v."""

    variances: Array
    covariance: Array
    mean: float
    mean_variance: float
    mean_slopes: Array
    pull: Array
    dropped: tuple[bool, ...]


@dataclass(frozen=True)
class _Scaled:
    """The iteration, in units of the readings' own spread (so that one tolerance suits micrometres and metres)."""

    y: Array

    def solve(self, x: Array, same: list[Array], method: Method) -> _Solved:
        """x: (n, p) fixed part, its columns averaged for the mean; same: (n, n) a level."""
        size = float(np.std(self.y)) or 1.0
        y = self.y / size
        matrices = np.stack([*same, np.eye(len(y))])
        v, active = self._iterate(y, x, matrices, method)
        inner, p_matrix, bread = _project(v, matrices, x)
        info, _ = _equations(p_matrix if method == "REML" else inner, p_matrix, matrices, y)
        covariance = np.asarray(np.linalg.inv(info), np.float64)  # a component set to 0 is still in doubt, and its doubt counts
        average = np.full(x.shape[1], 1 / x.shape[1])
        u = inner @ x @ bread @ average  # the mean is u . y
        slopes = np.einsum("i,kij,j->k", u, matrices, u)
        return _Solved(v * size**2, covariance * size**4, float(u @ self.y), float(average @ bread @ average) * size**2, slopes,
                       p_matrix @ y / size, tuple(not each for each in active[:-1]))

    def _iterate(self, y: Array, x: Array, matrices: Array, method: Method) -> tuple[Array, NDArray[np.bool_]]:
        k = len(matrices)
        v, active = np.full(k, 1.0 / k), np.ones(k, dtype=bool)
        for _ in range(ROUNDS):
            inner, p_matrix, _ = _project(v, matrices, x)
            info, quads = _equations(p_matrix if method == "REML" else inner, p_matrix, matrices, y)
            fresh = np.zeros(k)
            fresh[active] = np.linalg.solve(info[np.ix_(active, active)], quads[active])
            fresh[-1] = max(fresh[-1], LEAST_RESIDUAL)
            if np.any(fresh < 0):
                active &= fresh >= 0
                fresh = np.maximum(fresh, 0)
            done = bool(np.all(np.abs(fresh - v) <= AGREED * fresh.sum()))
            v = fresh
            wanted = ~active & (quads - info @ v > AGREED)  # likelihood would rise: set to 0 too early
            if done and not wanted.any():
                return v, active
            active |= wanted if done else False
        raise InputError("the components do not settle", remedy="Burn more boards or more repeats")


def _project(v: Array, matrices: Array, x: Array) -> tuple[Array, Array, Array]:
    """(V^-1, P, (X' V^-1 X)^-1)."""
    inner = np.asarray(np.linalg.inv(np.tensordot(v, matrices, axes=1)), np.float64)
    bread = np.asarray(np.linalg.inv(x.T @ inner @ x), np.float64)
    return inner, inner - inner @ x @ bread @ x.T @ inner, bread


def _equations(weight: Array, p_matrix: Array, matrices: Array, y: Array) -> tuple[Array, Array]:
    """(F, q) of the module's text."""
    turned = weight @ matrices  # (k, n, n)
    pulled = p_matrix @ y
    return np.einsum("aij,bji->ab", turned, turned) / 2, np.einsum("i,kij,j->k", pulled, matrices, pulled) / 2

"""A recipe corrected for one board by the few readings of its pilot strip.

The strip is one place of the board, the joints stand at others; a place's own part of what was read does not carry over.
Parts are normal: B between boards, p between places of one board, m one reading.

Slit. w: the recipe's waist for the strip's travel and grain, s its sd. This board's slits are wider by one common shift
delta ~ N(0, B^2), B^2 = max(s^2 - p^2, (0.05 w)^2): a recipe that claims less did not count how boards differ. A stack of
n tongues at pitch q reads y = n (q - w - delta - place) + e, a single tongue likewise with n = 1, so each reading tells
d = q - w - y/n with sd m/n:

    1/v = 1/B^2 + 1/(p^2 + 1/sum (n/m)^2)        delta^ = mean(d), weighted by (n/m)^2, times 1 - v/B^2

Every width of every through setting moves by delta^; what is left of a width's own variance is
sd'^2 = max(sd^2 - s^2, 0) + v + p^2.

Ramp. Depths are f times the recipe's, ln f ~ N(0, 0.10^2). A reading z against the expected Z tells ln(z/Z) with sd 0.03;
B = 0.10 and p = 0.05 of a depth:

    1/u = 1/0.10^2 + 1/(0.05^2 + 0.03^2/n)        ln f^ = mean ln(z/Z) times 1 - u/0.10^2

Depths become f^ times as deep at the same powers, so the range of powers that was burnt stays what it was. Of a depth's
relative variance the shares of board and place make way for what is now known: rho'^2 = max(rho^2 - 0.10^2 - 0.05^2, 0)
+ u + 0.05^2.

Sizes: HANDBOOK section H(4): boards 10 %, places 3-8 %, readings 2-5 % of a depth (density from the Wood Handbook, from
memory; the rest project priors, no published source). A width changes at most half as much as its need of energy, as
K = w sqrt(2 ln(F0/Fth)) with F0 past e Fth, section H(2): 5 % and 2.5 %.

Where a shallower ramp no longer reaches through the board, up to two layers are added, never power: j layers instead of n
go f^ D (j/n)^0.8 deep (process/ramp_lines.py), with another 0.04 of relative spread for it (common practice, no source).
The power that just went through is known by its step only: while it still comes within 3 % of the board's thickness it
stays the power of the deepest line, whose foot is hidden in the joint.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from kerfwright.calibrate.evidence import Datum, evidence_from
from kerfwright.calibrate.hierarchy import BETWEEN_BOARDS_FRAC
from kerfwright.calibrate.lesson import PLACE_FRAC
from kerfwright.calibrate.remaining import MOST_EXTRA_LAYERS
from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Finding, warning
from kerfwright.coupons.observable import Quantity
from kerfwright.coupons.readings import Reading
from kerfwright.coupons.record import CouponRecord
from kerfwright.process.ramp_lines import DEEPEST_FRAC, grown_share
from kerfwright.process.recipe import KerfProfile, RampSettings, Recipe, ThroughCut

DEPTH_READING_LN_SD = 0.03
WIDTH_SHARE = 0.5  # of what density does to a depth, at most done to a width: see the module's text
MORE_LAYERS_LN_SD = 0.04
NEARLY_FRAC = 0.97  # of the thickness: as near as a reading that counts as through
MOST_LN = math.log(2.0)  # a depth more than twice or less than half of what is expected is a fault, not a board
ODD_SDS = 4.0
THROUGH_ROOM_MM = 0.05
N_DIGITS = 6  # of a millimetre: what a recipe file keeps
RETUNED_BY = "; retuned by "
SETTINGS = ("power_frac", "speed_mm_s", "passes", "focus_mm", "focus_step_mm")


@dataclass(frozen=True, eq=False)
class Retuned:
    """recipe: this board's own. slit_mm: how much wider its slits are; depth_ratio: how much deeper; None where nothing was read."""

    recipe: Recipe
    slit_mm: Estimate | None
    depth_ratio: Estimate | None
    n_more_layers: int
    n_readings: int
    findings: tuple[Finding, ...]

    def said(self) -> str:
        """``"slit 0.012 mm wider than the recipe, ramp depths -6 %"``."""
        told: list[str] = []
        if self.slit_mm is not None:
            way = "wider" if self.slit_mm.value >= 0 else "narrower"
            told.append(f"slit {abs(self.slit_mm.value):.3f} mm {way} than the recipe")
        if self.depth_ratio is not None:
            told.append(f"ramp depths {100 * (self.depth_ratio.value - 1):+.0f} %")
        if self.n_more_layers:
            told.append(f"{self.n_more_layers} more layer{'s' if self.n_more_layers > 1 else ''}")
        return ", ".join(told)


def retuned(recipe: Recipe, record: CouponRecord, readings: Sequence[Reading], where: str) -> Retuned:
    """The recipe for the board of one pilot strip. Raises InputError when a reading cannot be of this strip."""
    data = evidence_from([(record, readings)]).data
    widths = [datum for datum in data if datum.observable.quantity in (Quantity.STACK_WIDTH, Quantity.TONGUE_WIDTH)]
    depths = [datum for datum in data if datum.observable.quantity is Quantity.DEPTH]
    changes: dict[str, object] = {}
    findings: list[Finding] = []
    slit = ratio = None
    n_more = 0
    if widths:
        prior = _waist_mm(recipe, widths[0], where)
        slit = slit_shift_mm(prior, widths, where)
        findings += _odd_widths(prior, slit, widths, where)
        changes["through"] = tuple(_wider(cut, prior, slit) for cut in recipe.through)
    if depths and recipe.ramp is not None:
        findings += _gone_through(depths, record.thickness_mm, where)
        ratio = depth_ratio([_depth_ratio(datum, where) for datum in depths], record.id)
        n_more = _more_layers(recipe.ramp, ratio, record.thickness_mm)
        changes["ramp"] = _deeper(recipe.ramp, ratio, n_more, record.thickness_mm)
    if not changes:
        return Retuned(recipe, None, None, 0, 0, ())
    changes["made_from"] = f"{recipe.made_from}{RETUNED_BY}{record.id}"
    n_readings = len(widths) + (len(depths) if ratio else 0)
    return Retuned(recipe.model_copy(update=changes), slit, ratio, n_more, n_readings, tuple(findings))


def slit_shift_mm(waist_mm: Estimate, widths: Sequence[Datum], where: str) -> Estimate:
    """How much wider this board's slits are than ``waist_mm``, from stacks and tongues of one place; sd: of the board's mean."""
    told = [_kerf_mm(datum) for datum in widths]
    for datum, (kerf_mm, _) in zip(widths, told, strict=True):
        if kerf_mm <= 0:
            raise InputError(
                f"{datum.observable.id} = {datum.number:g} mm leaves no slit between the tongues",
                accepted="tongues narrower than their pitch",
                remedy="Measure again with all char brushed off",
                where=where,
            )
    weights = np.array([sd_mm**-2 for _, sd_mm in told])
    wider_mm = np.array([kerf_mm for kerf_mm, _ in told]) - waist_mm.value
    place_mm = _place_mm(waist_mm)
    boards_mm2 = max(waist_mm.sd**2 - place_mm**2, (WIDTH_SHARE * BETWEEN_BOARDS_FRAC * waist_mm.value) ** 2)
    read_mm, variance = _weighed(float(weights @ wider_mm / weights.sum()), boards_mm2, place_mm**2 + 1 / float(weights.sum()))
    return Estimate(read_mm, math.sqrt(variance), len(told), widths[0].record.id)


def depth_ratio(read_ratio: Sequence[float], source: str, boards_ln_sd: float = BETWEEN_BOARDS_FRAC) -> Estimate:
    """This board's depths over the recipe's, from readings of one place over what was expected there; sd: of the board's mean.

    boards_ln_sd: how far the board may be from the recipe before anything is read.
    """
    mean = math.fsum(math.log(each) for each in read_ratio) / len(read_ratio)
    ln_ratio, variance = _weighed(mean, boards_ln_sd**2, PLACE_FRAC**2 + DEPTH_READING_LN_SD**2 / len(read_ratio))
    return Estimate(math.exp(ln_ratio), math.exp(ln_ratio) * math.sqrt(variance), len(read_ratio), source)


def boards_ln_sd(recipe: Recipe) -> float:
    """How far a board's depths may be from this recipe's: as boards differ, less once a pilot strip of this board was read."""
    if recipe.ramp is None or RETUNED_BY not in recipe.made_from:
        return BETWEEN_BOARDS_FRAC
    depths = [depth for _, depth in recipe.ramp.depth]
    known = min((depth.sd / depth.value) ** 2 for depth in depths) - PLACE_FRAC**2
    return min(math.sqrt(max(known, 0.0)), BETWEEN_BOARDS_FRAC)


def _weighed(mean: float, boards_variance: float, read_variance: float) -> tuple[float, float]:
    """(what is believed, its variance) of a board's departure, from a mean that was read."""
    variance = 1 / (1 / boards_variance + 1 / read_variance)
    return mean * variance / read_variance, variance


def _place_mm(waist_mm: Estimate) -> float:
    """How slits of one board differ from place to place."""
    return WIDTH_SHARE * PLACE_FRAC * waist_mm.value


def checked_ratio(read_mm: float, expected_mm: float, name: str, where: str) -> float:
    """A depth over what was expected. Raises InputError for one that no board gives."""
    if not read_mm > 0 or abs(math.log(read_mm / expected_mm)) > MOST_LN:
        raise InputError(
            f"{name} = {read_mm:g} mm is not possible where about {expected_mm:.2f} mm is expected",
            accepted=f"{expected_mm / 2:.2f} to {2 * expected_mm:.2f} mm",
            remedy="Measure again; if it is so, look at focus, lens and power, and burn the ramp staircase again",
            where=where,
        )
    return read_mm / expected_mm


def retuned_tables(tables: Mapping[str, object], own: Retuned) -> dict[str, object]:
    """A recipe's own tables with the numbers that retuning changed, so that they read back as the retuned recipe."""
    recipe, ramp = own.recipe, own.recipe.ramp
    changed = dict(tables) | {"made_from": recipe.made_from}
    if own.slit_mm is not None:
        changed["through"] = [_through(_table(each), cut) for each, cut in zip(_list(tables["through"]), recipe.through, strict=True)]
    if own.depth_ratio is not None and ramp is not None:
        written = _table(tables["ramp"])
        depth = [[_list(each)[0], _text(mine)] for each, (_, mine) in zip(_list(written["depth"]), ramp.depth, strict=True)]
        reach = {} if ramp.through_thickness_mm is None else {"through_thickness": f"{ramp.through_thickness_mm:.{N_DIGITS}f} mm"}
        changed["ramp"] = written | {"depth": depth, "layers": ramp.layers} | reach
    return changed


def _through(tables: dict[str, object], cut: ThroughCut) -> dict[str, object]:
    kerf = [
        _table(each) | {"top": _text(profile.top_mm), "waist": _text(profile.waist_mm), "bottom": _text(profile.bottom_mm)}
        for each, profile in zip(_list(tables["kerf"]), cut.kerf, strict=True)
    ]
    return tables | {"kerf": kerf}


def _kerf_mm(datum: Datum) -> tuple[float, float]:
    """(kerf, its sd) that a stack or a tongue tells."""
    n = datum.setting("n_tongues") if datum.observable.quantity is Quantity.STACK_WIDTH else 1.0
    return datum.setting("pitch_mm") - datum.number / n, datum.instrument_sd_mm / n


def _waist_mm(recipe: Recipe, datum: Datum, where: str) -> Estimate:
    """The recipe's waist for the strip's own settings, travel and grain."""
    settings = [datum.setting(key) for key in SETTINGS]
    for cut in recipe.through:
        if np.allclose([float(getattr(cut, key)) for key in SETTINGS], settings, atol=1e-6):
            travel_deg = 0.0 if datum.word("travel") == "x" else 90.0
            return cut.profile(travel_deg, 0.0).waist_mm
    raise InputError(
        f'the pilot strip was burnt with settings that recipe "{recipe.name}" does not hold',
        accepted="an unchanged job folder",
        where=where,
    )


def _odd_widths(waist_mm: Estimate, slit_mm: Estimate, widths: Sequence[Datum], where: str) -> list[Finding]:
    found: list[Finding] = []
    for datum in widths:
        kerf_mm, sd_mm = _kerf_mm(datum)
        if abs(kerf_mm - waist_mm.value - slit_mm.value) > ODD_SDS * math.hypot(sd_mm, waist_mm.sd):
            found.append(
                warning(
                    "odd-reading",
                    f"{datum.observable.id} tells of a slit of {kerf_mm:.3f} mm where the recipe has {waist_mm.value:.3f} "
                    f"± {waist_mm.sd:.3f} mm: measure again; if it is so, burn the kerf comb again",
                    where,
                )
            )
    return found


def _gone_through(depths: Sequence[Datum], thickness_mm: float, where: str) -> list[Finding]:
    """A field without a floor tells only that it is at least so deep."""
    return [
        warning(
            "gone-through",
            f"{datum.observable.id} went through where {datum.setting('expected_mm'):.2f} mm was expected, so this board digs at least as "
            "much deeper as is reckoned with; look at focus and power before its ramps are burnt",
            where,
        )
        for datum in depths
        if datum.number >= thickness_mm - THROUGH_ROOM_MM
    ]


def _depth_ratio(datum: Datum, where: str) -> float:
    return checked_ratio(datum.number, datum.setting("expected_mm"), datum.observable.id, where)


def _wider(cut: ThroughCut, waist_mm: Estimate, slit_mm: Estimate) -> ThroughCut:
    """The cut on this board. waist_mm: the width that was read, as the recipe has it."""

    def moved(each: Estimate) -> Estimate:
        own_mm2 = max(each.sd**2 - waist_mm.sd**2, 0.0)
        sd_mm = math.sqrt(own_mm2 + slit_mm.sd**2 + _place_mm(waist_mm) ** 2)
        return Estimate(round(each.value + slit_mm.value, N_DIGITS), round(sd_mm, N_DIGITS), each.n + slit_mm.n, _sources(each, slit_mm))

    def wider(profile: KerfProfile) -> KerfProfile:
        return profile.model_copy(update={name: moved(getattr(profile, name)) for name in ("top_mm", "waist_mm", "bottom_mm")})

    return cut.model_copy(update={"kerf": tuple(wider(profile) for profile in cut.kerf)})


def _more_layers(ramp: RampSettings, ratio: Estimate, thickness_mm: float) -> int:
    """Layers to add so that the deepest line still goes through, as far as a few layers can do it."""
    reach_mm = (NEARLY_FRAC if ramp.through_power_frac is not None else DEEPEST_FRAC) * thickness_mm
    n_more = 0
    while n_more < MOST_EXTRA_LAYERS and ratio.value * ramp.deepest_mm * grown_share(ramp.layers + n_more, ramp.layers) < reach_mm:
        n_more += 1
    return n_more


def _deeper(ramp: RampSettings, ratio: Estimate, n_more: int, thickness_mm: float) -> RampSettings:
    known_ln_sd = math.hypot(ratio.sd / ratio.value, PLACE_FRAC, MORE_LAYERS_LN_SD if n_more else 0.0)
    factor = ratio.value * grown_share(ramp.layers + n_more, ramp.layers)

    def moved(each: Estimate) -> Estimate:
        own_ln_sd = math.sqrt(max((each.sd / each.value) ** 2 - BETWEEN_BOARDS_FRAC**2 - PLACE_FRAC**2, 0.0))
        sd_mm = factor * each.value * math.hypot(own_ln_sd, known_ln_sd)
        return Estimate(round(factor * each.value, N_DIGITS), round(sd_mm, N_DIGITS), each.n + ratio.n, _sources(each, ratio))

    changes: dict[str, object] = {"depth": tuple((power, moved(depth)) for power, depth in ramp.depth), "layers": ramp.layers + n_more}
    if ramp.through_thickness_mm is not None:
        reach_mm = factor * ramp.through_thickness_mm
        nearly = reach_mm >= NEARLY_FRAC * thickness_mm
        changes["through_thickness_mm"] = round(max(reach_mm, thickness_mm) if nearly else reach_mm, N_DIGITS)
    return ramp.model_copy(update=changes)


def _sources(each: Estimate, more: Estimate) -> str:
    return "; ".join(source for source in (each.source, f"this board's pilot strip {more.source}") if source)


def _text(each: Estimate) -> str:
    return f"{each.value:.{N_DIGITS}f} ± {each.sd:.{N_DIGITS}f} mm"


def _list(value: object) -> list[object]:
    assert isinstance(value, (list, tuple))
    return list(value)  # pyright: ignore[reportUnknownArgumentType, reportUnknownVariableType]


def _table(value: object) -> dict[str, object]:
    assert isinstance(value, Mapping)
    return dict(value)  # pyright: ignore[reportUnknownArgumentType, reportUnknownVariableType]

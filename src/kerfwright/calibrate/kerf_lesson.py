"""The slit's widths at entry, waist and exit, for each travel and grain, at settings that production can use again."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from kerfwright.calibrate.evidence import Datum, Evidence, burnt_alike
from kerfwright.calibrate.hierarchy import boards_apart
from kerfwright.calibrate.lesson import Lesson, Plot, pooled
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Finding, note, warning
from kerfwright.coupons.observable import Quantity
from kerfwright.process.recipe import KerfProfile, ThroughCut

THICKNESS_ROOM_MM = 0.15  # a recipe serves boards this much thinner than the coupon's, and tilted or thicker by as much again
TILT_ROOM_FRAC = 0.035  # a cut at 1:4 is 3 % longer than the board is thick
SETTINGS = ("power_frac", "speed_mm_s", "passes", "focus_mm", "focus_step_mm")


@dataclass(frozen=True, eq=False)
class KerfLearned:
    """cuts: one ThroughCut for each set of settings that was burnt."""

    lesson: Lesson
    cuts: tuple[ThroughCut, ...]


@dataclass(frozen=True, eq=False)
class _Width:
    value: float
    sd: float
    where: str  # "top", "waist" or "bottom"


def learn_kerf(evidence: Evidence, scale_frac: dict[str, float], board: str) -> KerfLearned | None:
    """From slots, tongues and stacks; None without readings. scale_frac: how much too far the bed's x and y move, by axis.

    A board that was read speaks for itself, width by width (a pilot strip reads only the waist of one travel); what was
    not read on it is the mean of the boards, with their spread.
    """
    data = [*evidence.of(Quantity.SLOT_WIDTH), *evidence.of(Quantity.TONGUE_WIDTH), *evidence.of(Quantity.STACK_WIDTH)]
    if not data:
        return None
    cuts: list[ThroughCut] = []
    estimates: dict[str, Estimate] = {}
    said: list[str] = []
    findings: list[Finding] = []
    plots: list[Plot] = []
    for settings, mine in burnt_alike(data, SETTINGS).items():
        profiles = _profiles(mine, scale_frac, board, findings)
        if not profiles:
            continue
        cuts.append(_cut(settings, mine, profiles))
        for profile in profiles:
            name = f"{profile.travel} {profile.grain}"
            estimates |= {
                f"{name} {where} f{settings[3]:g}": each
                for where, each in (("top", profile.top_mm), ("waist", profile.waist_mm), ("bottom", profile.bottom_mm))
            }
            said.append(
                f"travel {profile.travel}, {profile.grain} the grain, focus {settings[3]:.2f} mm: entry {_told(profile.top_mm)}, "
                f"waist {_told(profile.waist_mm)}, exit {_told(profile.bottom_mm)}"
            )
            plots.append(_plot(profile, mine[0].record.thickness_mm, settings[3]))
    if not cuts:
        return None
    return KerfLearned(Lesson("kerf", len(data), estimates, tuple(said), tuple(findings), tuple(plots)), tuple(cuts))


def _profiles(data: list[Datum], scale_frac: dict[str, float], board: str, findings: list[Finding]) -> list[KerfProfile]:
    found: list[KerfProfile] = []
    for travel, grain in sorted({(datum.word("travel"), datum.word("grain")) for datum in data}):
        mine = [datum for datum in data if (datum.word("travel"), datum.word("grain")) == (travel, grain)]
        widths = [_width(datum, scale_frac) for datum in mine]
        by_place: dict[str, Estimate] = {}
        for where in ("top", "waist", "bottom"):
            here = [(width, datum) for width, datum in zip(widths, mine, strict=True) if width.where == where]
            if not here:
                continue
            here = [each for each in here if each[1].record.board == board] or here
            by_place[where], spoilt = _pooled(here, board, findings)
            for i in spoilt:
                odd = here[i][1].observable.id
                findings.append(
                    warning(
                        "outlier", f"the reading {odd} ({here[i][0].value:.3f} mm of kerf) does not go with the others; it was set aside"
                    )
                )
        profile = _profile(travel, grain, by_place, findings)
        if profile is not None:
            found.append(profile)
    return found


def _pooled(here: list[tuple[_Width, Datum]], board: str, findings: list[Finding]) -> tuple[Estimate, list[int]]:
    """(width at one more place of this board, positions set aside)."""
    values, sds = (np.array([getattr(width, name) for width, _ in here], dtype=np.float64) for name in ("value", "sd"))
    boards = [datum.record.board for _, datum in here]
    source = ", ".join(dict.fromkeys(datum.record.id for _, datum in here))
    if set(boards) == {board}:
        estimate, _, spoilt = pooled(values, sds, source)
        return estimate, spoilt
    apart = boards_apart(values, boards, in_logs=False)
    findings += [finding for finding in apart.findings if finding not in findings]
    estimate, _, spoilt = pooled(values - np.array([apart.away_y[each] for each in boards]), sds, source)
    return replace(estimate, sd=math.hypot(estimate.sd, apart.new_sd)), spoilt


def _width(datum: Datum, scale_frac: dict[str, float]) -> _Width:
    """Kerf width that one reading tells of: slots directly, tongues as pitch less wood, stacks shared over their tongues."""
    quantity = datum.observable.quantity
    if quantity is Quantity.SLOT_WIDTH:
        return _Width(datum.number, datum.instrument_sd_mm, "top" if datum.observable.face == "show" else "bottom")
    across = "y" if datum.word("travel") == "x" else "x"
    pitch_mm = datum.setting("pitch_mm") * (1 + scale_frac.get(across, 0.0))
    n_tongues = datum.setting("n_tongues") if quantity is Quantity.STACK_WIDTH else 1.0
    return _Width(pitch_mm - datum.number / n_tongues, datum.instrument_sd_mm / n_tongues, "waist")


def _profile(travel: str, grain: str, by_place: dict[str, Estimate], findings: list[Finding]) -> KerfProfile | None:
    where = f"travel {travel}, {grain} the grain"
    if "waist" not in by_place:
        if len(by_place) < 2:
            return None
        findings.append(note("no-waist", f"{where}: no tongue was measured; the waist is taken as the narrower face"))
        by_place["waist"] = min(by_place.values(), key=lambda each: each.value)
    waist = by_place["waist"]
    if waist.value <= 0:
        findings.append(warning("no-kerf", f"{where}: the tongues are wider than their pitch; check the readings and the machine's scale"))
        return None
    ends: dict[str, Estimate] = {}
    for end in ("top", "bottom"):
        other = by_place.get("bottom" if end == "top" else "top")
        given = by_place.get(end)
        if given is None:
            findings.append(note("no-face", f"{where}: the {end} was not measured; the other face's width is taken, half as sure"))
            given = Estimate(other.value, 2 * other.sd, 0, other.source) if other else Estimate(waist.value, 0.03, 0, waist.source)
        ends[end] = given if given.value >= waist.value else Estimate(waist.value, math.hypot(given.sd, waist.sd), given.n, given.source)
    return KerfProfile.model_validate(
        {
            "travel": travel,
            "grain": grain,
            "top": ends["top"],
            "waist": waist,
            "bottom": ends["bottom"],
            "waist_at": f"{100 * _waist_at(ends['top'].value, waist.value, ends['bottom'].value):.2f} %",
        }
    )


def _waist_at(top_mm: float, waist_mm: float, bottom_mm: float) -> float:
    """Depth of the waist as a share, for a slit that opens equally fast both ways: K^2 = Kw^2 + (slope (z - zw))^2."""
    above, below = (math.sqrt(max(end**2 - waist_mm**2, 0.0)) for end in (top_mm, bottom_mm))
    return min(max(above / (above + below), 0.1), 0.9) if above + below > 1e-9 else 0.5


def _cut(settings: tuple[float, ...], data: list[Datum], profiles: list[KerfProfile]) -> ThroughCut:
    power, speed, passes, focus, step = settings
    thickness = [datum.record.thickness_mm for datum in data]
    low, high = min(thickness) - THICKNESS_ROOM_MM, max(thickness) * (1 + TILT_ROOM_FRAC) + THICKNESS_ROOM_MM
    return ThroughCut.model_validate(
        {
            "thickness": (f"{low:.3f} mm", f"{high:.3f} mm"),
            "power": f"{100 * power:.4f} %",
            "speed": f"{speed:.5f} mm/s",
            "passes": int(passes),
            "focus": f"{focus:.4f} mm",
            "focus_step": f"{step:.4f} mm",
            "kerf": tuple(profiles),
        }
    )


def _told(each: Estimate) -> str:
    return f"{each.value:.3f} ± {each.sd:.3f} mm"


def _plot(profile: KerfProfile, thickness_mm: float, focus_mm: float) -> Plot:
    depth = np.linspace(0, 1, 41)
    width = np.array([profile.width_mm(float(d)) for d in depth])
    sd = np.interp(depth, [0, profile.waist_at_frac, 1], [profile.top_mm.sd, profile.waist_mm.sd, profile.bottom_mm.sd])
    points = np.array(
        [
            [0.0, profile.top_mm.value],
            [profile.waist_at_frac * thickness_mm, profile.waist_mm.value],
            [thickness_mm, profile.bottom_mm.value],
        ]
    )
    curve = np.stack([depth * thickness_mm, width, width - 1.96 * sd, width + 1.96 * sd], axis=1)
    return Plot(
        f"The slit, travel {profile.travel}, {profile.grain} the grain, focus {focus_mm:.2f} mm",
        "depth below the entry face, mm",
        "width, mm",
        points,
        curve,
    )

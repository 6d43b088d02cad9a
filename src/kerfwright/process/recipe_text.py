"""A recipe as the TOML file a person can read, change and share; reading it back gives the same recipe."""

from __future__ import annotations

import json

from kerfwright.core.estimate import Estimate
from kerfwright.process.recipe import KerfProfile, RampSettings, Recipe, ThroughCut


def recipe_text(recipe: Recipe, comments: tuple[str, ...] = ()) -> str:
    """TOML text of a recipe, with comment lines on top."""
    lines = [f"# {comment}" for comment in comments]
    lines += [
        'schema = "kerfwright-recipe-1"',
        f"name = {_text(recipe.name)}",
        f"machine = {_text(recipe.machine)}",
        f"species = {_text(recipe.species)}",
        f"made_from = {_text(recipe.made_from)}",
        *([f"flank_shift = {_plain(recipe.flank_shift_mm)}"] if recipe.flank_shift_mm else []),
    ]
    for cut in recipe.through:
        lines += _through(cut)
    if recipe.ramp is not None:
        lines += _ramp(recipe.ramp)
    lines += ["", "[engrave]", f"power = {_percent(recipe.engrave.power_frac)}", f"speed = {_plain(recipe.engrave.speed_mm_s, 'mm/s')}"]
    return "\n".join(lines) + "\n"


def _through(cut: ThroughCut) -> list[str]:
    lines = [
        "",
        "[[through]]",
        f"thickness = [{_plain(cut.thickness_mm[0])}, {_plain(cut.thickness_mm[1])}]",
        f"power = {_percent(cut.power_frac)}",
        f"speed = {_plain(cut.speed_mm_s, 'mm/s')}",
        f"passes = {cut.passes}",
        f"focus = {_plain(cut.focus_mm)}",
        f"focus_step = {_plain(cut.focus_step_mm)}",
        f"focus_window = {_plain(cut.focus_window_mm)}",
        f"heat = {_text(cut.heat)}",
    ]
    for profile in cut.kerf:
        lines += _kerf(profile)
    return lines


def _kerf(profile: KerfProfile) -> list[str]:
    return [
        "",
        "[[through.kerf]]",
        f'travel = "{profile.travel}"',
        f'grain = "{profile.grain}"',
        f"top = {_estimate(profile.top_mm)}",
        f"waist = {_estimate(profile.waist_mm)}",
        f"waist_at = {_percent(profile.waist_at_frac)}",
        f"bottom = {_estimate(profile.bottom_mm)}",
    ]


def _ramp(ramp: RampSettings) -> list[str]:
    lines = [
        "",
        "[ramp]",
        f"speed = {_plain(ramp.speed_mm_s, 'mm/s')}",
        f"spacing = {_plain(ramp.spacing_mm)}",
        f"layers = {ramp.layers}",
        f"focus = {_plain(ramp.focus_mm)}",
        f"focus_step = {_plain(ramp.focus_step_mm)}",
        "depth = [                       # power, depth after all layers",
        *(f"  [{_percent(power)}, {_estimate(depth)}]," for power, depth in ramp.depth),
        "]",
    ]
    if ramp.through_power_frac is not None and ramp.through_thickness_mm is not None:
        lines += [f"through_power = {_percent(ramp.through_power_frac)}", f"through_thickness = {_plain(ramp.through_thickness_mm)}"]
    lean = ramp.wall_lean_frac
    return [
        *lines,
        f"wall_shift = {_estimate(ramp.wall_shift_mm)}",
        f'wall_lean = "{_number(100 * lean.value)} ± {_number(100 * lean.sd)} %"',
    ]


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _number(value: float) -> str:
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _plain(value: float, unit: str = "mm") -> str:
    return f'"{_number(value)} {unit}"'


def _percent(share: float) -> str:
    return f'"{_number(100 * share)} %"'


def _estimate(each: Estimate) -> str:
    return f'"{_number(each.value)} ± {_number(each.sd)} mm"'

"""Units stand in names: a float, an Estimate or an array of floats that a reader meets says what it is measured in.

Judged: fields of public classes, parameters of public functions and methods, and public functions that give one float back.
A name passes when it ends in a unit, or when its last word is on the short list of words that carry no unit.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache

from structure.source_tree import Module, modules

UNIT = re.compile(
    r"(?:^|_)(?:mm|mm2|mm3|um|px|s|mm_s|mm_s2|mm2_s|w|w_mk|deg|rad|frac|percent|j_mm|j_mm2|j_mm3|j_mm3k|j_kgk|c|kg_m3"
    r"|gpa|mpa|kn|kg|g|m2|pt|db|n)$"
)

# Words that carry no unit. Add one only when the number is a bare ratio or when its unit is its owner's (an Estimate's
# value has the unit of the field that holds it).
NO_UNIT = {
    "value", "sd", "estimate",  # the owner's unit
    "factor", "fraction", "share", "shares", "matrix", "ratio", "density",  # bare numbers
    "direction", "directions", "vectors", "normals", "along", "to", "beam",  # directions: along_a, x_to
    "x", "y", "at",  # abscissa and ordinate of a general curve
    "colour", "colours", "weights", "plane",  # shares of red, green and blue; shares of a whole; coefficients
    "low", "high", "values", "typical", "response", "predict",  # the unit of their own observable or parameter
    "odds", "together",  # odds that ... goes together
    "tick", "ticks", "dash",  # counted on a scale; in line widths
    "hour", "price", "cost", "amount", "consumables", "hardware",  # money, in the currency of its account
    "warmth", "excess",  # 1 is what one stroke leaves in a band 1 mm wide; energy over what goes through
}
# Names whose unit is said elsewhere, reviewed one by one: "module:Class.field", "module:function(parameter)" or "module:function".
REVIEWED = {
    "kerfwright.process.verdict:HeatVerdict.spread_order",  # a share
    "kerfwright.process.verdict:RecessVerdict.breaks_through",  # odds
    "kerfwright.process.verdict:RecessVerdict.goes_in",
    "kerfwright.process.verdict:RecessVerdict.too_shallow",
    "kerfwright.process.recipe:RampSettings.depth",  # as a person writes it: pairs of power and depth, each with its unit
    "kerfwright.plan.cradle:slope_of",  # a tangent
    "kerfwright.plan.layout.solver:Effort.work",  # the solver's own unit
    "kerfwright.export.drawing:outline(points)",  # whatever unit the page is drawn in
    # cosines, exponents, unit directions; a response carries the unit of its cause
    "kerfwright.simulate.law:BurnLaw.gamma",
    "kerfwright.simulate.law:BurnLaw.density_power",
    "kerfwright.simulate.light:Ends.gs",
    "kerfwright.simulate.section:Sights.gy",
    "kerfwright.simulate.section:Sights.gs",
    "kerfwright.simulate.section:PartLines.outward",
    "kerfwright.simulate.response:WallResponse.per_unit",
    "kerfwright.simulate.slopes:DoseSlopes.by_cause",
    "kerfwright.simulate.slopes:DoseSlopes.shape",
    "kerfwright.simulate.slopes:DoseSlopes.need_by_cause",
    # ln of light, and what changes it
    "kerfwright.simulate.opening:Lit.slit_per_ln",
    "kerfwright.simulate.opening:Lit.field_per_ln",
    "kerfwright.simulate.opening:Lit.per_unit",
    "kerfwright.simulate.opening:Lit.of_names(told)",
    "kerfwright.simulate.opening:Opening.margin",
    "kerfwright.simulate.opening:Opening.rises",
    "kerfwright.simulate.bend:Bend.need_ln",
    "kerfwright.simulate.bend:Bend.moved(need_ln)",
    # fitting the burn law: numbers on their fit scales, ln, tables of 0 and 1; an answer has the unit of its fact
    "kerfwright.simulate.known:Belief.middle",
    "kerfwright.simulate.known:Belief.spread",
    "kerfwright.simulate.known:to_fit",
    "kerfwright.simulate.known:LawKnown.covariance",
    "kerfwright.simulate.known:LawKnown.drawn",
    "kerfwright.simulate.known:LawKnown.per_fit",
    "kerfwright.simulate.hollow:Hollow.per_unit_side",
    "kerfwright.simulate.hollow:Hollow.per_unit_floor_ln",
    "kerfwright.simulate.left_out:Fitted.off",  # of a width or a depth, mm or a share
    "kerfwright.simulate.left_out:Fitted.told",
    "kerfwright.simulate.left_out:Fitted.slopes",
    "kerfwright.simulate.left_out:Fitted.covariance",
    "kerfwright.simulate.left_out:form_error(prior)",
    "kerfwright.simulate.left_out:form_error(worth)",
    "kerfwright.simulate.left_out:form_error",
    "kerfwright.calibrate.char_lesson:CharLearned.highest_ln",
    "kerfwright.calibrate.char_lesson:CharLearned.word(ln_energy)",
    "kerfwright.calibrate.char_lesson:learn_char(kappa)",
    "kerfwright.app.watched:Watched.needed_ln",
    "kerfwright.simulate.predict:Trial.board_ln",
    "kerfwright.simulate.predict:Rows.lit",
    "kerfwright.simulate.predict:Rows.first",
    "kerfwright.simulate.seeing:Seeing.slopes(answers)",
    "kerfwright.simulate.seeing:Seeing.sd(form)",
    "kerfwright.simulate.seeing:Seeing.sd(expected)",
    "kerfwright.simulate.seeing:Seeing.off(answers)",
    "kerfwright.simulate.seeing:Seeing.residuals(answers)",
    "kerfwright.simulate.seeing:Seeing.pulls(answers)",
    "kerfwright.simulate.seeing:Seeing.information(answers)",
    # lessons: plots carry their units in the axis names, estimates in their keys; ln and kappa have none
    "kerfwright.calibrate.evidence:Datum.number",
    "kerfwright.calibrate.evidence:Datum.setting",
    "kerfwright.calibrate.heat_lesson:learn_heat(kappa)",
    "kerfwright.calibrate.heat_lesson:HeatLearned.kappa",
    "kerfwright.calibrate.heat_lesson:HeatLearned.highest_ln",
    "kerfwright.calibrate.heat_lesson:HeatLearned.flame_ln",
    "kerfwright.calibrate.heat_lesson:HeatLearned.risk(ln_energy)",
    "kerfwright.calibrate.heat_lesson:HeatLearned.told_of(ln_energy)",
    "kerfwright.calibrate.lesson:Plot.points",
    "kerfwright.calibrate.lesson:Plot.curve",
    "kerfwright.calibrate.lesson:Plot.set_aside",
    "kerfwright.calibrate.lesson:Plot.mark",
    "kerfwright.calibrate.lesson:Lesson.estimates",
    "kerfwright.calibrate.lesson:pooled(sds)",
    "kerfwright.calibrate.through_lesson:ThroughLearned.needed_ln",
    "kerfwright.calibrate.through_lesson:ThroughLearned.kappa",
    "kerfwright.calibrate.through_lesson:ThroughLearned.burnt_ln",
    "kerfwright.calibrate.through_lesson:ThroughLearned.flame_ln",
    "kerfwright.calibrate.through_lesson:ThroughLearned.recommended_ln",
    "kerfwright.calibrate.through_lesson:ThroughLearned.below_flame(flame_ln)",
}
# What a number may look like in an annotation; aliases such as Length or Array are found by themselves.
NUMBER_NAMES = {"float", "Estimate"}


@cache
def number_aliases() -> frozenset[str]:
    """Names of module-level aliases that stand for a number or an array of numbers."""
    basic = frozenset(NUMBER_NAMES)
    found = set(basic)
    for module in modules().values():
        for node in module.tree.body:
            match node:
                case ast.Assign(targets=[ast.Name(id=name)], value=ast.Subscript() as meaning) if _measures(meaning, basic):
                    found.add(name)
                case _:
                    pass
    return frozenset(found)


def _measures(annotation: ast.expr | None, names: frozenset[str]) -> bool:
    """True when the annotation is, or holds, a number with a unit; a function that makes one does not count."""
    if annotation is None:
        return False
    if isinstance(annotation, ast.Subscript):
        head = ast.unparse(annotation.value).split(".")[-1]
        if head in ("Callable", "Iterator", "type"):
            return False
        if head == "NDArray":
            return "float" in ast.unparse(annotation.slice)
        if head == "Annotated" and isinstance(annotation.slice, ast.Tuple):
            return _measures(annotation.slice.elts[0], names)
        return _measures(annotation.slice, names)
    if isinstance(annotation, ast.BinOp):
        return _measures(annotation.left, names) or _measures(annotation.right, names)
    if isinstance(annotation, ast.Tuple):
        return any(_measures(each, names) for each in annotation.elts)
    if isinstance(annotation, ast.Name):
        return annotation.id in names
    return False


def has_unit(name: str) -> bool:
    """True for ``wall_mm``, ``n_passes``, ``x_to``, ``along_a``; False for ``width``."""
    words = name.split("_")
    indexed = words[:-1] if len(words) > 1 and words[-1] in ("a", "b", "0", "1") else words
    return bool(UNIT.search("_".join(indexed))) or indexed[-1] in NO_UNIT or words[0] == "n"


def _numbers(module: Module) -> Iterator[tuple[str, str]]:
    """(where, name) of every judged number of a module."""
    for node in module.tree.body:
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            for inner in node.body:
                if isinstance(inner, ast.AnnAssign) and isinstance(inner.target, ast.Name) and _is_number(inner.annotation):
                    yield f"{module.name}:{node.name}.{inner.target.id}", inner.target.id
                elif isinstance(inner, ast.FunctionDef):
                    yield from _of_function(inner, f"{module.name}:{node.name}.")
        elif isinstance(node, ast.FunctionDef):
            yield from _of_function(node, f"{module.name}:")


def _of_function(function: ast.FunctionDef, where: str) -> Iterator[tuple[str, str]]:
    if function.name.startswith("_"):
        return
    for each in (*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs):
        if _is_number(each.annotation):
            yield f"{where}{function.name}({each.arg})", each.arg
    if isinstance(function.returns, ast.Name) and function.returns.id == "float":
        yield f"{where}{function.name}", function.name


def _is_number(annotation: ast.expr | None) -> bool:
    return _measures(annotation, number_aliases())


def test_every_number_says_its_unit():
    judged = [entry for module in modules().values() for entry in _numbers(module)]
    assert len(judged) > 150
    silent = [where for where, name in judged if not has_unit(name) and where not in REVIEWED]
    assert not silent, "give these a unit at the end of the name: " + ", ".join(silent)


def test_the_reviewed_list_holds_nothing_stale():
    judged = {where: name for module in modules().values() for where, name in _numbers(module)}
    stale = [where for where in REVIEWED if where not in judged or has_unit(judged[where])]
    assert not stale, "take these off the reviewed list: " + ", ".join(stale)

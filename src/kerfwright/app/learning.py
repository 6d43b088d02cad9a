"""Verbs of learning: make a coupon, read its form, ask for the recipe, record what came out, look at the ledger."""

from __future__ import annotations

import itertools
import json
import math
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwright.core.codec import plain
from kerfwright.core.document import build, read_text, read_toml, tables_as
from kerfwright.core.errors import InputError
from kerfwright.core.finding import Finding, note
from kerfwright.machine.machine import Machine
from kerfwright.wood.board import Board
from kerfwright.wood.species import find_species

if TYPE_CHECKING:
    from kerfwright.calibrate.advise import Advised
    from kerfwright.calibrate.evidence import Evidence
    from kerfwright.calibrate.learn import Learned
    from kerfwright.calibrate.outcome_lesson import Outcome
    from kerfwright.coupons.readings import Reading
    from kerfwright.coupons.record import CouponRecord
    from kerfwright.notebook.fact import Fact, Kind
    from kerfwright.notebook.notebook import Notebook
    from kerfwright.process.job import Job
    from kerfwright.process.recipe import Recipe

SITE = "site.json"
MADE = "a folder made by kerfwright"
FORMS = ("readings.toml", "readings.csv")
DEFAULT_SLOPE, SQUARE = "1:8", "square"
_SPACE = uuid.UUID("7a1f4f0c-6c0e-4b5e-9a52-5a6b1f0e9d11")  # makes the id of a fact from its content: told twice, kept once


@dataclass(frozen=True, eq=False)
class CouponMade:
    """A coupon folder that was written."""

    folder: Path
    job: Job
    record: CouponRecord

    def summary(self) -> dict[str, Any]:
        """For people and scripts."""
        x0, y0, x1, y1 = self.record.used_mm
        return {
            "schema": "kerfwright-coupon-summary-1",
            "coupon": self.record.id,
            "folder": str(self.folder),
            "wood_mm": [x1 - x0, y1 - y0],
            "time_s": round(self.job.total_time_s, 1),
            "readings": len(self.record.observables),
            "findings": [plain(finding) for finding in self.job.findings],
        }


@dataclass(frozen=True, eq=False)
class Told:
    """What reading a form taught."""

    n_readings: int
    learned: Learned
    advised: Advised
    recipe: Recipe
    notes: tuple[Finding, ...] = ()

    def summary(self) -> dict[str, Any]:
        """For people and scripts."""
        return {
            "schema": "kerfwright-learned-1",
            "readings": self.n_readings,
            "machine": self.learned.machine.name,
            "board": self.learned.board.name,
            "lessons": [
                {
                    "topic": lesson.topic,
                    "readings": lesson.n_readings,
                    "said": list(lesson.said),
                    "estimates": {name: {"value": each.value, "sd": each.sd, "n": each.n} for name, each in lesson.estimates.items()},
                }
                for lesson in self.learned.lessons
            ],
            "findings": [plain(finding) for finding in self.findings],
            "advice": {
                "enough": self.advised.enough,
                "pilot": self.advised.pilot,
                "now_mm": self.advised.now_mm,
                "said": self.advised.said,
                "next": [plain(step) for step in self.advised.steps],
            },
            "recipe": {"name": self.recipe.name, "made_from": self.recipe.made_from},
        }

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Findings of all lessons, and ``notes``."""
        return (*self.learned.findings, *self.notes)


def coupon(
    kind: str,
    machine: Path,
    board: Path,
    recipe: Path | None = None,
    choices: Mapping[str, Any] | None = None,
    notebook: str | Path | None = None,
    out: Path | None = None,
) -> CouponMade:
    """Write the folder of one coupon for one offcut. Without a recipe it is burnt with what the notebook knows, or a first guess.

    choices: the coupon's options by name. out: default ``<kind> <board>`` beside the board's file; it must be new.
    """
    from kerfwright.calibrate.learn import recipe_of
    from kerfwright.coupons.coupon import Site, all_coupons
    from kerfwright.coupons.record import coupon_record
    from kerfwright.coupons.room import in_the_way
    from kerfwright.export.coupon_files import coupon_files
    from kerfwright.export.exporter import JobFile
    from kerfwright.export.folder import refuse_existing, write_folder
    from kerfwright.plan.coupon_plan import plan_coupon
    from kerfwright.plan.options import PlanOptions
    from kerfwright.process.recipe import Recipe

    kind = kind.replace("-", " ")  # as its folder is named
    if kind not in all_coupons():
        raise InputError(f'there is no coupon called "{kind}"', accepted=", ".join(all_coupons()))
    folder = out or board.with_name(f"{kind.replace(' ', '-')}-{board.stem}")
    refuse_existing(folder)
    tables = {"machine": read_toml(machine), "board": read_toml(board)}
    mine, offcut = _machine(tables["machine"], str(machine)), _board(tables["board"], str(board))
    with _opened(notebook) as book:
        known = build(read_toml(recipe), Recipe, str(recipe)) if recipe is not None else recipe_of(_learned(book, mine, offcut))
        read_already = {record.id: record for record, _ in coupons_read(book)}
    site = Site(offcut, mine, known)
    one = all_coupons()[kind]
    options = build(dict(choices or {}), one.options, f"{kind} coupon")
    design = one.lay_out(site, options)
    job = plan_coupon(design, site, PlanOptions())
    job = replace(job, findings=(*job.findings, *in_the_way(one, site, options, design.used_mm, read_already.values())))
    records = (coupon_record(design, site, round(job.total_time_s, 1), copy) for copy in itertools.count(1))
    record = next(each for each in records if each.id not in read_already)
    site_file = JobFile(SITE, json.dumps(tables, indent=1, ensure_ascii=False).encode(), "the machine and the board as they were written")
    write_folder([*coupon_files(job, record), site_file], folder)
    return CouponMade(folder, job, record)


def read(folder: Path, form: Path | None = None, notebook: str | Path | None = None, slope: str = DEFAULT_SLOPE) -> Told:
    """Read a filled-in form, keep its readings in the notebook and say what was learned and what to burn next.

    slope: of the joints to come, such as "1:6", or "square" for box joints; only the advice depends on it.
    """
    from kerfwright.coupons.readings import read_form, read_forms
    from kerfwright.coupons.record import read_record

    record = read_record(read_text(folder / "coupon.json", MADE), str(folder / "coupon.json"))
    tables = _site_tables(folder)
    readings = read_form(form, record) if form is not None else read_forms(folder, FORMS, record)
    if not readings:
        raise InputError("the form is empty", accepted="one reading or more", remedy=f"Fill in {FORMS[0]} or {FORMS[1]}", where=str(folder))
    return keep(record, {each.observable: each for each in readings}, tables, notebook, slope)


def keep(
    record: CouponRecord,
    readings: Mapping[str, Any],
    tables: Mapping[str, Any],
    notebook: str | Path | None = None,
    slope: str = DEFAULT_SLOPE,
) -> Told:
    """Keep checked readings (by observable id) and learn from all there is."""
    from kerfwright.calibrate.advise import advise
    from kerfwright.calibrate.learn import recipe_of

    slope_frac = _slope_frac(slope)
    machine, board = _machine(tables["machine"], SITE), _board(tables["board"], SITE)
    with _opened(notebook) as book:
        book.add(told_facts(book, record, list(readings.values()), tables))
        learned = _learned(book, machine, board)
    return Told(len(readings), learned, advise(learned, slope_frac), recipe_of(learned))


def told_facts(book: Notebook, record: CouponRecord, readings: Sequence[Reading], tables: Mapping[str, Any]) -> list[Fact]:
    """What one form tells: machine, board, coupon, readings. Told twice it is the same facts; told otherwise it corrects the earlier."""
    from kerfwright.coupons.record import record_json
    from kerfwright.notebook.fact import Kind

    machine, board = _machine(tables["machine"], SITE), _board(tables["board"], SITE)
    payload = json.dumps({"coupon": record.id, "readings": [plain(each) for each in readings]}, ensure_ascii=False, sort_keys=True)
    facts = [
        _fact(Kind.MACHINE, machine.name, "machine-1", json.dumps(tables["machine"], ensure_ascii=False, sort_keys=True)),
        _fact(Kind.BOARD, board.name, "board-1", json.dumps(tables["board"], ensure_ascii=False, sort_keys=True)),
        _fact(Kind.COUPON, record.id, "coupon-1", record_json(record)),
    ]
    earlier = book.facts(Kind.READING, record.id)
    if not any(fact.payload == payload for fact in earlier):
        facts.append(_fact(Kind.READING, record.id, "reading-1", payload, earlier[-1].id if earlier else None))
    return facts


def _slope_frac(slope: str) -> float | None:
    """None for square walls."""
    from kerfwright.core.units import parse_slope_frac

    return None if slope == SQUARE else parse_slope_frac(slope)


def recipe(
    machine: Path, board: Path, notebook: str | Path | None = None, out: Path | None = None, slope: str = DEFAULT_SLOPE
) -> Told:
    """What the notebook knows of a machine and a board's wood; written to ``out`` as a recipe file when given."""
    from kerfwright.calibrate.advise import advise
    from kerfwright.calibrate.learn import recipe_of
    from kerfwright.export.folder import write_new_file
    from kerfwright.process.recipe_text import recipe_text

    slope_frac = _slope_frac(slope)
    mine, wood = _machine(read_toml(machine), str(machine)), _board(read_toml(board), str(board))
    with _opened(notebook) as book:
        learned = _learned(book, mine, wood)
        notes = () if learned.lessons else _known_elsewhere(book)
    told = Told(len(learned.evidence.data), learned, advise(learned, slope_frac), recipe_of(learned), notes)
    if out is not None:
        comments = (
            f"For {mine.name} on {wood.species}, {wood.thickness_mm:.2f} mm",
            *(said for lesson in learned.lessons for said in lesson.said),
            told.advised.said,
        )
        write_new_file(out, recipe_text(told.recipe, comments).encode())
    return told


def _known_elsewhere(book: Notebook) -> tuple[Finding, ...]:
    """What the notebook has readings of, for one who finds nothing there: a name may be written otherwise."""
    known = dict.fromkeys(f"{record.machine} on {record.species}" for record, _ in coupons_read(book))
    return (note("known-elsewhere", f"the notebook has readings of {', '.join(known)}: names count to the letter"),) if known else ()


def record_outcome(folder: Path, outcomes: Mapping[str, Any], notebook: str | Path | None = None) -> list[Outcome]:
    """Keep what came out of a job's corners: by corner, a table with fit, gap_tail, gap_pin, proud and char (any of them)."""
    from kerfwright.calibrate.outcome_lesson import outcome_from
    from kerfwright.notebook.fact import Kind

    job = json.loads(read_text(folder / "job.json", MADE))
    found = [outcome_from(job, corner, table) for corner, table in outcomes.items()]
    with _opened(notebook) as book:
        book.add(
            [
                _fact(Kind.OUTCOME, str(job["name"])[:200], "outcome-1", json.dumps(plain(each), ensure_ascii=False, sort_keys=True))
                for each in found
            ]
        )
    return found


def ledger(notebook: str | Path | None = None) -> dict[str, Any]:
    """Every coupon read and every outcome, oldest first; and by job how far the seen lines were from what was expected."""
    from kerfwright.notebook.fact import Kind

    with _opened(notebook) as book:
        facts = [fact for fact in book.facts() if fact.kind in (Kind.READING, Kind.OUTCOME)]
    rows: list[dict[str, Any]] = []
    off_mm: dict[tuple[str, float], list[float]] = {}  # by job and what its recipe held of earlier corners
    for fact in sorted(facts, key=lambda each: each.recorded_at):
        payload = json.loads(fact.payload)
        row: dict[str, Any] = {"when": fact.recorded_at.isoformat(timespec="seconds"), "kind": fact.kind.value, "about": fact.key}
        rows.append(row | ({"readings": len(payload["readings"])} if fact.kind is Kind.READING else payload))
        for face in ("tail", "pin") if fact.kind is Kind.OUTCOME else ():
            if payload[f"gap_{face}_mm"] is not None:
                off_mm.setdefault((fact.key, payload["applied_mm"]), []).append(payload[f"gap_{face}_mm"] - payload[f"expected_{face}_mm"])
    jobs = [
        {"job": job, "applied_mm": applied, "lines": len(off), "off_mm": round(math.sqrt(math.fsum(gap**2 for gap in off) / len(off)), 4)}
        for (job, applied), off in off_mm.items()
    ]
    return {"schema": "kerfwright-ledger-1", "rows": rows, "jobs": jobs}


def _site_tables(folder: Path) -> dict[str, Any]:
    try:
        tables: Any = json.loads(read_text(folder / SITE, MADE))
        return {"machine": dict(tables["machine"]), "board": dict(tables["board"])}
    except (ValueError, KeyError, TypeError) as bad:
        raise InputError(
            "it is damaged", accepted="an unchanged coupon folder", remedy="Make the coupon again", where=str(folder / SITE)
        ) from bad


def _machine(tables: dict[str, Any], where: str) -> Machine:
    return tables_as(tables, Machine, where)


def _board(tables: dict[str, Any], where: str) -> Board:
    board = tables_as(tables, Board, where)
    try:
        return board.model_copy(update={"species": find_species(board.species).name})
    except InputError as bad:
        raise bad.located(where) from bad


def _opened(notebook: str | Path | None) -> Notebook:
    from kerfwright.notebook.notebook import open_notebook

    return open_notebook(notebook)


def _fact(kind: Kind, key: str, schema: str, payload: str, supersedes: str | None = None) -> Fact:
    from kerfwright.notebook.fact import new_fact

    name = "\n".join((kind.value, key, schema, payload, supersedes or ""))
    return new_fact(kind, key, schema, payload, supersedes=supersedes, id=str(uuid.uuid5(_SPACE, name)))


def _learned(book: Notebook, machine: Machine, board: Board) -> Learned:
    from kerfwright.calibrate.learn import learn

    return learn(_evidence(book), machine, board, _outcomes(book))


def _evidence(book: Notebook) -> Evidence:
    from kerfwright.calibrate.evidence import evidence_from

    return evidence_from(coupons_read(book))


def coupons_read(book: Notebook) -> list[tuple[CouponRecord, list[Reading]]]:
    """Every coupon of the notebook that was read, with its latest readings."""
    from kerfwright.coupons.readings import Reading
    from kerfwright.coupons.record import read_record
    from kerfwright.notebook.fact import Kind

    try:
        records = {fact.key: read_record(fact.payload, fact.key) for fact in book.facts(Kind.COUPON)}
    except InputError as bad:
        remedy = "Name another --notebook, or import the last backup into a new one"
        raise InputError(bad.arrived, remedy=remedy, where=f"{book.name}: coupon {bad.where}") from bad
    found: list[tuple[CouponRecord, list[Reading]]] = []
    for fact in book.facts(Kind.READING):
        payload = json.loads(fact.payload)
        found.append(
            (records[fact.key], [Reading(each["observable"], tuple(each["values"]), each["status"]) for each in payload["readings"]])
        )
    return found


def _outcomes(book: Notebook) -> list[Outcome]:
    from kerfwright.calibrate.outcome_lesson import Outcome
    from kerfwright.notebook.fact import Kind

    return [Outcome(**json.loads(fact.payload)) for fact in book.facts(Kind.OUTCOME)]

"""Write the generated parts of the docs again: python docs/make_reference.py

Every table between ``<!-- made: NAME -->`` and ``<!-- end -->`` comes from the program's own models, so it cannot
differ from what the program accepts. A test fails when a table is stale.
"""

from __future__ import annotations

import inspect
import json
import re
import sys
import tempfile
import types
from collections.abc import Callable, Iterator
from enum import StrEnum
from functools import cache, partial
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from annotated_types import Ge, Gt, Le, Lt, MaxLen, MinLen
from pydantic import BaseModel, BeforeValidator
from pydantic.fields import FieldInfo

sys.path.insert(0, str(Path(__file__).resolve().parent))
from key_words import LEAVES, LIMITS, RECORD, VERDICT, WORDS

from kerfwright.app import workflow
from kerfwright.app.bench_file import BenchDocument
from kerfwright.app.cli import app
from kerfwright.core import units
from kerfwright.core.errors import EXIT_CODES
from kerfwright.core.estimate import Estimate
from kerfwright.coupons import observable
from kerfwright.coupons.coupon import all_coupons
from kerfwright.coupons.form import COLUMNS
from kerfwright.coupons.observable import CHOICES, RIGHT_THROUGH, Quantity
from kerfwright.joints.joint import all_joints
from kerfwright.machine.machine import Head, Machine
from kerfwright.pieces.bottom import BottomWishes
from kerfwright.pieces.butt_hinge import ButtHinge
from kerfwright.pieces.details import FeetWishes, NotchWishes
from kerfwright.pieces.dividers import DividerWishes
from kerfwright.pieces.kinds.drawer import DrawerBottomWishes, Opening
from kerfwright.pieces.kinds.shelf_case import ShelfWishes
from kerfwright.pieces.lids import LiftOff, PinHinge, Sliding
from kerfwright.pieces.piece import all_pieces
from kerfwright.pieces.seasons import RoomAir
from kerfwright.pieces.slotted_bottom import SlotWishes
from kerfwright.plan.layout.wishes import LayoutWishes, Pin
from kerfwright.plan.options import PlanOptions
from kerfwright.process.costs import Rates
from kerfwright.process.fit import FIT_CLASSES_MM, fit_word, parse_fit_mm
from kerfwright.process.recipe import KerfProfile, RampSettings, Recipe, SurfaceSettings, ThroughCut
from kerfwright.process.verdict import Verdict
from kerfwright.wood.board import Board, Defect, Price, Trimming
from kerfwright.wood.species import all_species

ROOT = Path(__file__).resolve().parent.parent
BLOCK = re.compile(r"(<!-- made: ([a-z0-9 -]+) -->\n).*?(<!-- end -->)", re.DOTALL)

FIRST = ("schema", "kind", "name")
SIZES = ("measured", "opening", "length", "width", "height", "depth")  # come next in a piece's table

# How a value is written, by the function that reads it: (words, unit of its limits and default, how many units in one of ours).
KINDS: dict[Any, tuple[str, str, float]] = {
    units.parse_length_mm: ("length", " mm", 1.0),
    units.parse_speed_mm_s: ("speed", " mm/s", 1.0),
    units.parse_acceleration_mm_s2: ("acceleration", " mm/s2", 1.0),
    units.parse_power_w: ("power", " W", 1.0),
    units.parse_fraction: ("share", " %", 100.0),
    units.parse_slope_frac: ("slope", "", 1.0),
    units.parse_angle_deg: ("angle", " deg", 1.0),
    parse_fit_mm: ("fit", " mm", 1.0),
}


def table(model: type[BaseModel]) -> str:
    """The keys of one model."""
    rows = ["| key | what to write | default | accepted | meaning |", "| --- | --- | --- | --- | --- |"]
    first = (*FIRST, *SIZES) if "joints" in model.model_fields else FIRST
    for key, field in sorted(((field.alias or name, field) for name, field in model.model_fields.items()),
                             key=lambda pair: first.index(pair[0]) if pair[0] in first else len(first)):
        words = field.description or next((WORDS[base.__name__, key] for base in model.__mro__ if (base.__name__, key) in WORDS), None)
        if words is None:
            raise KeyError(f"say in docs/key_words.py what {model.__name__}.{key} means")
        limits = LIMITS.get((model.__name__, key)) or limits_of(field)
        rows.append(f"| `{key}` | {written(field.annotation, field.metadata)} | {default_of(field)} | {limits} | {words} |")
    return "\n".join(rows)


def reader_of(metadata: list[Any] | tuple[Any, ...]) -> Any:
    """The function that reads the value, when it is one of ours."""
    return next((each.func for each in metadata if isinstance(each, BeforeValidator) and each.func in KINDS), None)


def parse_of(metadata: list[Any] | tuple[Any, ...]) -> Any:
    """The function that reads the middle of a value with its spread; lengths where it is not told."""
    readers = (each.func for each in metadata if isinstance(each, BeforeValidator))
    return next((read.keywords["parse"] for read in readers if isinstance(read, partial)), units.parse_length_mm)


def written(annotation: Any, metadata: list[Any] | tuple[Any, ...] = ()) -> str:
    """How a person writes a value of this type."""
    reader = reader_of(metadata)
    if reader is not None:
        return KINDS[reader][0]
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return written(inner[0], inner[1:])
    if origin is Literal:
        return ", ".join(f'`"{each}"`' for each in inner)
    if origin in (Union, types.UnionType):
        return " or ".join(dict.fromkeys(written(each) for each in inner if each is not type(None)))
    if annotation is Estimate:
        return f"{KINDS[parse_of(metadata)][0]} with its spread"
    if origin is tuple:
        kinds = [written(each) for each in inner if each is not Ellipsis]
        if Ellipsis in inner:
            return f"list of pairs: {kinds[0].removeprefix('list: ')}" if get_origin(inner[0]) is tuple else f"list: {kinds[0]}"
        return "list: " + ", ".join(kinds)
    if origin is dict or (inspect.isclass(annotation) and issubclass(annotation, BaseModel)):
        return "table"
    if inspect.isclass(annotation) and issubclass(annotation, StrEnum):
        return ", ".join(f'`"{each.value}"`' for each in annotation)
    return {str: "text", int: "whole number", float: "number", bool: "`true` or `false`"}[annotation]


def limits_of(field: FieldInfo) -> str:
    """The accepted range, from the field's own marks."""
    reader = reader_of(_all_metadata(field))
    if reader is units.parse_slope_frac:
        return "above 0, below 45 deg"
    _, unit, scale = KINDS.get(reader, ("", "", 1.0))
    marks = [mark for each in _all_metadata(field) for mark in _marks(each)]

    def number(value: Any) -> str:
        return f"{float(value) * scale:.10g}"

    lows = [(float(m.ge), "") for m in marks if isinstance(m, Ge)] + [(float(m.gt), "above ") for m in marks if isinstance(m, Gt)]
    highs = [float(m.le) for m in marks if isinstance(m, Le)] + [float(m.lt) for m in marks if isinstance(m, Lt)]
    low = max(lows, default=None)
    told = ""
    if low and highs:
        between = ", up to " if low[1] else " to "
        told = f"{low[1]}{number(low[0])}{between}{number(min(highs))}{unit}"
    elif low:
        told = f"{low[1]}{number(low[0])}{unit}" + ("" if low[1] else " or more")
    counts = [m.min_length for m in marks if isinstance(m, MinLen)], [m.max_length for m in marks if isinstance(m, MaxLen)]
    if counts[0] or counts[1]:
        what = "letters" if field.annotation is str else "entries"
        least, most = (counts[0] or [0])[0], (counts[1] or [None])[0]
        told = (f"{least} to {most} {what}" if least else f"up to {most} {what}") if most else f"{least} or more {what}"
    return told


def _marks(mark: Any) -> Iterator[Any]:
    """Range marks, also those that pydantic keeps bundled in a FieldInfo."""
    yield from mark.metadata if isinstance(mark, FieldInfo) else (mark,)


def _all_metadata(field: FieldInfo) -> list[Any]:
    """The field's marks, also those of an optional's inner type."""
    found = list(field.metadata)
    for part in get_args(field.annotation):
        if get_origin(part) is Annotated and get_origin(field.annotation) in (Union, types.UnionType):
            found += [mark for each in get_args(part)[1:] for mark in _marks(each)]
    return found


def default_of(field: FieldInfo) -> str:
    """The default, as a person would write it."""
    if field.is_required():
        return "*needed*"
    value = field.get_default(call_default_factory=True, validated_data={})
    reader = reader_of(_all_metadata(field))
    if value is None:
        return "none"
    if reader is parse_fit_mm:
        return f'`"{fit_word(value)}"`'
    if reader is units.parse_slope_frac:
        return f'`"1:{1 / value:g}"`'
    if isinstance(value, Estimate):
        _, unit, scale = KINDS[parse_of(_all_metadata(field))]
        return f'`"{scale * value.value:g} ± {scale * value.sd:g}{unit}"`'
    if isinstance(value, bool):
        return f"`{value}`".lower()
    if isinstance(value, (BaseModel, dict)) or value == ():
        return "empty"
    if isinstance(value, tuple):
        unit = " mm" if isinstance(value[0], float) else ""
        return "`[" + ", ".join(f'"{each:g}{unit}"' if isinstance(each, float) else f'"{each}"' for each in value) + "]`"
    if isinstance(value, (int, float)):
        _, unit, scale = KINDS.get(reader, ("", "", 1.0))
        return f'`"{value * scale:g}{unit}"`' if unit else f"`{value:g}`"
    return f'`"{value}"`'


def command(name: str) -> str:
    """One verb: what it does, its words and options."""
    arguments = list(app[name].assemble_argument_collection(parse_docstring=True))
    places = " ".join(each.names[0].removeprefix("--").upper() for each in arguments if each.index is not None)
    function: Callable[..., Any] = app[name].default_command  # pyright: ignore[reportAssignmentType]
    first = (inspect.getdoc(function) or "").splitlines()[0]
    rows = [f"`kerfwright {name} {places}`".replace(" `", "`") + f": {first}", "",
            "| word or option | default | meaning |", "| --- | --- | --- |"]
    for each in arguments:
        name_shown = each.names[0].removeprefix("--").upper() if each.index is not None else each.names[0]
        default = "*needed*" if each.required else ", ".join(str(each.field_info.default).split()) if each.field_info.default else ""
        rows.append(f"| `{name_shown}` | {'' if default == 'False' else default} | {each.parameter.help} |")
    return "\n".join(rows)


def commands() -> str:
    """Every verb."""
    verbs = sorted(name for name in app if not name.startswith("-"))
    return "\n\n".join(f"## {name}\n\n{command(name)}" for name in verbs)


def exit_codes() -> str:
    """Every exit code."""
    return "\n".join(["| code | meaning |", "| --- | --- |", *(f"| {code} | {text} |" for code, text in EXIT_CODES.items())])


def fits() -> str:
    """The trade words for a fit."""
    rows = [f"| `{word}` | {low:+.2f} to {high:+.2f} mm | {parse_fit_mm(word):+.3f} mm |" for word, (low, high) in FIT_CLASSES_MM.items()]
    told = "\n".join(["| word | clearance across one pin | aimed at |", "| --- | --- | --- |", *rows])
    return told.replace("+0.00 ", "0.00 ")


def unit_words() -> str:
    """Every unit the program reads."""
    kinds = {"length": units._LENGTH_MM, "speed": units._SPEED_MM_S, "angle": units._ANGLE_DEG, "share": units._PERCENT,  # pyright: ignore[reportPrivateUsage]
             "power": units._POWER_W, "acceleration": units._ACCELERATION}  # pyright: ignore[reportPrivateUsage]
    shown = {"w": "W", "kw": "kW", "mw": "mW"}  # read in any case
    rows = [f"| {what} | {', '.join(f'`{shown.get(unit, unit)}`' for unit in known)} |" for what, known in kinds.items()]
    return "\n".join(["| quantity | units |", "| --- | --- |", *rows])


def species_names() -> str:
    """Every species that ships."""
    return "\n".join(f"- {species.name}" + (f" (also {', '.join(species.other_names)})" if species.other_names else "")
                     for species in all_species().values())


def joint_tables() -> str:
    """The options of every joint."""
    return "\n\n".join(f"### `{kind}`\n\n{table(joint.options)}" for kind, joint in sorted(all_joints().items()))


def coupon_tables() -> str:
    """What every coupon is and its choices."""
    return "\n\n".join(
        f"### `{kind}`\n\n{first_sentence(sys.modules[type(coupon).__module__].__doc__)}\n\n{table(coupon.options)}"
        for kind, coupon in sorted(all_coupons().items())
    )


def first_sentence(doc: str | None) -> str:
    """The first line of a docstring, without the name before its colon."""
    head = (doc or "").split("\n\n")[0].replace("\n", " ")
    told = head.partition(": ")[2] or head
    return told[:1].upper() + told[1:]


def quantities() -> str:
    """What can be read, and the answers taken."""
    lines = re.findall(r"(?m)^- ``(\w+)``(?: and ``char``)?: (.+?)[;.]$", observable.__doc__ or "")
    meant = {name: " ".join(words.split()) for name, words in lines}
    meant["char"] = meant["flame"]
    rows = [
        f"| `{quantity}` | {meant[quantity]} | {', '.join(f'`{word}`' for word in CHOICES.get(quantity, ())) or numbers(quantity)} |"
        for quantity in Quantity
    ]
    return "\n".join(["| kind | what is read | answers |", "| --- | --- | --- |", *rows])


def numbers(quantity: Quantity) -> str:
    """How a number is answered."""
    unit = {Quantity.VERNIER: "ticks, halves allowed", Quantity.RUNG: "a rung's number, halves allowed"}.get(quantity, "a length")
    return unit + (f", or `{RIGHT_THROUGH}`" if quantity is Quantity.DEPTH else "")


def form_columns() -> str:
    """Columns of readings.csv."""
    return ", ".join(f"`{name}`" for name in COLUMNS)


RECORDED = ("pencil-box", "keepsake-box", "button-box")  # a ramp, a cradle, hollows
PROGRAM = "setups/02-right-ramp.ngc"


@cache
def demo_records() -> dict[str, Any]:
    """job.json of some demo pieces, by the piece's folder name, and one program by its path."""
    found: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder:
        shop = workflow.start(Path(folder) / "shop")
        for name in RECORDED:
            made = workflow.make(shop / name / "piece.toml")
            assert made.folder is not None
            found[name] = json.loads((made.folder / "job.json").read_text(encoding="utf-8"))
            if name == "pencil-box":
                found[PROGRAM] = (made.folder / PROGRAM).read_text(encoding="ascii")
    return found


def folder_files() -> str:
    """Files of the pencil box's job folder, setups shown once."""
    rows = ["| file | what it is |", "| --- | --- |"]
    seen: set[str] = set()
    for file in demo_records()["pencil-box"]["files"]:
        path = re.sub(r"-[a-z](?=-grey)", "-a", file["path"])
        shape = re.sub(r"setups/\d+-\w+-\w+?(?=[-.])", "setups/NN", path)
        if shape not in seen:
            seen.add(shape)
            rows.append(f"| `{path}` | {file['title']} |")
    return "\n".join([*rows, "| `job.json` | the whole job as data |"])


def record_keys() -> str:
    """Every key of job.json, with its meaning; raises when one has none, or words stand for a key that is not there."""
    keys: dict[str, None] = {}
    for name in RECORDED:
        _walk(demo_records()[name], "", keys)
    unknown = [key for key in keys if key not in RECORD] + [key for key in RECORD if key not in keys]
    if unknown:
        raise KeyError(f"docs/key_words.py and job.json differ at {', '.join(unknown)}")
    in_order = [key for key in RECORD if key in keys]
    return "\n".join(["| key | meaning |", "| --- | --- |", *(f"| `{key}` | {RECORD[key]} |" for key in in_order)])


def _walk(value: Any, path: str, keys: dict[str, None]) -> None:
    if path:
        keys[path] = None
    if path in LEAVES:
        return
    if isinstance(value, dict):
        for key, inner in value.items():
            _walk(inner, f"{path}.{key}".lstrip("."), keys)
    elif isinstance(value, list):
        for inner in value:
            if isinstance(inner, (dict, list)):
                _walk(inner, path, keys)


def record_example() -> str:
    """The second setup of the pencil box with its first cutting operation, the rest left out."""
    setup = dict(demo_records()["pencil-box"]["setups"][1])
    cut = dict(setup["operations"][1])
    cut["paths"] = [cut["paths"][0]]
    setup["operations"] = [cut]
    setup["part_outlines"] = []
    text = json.dumps(setup, indent=1, ensure_ascii=False)
    flat = re.sub(r"\[\s+(-?[\d.]+(?:,\s+-?[\d.]+)*)\s+\]", lambda found: "[" + ", ".join(found[1].replace(",", " ").split()) + "]", text)
    return f"```json\n{flat}\n```"


def program_example() -> str:
    """Head, first core and end of a program, as written."""
    lines = demo_records()[PROGRAM].splitlines()
    head = lines[: lines.index("M5") + 1]
    core = next(i for i, line in enumerate(lines) if line.startswith("(Operation 2 "))
    first_cuts = next(i for i in range(core, len(lines)) if lines[i].startswith("G1")) + 3
    return "\n".join(["```text", *head, "...", *lines[core:first_cuts], "...", *lines[-4:], "```"])


def verdict_keys() -> str:
    """Every key of verdict.json, with its meaning; raises when one has none, or words stand for a key that is not there."""
    keys = ["schema", "goes_together", *_fields(Verdict)]
    unknown = [key for key in keys if key not in VERDICT] + [key for key in VERDICT if key not in keys]
    if unknown:
        raise KeyError(f"docs/key_words.py and the verdict differ at {', '.join(unknown)}")
    return "\n".join(["| key | meaning |", "| --- | --- |", *(f"| `{key}` | {VERDICT[key]} |" for key in keys)])


def _fields(kind: type[Any], path: str = "") -> Iterator[str]:
    """Keys of a verdict's own values, in the order they are written."""
    for name, hint in get_type_hints(kind).items():
        yield f"{path}{name}"
        inner = next((each for each in (hint, *get_args(hint)) if getattr(each, "__module__", "") == Verdict.__module__), None)
        if inner is not None:
            yield from _fields(inner, f"{path}{name}.")


MADE: dict[str, Callable[[], str]] = {
    **{kind: lambda piece=piece: table(piece.document) for kind, piece in all_pieces().items()},
    "bottom": lambda: table(BottomWishes),
    "notch": lambda: table(NotchWishes),
    "feet": lambda: table(FeetWishes),
    "bottom on tongues": lambda: table(SlotWishes),
    "room": lambda: table(RoomAir),
    "lid that lifts off": lambda: table(LiftOff),
    "lid that slides": lambda: table(Sliding),
    "lid on pins": lambda: table(PinHinge),
    "lid on butt hinges": lambda: table(ButtHinge),
    "dividers": lambda: table(DividerWishes),
    "opening": lambda: table(Opening),
    "drawer bottom": lambda: table(DrawerBottomWishes),
    "shelves": lambda: table(ShelfWishes),
    "bench": lambda: table(BenchDocument),
    "burn": lambda: table(PlanOptions),
    "costs": lambda: table(Rates),
    "board": lambda: table(Board),
    "defect": lambda: table(Defect),
    "trim": lambda: table(Trimming),
    "price": lambda: table(Price),
    "wishes": lambda: table(LayoutWishes),
    "pin": lambda: table(Pin),
    "machine": lambda: table(Machine),
    "head": lambda: table(Head),
    "recipe": lambda: table(Recipe),
    "through": lambda: table(ThroughCut),
    "kerf": lambda: table(KerfProfile),
    "ramp": lambda: table(RampSettings),
    "engrave": lambda: table(SurfaceSettings),
    "joints": joint_tables,
    "coupons": coupon_tables,
    "quantities": quantities,
    "form columns": form_columns,
    "species": species_names,
    "fits": fits,
    "units": unit_words,
    "commands": commands,
    "exit codes": exit_codes,
    "folder files": folder_files,
    "record keys": record_keys,
    "record example": record_example,
    "program example": program_example,
    "verdict keys": verdict_keys,
}


def pages() -> list[Path]:
    """Every page of the docs."""
    return [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]


def fresh(text: str) -> str:
    """A page with its generated parts made again."""
    return BLOCK.sub(lambda found: f"{found[1]}\n{MADE[found[2]]()}\n\n{found[3]}", text)


def main() -> int:
    """Write every page that changed."""
    for page in pages():
        text = page.read_text(encoding="utf-8")
        again = fresh(text)
        if again != text:
            page.write_text(again, encoding="utf-8")
            print(f"written again: {page.relative_to(ROOT)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())

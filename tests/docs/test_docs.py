"""The docs are true: links and pictures resolve, examples run and print what the pages say, tables are those of the program."""

from __future__ import annotations

import importlib
import io
import re
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from PIL import Image

from kerfwright import __version__
from kerfwright.app.bench_file import BenchDocument
from kerfwright.core.document import build
from kerfwright.coupons.coupon import CouponOptions
from kerfwright.machine.machine import Machine
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.process.recipe import Recipe
from kerfwright.wood.board import Board

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", ROOT / "CHANGELOG.md", *sorted(DOCS.rglob("*.md"))]
NAMES = [page.relative_to(ROOT).as_posix() for page in PAGES]
LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
MOST_PICTURE_BYTES = 150_000


def tool(name: str) -> ModuleType:
    """One of the scripts beside the pages."""
    if str(DOCS) not in sys.path:
        sys.path.insert(0, str(DOCS))
    return importlib.import_module(name)


def links(page: Path) -> list[str]:
    """Targets of the links and pictures outside code."""
    return LINK.findall(re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL))


def test_there_are_pages() -> None:
    assert len(PAGES) > 20
    for name in ("tutorials/first-box.md", "howto/read-witness-marks.md", "reference/job-folder.md", "concepts/kerf-and-clearance.md"):
        assert (DOCS / name).is_file()


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_links_lead_somewhere_inside(page: Path) -> None:
    broken = [target for target in links(page) if not (page.parent / target.split("#")[0]).exists()]
    assert broken == []


def test_every_page_is_reached_from_the_readme() -> None:
    reached: set[Path] = set()
    waiting = [ROOT / "README.md"]
    while waiting:
        page = waiting.pop()
        reached.add(page)
        found = [(page.parent / target.split("#")[0]).resolve() for target in links(page)]
        waiting += [each for each in found if each.suffix == ".md" and each not in reached]
    lost = [page for page in PAGES if page not in reached and page.parent.name != "decisions"]
    assert lost == []


def test_pictures_are_those_of_the_maker_all_used_and_small() -> None:
    used = {(page.parent / target).resolve() for page in PAGES for target in links(page) if target.endswith(".png")}
    made = {(DOCS / "pictures" / f"{name}.png").resolve() for name in tool("make_pictures").PICTURES}
    there = {path.resolve() for path in (DOCS / "pictures").iterdir()}
    assert used == made == there
    for path in there:
        data = path.read_bytes()
        assert len(data) <= MOST_PICTURE_BYTES
        with Image.open(io.BytesIO(data)) as picture:
            assert picture.format == "PNG"
            assert 400 <= picture.width <= 1400
            extrema: Any = picture.convert("L").getextrema()
            assert extrema[0] < 100, f"{path.name} shows nothing"
            assert extrema[1] > 240, f"{path.name} shows nothing"


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_generated_parts_are_fresh(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    assert tool("make_reference").fresh(text) == text, "run: python docs/make_reference.py"


def test_every_generated_part_has_a_place() -> None:
    maker = tool("make_reference")
    placed = [found[2] for page in PAGES for found in maker.BLOCK.finditer(page.read_text(encoding="utf-8"))]
    assert sorted(placed) == sorted(maker.MADE)


def test_words_for_keys_are_all_used() -> None:
    words, maker = tool("key_words"), tool("make_reference")
    fields = {(model.__name__, field.alias or name) for model in documents(maker) for name, field in model.model_fields.items()}
    described = {(model.__name__, field.alias or name) for model in documents(maker) for name, field in model.model_fields.items()
                 if field.description}
    assert set(words.WORDS) - fields == set()
    assert set(words.LIMITS) - fields == set()
    assert set(words.WORDS) & described == set(), "a description on the field makes these words needless"


def documents(maker: ModuleType) -> list[Any]:
    """Every model that has a table."""
    own = [maker.all_pieces()["open box"].document, *(joint.options for joint in maker.all_joints().values())]
    own += [CouponOptions, *(coupon.options for coupon in maker.all_coupons().values())]
    return [*own, BenchDocument, maker.PlanOptions, Board, Machine, maker.Head, Recipe, maker.ThroughCut, maker.KerfProfile,
            maker.RampSettings, maker.SurfaceSettings, maker.LayoutWishes, maker.Pin, maker.Defect, maker.Price, maker.Trimming]


def runnable() -> list[Path]:
    return tool("run_pages").pages()


@pytest.mark.parametrize("page", runnable(), ids=lambda page: page.relative_to(ROOT).as_posix())
def test_examples_run_and_print_what_the_page_says(page: Path) -> None:
    runner = tool("run_pages")
    with runner.fresh_folder():
        ran = runner.run_page(page)
    assert [(each.says, each.printed) for each in ran if not each.matches] == [], "run: python docs/run_pages.py"


def test_a_changed_output_is_found_and_written_again() -> None:
    ran = tool("run_pages").Ran
    printed = "Pencil box\n  12 setups\n  caution: fire\n  done\n"
    assert ran(0, 0, "Pencil box\n...\n  done\n", printed).matches
    assert not ran(0, 0, "Pencil box\n...\n  gone\n", printed).matches
    assert not ran(0, 0, "Pencil box\n", printed).matches
    assert ran(0, 0, "Pencil box\n  11 setups\n...\n", printed).again() == "Pencil box\n  12 setups\n...\n"
    assert ran(0, 0, "Pencil box\n", printed).again() == printed
    assert ran(0, 0, "...\nquite another thing\n", printed).again() is None


def example(name: str) -> dict[str, Any]:
    """The first whole file shown on a reference page."""
    import tomllib

    found = re.search(r"```toml\n(.*?)```", (DOCS / "reference" / name).read_text(encoding="utf-8"), re.DOTALL)
    assert found is not None
    return tomllib.loads(found[1])


def test_reference_examples_are_accepted() -> None:
    piece = piece_from(example("piece-file.md"), "piece-file.md")
    kinds = {corner.name: corner.kind for corner in build_piece(piece, dict.fromkeys(piece.panels, 6.0)).corners}
    assert kinds == {"front-right": "through dovetail", "right-back": "through dovetail", "back-left": "box joint",
                     "left-front": "through dovetail"}
    assert build(example("bench-file.md"), BenchDocument, "bench").burn.walls == "ramp"
    assert build(example("board-file.md"), Board, "board").thickness_mm == pytest.approx(6.015)
    assert build(example("machine-file.md"), Machine, "machine").power_w == 20
    ramp = build(example("recipe-file.md"), Recipe, "recipe").ramp
    assert ramp is not None
    assert ramp.deepest_mm == 6.1


def test_changelog_has_a_place_for_this_version() -> None:
    heads = re.findall(r"^## (.+)$", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert heads[0].startswith("Unreleased") or heads[0].startswith(__version__)
    assert __version__ in " ".join(heads)


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_words(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    assert re.findall(r"(?i)\bsafe(?:ly|ty)?\b|\bsafer\b", text) == [], "cautions say raised, high or unknown"
    assert re.findall(r"(?i)https?:|\bwww\.", text) == [], "no addresses in the repository"
    assert max(map(len, re.sub(r"```.*?```", "", text, flags=re.DOTALL).splitlines())) < 400

"""The bench sheet read back by another PDF library: nothing missing, nothing clipped, true to scale, the same twice."""

from __future__ import annotations

import hashlib
import math
import os
import re
import subprocess
import sys
import time
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray

from kerfwright.core.finding import Level
from kerfwright.core.units import format_duration
from kerfwright.export.exporter import all_exporters, setup_stem
from kerfwright.export.formats.bench_sheet import EXPORTER
from kerfwright.export.sheet.blocks import Run, wrapped
from kerfwright.export.sheet.paper import printable, text_width_mm
from kerfwright.export.sheet.putting_together import meeting_words
from kerfwright.export.sheet.spread import spread
from kerfwright.export.sheet.style import BODY, MARGIN_SIDE_MM, PAGE_HEIGHT_MM, PAGE_WIDTH_MM
from kerfwright.export.sheet.telling import gap_word, outside_mm
from kerfwright.export.sheet.templates import bands_mm
from kerfwright.geometry.ring import Place
from kerfwright.plan.glue_up import glue_up
from kerfwright.process.operation import OperationKind
from sheet_samples import LONG_NAME, jobs

NAMES = ("ramp", "cradle", "fingers", "by hand", "two faces", "tall", "upright", "hinged", "divided", "drawer")
PT_MM = 72 / 25.4
PX_MM = 10  # 254 dpi
SCALE: Any = PX_MM / PT_MM * (1 - 1e-7)  # a hair less than 254 dpi, or a last row of pixels is added
DARK = 110


@cache
def sheet(name: str) -> bytes:
    [file] = EXPORTER.files(jobs()[name])
    assert file.path == "bench-sheet.pdf"
    return file.data


@dataclass(frozen=True)
class Box:
    """One stretch of text and where it stands, mm from the page's lower left corner."""

    text: str
    left: float
    bottom: float
    right: float
    top: float


@cache
def boxes(name: str) -> list[list[Box]]:
    """By page."""
    document = pypdfium2.PdfDocument(sheet(name))
    pages: list[list[Box]] = []
    for page in document:
        reader = page.get_textpage()
        rectangles = [reader.get_rect(i) for i in range(reader.count_rects())]
        pages.append([Box(reader.get_text_bounded(*each), *(side / PT_MM for side in each)) for each in rectangles])
        reader.close()
        page.close()
    document.close()
    return pages


@cache
def texts(name: str) -> list[str]:
    """All words of each page, with single spaces."""
    document = pypdfium2.PdfDocument(sheet(name))
    found: list[str] = []
    for page in document:
        reader = page.get_textpage()
        found.append(re.sub(r"[\s\u00a0]+", " ", reader.get_text_bounded()))
        reader.close()
        page.close()
    document.close()
    return found


def whole(name: str) -> str:
    return " ".join(texts(name))


def said(text: str) -> str:
    """As the sheet says a remark: printable signs, single spaces."""
    return re.sub(r"[\s\u00a0]+", " ", printable(text))


def setup_pages(name: str, number: int) -> list[str]:
    """The pages whose foot names this setup."""
    return [text for text in texts(name) if re.search(rf"Setup {number}$|come first\. Setup {number}\b", text)]


# --- what it says ----------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("name", NAMES)
def test_every_setup_is_told_whole(name: str) -> None:
    job = jobs()[name]
    for setup, spent in zip(job.setups, job.times, strict=True):
        pages = " ".join(setup_pages(name, setup.number))
        assert f"Setup {setup.number} of {len(job.setups)}" in pages
        stem = setup_stem(setup.number, setup.name)
        assert stem + ".ngc" in pages
        assert said(setup.board) in pages
        assert format_duration(spent.burn_s + spent.travel_s) in pages
        for op in setup.operations:
            assert said(op.title) in pages
            assert f"{op.speed_mm_s:g} mm/s" in pages
        for step in setup.steps_before:
            assert said(step)[1:].rstrip(".") in pages
        x_mm, y_mm, z_mm = setup.bed_from_board.apply(setup.gauge_board_mm[None, :])[0]
        assert f"X {x_mm:.2f}".rstrip("0").rstrip(".") in pages
        assert f"Y {y_mm:.2f}".rstrip("0").rstrip(".") in pages
        assert f"{z_mm:.2f}".rstrip("0").rstrip(".") + " mm over the bed" in pages
        if setup.tilt_deg:
            assert f"{setup.tilt_deg:.2f}°" in pages
        command = f"kerfwright shift JOB_FOLDER {setup.number} --left-tick N --right-tick N --x-tick N"
        assert (command in pages) == bool(setup.verniers)
        assert ("Stops before" in pages) == any(op.before for op in setup.operations)


@pytest.mark.parametrize("name", NAMES)
def test_the_files_it_names_are_there(name: str) -> None:
    job = jobs()[name]
    others = [exporter for exporter in all_exporters() if exporter.name not in (EXPORTER.name, "STEP", "3MF", "GLB")]
    there = {file.path for exporter in others for file in exporter.files(job)}
    for setup in job.setups:
        pages, stem = " ".join(setup_pages(name, setup.number)), setup_stem(setup.number, setup.name)
        assert {stem + ".ngc", stem + ".svg", stem + ".dxf", stem + "-look.svg"} <= there
        pictures = {path.removeprefix(stem) for path in there if path.startswith(stem) and path.endswith("-grey8.png")}
        assert bool(pictures) == (job.machine.takes_pictures and any(op.kind is OperationKind.RAMP for op in setup.operations))
        assert set(re.findall(r"-\S*grey8\.png", pages)) == pictures


@pytest.mark.parametrize("name", NAMES)
def test_every_caution_stands_on_the_front_page(name: str) -> None:
    job, front = jobs()[name], texts(name)[0]
    assert "CAUTIONS" in front
    for finding in job.findings:
        assert said(finding.text)[1:].rstrip(".") in (front if finding.level is Level.CAUTION else " ".join(texts(name)[:2]))
    for word in ("extinguisher", "air assist", "Extract", "eyewear", "enclosure", "dust", "Local rules and the machine's manual"):
        assert word in front
    assert not re.search(r"\bsafe", whole(name), re.IGNORECASE)


def test_a_species_whose_dust_is_listed_is_named() -> None:
    assert "The dust of oak is listed as implicated" in texts("by hand")[0]
    assert "listed as implicated" not in texts("cradle")[0]


@pytest.mark.parametrize("name", NAMES)
def test_boards_gaps_and_walls_are_told(name: str) -> None:
    job, text = jobs()[name], whole(name)
    for part in job.assembly.parts:
        assert f"{job.boards[part.name].thickness_mm:.2f}" in text
    for gap in job.gaps:
        assert gap.corner in text
        for each in (gap.tightest_mm, gap.seen_tail_face_mm, gap.seen_pin_face_mm):
            assert f"{each.value:.3f} ± {each.sd:.3f}" in text
    for wall in job.walls:
        assert said(wall.reason)[1:].rstrip(".") in text
    recipe = job.recipes["front"]
    used = recipe.through_for(job.boards["front"].thickness_mm).kerf[0]
    assert f"{used.top_mm.value:.3f} ± {used.top_mm.sd:.3f} {used.waist_mm.value:.3f} ± {used.waist_mm.sd:.3f}" in text
    assert re.search(r"Clean the char .* Step 1 .* Step 2 .* Step 3 .* Before the glue takes", text)


@pytest.mark.parametrize("name", NAMES)
def test_pages_are_numbered_and_in_bench_order(name: str) -> None:
    pages = texts(name)
    for i, text in enumerate(pages, start=1):
        assert f"{i} of {len(pages)}" in text
    labels = [next(box.text for box in page if box.bottom < 14 and box.left > 100) for page in boxes(name)]
    wanted = ["Overview", "Boards", *(f"Setup {setup.number}" for setup in jobs()[name].setups), "Assembly", "Finish", "Costs", "Templates"]
    assert list(dict.fromkeys(labels)) == wanted


def pages_of(name: str, label: str) -> str:
    """All words of the pages whose foot names this section."""
    return " ".join(text for text in texts(name) if re.search(rf"(?:^|come first\.) ?{label}\b|{label}$", text))


@pytest.mark.parametrize("name", NAMES)
def test_glue_clamps_and_diagonals_are_told_with_figures(name: str) -> None:
    job, text = jobs()[name], pages_of(name, "Assembly")
    glue = glue_up(job.assembly, job.boards)
    assert f"Glue: {glue.glue_g[0]:.1f} to {glue.glue_g[1]:.1f} g for {glue.area_mm2 / 100:.0f} cm²" in text
    assert f"{glue.pressure_mpa[0]:g} to {glue.pressure_mpa[1]:g} MPa" in text
    for clamps in glue.clamps:
        assert f"{clamps.n_clamps} clamps {clamps.opening_mm:.0f} mm {clamps.n_cauls}, {clamps.caul_mm:.0f} mm long" in text
        assert f"{clamps.force_n[0]:.0f} to {clamps.force_n[1]:.0f} N" in text
    assert glue.square is not None
    assert f"both inside diagonals {glue.square.diagonal_mm:.1f} mm, not more than {glue.square.may_differ_mm:.1f} mm apart" in text
    assert "No corner closes" not in text


def test_every_step_says_what_happens_in_it() -> None:
    """Each step of each sample closes a corner, takes a panel in, or says that it only rests: never nothing."""
    for name in NAMES:
        job = jobs()[name]
        glue = glue_up(job.assembly, job.boards)
        for step in job.assembly.steps:
            assert meeting_words([each for each in glue.meetings if each.between(step.moving, step.standing)], step)
    hinged, divided, drawer = (pages_of(each, "Assembly") for each in ("hinged", "divided", "drawer"))
    assert "Step 1 Bottom goes to the right, onto right. Bottom goes into the groove of right. No glue: it must stay free" in hinged
    assert "The groove of left takes bottom. No glue: it must stay free to move." in hinged
    assert "Only rests on or between front, right, back and left: no glue." in hinged
    assert "Let none reach bottom" in hinged
    assert "Cross-2 goes into the housings of front and back. Glue the hollow thinly" in divided
    assert "Slots into long-1 where they cross, half and half; no glue needed there." in divided
    assert "Bottom goes into the groove of front. Glue the hollow thinly" in drawer
    assert "Bottom goes into the grooves of right and left. No glue: it must stay free to move." in drawer


def test_finish_and_hardware_are_told_with_their_cautions() -> None:
    hinged, drawer, oak = (pages_of(each, "Finish") for each in ("hinged", "drawer", "by hand"))
    assert "The ends stand 0.2 mm proud." in hinged
    assert "2 Pin, wooden or metal 3 mm thick, 18.2 mm long the lid turns on them" in hinged
    assert "Drill the lid's ends 3 mm wide, 12 mm deep" in hinged
    assert "1 Round-headed screw up to 2.0 mm thick, 13 mm long, with a washer" in drawer
    assert "Hardware" not in oak
    for text in (hinged, drawer, oak):
        for word in ("Rags with drying oil", "vapour", "fine dust", "the eyes", "120, 180, 240 grit", "common practice, no source"):
            assert word in text
    assert "The dust of oak is listed as implicated" in oak
    assert "not proof of harm" in oak
    assert "not proof of harm" not in hinged
    assert "2 × pin, wooden or metal (3 mm thick, 18.2 mm long)" in " ".join(texts("hinged")[:2])


@pytest.mark.parametrize("name", NAMES)
def test_the_account_stands_whole_and_adds_up(name: str) -> None:
    costs, text = jobs()[name].costs, pages_of(name, "Costs")
    assert costs is not None
    for work in costs.hand_work:
        assert said(f"{work.what} {work.how} {format_duration(work.time_s)}") in text
    amounts = [re.search(re.escape(said(f"{line.what} {line.how} ")) + r"(\d+\.\d\d)", text) for line in costs.lines]
    assert [float(found[1]) for found in amounts if found] == [line.amount for line in costs.lines]
    assert f"what the piece costs you {sum(float(found[1]) for found in amounts if found):.2f}" in text
    assert f"price for sale {costs.price:.2f}" in text
    assert "yours may differ: " + ", ".join(costs.by_default) in text


def test_stops_by_hand_are_counted() -> None:
    job = jobs()["by hand"]
    for setup, spent in zip(job.setups, job.times, strict=True):
        pages = " ".join(setup_pages("by hand", setup.number))
        by_hand = sum(int(n) for n in re.findall(r"(\d+) times? in \d", pages))
        assert by_hand + len(re.findall(r"Stops before", pages)) == spent.n_pauses


# --- how it stands on the page ---------------------------------------------------------------------------------------

@pytest.mark.parametrize("name", NAMES)
def test_no_text_leaves_the_page_s_margins(name: str) -> None:
    for number, page in enumerate(boxes(name), start=1):
        assert len(page) > 5
        for box in page:
            assert box.left > MARGIN_SIDE_MM - 0.3, (number, box)
            assert box.right < PAGE_WIDTH_MM - MARGIN_SIDE_MM + 0.3, (number, box)
            assert box.bottom > 8.5, (number, box)
            assert box.top < PAGE_HEIGHT_MM - 10, (number, box)
            if box.bottom > 14 and box.top < PAGE_HEIGHT_MM - 18:  # not the running head and foot
                assert box.bottom > 17, (number, box)


@pytest.mark.parametrize("name", NAMES)
def test_no_two_texts_overlap(name: str) -> None:
    compared = 0
    for number, page in enumerate(boxes(name), start=1):
        for a, b in combinations(page, 2):
            wide = min(a.right, b.right) - max(a.left, b.left)
            high = min(a.top, b.top) - max(a.bottom, b.bottom)
            assert not (wide > 0.25 and high > 0.25), (number, a, b)
            compared += 1
    assert compared > 1000


def test_the_overlap_check_sees_an_overlap() -> None:
    """The boxes that the other library gives are tight enough to see two lines run into each other."""
    page = boxes("ramp")[0]
    a, b = (next(box for box in page if word in box.text) for word in ("Stay beside", "assist on"))
    assert 0 < a.bottom - b.top < 3
    assert abs(a.left - b.left) < 0.5


def test_signs_the_type_lacks_are_spelled_another_way() -> None:
    assert printable(LONG_NAME) == "Äußerst langer Name für ein Kästchen: Größe No5, ?, 7/8"
    assert said(LONG_NAME) in texts("by hand")[0]
    assert printable("e\u0301 5\u2011mm \u2192 \u2264 3 \u00b5m\n\tx") == "e 5-mm to ≤ 3 µm  x"
    for name in NAMES:
        assert "\ufffd" not in whole(name)


def test_the_width_of_text_is_the_font_s_own() -> None:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    text = "Sockets, from the waste ± 0.02 mm"
    assert text_width_mm(text, BODY) == pytest.approx(stringWidth(text, "sheet-regular", BODY.size_pt) / PT_MM, rel=1e-9)


def test_lines_are_wrapped_within_the_width_and_lose_no_word() -> None:
    text = "Brush soot out of the sockets always or never " + "W" * 60 + " end"
    for width_mm in (20.0, 47.0, 174.0):
        lines = wrapped((Run(text),), width_mm)
        assert max(sum(text_width_mm(run.words, BODY) for run in line) for line in lines) <= width_mm + 1e-6
        assert "".join(run.words for line in lines for run in line).replace(" ", "") == text.replace(" ", "")


def test_numbers_that_crowd_are_spread_and_stay_in_order() -> None:
    wanted = [0.0, 0.5, 1.0, 20.0, 20.1, 60.0]
    placed = spread(wanted, 3.0, -1.0, 62.0)
    assert np.diff(placed).min() >= 3.0 - 1e-9
    assert (min(placed), placed[-1]) == (pytest.approx(-1.0), 60.0)
    assert placed[3:5] == pytest.approx([18.55, 21.55])
    assert spread([], 3.0, 0.0, 10.0) == []


# --- true to scale ---------------------------------------------------------------------------------------------------

@cache
def template_pages(name: str) -> list[NDArray[np.uint8]]:
    """Pages with templates at ten pixels a millimetre, grey, the top row first."""
    document = pypdfium2.PdfDocument(sheet(name))
    found = [np.asarray(page.render(scale=SCALE, grayscale=True).to_numpy()).reshape(2970, 2100)
             for page, text in zip(document, texts(name), strict=True) if "This bar must measure 100 mm" in text]
    document.close()
    assert found
    return found


def runs(dark: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """(first, one past last) of every stretch of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], dark, [False]])))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


@pytest.mark.parametrize("name", NAMES)
def test_the_bar_is_100_mm(name: str) -> None:
    for page in template_pages(name):
        row = page[2970 - 273] < DARK  # the bar stands 27 mm over the page's edge and is half a mm high
        row[:150] = row[1950:] = False  # the corner crosses, in the margins
        [(first, last)] = runs(row)
        assert last - first == pytest.approx(1000, abs=1)
        ticks = runs(page[2970 - 282, first - 5:last + 5] < DARK)
        middles = np.array([(a + b) / 2 for a, b in ticks[1:-1]])
        assert np.diff(middles) == pytest.approx(np.full(8, 100.0), abs=1)
        assert ticks[-1][1] - ticks[0][0] == pytest.approx(1000, abs=1)


@pytest.mark.parametrize("name", NAMES)
def test_the_corner_crosses_stand_186_by_251_mm_apart(name: str) -> None:
    for page in template_pages(name):
        level = [runs(page[2970 - up - 2:2970 - up + 2, :].min(axis=0) < DARK + 60) for up in (240, 2750)]
        for found in level:
            left, right = found[0], found[-1]
            assert (right[0] + right[1] - left[0] - left[1]) / 2 == pytest.approx(1860, abs=1)
            assert right[1] - right[0] == pytest.approx(60, abs=2)
        upright = runs(page[:, 118:122].min(axis=1) < DARK + 60)
        top, bottom = upright[0], upright[-1]
        assert (bottom[0] + bottom[1] - top[0] - top[1]) / 2 == pytest.approx(2510, abs=1)


def bands_of_wood(page: NDArray[np.uint8], column: int) -> list[float]:
    """Rows (pixels, middle of the line) of dark full lines that a column crosses."""
    return [(a + b) / 2 for a, b in runs(page[:2700, column] < DARK) if b - a <= 4]


@pytest.mark.parametrize(("name", "part"), [("ramp", "right"), ("cradle", "right"), ("fingers", "front")])
def test_flanks_and_baseline_are_full_size(name: str, part: str) -> None:
    """Square across the face, the show face's flanks are level lines: their distances are the part's own."""
    slab = jobs()[name].assembly.part(part).slab
    x0, y0, _, _ = slab.bounds_mm()
    ring = slab.show_ring.points_mm
    flanks = [i for i, edge in enumerate(slab.edges) if edge.place is Place.FLANK and edge.name.startswith("left.")]
    wanted = np.sort(np.array([ring[i, 1] for i in flanks]) - y0)
    depth_mm = max(abs(float(ring[i, 0] - x0)) for i in [*flanks, *((i + 1) % len(ring) for i in flanks)])
    end_column = round((MARGIN_SIDE_MM + 19) * PX_MM)  # the left end stands 19 mm inside the text's left edge
    page, lines = next((page, found) for page in template_pages(name)
                       for found in [_matching_lines(page, end_column + 25, wanted)] if found is not None)
    assert np.array(lines) - lines[0] == pytest.approx((wanted - wanted[0]) * PX_MM, abs=1)
    uprights = _tips_and_floors(page, lines, end_column)
    assert min(uprights) == pytest.approx(end_column, abs=1)
    assert max(uprights) - min(uprights) == pytest.approx(depth_mm * PX_MM, abs=1)
    assert all(abs(first - second) > depth_mm for first, second in zip(uprights, uprights[1:], strict=False))  # tip, floor, tip, ...


def _matching_lines(page: NDArray[np.uint8], column: int, wanted: NDArray[np.float64]) -> list[float] | None:
    """Heights over the page's edge (pixels, rising) of level lines in a column whose distances are the wanted ones."""
    heights = sorted(2970 - row for row in bands_of_wood(page, column))
    pattern = (wanted - wanted[0]) * PX_MM
    for start in heights:
        found = [min(heights, key=lambda each, goal=start + step: abs(each - goal)) for step in pattern]
        if np.abs(np.array(found) - start - pattern).max() <= 1.0:
            return found
    return None


def _tips_and_floors(page: NDArray[np.uint8], lines: list[float], end_column: int) -> list[float]:
    """First upright dark line in the middle of every stretch between neighbouring flanks: a tip or a floor."""
    found: list[float] = []
    for low, high in zip(lines, lines[1:], strict=False):
        row = round(2970 - (low + high) / 2)
        a, b = runs(page[row, end_column - 5:end_column + 300] < DARK)[0]
        found.append((a + b) / 2 + end_column - 5)
    return found


def test_the_outside_size_is_the_piece_file_s_own() -> None:
    flush, proud_mm = outside_mm(jobs()["ramp"].assembly)
    assert flush == pytest.approx([230.0, 90.0, 42.0])
    assert proud_mm == pytest.approx(0.2)


def test_the_outside_counts_lids_and_lowered_walls_as_they_are() -> None:
    size, proud_mm = outside_mm(jobs()["hinged"].assembly)
    assert size == pytest.approx([180.0, 110.0, 60.0])
    assert proud_mm == pytest.approx(0.2)
    assert "180 × 110 × 60" in texts("hinged")[0]


def test_cautions_come_before_the_notes_and_on_the_first_page() -> None:
    first = texts("hinged")[0]
    assert 0 < first.index("CAUTIONS") < first.index("Mind this")


def test_templates_tell_every_hollow_and_panels_have_no_baselines() -> None:
    told = whole("hinged")
    assert "groove for the bottom: inner face, 2 mm deep, " in told
    assert "hole for a pin: right through, " in told
    assert "baselines 0 mm" not in told
    assert "6 mm thick no joints at its ends" in told
    assert "housing for cross-1: inner face, 2 mm deep, " in whole("divided")


def test_a_tall_board_goes_on_on_the_next_page() -> None:
    part = jobs()["tall"].assembly.part("front")
    bands = bands_mm(part)
    assert len(bands) > 1
    assert bands[0][0] == 0
    assert bands[-1][1] == pytest.approx(330.0)
    assert all(before[1] - after[0] == pytest.approx(10.0) for before, after in zip(bands, bands[1:], strict=False))
    assert f"match line {bands[0][1]:.0f} over the bottom edge" in whole("tall")


def test_gaps_in_words_follow_what_an_eye_sees() -> None:
    sees_mm = 300 * math.tan(math.radians(1 / 60))
    assert sees_mm == pytest.approx(0.0873, abs=1e-4)  # one minute of arc at 300 mm: own arithmetic
    words = [gap_word(gap_mm) for gap_mm in (-0.1, 0.0, 0.49 * sees_mm, 0.51 * sees_mm, 1.49 * sees_mm, 1.51 * sees_mm)]
    assert words == ["shut", "shut", "shut", "hairline", "hairline", "visible"]


# --- the file itself -------------------------------------------------------------------------------------------------

def test_pages_are_a4_and_the_type_is_embedded() -> None:
    document = pypdfium2.PdfDocument(sheet("ramp"))
    for i in range(len(document)):
        assert document.get_page_size(i) == pytest.approx((210 * PT_MM, 297 * PT_MM), abs=1e-3)
    assert [mark.get_title() for mark in document.get_toc()][:3] == ["Overview", "Boards", "Setup 1"]
    assert sheet("ramp").count(b"/FontFile2") == 3
    assert b"/CreationDate (D:20000101" in sheet("ramp")


@pytest.mark.parametrize("name", NAMES)
def test_two_runs_are_byte_equal(name: str) -> None:
    [again] = EXPORTER.files(jobs()[name])
    assert again.data == sheet(name)


def test_another_process_writes_the_same_bytes() -> None:
    script = ("import hashlib\nfrom sheet_samples import jobs\nfrom kerfwright.export.formats.bench_sheet import EXPORTER\n"
              "print(hashlib.sha256(next(iter(EXPORTER.files(jobs()['cradle']))).data).hexdigest())")
    here = Path(__file__).resolve().parents[1]
    env = os.environ | {"PYTHONHASHSEED": "7", "PYTHONPATH": os.pathsep.join([str(here), *filter(None, sys.path)])}
    told = subprocess.run([sys.executable, "-c", script], env=env, capture_output=True, text=True, check=True)
    assert told.stdout.strip() == hashlib.sha256(sheet("cradle")).hexdigest()


def test_it_is_quick() -> None:
    """Half a second for a box of four boards on two quiet cores; twice that leaves room for a busy machine."""
    spent: list[float] = []
    for _ in range(3):
        began = time.process_time()
        next(iter(EXPORTER.files(jobs()["ramp"])))
        spent.append(time.process_time() - began)
    assert min(spent) < 1.0

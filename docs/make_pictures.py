"""Make every picture of the README and the docs again, by calling the program itself: python docs/make_pictures.py [NAME ...]

Needs the test extras (an SVG renderer) and pdftoppm (poppler-utils) for the page of the bench sheet.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parent))
import diagrams
import run_pages

from kerfwright.app import verdicts, workflow
from kerfwright.app.layout import lay_out_piece
from kerfwright.core.document import read_toml
from kerfwright.export.corner_look import corner_look
from kerfwright.export.layout_picture import layout_picture
from kerfwright.export.piece_picture import piece_png
from kerfwright.export.verdict_json import read_verdict
from kerfwright.export.wood_colour import parse_colour, part_colours
from kerfwright.pieces.carcass import build_carcass
from kerfwright.pieces.lids import fit_lid, lowered_by
from kerfwright.pieces.piece import piece_from
from kerfwright.process.job import Job
from kerfwright.wood.species import find_species

FOLDER = Path(__file__).resolve().parent / "pictures"
MOST_BYTES = 150_000


class Workbench:
    """The demo shop and its job folders in a temporary place, each made when first asked for."""

    def __init__(self, folder: Path) -> None:
        self.shop = workflow.start(folder / "shop")
        self.made = cache(self._made)
        self.plots = cache(self._plots)
        self.judged = cache(self._judged)

    def _made(self, piece: str) -> workflow.Made:
        return workflow.make(self.shop / piece / "piece.toml")

    def _plots(self) -> dict[str, bytes]:
        """Fit plots of the tutorial's invented machine, by file name: what its page makes with --plots."""
        with run_pages.fresh_folder():
            run_pages.run_page(FOLDER.parent / "tutorials" / "first-coupon.md")
            return {path.name: path.read_bytes() for path in Path("shop/plots").glob("*.png")}

    def _judged(self) -> dict[str, bytes]:
        """Files of the full verdict of one corner of the pencil box, by name."""
        out = self.shop / "judged"
        verdicts.verdict(self.folder("pencil-box"), tier="full", corner="front-right", out=out, readings=False)
        return {path.name: path.read_bytes() for path in out.iterdir()}

    def job(self, piece: str) -> Job:
        """The planned job."""
        return self.made(piece).job

    def folder(self, piece: str) -> Path:
        """The job folder."""
        folder = self.made(piece).folder
        assert folder is not None
        return folder


def piece(name: str, width: int, height: int, apart_mm: float) -> Callable[[Workbench], Image.Image]:
    """A view of the whole piece."""

    def draw(bench: Workbench) -> Image.Image:
        job = bench.job(name)
        return _opened(piece_png(job.assembly, part_colours(job), width, height, apart_mm))

    return draw


def opened(bench: Workbench) -> Image.Image:
    """The button box with its lid as far open as it goes."""
    document: Any = piece_from(read_toml(bench.shop / "button-box" / "piece.toml"), "button-box")
    job = bench.job("button-box")
    thickness_mm = {name: board.thickness_mm for name, board in job.boards.items()}
    carcass = build_carcass(document, thickness_mm, lowered_by(document.lid, thickness_mm))
    way = fit_lid(carcass, document.lid, thickness_mm, job.boards).travel.at(1.0)
    lid = job.assembly.part("lid")
    others = tuple(part for part in job.assembly.parts if part is not lid)
    parts = (*others, replace(lid, assembly_from_part=way @ lid.assembly_from_part))
    return _opened(piece_png(replace(job.assembly, parts=parts), part_colours(job), 900, 640, 0.0))


def corner(bench: Workbench) -> Image.Image:
    """Front and right boards of the pencil box near their corner, a little apart."""
    job = bench.job("pencil-box")
    near = replace(job.assembly, parts=tuple(part for part in job.assembly.parts if part.name in ("front", "right")))
    whole = _opened(piece_png(near, part_colours(job), 2600, 1500, 9.0, (38.0, 24.0)))
    dark = np.array(whole.convert("L")) < 250
    columns, rows = np.nonzero(dark.any(axis=0))[0], np.nonzero(dark.any(axis=1))[0]
    width, height = columns[-1] - columns[0], rows[-1] - rows[0]
    left = columns[0] + 0.40 * width
    box = (left, rows[0] + 0.25 * height, left + 0.46 * width, rows[0] + 1.02 * height)
    return whole.crop(tuple(int(each) for each in box)).resize((900, int(900 * (box[3] - box[1]) / (box[2] - box[0]))))


def look(name: str, stem: str) -> Callable[[Workbench], Image.Image]:
    """A setup's look picture as it stands in the job folder."""
    return lambda bench: _rendered((bench.folder(name) / "setups" / f"{stem}-look.svg").read_text(encoding="utf-8"), 1300)


def sheet_page(name: str, words: str) -> Callable[[Workbench], Image.Image]:
    """The bench sheet's first page that holds these words."""

    def draw(bench: Workbench) -> Image.Image:
        if shutil.which("pdftoppm") is None:
            raise SystemExit("pdftoppm is missing: install poppler-utils")
        pdf = str(bench.folder(name) / "bench-sheet.pdf")
        told = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True).stdout
        number = next(i for i, page in enumerate(told.split("\f"), start=1) if re.search(words, page))
        command = ["pdftoppm", "-r", "90", "-f", str(number), "-l", str(number), "-png", pdf]
        return _framed(_opened(subprocess.run(command, capture_output=True, check=True).stdout))

    return draw


def grey_ramp(bench: Workbench) -> Image.Image:
    """A corner of the 8 bit grey picture, each pixel drawn seven times as large."""
    grey = Image.open(bench.folder("pencil-box") / "setups" / "02-right-ramp-a-grey8.png")
    part = grey.crop((0, 0, 120, 40))
    return _framed(part.resize((part.width * 7, part.height * 7), Image.Resampling.NEAREST).convert("RGB"))


def grey_chart(bench: Workbench) -> Image.Image:
    """The chart, its lines averaged to an even grey."""
    chart = Image.open(bench.folder("pencil-box") / "ramp-grey-chart.png").convert("L")
    return _framed(chart.resize((900, round(900 * chart.height / chart.width)), Image.Resampling.BOX).convert("RGB"))


def fit(plot: str) -> Callable[[Workbench], Image.Image]:
    """A fit of the tutorial."""
    return lambda bench: _opened(bench.plots()[f"{plot}.png"])


def verdict_sheet(bench: Workbench) -> Image.Image:
    """One corner's sheet. Wood takes the most common colours, the rest of the sheet the rarest: there they mean something."""
    sheet = _narrower(_opened(bench.judged()["verdict-front-right.png"]), 1200)
    wood = (0, int(0.27 * sheet.height), int(0.39 * sheet.width), sheet.height)
    look = sheet.crop(wood).quantize(72, dither=Image.Dither.NONE).convert("RGB")
    whole = sheet.quantize(128, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE).convert("RGB")
    whole.paste(look, wood[:2])
    return whole


def socket(bench: Workbench) -> Image.Image:
    """A socket as the full tier burnt it."""
    return _narrower(_opened(bench.judged()["socket-front-right.png"]), 560)


def light_and_dark(bench: Workbench) -> Image.Image:
    """The same gaps in maple and in walnut with maple pins."""
    judged = read_verdict(bench.judged()["verdict.json"].decode())
    parts = {part.name: part for part in bench.job("pencil-box").assembly.parts}
    maple, walnut = (parse_colour(find_species(name).colour) for name in ("sugar maple", "black walnut"))
    both = Image.new("RGB", (1000, 600), "white")
    for k, tails in enumerate((maple, walnut)):
        both.paste(Image.fromarray(corner_look(judged.corners[0], parts, {"front": tails, "right": maple}, 500, 600)), (500 * k, 0))
    return both


def diagram(draw: Callable[..., diagrams.Page], needs_shop: bool = False, width: int = 1300) -> Callable[[Workbench], Image.Image]:
    """A drawing of an idea."""
    return lambda bench: _rendered((draw(bench.shop) if needs_shop else draw()).text(), width)


def laid_out(bench: Workbench) -> Image.Image:
    """Parts on the demo's own boards: the how-to's first layout."""
    laid = lay_out_piece(bench.shop / "button-box", bench.shop / "rack", think_s=4)
    return _rendered(layout_picture(laid.layout, f"{laid.piece}: parts on boards").decode(), 1000)


PICTURES: dict[str, Callable[[Workbench], Image.Image]] = {
    "pencil-box-apart": piece("pencil-box", 1000, 560, 26.0),
    "pencil-box-corner": corner,
    "keepsake-box": piece("keepsake-box", 640, 420, 0.0),
    "tool-tray": piece("tool-tray", 640, 420, 0.0),
    "button-box-open": opened,
    "button-box-apart": piece("button-box", 1000, 600, 26.0),
    "shop-drawer-apart": piece("shop-drawer", 900, 560, 30.0),
    "bit-tray": piece("bit-tray", 640, 420, 0.0),
    "bit-tray-apart": piece("bit-tray", 900, 600, 30.0),
    "template-hollows": sheet_page("button-box", r"hole for a pin"),
    "look-ramp": look("pencil-box", "02-right-ramp"),
    "look-tilted": look("keepsake-box", "05-right-tilt-2"),
    "sheet-setup": sheet_page("pencil-box", r"[Rr]ight: sloped walls as ramps\n"),
    "kerf-profile": diagram(diagrams.kerf_profile, True, 1100),
    "ramp-section": diagram(diagrams.ramp_section, True, 1100),
    "three-ways": diagram(diagrams.three_ways),
    "layouts": diagram(diagrams.layouts),
    "vernier": diagram(diagrams.vernier, width=1000),
    "cradle": diagram(diagrams.cradle),
    "seen-lines": diagram(diagrams.seen_lines, width=1100),
    "grey-ramp": grey_ramp,
    "grey-chart": grey_chart,
    "verdict-sheet": verdict_sheet,
    "corner-light-dark": light_and_dark,
    "burnt-socket": socket,
    "laid-out": laid_out,
    "fit-through": fit("through-1"),
    "fit-kerf": fit("kerf-1"),
    "fit-ramp": fit("ramp-1"),
    "fit-wall": fit("wall-1"),
}


def _narrower(picture: Image.Image, width: int) -> Image.Image:
    return picture.resize((width, round(width * picture.height / picture.width)), Image.Resampling.LANCZOS)


def _opened(png: bytes) -> Image.Image:
    return Image.open(io.BytesIO(png)).convert("RGB")


def _rendered(svg: str, width_px: int) -> Image.Image:
    from resvg_py import svg_to_bytes

    found = re.search(r'width="([\d.]+)mm"', svg)
    assert found is not None
    return _opened(bytes(svg_to_bytes(svg_string=svg, dpi=25.4 * width_px / float(found[1]))))


def _framed(picture: Image.Image) -> Image.Image:
    framed = Image.new("RGB", (picture.width + 4, picture.height + 4), "#b9b2a4")
    framed.paste(picture, (2, 2))
    return framed


def saved(picture: Image.Image, path: Path) -> int:
    """Write with as many colours as the size allows; its bytes."""
    for n_colours in (256, 128, 64, 32):
        file = io.BytesIO()
        picture.quantize(n_colours, dither=Image.Dither.NONE).save(file, "PNG", optimize=True)
        if len(file.getvalue()) <= MOST_BYTES:
            break
    else:
        raise SystemExit(f"{path.name} is larger than {MOST_BYTES} bytes: draw it smaller")
    path.write_bytes(file.getvalue())
    return len(file.getvalue())


def main(names: list[str]) -> int:
    """Make the named pictures, or all."""
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        bench = Workbench(Path(folder))
        for name in names or PICTURES:
            size = saved(PICTURES[name](bench), FOLDER / f"{name}.png")
            print(f"docs/pictures/{name}.png  {size / 1000:.0f} kB")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

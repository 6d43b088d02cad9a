"""The one door to the PDF library: pages in millimetres, y up from the bottom left corner, fonts embedded."""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Generator
from contextlib import contextmanager
from functools import cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kerfwright.export.sheet.style import MM_PER_PT, PAGE_HEIGHT_MM, PAGE_WIDTH_MM, Stroke, TextStyle

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]
Align = Literal["left", "centre", "right"]

# The PDF library ships these faces with a licence that lets them be embedded.
_FILES = {"regular": "Vera.ttf", "bold": "VeraBd.ttf", "italic": "VeraIt.ttf"}
_SPELLED = {"→": "to", "←": "from", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "′": "'", "″": '"', "‐": "-", "‑": "-"}
NO_BREAK = "\u00a0"  # a space that a line never ends at
_BARB_MM = (1.8, 0.55)  # length and half width of an arrow head


@cache
def _fonts() -> dict[str, Any]:
    """The embedded faces by name, registered once."""
    from reportlab.pdfbase.pdfmetrics import registerFont  # pyright: ignore[reportMissingTypeStubs, reportUnknownVariableType]
    from reportlab.pdfbase.ttfonts import TTFont  # pyright: ignore[reportMissingTypeStubs]

    fonts: dict[str, Any] = {}
    for face, file in _FILES.items():
        fonts[face] = TTFont(f"sheet-{face}", file)
        registerFont(fonts[face])
    return fonts


@cache
def _colour(text: str) -> Any:
    """A colour of the library's own from ``#rrggbb``."""
    from reportlab.lib.colors import HexColor  # pyright: ignore[reportMissingTypeStubs, reportUnknownVariableType]

    return HexColor(text)


@cache
def _advances(face: str) -> dict[int, float]:
    """Width of every glyph of a face, in thousandths of the type size, by code point."""
    return dict(_fonts()[face].face.charWidths)


@cache
def printable(text: str) -> str:
    """The text with signs that the faces lack spelled another way, or shown as a question mark."""
    known = _advances("regular")
    found: list[str] = []
    for sign in text:
        if sign.isspace() and sign != NO_BREAK:
            sign = " "
        spelled = sign if ord(sign) in known else _SPELLED.get(sign) or unicodedata.normalize("NFKD", sign)
        kept = "".join(each for each in spelled if ord(each) in known and (each.isprintable() or each == NO_BREAK))
        found.append(kept or ("" if unicodedata.category(sign)[0] in "MC" else "?"))
    return "".join(found)


@cache
def text_width_mm(text: str, style: TextStyle) -> float:
    """Width of one line of text."""
    advances = _advances(style.face)
    return sum(advances[ord(sign)] for sign in printable(text)) / 1000 * style.size_mm


class Paper:
    """A PDF being drawn, page after page. Every length in mm."""

    def __init__(self, title: str) -> None:
        from reportlab.pdfgen.canvas import Canvas  # pyright: ignore[reportMissingTypeStubs]

        _fonts()
        self._bytes = io.BytesIO()
        size_pt = (PAGE_WIDTH_MM / MM_PER_PT, PAGE_HEIGHT_MM / MM_PER_PT)
        # invariant: no clock and no random id, so that two runs agree byte for byte
        self._canvas: Any = Canvas(self._bytes, pagesize=size_pt, invariant=1, pageCompression=1)
        self._canvas.setTitle(printable(title))
        self._canvas.setCreator("kerfwright")
        self._begin()

    def _begin(self) -> None:
        self._canvas.scale(1 / MM_PER_PT, 1 / MM_PER_PT)
        self._canvas.setLineCap(0)
        self._canvas.setLineJoin(1)

    def next_page(self) -> None:
        """Finish this page and begin another."""
        self._canvas.showPage()
        self._begin()

    def finish(self) -> bytes:
        """Finish the last page; the whole file."""
        self._canvas.showPage()
        self._canvas.save()
        return self._bytes.getvalue()

    def bookmark(self, title: str, key: str) -> None:
        """An entry of the outline that a viewer shows, pointing at this page."""
        self._canvas.bookmarkPage(key)
        self._canvas.addOutlineEntry(printable(title), key)

    def text(self, x_mm: float, y_mm: float, words: str, style: TextStyle, align: Align = "left", turn_deg: float = 0.0) -> None:
        """One line of text, its baseline at y; turn_deg counter-clockwise about (x, y)."""
        shown = printable(words)
        if not shown:
            return
        share = {"left": 0.0, "centre": 0.5, "right": 1.0}[align]
        shift_mm = -share * text_width_mm(words, style)
        canvas = self._canvas
        canvas.setFillColor(_colour(style.colour))
        canvas.setFont(_fonts()[style.face].fontName, style.size_mm)
        if turn_deg:
            canvas.saveState()
            canvas.translate(x_mm, y_mm)
            canvas.rotate(turn_deg)
            canvas.drawString(shift_mm, 0, shown)
            canvas.restoreState()
        else:
            canvas.drawString(x_mm + shift_mm, y_mm, shown)

    def path(self, points_mm: Array, stroke: Stroke | None = None, fill: str | None = None, closed: bool = False) -> None:
        """A polyline or polygon through (n, 2) points."""
        canvas = self._canvas
        path = canvas.beginPath()
        x_y: list[list[float]] = points_mm.tolist()
        path.moveTo(*x_y[0])
        for each in x_y[1:]:
            path.lineTo(*each)
        if closed:
            path.close()
        self._ready(stroke, fill)
        canvas.drawPath(path, stroke=int(stroke is not None), fill=int(fill is not None))

    def lines(self, pairs_mm: Array, stroke: Stroke) -> None:
        """Many straight lines at once. pairs_mm: (n, 2, 2)."""
        self._ready(stroke, None)
        self._canvas.lines([(*a, *b) for a, b in pairs_mm.tolist()])

    def line(self, x0_mm: float, y0_mm: float, x1_mm: float, y1_mm: float, stroke: Stroke) -> None:
        """One straight line."""
        self._ready(stroke, None)
        self._canvas.line(x0_mm, y0_mm, x1_mm, y1_mm)

    def rectangle(self, x_mm: float, y_mm: float, width_mm: float, height_mm: float, stroke: Stroke | None = None,
                  fill: str | None = None, round_mm: float = 0.0) -> None:
        """A rectangle from its lower left corner."""
        self._ready(stroke, fill)
        inked, filled = int(stroke is not None), int(fill is not None)
        if round_mm:
            self._canvas.roundRect(x_mm, y_mm, width_mm, height_mm, round_mm, stroke=inked, fill=filled)
        else:
            self._canvas.rect(x_mm, y_mm, width_mm, height_mm, stroke=inked, fill=filled)

    def circle(self, x_mm: float, y_mm: float, radius_mm: float, stroke: Stroke | None = None, fill: str | None = None) -> None:
        """A circle."""
        self._ready(stroke, fill)
        self._canvas.circle(x_mm, y_mm, radius_mm, stroke=int(stroke is not None), fill=int(fill is not None))

    def arrow(self, x0_mm: float, y0_mm: float, x1_mm: float, y1_mm: float, stroke: Stroke, both: bool = False) -> None:
        """A line with a filled head at its end (at both ends for a dimension)."""
        along = np.array([x1_mm - x0_mm, y1_mm - y0_mm])
        along = along / max(float(np.hypot(*along)), 1e-9)
        across = np.array([-along[1], along[0]])
        self.line(x0_mm, y0_mm, x1_mm, y1_mm, stroke)
        for x, y, way in ((x1_mm, y1_mm, along), (x0_mm, y0_mm, -along)) if both else ((x1_mm, y1_mm, along),):
            foot = np.array([x, y]) - _BARB_MM[0] * way
            head = np.array([[x, y], foot + _BARB_MM[1] * across, foot - _BARB_MM[1] * across])
            self.path(head, fill=stroke.colour, closed=True)

    def picture(self, pixels: Picture, x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> None:
        """A picture, (h, w, 3), its lower left corner at (x, y)."""
        from PIL import Image
        from reportlab import rl_config  # pyright: ignore[reportMissingTypeStubs, reportUnknownVariableType]
        from reportlab.lib.utils import ImageReader  # pyright: ignore[reportMissingTypeStubs, reportUnknownVariableType]

        settings: Any = rl_config
        before = settings.useA85
        settings.useA85 = 0  # plain bytes: spelling them in ASCII takes longer than drawing the picture
        try:
            self._canvas.drawImage(ImageReader(Image.fromarray(pixels)), x_mm, y_mm, width_mm, height_mm)
        finally:
            settings.useA85 = before

    @contextmanager
    def clipped(self, x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> Generator[None]:
        """What is drawn meanwhile shows only inside this rectangle."""
        self._canvas.saveState()
        window = self._canvas.beginPath()
        window.rect(x_mm, y_mm, width_mm, height_mm)
        self._canvas.clipPath(window, stroke=0, fill=0)
        yield
        self._canvas.restoreState()

    def _ready(self, stroke: Stroke | None, fill: str | None) -> None:
        if stroke is not None:
            self._canvas.setStrokeColor(_colour(stroke.colour))
            self._canvas.setLineWidth(stroke.width_mm)
            self._canvas.setDash(list(stroke.dash_mm))
        if fill is not None:
            self._canvas.setFillColor(_colour(fill))

"""How the bench sheet looks: type, colours, line styles and the page's measures.

Two accents beside black and grey: a blue for what the person sets and reads, an ochre for cautions. They differ in
lightness as well as in hue, and nothing rests on colour alone: every mark carries a word or a shape too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

PAGE_WIDTH_MM, PAGE_HEIGHT_MM = 210.0, 297.0  # ISO 216 A4, portrait
MARGIN_SIDE_MM, MARGIN_TOP_MM, MARGIN_BOTTOM_MM = 18.0, 24.0, 18.0
TEXT_WIDTH_MM = PAGE_WIDTH_MM - 2 * MARGIN_SIDE_MM
MM_PER_PT = 25.4 / 72  # a PDF unit is 1/72 inch (ISO 32000, default user space)

BLACK = "#22262b"
GREY = "#5c636b"
RULE = "#c6cbd1"
TINT = "#f4f5f3"
BLUE = "#155f87"
BLUE_TINT = "#eaf2f7"
OCHRE = "#b9770e"
OCHRE_TINT = "#fbf4e6"
WOOD = "#f3e7d3"
WOOD_EDGE = "#9a7b4f"
WASTE = "#fbf7ef"
WHITE = "#ffffff"


@dataclass(frozen=True)
class TextStyle:
    """face: ``regular``, ``bold`` or ``italic``. leading_mm: from one line of a paragraph to the next."""

    face: str
    size_pt: float
    colour: str = BLACK

    @property
    def size_mm(self) -> float:
        """Type size on paper."""
        return self.size_pt * MM_PER_PT

    @property
    def leading_mm(self) -> float:
        """Line to line."""
        return 1.38 * self.size_mm

    @property
    def rise_mm(self) -> float:
        """From the top of a line down to its baseline."""
        return 1.05 * self.size_mm

    def coloured(self, colour: str) -> TextStyle:
        """The same type in another colour."""
        return replace(self, colour=colour)


TITLE = TextStyle("bold", 25)
CHAPTER = TextStyle("bold", 16)
HEADING = TextStyle("bold", 11, BLUE)
BODY = TextStyle("regular", 9.5)
STRONG = TextStyle("bold", 9.5)
ASIDE = TextStyle("italic", 9.5, GREY)
QUIET = TextStyle("regular", 9.5, GREY)
FIGURE = TextStyle("bold", 12)
LABEL = TextStyle("regular", 8.5, GREY)  # inside drawings and over table columns only
LABEL_STRONG = TextStyle("bold", 8.5)


@dataclass(frozen=True)
class Stroke:
    """A line. dash_mm: lengths on and off, empty for a full line."""

    colour: str = BLACK
    width_mm: float = 0.25
    dash_mm: tuple[float, ...] = ()


HAIR = Stroke(GREY, 0.15)
THIN = Stroke(BLACK, 0.25)
BOLD = Stroke(BLACK, 0.5)
RULE_LINE = Stroke(RULE, 0.2)
HIDDEN = Stroke(BLACK, 0.2, (1.2, 0.8))

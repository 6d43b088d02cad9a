"""What a page is stacked from: each block knows its height at a width and how to draw itself from its top down."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from kerfwright.export.sheet.paper import Paper, printable, text_width_mm
from kerfwright.export.sheet.style import ASIDE, BLACK, BODY, CHAPTER, HEADING, LABEL, RULE_LINE, STRONG, TITLE, Stroke, TextStyle

Draw = Callable[[Paper, float, float, float], None]  # paper, left, top and width in mm


class Block:
    """Base of every block. keep: stays on the page of the block below it."""

    keep: bool = False

    def height_mm(self, width_mm: float) -> float:
        """Height taken at a width."""
        raise NotImplementedError

    def draw(self, paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
        """Draw from the top left corner down."""
        raise NotImplementedError

    def least_mm(self, width_mm: float) -> float:
        """Height of the smallest part of it that may stand at the foot of a page."""
        return self.height_mm(width_mm)

    def split(self, width_mm: float, room_mm: float) -> tuple[Block, Block] | None:
        """A first part that fits the room and the rest, or None when it must stay whole."""
        return None


@dataclass(frozen=True)
class Run:
    """Words in one style."""

    words: str
    style: TextStyle = BODY


def strong(words: str) -> Run:
    """Bold words."""
    return Run(words, STRONG)


@cache
def wrapped(runs: tuple[Run, ...], width_mm: float) -> tuple[tuple[Run, ...], ...]:
    """Lines of a paragraph, none wider than the width; a word too long for a line is broken."""
    lines: list[list[Run]] = [[]]
    used_mm = 0.0
    glued = False  # the next word follows the last without a space
    for run in runs:
        glued = glued and not run.words[:1].isspace()
        for word in filter(None, printable(run.words).split(" ")):
            gap_mm = 0.0 if glued or not lines[-1] else text_width_mm(" ", run.style)
            for piece in _pieces(word, run.style, width_mm):
                wide_mm = text_width_mm(piece, run.style)
                if lines[-1] and used_mm + gap_mm + wide_mm > width_mm + 1e-6:
                    lines.append([])
                    used_mm, gap_mm = 0.0, 0.0
                lines[-1].append(Run((" " if gap_mm else "") + piece, run.style))
                used_mm += gap_mm + wide_mm
            glued = False
        glued = not run.words[-1:].isspace()
    return tuple(tuple(line) for line in lines)


def _pieces(word: str, style: TextStyle, width_mm: float) -> list[str]:
    if text_width_mm(word, style) <= width_mm:
        return [word]
    pieces = [""]
    for sign in word:
        if pieces[-1] and text_width_mm(pieces[-1] + sign, style) > width_mm:
            pieces.append("")
        pieces[-1] += sign
    return pieces


@dataclass(frozen=True)
class Words(Block):
    """A paragraph of runs. after_mm: white below it."""

    runs: tuple[Run, ...]
    after_mm: float = 1.6
    keep: bool = False

    @property
    def _style(self) -> TextStyle:
        return max((run.style for run in self.runs), key=lambda style: style.size_pt)

    def height_mm(self, width_mm: float) -> float:
        """All lines and the white below."""
        return len(wrapped(self.runs, width_mm)) * self._style.leading_mm + self.after_mm

    def natural_width_mm(self) -> float:
        """Width of the paragraph on one line."""
        return sum(text_width_mm(run.words, run.style) for run in self.runs)

    def draw(self, paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
        """Line under line."""
        style = self._style
        for i, line in enumerate(wrapped(self.runs, width_mm)):
            at_mm = x_mm
            for run in _joined(line):
                paper.text(at_mm, top_mm - style.rise_mm - i * style.leading_mm, run.words, run.style)
                at_mm += text_width_mm(run.words, run.style)


def _joined(line: tuple[Run, ...]) -> list[Run]:
    """Neighbours of one style as one run, so that a reader of the file finds whole lines. A leading space becomes a shift."""
    joined: list[Run] = []
    for run in line:
        if joined and joined[-1].style == run.style:
            joined[-1] = Run(joined[-1].words + run.words, run.style)
        else:
            joined.append(run)
    return [Run((" " if i and run.words.startswith(" ") else "") + run.words.strip(" "), run.style) for i, run in enumerate(joined)]


def words(*parts: str | Run, style: TextStyle = BODY, after_mm: float = 1.6, keep: bool = False) -> Words:
    """A paragraph from plain text and runs."""
    return Words(tuple(part if isinstance(part, Run) else Run(part, style) for part in parts), after_mm, keep)


def title(text: str) -> Words:
    """The title of the sheet."""
    return words(text, style=TITLE, after_mm=0.5, keep=True)


def chapter(text: str) -> Words:
    """The title of a page."""
    return words(text, style=CHAPTER, after_mm=1.5, keep=True)


def heading(text: str) -> Stack:
    """The title of a part of a page."""
    return Stack((Gap(3.0), words(text, style=HEADING, after_mm=1.2)), keep=True)


def aside(text: str, after_mm: float = 1.6) -> Words:
    """A quiet remark."""
    return words(text, style=ASIDE, after_mm=after_mm)


@dataclass(frozen=True)
class Gap(Block):
    """White."""

    size_mm: float

    def height_mm(self, width_mm: float) -> float:
        """The white."""
        return self.size_mm

    def draw(self, paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
        """Nothing."""


@dataclass(frozen=True)
class Item(Block):
    """A line with a mark before it: a box to tick, or a bullet."""

    body: Words
    box: bool = True

    def height_mm(self, width_mm: float) -> float:
        """As high as its words."""
        return self.body.height_mm(width_mm - self._indent_mm)

    @property
    def _indent_mm(self) -> float:
        return 6.0 if self.box else 3.6

    def draw(self, paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
        """The mark beside the first line."""
        middle_mm = top_mm - BODY.rise_mm + 0.36 * BODY.size_mm
        if self.box:
            paper.rectangle(x_mm, middle_mm - 1.6, 3.2, 3.2, Stroke(BLACK, 0.3))
        else:
            paper.circle(x_mm + 0.8, middle_mm, 0.55, fill=BLACK)
        self.body.draw(paper, x_mm + self._indent_mm, top_mm, width_mm - self._indent_mm)


def tick(*parts: str | Run) -> Item:
    """Something to do, with a box to tick."""
    return Item(words(*parts, after_mm=1.4))


def bullet(*parts: str | Run) -> Item:
    """One thing of a list."""
    return Item(words(*parts, after_mm=0.8), box=False)


@dataclass(frozen=True)
class Stack(Block):
    """Blocks one under another, never parted."""

    blocks: tuple[Block, ...]
    keep: bool = False

    def height_mm(self, width_mm: float) -> float:
        """The sum."""
        return sum(block.height_mm(width_mm) for block in self.blocks)

    def draw(self, paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
        """Each in turn."""
        for block in self.blocks:
            block.draw(paper, x_mm, top_mm, width_mm)
            top_mm -= block.height_mm(width_mm)


@dataclass(frozen=True)
class Columns(Block):
    """Blocks side by side. shares: of the width, one each."""

    blocks: tuple[Block, ...]
    shares: tuple[float, ...]
    gutter_mm: float = 6.0

    def _widths_mm(self, width_mm: float) -> list[float]:
        room_mm = width_mm - self.gutter_mm * (len(self.blocks) - 1)
        return [room_mm * share / sum(self.shares) for share in self.shares]

    def height_mm(self, width_mm: float) -> float:
        """The tallest."""
        return max(block.height_mm(each) for block, each in zip(self.blocks, self._widths_mm(width_mm), strict=True))

    def draw(self, paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
        """From left to right."""
        for block, each in zip(self.blocks, self._widths_mm(width_mm), strict=True):
            block.draw(paper, x_mm, top_mm, each)
            x_mm += each + self.gutter_mm


@dataclass(frozen=True)
class Framed(Block):
    """A tinted box with a bar of colour at its left."""

    inside: Block
    tint: str
    bar: str
    after_mm: float = 3.0
    pad_mm: float = 3.5

    def height_mm(self, width_mm: float) -> float:
        """The inside, its padding and the white below."""
        return self.inside.height_mm(width_mm - 2 * self.pad_mm - 1.2) + 2 * self.pad_mm - 1.2 + self.after_mm

    def draw(self, paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
        """Tint, bar, inside."""
        high_mm = self.height_mm(width_mm) - self.after_mm
        paper.rectangle(x_mm, top_mm - high_mm, width_mm, high_mm, fill=self.tint)
        paper.rectangle(x_mm, top_mm - high_mm, 1.2, high_mm, fill=self.bar)
        self.inside.draw(paper, x_mm + 1.2 + self.pad_mm, top_mm - self.pad_mm, width_mm - 2 * self.pad_mm - 1.2)


@dataclass(frozen=True, eq=False)
class Figure(Block):
    """A drawing of a fixed height, with a caption."""

    size_mm: float
    picture: Draw
    caption: str = ""
    keep: bool = False

    def height_mm(self, width_mm: float) -> float:
        """Drawing and caption."""
        return self.size_mm + (len(self._lines(width_mm)) * LABEL.leading_mm + 1.5 if self.caption else 0.0)

    def _lines(self, width_mm: float) -> tuple[tuple[Run, ...], ...]:
        return wrapped((Run(self.caption, LABEL),), width_mm)

    def draw(self, paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
        """The drawing, then its caption."""
        self.picture(paper, x_mm, top_mm, width_mm)
        if self.caption:
            words(self.caption, style=LABEL).draw(paper, x_mm, top_mm - self.size_mm, width_mm)


class Line(Block):
    """A thin rule across the page."""

    def height_mm(self, width_mm: float) -> float:
        """With white above and below."""
        return 5.0

    def draw(self, paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
        """The rule."""
        paper.line(x_mm, top_mm - 2.5, x_mm + width_mm, top_mm - 2.5, RULE_LINE)

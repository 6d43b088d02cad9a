"""The few pieces of SVG that both the burn file and the picture to look at are made of. The only place where y turns down."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.export.wording import number

Array = NDArray[np.float64]

SVG_SPACE = "http://www.w3.org/2000/svg"  # the namespace name that the standard asks for


@dataclass(frozen=True)
class Window:
    """The part of the bed that is drawn, in bed mm. SVG's y runs down from ``top_mm``."""

    left_mm: float
    bottom_mm: float
    right_mm: float
    top_mm: float

    @property
    def width_mm(self) -> float:
        """Across."""
        return self.right_mm - self.left_mm

    @property
    def height_mm(self) -> float:
        """Up the page."""
        return self.top_mm - self.bottom_mm

    def page(self, points_mm: Array) -> Array:
        """Bed points (n, 2 or 3) to page points (n, 2), y down."""
        return np.stack([points_mm[:, 0] - self.left_mm, self.top_mm - points_mm[:, 1]], axis=1)


def page(width_mm: float, height_mm: float, title: str, description: str) -> ET.Element:
    """An empty drawing, one user unit a millimetre."""
    width, height = number(width_mm), number(height_mm)
    root = ET.Element("svg", {"xmlns": SVG_SPACE, "version": "1.1", "width": f"{width}mm", "height": f"{height}mm",
                              "viewBox": f"0 0 {width} {height}"})
    add(root, "title", text=title)
    add(root, "desc", text=description)
    return root


def add(parent: ET.Element, tag: str, text: str = "", **attributes: str | float) -> ET.Element:
    """A child element; ``stroke_width=0.1`` becomes ``stroke-width="0.1"``, a last underscore is dropped."""
    named = {name.rstrip("_").replace("_", "-"): value if isinstance(value, str) else number(value) for name, value in attributes.items()}
    child = ET.SubElement(parent, tag, named)
    if text:
        child.text = text
    return child


def outline(points: Array, closed: bool | None = None) -> str:
    """Path data through page points (n, 2); closed when told, or when the last point is the first."""
    shut = bool(np.array_equal(points[0], points[-1])) if closed is None else closed
    kept = points[:-1] if shut and closed is None else points
    return "M" + " L".join(f"{number(x)} {number(y)}" for x, y in kept.tolist()) + (" Z" if shut else "")


def to_bytes(root: ET.Element) -> bytes:
    """The file, indented, UTF-8."""
    ET.indent(root, " ")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="utf-8") + b"\n"

"""A picture of a coupon as it will look on the wood, near and plain, with every reading's place dotted. Never to be burnt."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np

from kerfwright.coupons.record import CouponRecord
from kerfwright.export.drawing import Window, add, outline, page, to_bytes
from kerfwright.process.operation import CutOperation, OperationKind
from kerfwright.process.setup import Setup

WOOD, EDGE, WORDS, DOT = "#f3e3c3", "#a58a5a", "#2b2620", "#1a7fb5"
# Colour and width in mm of what each kind of operation leaves; a ramp's lines merge into a field.
LOOKS: dict[OperationKind, tuple[str, float]] = {
    OperationKind.ENGRAVE: ("#7a4a12", 0.16),
    OperationKind.WITNESS: ("#7a4a12", 0.16),
    OperationKind.THROUGH: ("#1c0d05", 0.25),
    OperationKind.RAMP: ("#3a2410", 0.07),
}
MARGIN_MM = 3.0
FOOT_MM = 7.0
LETTERS_MM = 2.2


def coupon_picture(setup: Setup, record: CouponRecord) -> bytes:
    """The wood the coupon takes, in board coordinates, five times its size on a page."""
    x0, y0, x1, y1 = record.used_mm
    window = Window(x0 - MARGIN_MM, y0 - MARGIN_MM, x1 + MARGIN_MM, y1 + MARGIN_MM)
    wide, high = window.width_mm, window.height_mm + FOOT_MM
    root = page(wide, high, f"{record.title}: {record.id}", "A picture to look at. Do not burn it.")
    root.set("width", f"{5 * wide:g}mm")
    root.set("height", f"{5 * high:g}mm")
    root.set("font-family", "sans-serif")
    add(root, "rect", width=wide, height=high, fill="#ffffff")
    add(root, "path", d=outline(window.page(_corners(record)), True), fill=WOOD, stroke=EDGE, stroke_width=0.2)
    for op in setup.operations:
        _burnt(root, op, window)
    for place in sorted({each.place_mm for each in record.observables}):
        x_mm, y_mm = (float(each) for each in window.page(np.array([place]))[0])
        add(root, "circle", cx=x_mm, cy=y_mm, r=0.35, fill=DOT, fill_opacity=0.55)
    told = f"Coupon {record.id} on {record.board}. Blue dots: where readings are taken. Do not burn this picture."
    shrink = min(1.0, (wide - 2 * MARGIN_MM) / (0.5 * LETTERS_MM * len(told)))
    add(root, "text", text=told, x=MARGIN_MM, y=high - FOOT_MM / 2, font_size=LETTERS_MM * shrink, fill=WORDS)
    return to_bytes(root)


def _corners(record: CouponRecord) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    x0, y0, x1, y1 = record.used_mm
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def _burnt(root: ET.Element, op: CutOperation, window: Window) -> None:
    colour, width_mm = LOOKS[op.kind]
    group = add(root, "g", fill="none", stroke=colour, stroke_width=width_mm, stroke_linecap="round", stroke_linejoin="round")
    add(group, "title", text=op.title)
    for path in op.paths:
        line = add(group, "path", d=outline(window.page(path.points_mm)))
        if op.kind is OperationKind.RAMP:
            line.set("stroke-opacity", f"{0.15 + 0.85 * path.power_frac:.2f}")

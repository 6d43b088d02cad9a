"""DXF R2010 in millimetres: one layer an operation, polylines in bed coordinates.

A drawing holds neither power nor focus; both stand as extended data under the name KERFWRIGHT, a layer's settings on
the layer and each line's power in percent on the line.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from kerfwright.export.exporter import Exporter, JobFile, setup_stem
from kerfwright.export.palette import INKS
from kerfwright.export.wording import settings_words, short
from kerfwright.process.job import Job
from kerfwright.process.moves import program_points
from kerfwright.process.operation import CutOperation
from kerfwright.process.setup import Setup

if TYPE_CHECKING:
    from ezdxf.document import Drawing

MILLIMETRES = 4  # of $INSUNITS, DXF reference
TEXT_CODE, REAL_CODE = 1000, 1040  # of extended data
LONGEST_TEXT = 250  # 255 bytes are the format's limit
APP_NAME = "KERFWRIGHT"


def layer_name(index: int, op: CutOperation) -> str:
    """``"03 THROUGH sockets"``; signs that a layer may not hold become a dash."""
    return re.sub(r"[<>/\\\":;?*|=`',\x00-\x1f]", "-", f"{index:02d} {op.kind.value.upper()} {op.name}")


def drawing_bytes(setup: Setup) -> bytes:
    """The drawing of one setup."""
    from ezdxf import new, options  # pyright: ignore[reportPrivateImportUsage]

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no date and no random id: two runs are byte-equal
    try:
        drawing = new("R2010")
        drawing.header["$INSUNITS"] = MILLIMETRES
        drawing.header["$MEASUREMENT"] = 1  # metric
        drawing.appids.add(APP_NAME)  # pyright: ignore[reportUnknownMemberType]
        for index, op in enumerate(setup.operations, start=1):
            _layer(drawing, index, op, setup)
        for kind in sorted(drawing.entitydb.dxf_types_in_use()):
            drawing.classes.add_class(kind)  # the library adds these from a set, in an order that changes from run to run
        text = io.StringIO()
        drawing.write(text)
    finally:
        options.write_fixed_meta_data_for_testing = before
    return text.getvalue().encode(drawing.output_encoding, "replace")


def _layer(drawing: Drawing, index: int, op: CutOperation, setup: Setup) -> None:
    name = layer_name(index, op)
    layer = drawing.layers.add(name)  # pyright: ignore[reportUnknownMemberType]
    layer.rgb = INKS[op.kind].rgb
    settings = f"{op.title}: {settings_words(op)}"[:LONGEST_TEXT]
    layer.set_xdata(APP_NAME, [(TEXT_CODE, settings)])  # pyright: ignore[reportUnknownMemberType]
    space = drawing.modelspace()
    for path in op.paths:
        points = np.round(program_points(setup, path, 0.0, op.level_mm)[:, :2], 6)
        closed = bool(np.array_equal(points[0], points[-1]))
        corners = points[:-1] if closed else points
        line = space.add_lwpolyline(corners, close=closed, dxfattribs={"layer": name})  # pyright: ignore[reportUnknownMemberType]
        line.set_xdata(APP_NAME, [(REAL_CODE, float(short(100 * path.power_frac, 4)))])  # pyright: ignore[reportUnknownMemberType]


class _Drawings:
    name = "dxf"

    def files(self, job: Job) -> Iterator[JobFile]:
        for setup in job.setups:
            yield JobFile(setup_stem(setup.number, setup.name) + ".dxf", drawing_bytes(setup), f"drawing for CAD: {setup.title}")


EXPORTER: Exporter = _Drawings()

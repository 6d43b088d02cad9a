"""Grey pictures of the ramps: white is laser off, black is full power, straight in between.

8 and 16 bit PNG (ISO/IEC 15948). The size of a pixel stands in the pHYs chunk; scale, placing, speed, layers and
focus stand in tEXt chunks. With them comes one chart of steps, to see whether the machine's picture mode is linear.
"""

from __future__ import annotations

import io
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from kerfwright.export.exporter import Exporter, JobFile, setup_stem
from kerfwright.export.grey_chart import STEPS_PERCENT, chart_power
from kerfwright.export.grey_picture import PicturePlacing, power_pictures, ramp_operations
from kerfwright.export.wording import focus_words, number, passes_words, short
from kerfwright.process.job import Job
from kerfwright.process.operation import OperationKind
from kerfwright.process.setup import Setup

FULL = {8: 255, 16: 65535}
CHART_PATH = "ramp-grey-chart.png"
M_PER_INCH = 0.0254


def grey_values(power_frac: NDArray[np.float32], bits: int) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Grey of each commanded power: full at no power, 0 at full power, straight in between; the top row first."""
    grey = np.rint((1.0 - power_frac[::-1].astype(np.float64)) * FULL[bits])
    return grey.astype(np.uint8) if bits == 8 else grey.astype(np.uint16)


def png_bytes(grey: NDArray[np.uint8] | NDArray[np.uint16], pixels_per_m: int, texts: dict[str, str]) -> bytes:
    """A grey PNG with its pixel size and text chunks."""
    from PIL import Image, PngImagePlugin

    info = PngImagePlugin.PngInfo()
    for keyword, text in texts.items():
        info.add_text(keyword, text.encode("latin-1", "replace"))
    file = io.BytesIO()
    # The library takes dots an inch and stores dots a metre, rounded: this comes back whole.
    inch = pixels_per_m * M_PER_INCH
    Image.fromarray(grey).save(file, "PNG", pnginfo=info, dpi=(inch, inch))
    return file.getvalue()


def picture_texts(setup: Setup, placing: PicturePlacing, bits: int) -> dict[str, str]:
    """What a person must know to burn the picture, by keyword."""
    ramp = ramp_operations(setup)[0]
    return {
        "Title": f"Setup {setup.number}: {setup.title}: ramps{' ' + placing.name if placing.name else ''}",
        "Software": "kerfwright",
        "Scale": _scale(bits),
        "Placing": f"lower left corner at X {number(placing.left_mm)} mm, Y {number(placing.bottom_mm)} mm of the bed; "
                   f"{placing.n_columns} x {placing.n_rows} pixels of {placing.pixel_mm:.6f} mm ({placing.pixels_per_m} a metre)",
        "Rows": f"each line is one row of pixels, the nearest one: off by at most {placing.row_error_mm:.4f} mm; blank rows are not burnt",
        "Speed": f"{short(ramp.speed_mm_s)} mm/s",
        "Layers": f"{passes_words(ramp)}: burn the whole picture once for each" + _pause_words(setup),
        "Focus": focus_words(ramp),
    }


def _pause_words(setup: Setup) -> str:
    """Where the program stops between layers, the person with a picture stops too."""
    n_burnt = 0
    for op in setup.operations:
        if op.kind is OperationKind.RAMP:
            if op.before and n_burnt:
                return f". After {n_burnt} stop: {op.before}, which are then burnt from the program it writes"
            n_burnt += len(op.passes)
    return ""


def _scale(bits: int) -> str:
    return (f"power share = 1 - grey / {FULL[bits]}: white = laser off, 0 %; black = 100 % of the machine's power; linear. "
            f"Burn {CHART_PATH} first to see whether the machine's picture mode is linear")


def _chart(setup: Setup, placing: PicturePlacing) -> bytes:
    ramp = ramp_operations(setup)[0]
    texts = {"Title": f"{len(STEPS_PERCENT)} steps of power, 0 to 100 % by 5", "Software": "kerfwright", "Scale": _scale(8),
             "Speed": f"{short(ramp.speed_mm_s)} mm/s, one layer, on scrap of the same board",
             "Use": "lines stand on every second row, as in the ramps; depths that do not follow the ramp's depth curve mean that "
                    "the picture mode bends the scale: burn ramps from the program then"}
    return png_bytes(grey_values(chart_power(placing.pixel_mm), 8), placing.pixels_per_m, texts)


class _Pictures:
    name = "grey picture"

    def files(self, job: Job) -> Iterator[JobFile]:
        # A coupon's many small fields are burnt from the program: a picture a field would only be clutter.
        if not job.machine.takes_pictures or not job.assembly.parts:
            return
        finest: tuple[Setup, PicturePlacing] | None = None
        for setup in job.setups:
            stem = setup_stem(setup.number, setup.name)
            for picture in power_pictures(setup):
                placing = picture.placing
                if finest is None or placing.pixels_per_m > finest[1].pixels_per_m:
                    finest = setup, placing
                for bits in FULL:
                    data = png_bytes(grey_values(picture.power_frac, bits), placing.pixels_per_m, picture_texts(setup, placing, bits))
                    yield JobFile(picture_path(stem, placing, bits), data, f"ramps as a {bits} bit grey picture: {setup.title}")
        if finest is not None:
            yield JobFile(CHART_PATH, _chart(*finest), "chart of grey steps, to check the machine's picture mode")


def picture_path(stem: str, placing: PicturePlacing, bits: int) -> str:
    """``setups/02-front-grey8.png``, or ``setups/02-front-a-grey8.png`` where a setup has several."""
    return f"{stem}{'-' + placing.name if placing.name else ''}-grey{bits}.png"


EXPORTER: Exporter = _Pictures()

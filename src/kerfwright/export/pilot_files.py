"""The blank forms of a job's pilot strips, and each strip as data."""

from __future__ import annotations

from collections.abc import Mapping

from kerfwright.coupons.form import csv_form, toml_form
from kerfwright.coupons.record import CouponRecord, record_json
from kerfwright.export.exporter import JobFile

FOLDER = "pilot"


def pilot_paths(part: str) -> tuple[str, tuple[str, str]]:
    """(the strip's record, its forms as TOML and CSV), in the job folder."""
    return f"{FOLDER}/{part}.json", (f"{FOLDER}/{part}-readings.toml", f"{FOLDER}/{part}-readings.csv")


def pilot_files(pilots: Mapping[str, CouponRecord]) -> list[JobFile]:
    """All files of all strips. pilots: by part name."""
    files: list[JobFile] = []
    for part, record in pilots.items():
        path, (toml_path, csv_path) = pilot_paths(part)
        files += [
            JobFile(path, record_json(record).encode(), f"pilot strip of {part}, as data"),
            JobFile(toml_path, toml_form(record).encode(), f"readings form of the pilot strip of {part}, to be filled in"),
            JobFile(csv_path, csv_form(record).encode(), f"the same form for a spreadsheet, {part}"),
        ]
    return files

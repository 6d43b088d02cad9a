"""The sheet for the bench: one PDF (ISO 32000), A4, with everything a person reads beside the machine."""

from __future__ import annotations

from collections.abc import Iterator

from kerfwright.export.exporter import Exporter, JobFile
from kerfwright.process.job import Job

PATH = "bench-sheet.pdf"


class _BenchSheet:
    name = "bench sheet"

    def files(self, job: Job) -> Iterator[JobFile]:
        from kerfwright.export.sheet.sheet import sheet_pdf  # here, so that listing the formats stays quick

        yield JobFile(PATH, sheet_pdf(job), "the sheet for the bench: what to set, what to do, templates")


EXPORTER: Exporter = _BenchSheet()

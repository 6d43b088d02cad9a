"""The whole bench sheet, in the order a person needs it."""

from __future__ import annotations

from kerfwright.export.sheet.account import account_section
from kerfwright.export.sheet.boards import boards_section
from kerfwright.export.sheet.finishing import finishing_section
from kerfwright.export.sheet.front import front_section
from kerfwright.export.sheet.pages import draw_document
from kerfwright.export.sheet.putting_together import assembly_section
from kerfwright.export.sheet.setup_page import setup_section
from kerfwright.export.sheet.templates import templates_section
from kerfwright.export.wood_colour import part_colours
from kerfwright.process.job import Job


def sheet_pdf(job: Job) -> bytes:
    """The PDF of a job: front page, boards, one section a setup, assembly, finish, costs, templates.

    Front page and setups alone where there are no parts.
    """
    colours = part_colours(job)
    setups = [setup_section(job, i) for i in range(len(job.setups))]
    if not job.assembly.parts:
        return draw_document(job.assembly.name, [front_section(job, colours), *setups])
    together = [assembly_section(job, colours)] if job.assembly.steps else []
    after = [finishing_section(job), *([account_section(job.costs)] if job.costs else []), templates_section(job)]
    return draw_document(job.assembly.name, [front_section(job, colours), boards_section(job), *setups, *together, *after])

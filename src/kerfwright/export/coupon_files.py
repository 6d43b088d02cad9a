"""A coupon's folder: everything a job folder holds, its record as data and the blank readings form."""

from __future__ import annotations

from kerfwright.coupons.form import csv_form, toml_form
from kerfwright.coupons.record import CouponRecord, record_json
from kerfwright.export.coupon_picture import coupon_picture
from kerfwright.export.exporter import JobFile
from kerfwright.export.folder import job_files
from kerfwright.process.job import Job

RECORD_PATH = "coupon.json"
PICTURE_PATH = "coupon-look.svg"
FORM_PATHS = ("readings.toml", "readings.csv")


def coupon_files(job: Job, record: CouponRecord) -> list[JobFile]:
    """Every file of a coupon folder, job.json last. Programs are checked before they are handed out."""
    own = [
        JobFile(RECORD_PATH, record_json(record).encode(), "the coupon as data"),
        JobFile(PICTURE_PATH, coupon_picture(job.setups[0], record), "picture of the coupon, to look at"),
        JobFile(FORM_PATHS[0], toml_form(record).encode(), "readings form, to be filled in"),
        JobFile(FORM_PATHS[1], csv_form(record).encode(), "readings form for a spreadsheet; fill in one of the two"),
    ]
    return job_files(job, own)

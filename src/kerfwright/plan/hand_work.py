"""How long the hands are busy with a piece. Every figure is a judgement of ours without a source: a first guess to correct.

What is counted: boards milled and measured, setups laid and stops served, char cleaned off, a dry run, glue and clamps, ends
planed flush, faces sanded, finish in coats, hardware fitted. Waiting for glue and finish to dry is not.
"""

from __future__ import annotations

import math

from kerfwright.geometry.assembly import Bond
from kerfwright.plan.glue_up import GlueUp
from kerfwright.process.costs import HandWork
from kerfwright.process.job import Job

MIN_S = 60.0
MILL_S = 8 * MIN_S  # a board sawn, planed and measured
LAY_S, TILT_S, STOP_S = 3 * MIN_S, 4 * MIN_S, MIN_S  # a board laid and focused; more in a cradle; a stop served
CLEAN_S = 1.5 * MIN_S  # char off one glued end, groove or housing
DRY_S = 2 * MIN_S  # a step, dry
GLUE_S, CLAMP_S = 3 * MIN_S, 2 * MIN_S  # a glued meeting; a clamp set
PLANE_S = 4 * MIN_S  # a corner planed flush
SAND_S_M2, COAT_S_M2 = 100 * MIN_S, 60 * MIN_S  # of all faces, all grits; one coat
N_COATS = 2
FIT_S = 6 * MIN_S  # a pin, hinge or screw


def hand_work(job: Job, glue: GlueUp) -> tuple[HandWork, ...]:
    """In the order of the work."""
    n_parts, n_setups = len(job.assembly.parts), len(job.setups)
    n_tilted = sum(setup.tilt_deg != 0 for setup in job.setups)
    n_stops = sum(time.n_pauses for time in job.times)
    glued = [meeting for meeting in glue.meetings if meeting.bond is Bond.GLUED]
    n_corners = sum(meeting.kind == "joint" for meeting in glued)
    n_faces = len(glued) + n_corners  # a joint has two ends to clean
    n_clamps, n_steps = sum(each.n_clamps for each in glue.clamps), len(job.assembly.steps)
    faces_m2 = both_faces_m2(job)
    gluing = f"{_n(len(glued), 'place')}, {_min(GLUE_S)} each; {_n(n_clamps, 'clamp')}, {_min(CLAMP_S)} each"
    sanding = f"{_n(n_corners, 'corner')}, {_min(PLANE_S)} each; {faces_m2:.2f} m² of faces, {_min(SAND_S_M2)} a m²"
    found = [
        HandWork("mill and measure", MILL_S * n_parts, f"{_n(n_parts, 'board')}, {_min(MILL_S)} each"),
        HandWork("lay boards, serve stops", LAY_S * n_setups + TILT_S * n_tilted + STOP_S * n_stops, _laying(n_setups, n_tilted, n_stops)),
        HandWork("clean char off", CLEAN_S * n_faces, f"{n_faces} ends and hollows, {_min(CLEAN_S)} each"),
        HandWork("dry run", DRY_S * n_steps, f"{_n(n_steps, 'step')}, {_min(DRY_S)} each"),
        HandWork("glue up", GLUE_S * len(glued) + CLAMP_S * n_clamps, gluing),
        HandWork("plane and sand", PLANE_S * n_corners + SAND_S_M2 * faces_m2, sanding),
        HandWork("finish", N_COATS * COAT_S_M2 * faces_m2, f"{N_COATS} coats on {faces_m2:.2f} m², {_min(COAT_S_M2)} a m²"),
    ]
    n_hardware = sum(each.n_pieces for each in job.hardware)
    if n_hardware:
        found.append(HandWork("fit hardware", FIT_S * n_hardware, f"{_n(n_hardware, 'piece')}, {_min(FIT_S)} each"))
    return tuple(work for work in found if work.time_s > 0)


def both_faces_m2(job: Job) -> float:
    """Both faces of every part, by the rectangle round it."""
    bounds = [part.slab.bounds_mm() for part in job.assembly.parts]
    return 2e-6 * math.fsum((x1 - x0) * (y1 - y0) for x0, y0, x1, y1 in bounds)


def _laying(n_setups: int, n_tilted: int, n_stops: int) -> str:
    told = [f"{_n(n_setups, 'setup')}, {_min(LAY_S)} each"]
    told += [f"{n_tilted} tilted, {_min(TILT_S)} more"] if n_tilted else []
    return "; ".join(told + ([f"{_n(n_stops, 'stop')}, {_min(STOP_S)} each"] if n_stops else []))


def _n(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _min(time_s: float) -> str:
    return f"{time_s / MIN_S:g} min"

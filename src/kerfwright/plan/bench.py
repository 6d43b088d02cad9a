"""Laying a setup together: the lie, the pose, the gauge point, labels, and the through settings that suit a cut."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import RecipeRangeError
from kerfwright.core.pose import Pose, shift
from kerfwright.geometry.slab import Face
from kerfwright.machine.machine import Machine
from kerfwright.plan.blank import PILOT_MM, Blank
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.pose import Lie, bed_from_board
from kerfwright.plan.square import Cutting
from kerfwright.process.lettering import text_strokes, text_width_mm
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind, Pass
from kerfwright.process.recipe import Recipe, ThroughCut
from kerfwright.process.setup import Setup, Vernier
from kerfwright.process.spread_order import in_order

Array = NDArray[np.float64]

GAUGE_INSET_MM = 5.0
PILOT_CLEAR_MM = 3.0  # the focus gauge stands this far from where a pilot strip was cut away
LABEL_HEIGHT_MM = 4.0


@dataclass(frozen=True, eq=False)
class Bench:
    """One part's blank with the machine, recipe and choices it is planned with. clearance_mm: by end of the board."""

    blank: Blank
    machine: Machine
    recipe: Recipe
    options: PlanOptions
    clearance_mm: dict[str, float]

    @property
    def thickness_mm(self) -> float:
        """Of the blank."""
        return self.blank.size_mm[2]

    def pose(self, lie: Lie) -> Pose:
        """Where the blank lies. In a cradle a rough board lies trimmed: its new edge meets the stop."""
        length_mm, _, thickness_mm = self.blank.size_mm
        y0_mm, y1_mm = self.across_mm(lie)
        laid = bed_from_board(lie, (length_mm, y1_mm - y0_mm, thickness_mm), self.options.fence_mm, self.options.cradle_height_mm)
        return laid @ shift(0.0, -y0_mm, 0.0)

    def across_mm(self, lie: Lie) -> tuple[float, float]:
        """From where to where across the blank there is wood: a rough board has been trimmed before it is tilted."""
        if lie.tilt_deg and self.blank.board.edges == "rough":
            _, y0_mm, _, y1_mm = self.blank.slab.bounds_mm()
            return y0_mm, y1_mm
        return 0.0, self.blank.size_mm[1]

    def cutting(self, lie: Lie, depth_mm: float, cut: ThroughCut) -> Cutting:
        """Through cutting in one lie."""
        entry_z_mm = lie.entry_z_frac * self.thickness_mm
        return Cutting(self.blank, cut, self.pose(lie), entry_z_mm, depth_mm, self.options.lead_mm, self.clearance_mm)

    def through(self, depth_mm: float) -> ThroughCut:
        """The recipe's settings for a cut this deep: nearest the wished focus, else the ones with the least flare."""
        covering = [each for each in self.recipe.through if each.covers(depth_mm)]
        if not covering:
            return self.recipe.through_for(depth_mm)  # raises, saying what was burnt
        wish_mm = self.options.focus_mm
        if wish_mm is None:
            return min(covering, key=_flare_mm)
        nearest = min(covering, key=lambda each: abs(each.focus_mm - wish_mm))
        if abs(nearest.focus_mm - wish_mm) > nearest.focus_window_mm:
            burnt = ", ".join(f"{each.focus_mm:g} mm" for each in covering)
            raise RecipeRangeError(
                f"focus {wish_mm:g} mm was never burnt",
                accepted=f"near {burnt}",
                remedy="Burn the kerf comb at this focus, or leave focus out",
                where=f'recipe "{self.recipe.name}"',
            )
        return nearest

    def better_face(self, cut: ThroughCut) -> Face:
        """The face to lay up: the slit's wider end is hidden inside the joint."""
        if self.options.face != "auto":
            return Face(self.options.face)
        profile = cut.profile(0.0, 0.0)
        return Face.INNER if profile.top_mm.value > profile.bottom_mm.value else Face.SHOW

    def gauge_mm(self, pose: Pose, lie: Lie) -> Array:
        """The focus gauge's point: on the top face, a little in from the corner at the fence. (3,)"""
        length_mm = self.blank.size_mm[0]
        y0_mm, y1_mm = self.across_mm(lie)
        entry_z_mm = lie.entry_z_frac * self.thickness_mm
        inset_mm = min(GAUGE_INSET_MM, (y1_mm - y0_mm) / 4)
        right_mm = length_mm - (PILOT_MM + PILOT_CLEAR_MM if self.options.pilot else inset_mm)
        points = np.array([[x, y, entry_z_mm] for x in (inset_mm, right_mm) for y in (y0_mm + inset_mm, y1_mm - inset_mm)])
        in_bed = pose.apply(points)
        return points[int(np.argmin(in_bed[:, 0] + in_bed[:, 1]))]

    def setup(
        self, name: str, title: str, lie: Lie, operations: list[CutOperation], steps: tuple[str, ...], verniers: tuple[Vernier, ...] = ()
    ) -> Setup:
        """A setup, not yet numbered."""
        pose = self.pose(lie)
        kept = in_order(operations, self.options.order)
        return Setup(
            0,
            f"{self.blank.part}-{name}",
            title,
            self.blank.board.name,
            self.blank.part,
            self.blank.slab,
            self.blank.size_mm,
            pose,
            lie.face_up,
            lie.tilt_deg,
            "cradle" if lie.tilt_deg else "bed",
            self.gauge_mm(pose, lie),
            kept,
            steps,
            verniers,
            trimmed_mm=self.across_mm(lie) if lie.tilt_deg else None,
        )

    def label(self, lie: Lie) -> CutOperation:
        """The part's name: on the inner face when it lies up, else in the end waste, never on the show face."""
        text = self.blank.part
        length_mm, width_mm, _ = self.blank.size_mm
        width_of_text_mm = text_width_mm(text, LABEL_HEIGHT_MM)
        z = lie.entry_z_frac * self.thickness_mm
        paths: list[BeamPath] = []
        for stroke in text_strokes(text, LABEL_HEIGHT_MM):
            if self.blank.is_panel:
                # A panel is seen from both sides: its name stands in the end waste, reading right on the face that lies up.
                up = 1.0 if lie.face_up is Face.SHOW else -1.0
                place = np.array([self.blank.marks_x_mm[1] + LABEL_HEIGHT_MM / 4, width_mm / 2 - up * 0.46 * width_mm])
                points = place + 0.5 * stroke[:, ::-1] * np.array([-1.0, up])
            elif lie.face_up is Face.INNER:
                # Mirrored along y, so that it reads right on the face that lies up.
                place = np.array([length_mm / 2 - width_of_text_mm / 2, width_mm / 2 + LABEL_HEIGHT_MM / 2])
                points = place + stroke * np.array([1.0, -1.0])
            else:
                place = np.array([self.blank.marks_x_mm[1] + LABEL_HEIGHT_MM / 4, 0.04 * width_mm])
                points = place + 0.5 * stroke[:, ::-1] * np.array([-1.0, 1.0])
            paths.append(BeamPath(np.hstack([points, np.full((len(points), 1), z)]), self.recipe.engrave.power_frac, 0.0))
        return CutOperation(
            "label", f"Name of the part: {text}", OperationKind.ENGRAVE, tuple(paths), self.recipe.engrave.speed_mm_s, (Pass(0.0),)
        )


def numbered(setups: list[Setup]) -> tuple[Setup, ...]:
    """Setups numbered from 1 in order."""
    return tuple(replace(setup, number=i + 1) for i, setup in enumerate(setups))


def _flare_mm(cut: ThroughCut) -> float:
    profile = cut.profile(0.0, 0.0)
    return min(profile.top_mm.value, profile.bottom_mm.value) - profile.waist_mm.value

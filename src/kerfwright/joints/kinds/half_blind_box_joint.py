"""The half-blind box joint: square tails in sockets that stop short of the show face, so that the front shows no end grain.

Vocabulary: the *socket board* carries sockets burnt to depth from its inner face, open at its end; what is left in front of them is the
*lap*. The *tail board*'s end is a comb of square tails that reach into them; its ends do not show.
Range: a beam from the inner face cuts straight sides only. Tails that widen toward their tips, as in a half-blind dovetail, would
want sockets undercut from there; those can be reached from the board's end alone, stood upright under the head. So nothing but
glue keeps the boards together: long grain on long grain along every tail, more of it than in a butt joint, less hold than a dovetail.
"""

from __future__ import annotations

from typing import Literal, Self

import numpy as np
from pydantic import Field, model_validator

from kerfwright.core.document import Document, Length, LengthOrZero
from kerfwright.core.errors import BuildError, InputError
from kerfwright.geometry.ring import Place
from kerfwright.joints.joint import SOCKET, CornerSize, EndProfile, JointPair, ProfileEdge, Socket, comb, comb_edges

TAIL_MIN_MM = 2.0  # narrower sockets are mostly the rounding of their corners (judgement of ours)
LAP_MIN_MM = 1.5  # a thinner lap shows scorched through, or breaks out (judgement of ours)
REACH_MIN_MM = 2.0  # shorter tails hold nothing (judgement of ours)
LAP_SHARE = 1 / 3  # of the socket board (common practice for half-blind dovetails, no source)
MOUTH_MM = 2.0  # sockets run out so far over the board's end


class HalfBlindOptions(Document):
    """``tails`` counts the tail board's tails; or give the ``tail`` width to come near to."""

    kind: Literal["half-blind box joint"]
    sockets_in: tuple[str, ...] = Field(default=("front", "back"), description="which boards carry the sockets; exactly one at each corner")
    tails: int | None = Field(default=None, ge=1, le=200, description="how many")
    tail_mm: Length | None = Field(
        default=None, alias="tail", description="or their width to come near to; unasked, the tail board's thickness"
    )
    lap_mm: Length | None = Field(default=None, alias="lap", description="wood left in front of the sockets; unasked, a third of the board")
    deeper_mm: LengthOrZero = Field(
        default=0.3, alias="deeper", le=2, description="sockets are deeper than the tails are long by this: a burnt floor is not exact"
    )

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.tails is not None and self.tail_mm is not None:
            raise InputError("both tails and tail are given", accepted="the count or the width, not both")
        return self


class HalfBlindBoxJoint:
    """The socket board reaches to the lower and the upper edge; tails and the wood between sockets are equally wide."""

    kind = "half-blind box joint"
    options = HalfBlindOptions

    def build(self, size: CornerSize, options: HalfBlindOptions) -> JointPair:
        """Both ends of the corner."""
        socket_side = size.side_of(options.sockets_in, "sockets_in")
        thicknesses = (size.first_thickness_mm, size.second_thickness_mm)
        socket_mm, tail_mm = thicknesses if socket_side == "first" else thicknesses[::-1]
        lap_mm = options.lap_mm if options.lap_mm is not None else LAP_SHARE * socket_mm
        reach_mm = socket_mm - lap_mm - options.deeper_mm
        n_tails = options.tails or max(1, round((size.height_mm / (options.tail_mm or tail_mm) - 1) / 2))
        width_mm = size.height_mm / (2 * n_tails + 1)
        _check(size, socket_mm, lap_mm, reach_mm, n_tails, width_mm)
        bounds_mm = width_mm * np.arange(1, 2 * n_tails + 1, dtype=np.float64)
        sockets = _socket_end(bounds_mm, tail_mm + size.proud_mm, socket_mm - lap_mm, size.height_mm)
        tails = _tail_end(bounds_mm, size.proud_mm + socket_mm - reach_mm, reach_mm, size.height_mm)
        if socket_side == "first":
            return JointPair(sockets, tails, tail="second", slides_off=("second", "first"))
        return JointPair(tails, sockets, tail="first", slides_off=("first", "second"))


def _check(size: CornerSize, socket_mm: float, lap_mm: float, reach_mm: float, n_tails: int, width_mm: float) -> None:
    where = f"joint at {size.corner}"
    if lap_mm < LAP_MIN_MM or reach_mm < REACH_MIN_MM:
        raise BuildError(
            f"a lap of {lap_mm:.1f} mm in a board of {socket_mm:.1f} mm leaves tails {max(reach_mm, 0):.1f} mm long",
            accepted=f"a lap of {LAP_MIN_MM:g} mm or more and tails of {REACH_MIN_MM:g} mm or more",
            remedy="Change lap or deeper, or give the sockets to a thicker board",
            where=where,
        )
    if width_mm < TAIL_MIN_MM:
        raise BuildError(
            f"{n_tails} tails in a {size.height_mm:g} mm wall would be {width_mm:.2f} mm wide",
            accepted=f"{TAIL_MIN_MM:g} mm or more",
            remedy="Use fewer tails",
            where=where,
        )


def _socket_end(bounds_mm: np.ndarray, floor_mm: float, depth_mm: float, height_mm: float) -> EndProfile:
    """A straight end; sockets lie between the 1st and 2nd, 3rd and 4th boundary and so on."""
    sockets = tuple(
        Socket(
            np.array([(-MOUTH_MM, low), (floor_mm, low), (floor_mm, high), (-MOUTH_MM, high)]),
            (
                ProfileEdge(Place.FLANK, f"flank{2 * k + 1}", SOCKET),
                ProfileEdge(Place.FLOOR, f"floor{k + 1}", SOCKET),
                ProfileEdge(Place.FLANK, f"flank{2 * k + 2}", SOCKET),
                ProfileEdge(Place.PANEL, f"mouth{k + 1}", ""),
            ),
            depth_mm,
        )
        for k, (low, high) in enumerate(bounds_mm.reshape(-1, 2))
    )
    ends = np.array([(0.0, 0.0), (0.0, height_mm)])
    return EndProfile(ends, ends, (ProfileEdge(Place.TIP, "tip1", ""),), sockets)


def _tail_end(bounds_mm: np.ndarray, tip_mm: float, reach_mm: float, height_mm: float) -> EndProfile:
    """Tails end ``tip_mm`` short of where the socket board's end would be."""
    is_tip = [i % 2 == 1 for i in range(len(bounds_mm) + 1)]
    points = comb(is_tip, bounds_mm, bounds_mm, reach_mm, height_mm) + [tip_mm, 0.0]
    edges = tuple(ProfileEdge(each.place, each.name, SOCKET if each.place is Place.FLANK else each.mate) for each in comb_edges(is_tip))
    return EndProfile(points, points, edges)


JOINT = HalfBlindBoxJoint()

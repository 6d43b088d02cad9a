"""A verdict made up by hand for one corner of a nominal piece: for tests of what is shown of it. No burn stands behind it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright.core.estimate import Estimate
from kerfwright.geometry.assembly import Assembly
from kerfwright.process.verdict import CauseShare, ClearanceMap, CornerVerdict, HeatVerdict, HotPlace, SeenLine, Verdict


def made_up_corner(assembly: Assembly, corner: str, tail: str, wider_mm: float = 0.0) -> CornerVerdict:
    """Gaps that fall off into the wood by an hourglass, one flank tighter than the next."""
    mates = [mate for mate in assembly.mates if mate.corner == corner and "flank" in mate.edge_a]
    tail_first = mates[0].part_a == tail
    pin = mates[0].part_b if tail_first else mates[0].part_a
    edges = [(mate.edge_a, mate.edge_b) if tail_first else (mate.edge_b, mate.edge_a) for mate in mates]
    thick = {name: assembly.part(name).slab.thickness_mm for name in (tail, pin)}
    y, z = np.linspace(0, thick[tail], 21), np.linspace(0, thick[pin], 25)
    maps: list[ClearanceMap] = []
    lines: list[SeenLine] = []
    for k, (tail_edge, pin_edge) in enumerate(edges):
        hour = 0.05 * ((y[:, None] / thick[tail] - 0.65) / 0.65) ** 2 + 0.03 * (z[None, :] / thick[pin] - 0.3) ** 2
        gap = hour + 0.02 * np.sin(1.7 * k) - 0.006 + 0.004 * np.cos(2.1 * z)[None, :] + wider_mm
        sd = np.full_like(gap, 0.014)
        maps.append(ClearanceMap(tail_edge, pin_edge, y, z, gap, sd))
        lines.append(SeenLine("tail board", tail_edge, pin_edge, z, gap[0], sd[0]))
        lines.append(SeenLine("pin board", tail_edge, pin_edge, y, gap[:, 0], sd[:, 0]))
    for on, part, end in (("tail board", tail, edges[0][0]), ("pin board", pin, edges[0][1])):
        for edge in assembly.part(part).slab.edges:
            if edge.name.startswith(end.split(".")[0] + ".floor"):
                pair = (edge.name, "inner face") if on == "tail board" else ("inner face", edge.name)
                lines.append(SeenLine(on, *pair, np.linspace(0, 1, 9), np.full(9, 0.02), np.full(9, 0.01)))
    return CornerVerdict(
        corner, tail, pin,
        {"loose": 0.02, "slip": 0.16, "snug": 0.61, "press": 0.15, "not at all": 0.06}, 0.94,
        Estimate(0.036 + wider_mm, 0.012, 400, "400 draws"), Estimate(0.071 + wider_mm, 0.02, 400, "400 draws"),
        Estimate(-0.021 + wider_mm, 0.016, 400, "400 draws"), Estimate(0.026, 0.014, 400, "400 draws"),
        (12.3, 41.04, 118.0), "raised", {tail: Estimate(0.2, 0.05), pin: Estimate(0.21, 0.04)},
        Estimate(0.022, 0.01, 400, "400 draws"), Estimate(0.019, 0.022), tuple(maps), tuple(lines),
        (
            CauseShare("placing by hand", 0.52, 0.011, "Burn witness marks and read them before the cut"),
            CauseShare("density of this board", 0.27, 0.008, "Burn a pilot strip in each board's end waste"),
            CauseShare("slit width", 0.14, 0.0056, "Burn one more kerf comb"),
        ),
    )


def made_up_verdict(assembly: Assembly, name: str = "Pencil box") -> Verdict:
    """Two corners, the second one tight enough to be blocked."""
    first = made_up_corner(assembly, "front-right", "front")
    second = replace(made_up_corner(assembly, "right-back", "back", -0.05), goes_together=0.22, blocked_by="right.flank3 on the way home")
    hottest = (HotPlace("right", 2, (6.2, 20.4), 3.418, "raised"), HotPlace("front", 1, (3.0, 9.0), 1.2, "unknown"))
    heat = HeatVerdict("raised", "light", hottest, 0.18)
    said = ("right-back goes together in about 2 burns of 10.", "Two boards were never read.")
    return Verdict(name, (first, second), heat, 1163.4, "12 readings in the notebook", "quick", 400, said, {1: 281.2, 2: 882.2})

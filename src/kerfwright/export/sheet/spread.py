"""Labels that want the same place, moved apart as little as may be."""

from __future__ import annotations


def spread(wanted_mm: list[float], least_mm: float, low_mm: float, high_mm: float) -> list[float]:
    """Places as near to the wanted ones (rising) as lets neighbours stand apart, kept between two limits."""
    if not wanted_mm:
        return []
    least_mm = min(least_mm, (high_mm - low_mm) / max(len(wanted_mm) - 1, 1))
    groups: list[tuple[float, int]] = []  # middle and count of neighbours that touch
    for each in wanted_mm:
        groups.append((each, 1))
        while len(groups) > 1 and groups[-1][0] - groups[-2][0] < least_mm * (groups[-1][1] + groups[-2][1]) / 2 - 1e-9:
            (b, n_b), (a, n_a) = groups.pop(), groups.pop()
            groups.append(((a * n_a + b * n_b) / (n_a + n_b), n_a + n_b))
    placed = [middle + least_mm * (k - (count - 1) / 2) for middle, count in groups for k in range(count)]
    for i in range(len(placed)):
        placed[i] = max(placed[i], low_mm if i == 0 else placed[i - 1] + least_mm)
    for i in reversed(range(len(placed))):
        placed[i] = min(placed[i], high_mm if i == len(placed) - 1 else placed[i + 1] - least_mm)
    return placed

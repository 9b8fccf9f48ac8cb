"""Fewer points than samples, with every spike still in its place."""

from collections.abc import Sequence
from itertools import groupby
from math import isfinite

PIXELS = 1200  # of the widest plot: a bucket each


def thinned(
    x: Sequence[float], y: Sequence[float | None], buckets: int = PIXELS
) -> tuple[list[float], list[float | None]]:
    """The lowest and the highest sample of each of `buckets` equal stretches of `x` (rising); one None a gap.

    The first and the last sample stay; shorter input comes back whole; what is not finite counts as None.
    """
    values = [v if v is not None and isfinite(v) else None for v in y]
    n = len(values)
    if n <= 2 * buckets:
        return list(x), values
    scale = buckets / ((x[-1] - x[0]) or 1.0)

    def lowest_first(i: int) -> float:
        return values[i] or 0.0

    kept = {0, n - 1}
    for (_, gap), group in groupby(range(n), key=lambda i: (int((x[i] - x[0]) * scale), values[i] is None)):
        indices = list(group)
        kept.update(indices[:1] if gap else (min(indices, key=lowest_first), max(indices, key=lowest_first)))
    order = sorted(kept)
    return [x[i] for i in order], [values[i] for i in order]


def short(value: float | None) -> float | None:
    """Five significant digits: finer than any screen and any sensor here, and half the bytes."""
    return None if value is None else float(f"{value:.5g}")

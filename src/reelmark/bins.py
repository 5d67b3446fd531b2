"""A long axis in few columns, so that nothing vanishes: how much of each column is touched, and where anything is.

share = shares(spans, 0, 8_000_000_000, 1000)     mean of each column; above 0 wherever anything is (maximum)
bands(share)                                      [(first column, one past the last, level 1..LEVELS), ...]
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .spans import Spans

__all__ = ["LEVELS", "bands", "shares"]

LEVELS: Final = 4  # strengths in which a share is drawn


def shares(spans: Spans, start: int, stop: int, columns: int) -> NDArray[np.float64]:
    """The share of each of `columns` equal columns of [start, stop) that the spans cover.  O((columns + n) log n)."""
    if not spans or stop <= start:
        return np.zeros(columns)
    edges = start + (stop - start) * np.arange(columns + 1) / columns
    sizes = spans.stops - spans.starts
    below = np.concatenate(([0], np.cumsum(sizes)))
    i = np.searchsorted(spans.starts, edges, "right")
    inside = np.where(i > 0, np.minimum(edges - spans.starts[i - 1], sizes[i - 1]), 0)
    covered = np.where(i > 0, below[i - 1], 0) + inside
    share: NDArray[np.float64] = np.diff(covered) * columns / (stop - start)
    return np.clip(share, 0.0, 1.0)


def bands(share: NDArray[np.float64]) -> list[tuple[int, int, int]]:
    """Neighbouring columns of one strength together; a column touched at all is never of strength 0."""
    level = np.ceil(share * LEVELS - 1e-9).astype(np.int64)
    level[(share > 0) & (level < 1)] = 1
    edges = np.flatnonzero(np.diff(level, prepend=0, append=0))
    starts = edges[:-1]
    kept = level[starts] > 0 if len(starts) else np.zeros(0, np.bool_)
    return [(int(a), int(b), int(level[a])) for a, b, keep in zip(starts, edges[1:], kept, strict=True) if keep]

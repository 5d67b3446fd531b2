"""Strikes straight to film and back: the composed maps and the cutter as one table, for single questions.

    strike s+k, k = 0..n-1, holds the film [f + step*k, f + step*k + width)

step = plus or minus the cut-off, width = the cut-off.  A sheet that lies across a splice has a row for each of its
stretches of film, with n = 1 and the stretch's own width.
"""

from bisect import bisect_left, bisect_right
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .cutter import Cutter
from .runs import RunMap, overlaps

__all__ = ["Straight"]

Int64 = NDArray[np.int64]
Ends = tuple[int, int]


class _Rows(NamedTuple):
    """As in the module's text, but f = where the lowest film begins, sign = direction."""

    s: Int64
    n: Int64
    f: Int64
    width: Int64
    sign: Int64


class Straight:
    """Made of born (strike -> sheet as cut), the cutter (sheet -> web) and wound (web -> film)."""

    def __init__(self, born: RunMap, cutter: Cutter, wound: RunMap) -> None:
        whole, parts = _on_film(_on_web(born, cutter), wound)
        self.rows = _Rows(*(np.concatenate(pair) for pair in zip(whole, parts, strict=True)))

    @cached_property
    def _by_strike(self) -> tuple[list[int], ...]:
        """Columns s, n, f, step, width as lists, in order of strikes."""
        s, n, f, width, sign = self.rows
        step = np.where(n > 1, sign * width, 0)
        order = np.lexsort((f, s))
        return tuple(x[order].tolist() for x in (s, n, np.where(step < 0, f + (n - 1) * width, f), step, width))

    @cached_property
    def _by_film(self) -> tuple[list[int], ...]:
        """Columns s, n, f, width, sign as lists, in order of film."""
        order = np.argsort(self.rows.f, kind="stable")
        return tuple(x[order].tolist() for x in self.rows)

    def __len__(self) -> int:
        return len(self.rows.s)

    @property
    def nbytes(self) -> int:
        """Bytes of the table as five columns of int64."""
        return 40 * len(self)

    def film(self, strike: int) -> list[Ends]:
        """Stretches of film that the sheet of a strike holds, on the big axis."""
        s, n, f, step, width = self._by_strike
        i = bisect_right(s, strike) - 1
        if i < 0 or strike >= s[i] + n[i]:
            return []
        if step[i]:
            start = f[i] + step[i] * (strike - s[i])
            return [(start, start + width[i])]
        return [(f[j], f[j] + width[j]) for j in range(bisect_left(s, strike), i + 1)]

    def strikes(self, start: int, stop: int) -> list[Ends]:
        """Strikes whose sheets hold any of the film [start, stop); in order of the film, not merged."""
        found = []
        s, n, f, width, sign = self._by_film
        for i in range(max(bisect_right(f, start) - 1, 0), bisect_left(f, stop)):
            low, high = max(0, (start - f[i]) // width[i]), min(n[i], -((f[i] - stop) // width[i]))
            if low < high:
                found.append((s[i] + low, s[i] + high) if sign[i] > 0 else (s[i] + n[i] - high, s[i] + n[i] - low))
        return found


def _on_web(born: RunMap, cutter: Cutter) -> _Rows:
    """Strikes on the web that the cutter met."""
    low = np.where(born.q > 0, born.d, born.d - born.n + 1)
    mine, i = overlaps(low, low + born.n, cutter.s, cutter.s + cutter.n)
    low, n, s = low[mine], born.n[mine], born.s[mine]
    a, b = np.maximum(low, cutter.s[i]), np.minimum(low + n, cutter.s[i] + cutter.n[i])
    strike = s + np.where(born.q[mine] > 0, a - low, low + n - b)
    k = np.where(cutter.sign[i] > 0, a - cutter.s[i], cutter.s[i] + cutter.n[i] - b)
    return _Rows(strike, b - a, cutter.w[i] + k * cutter.width[i], cutter.width[i], born.q[mine] * cutter.sign[i])


def _on_film(web: _Rows, wound: RunMap) -> tuple[_Rows, _Rows]:
    """Rows of whole sheets, and a row for each stretch of a sheet that lies across a splice."""
    mine, i = overlaps(web.f, web.f + web.n * web.width, wound.s, wound.e)
    s, n, f, width, sign = (column[mine] for column in web)
    a, b = np.maximum(f, wound.s[i]), np.minimum(f + n * width, wound.e[i])
    first, last = -((f - a) // width), (b - f) // width  # whole sheets first..last; others stick out at a, at b

    def rows(k: Int64, many: Int64, start: Int64, stop: Int64, kept: NDArray[np.bool_]) -> _Rows:
        film = np.where(wound.q[i] > 0, wound.d[i] + start - wound.s[i], wound.d[i] - (stop - 1 - wound.s[i]))
        at = s + np.where(sign > 0, k, n - k - many)
        wide = (stop - start) // np.maximum(many, 1)
        return _Rows(*(column[kept] for column in (at, many, film, wide, sign * wound.q[i])))

    one = np.ones_like(n)
    whole = rows(first, last - first, f + first * width, f + last * width, first < last)
    head_stop = np.minimum(b, f + first * width)
    head = rows(first - 1, one, a, head_stop, a < head_stop)
    tail_start = np.maximum(a, f + last * width)
    tail = rows(last, one, tail_start, b, (tail_start < b) & (first <= last))
    return whole, _Rows(*(np.concatenate(pair) for pair in zip(head, tail, strict=True)))

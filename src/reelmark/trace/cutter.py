"""Between metres of a lane's roll and sheets: each sheet is `width` um of web, so the two axes meet only here."""

from bisect import bisect_right
from collections.abc import Iterable

import numpy as np

from ..spans import EMPTY, Spans
from .runs import overlaps

__all__ = ["Cutter"]


class Cutter:
    """Sheet s+k of the big axis is the web [w + k*width, w + (k+1)*width); rows (s, n, w, width, sign)."""

    def __init__(self, rows: Iterable[tuple[int, int, int, int, int]]) -> None:
        table = np.array(list(rows), np.int64).reshape(-1, 5)
        self.s, self.n, self.w, self.width, self.sign = table[np.argsort(table[:, 0], kind="stable")].T
        self._lists = [column.tolist() for column in (self.s, self.n, self.w, self.width, self.sign)]
        order = np.argsort(self.w, kind="stable")
        self._by_web = tuple(column[order] for column in (self.s, self.n, self.w, self.width, self.sign))

    @property
    def sheets(self) -> Spans:
        """Every sheet cut."""
        return Spans(self.s, self.s + self.n)

    def web_of(self, sheet: int) -> tuple[int, int] | None:
        """The stretch of web a sheet was cut from."""
        s, n, w, width, sign = self._lists
        i = bisect_right(s, sheet) - 1
        if i < 0 or sheet >= s[i] + n[i]:
            return None
        k = sheet - s[i] if sign[i] > 0 else n[i] - 1 - (sheet - s[i])
        return w[i] + k * width[i], w[i] + (k + 1) * width[i]

    def web(self, sheets: Spans) -> Spans:
        """The web that sheets were cut from."""
        return self._join(sheets, self.s, self.s + self.n, self._to_web)

    def touched(self, web: Spans) -> Spans:
        """Sheets that hold any of the web."""
        _, n, w, width, _ = self._by_web
        return self._join(web, w, w + n * width, self._to_sheets)

    def sheets_at(self, web: np.ndarray) -> np.ndarray:
        """The sheet that each um of web lies in; -1 where none does."""
        s, n, w, width, sign = self._by_web
        i = np.searchsorted(w, web, "right") - 1
        k = (web - w[i]) // width[i]
        return np.where((web >= 0) & (i >= 0) & (k < n[i]), s[i] + np.where(sign[i] > 0, k, n[i] - 1 - k), -1)

    def _join(self, spans: Spans, start: np.ndarray, stop: np.ndarray, there: object) -> Spans:
        if not len(start) or not spans:
            return EMPTY
        mine, i = overlaps(spans.starts, spans.stops, start, stop)
        low, high = np.maximum(spans.starts[mine], start[i]), np.minimum(spans.stops[mine], stop[i])
        return Spans(*there(i, low, high))  # type: ignore[operator]

    def _to_web(self, i: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        a, b = low - self.s[i], high - self.s[i]
        up = self.sign[i] > 0
        a, b = np.where(up, a, self.n[i] - b), np.where(up, b, self.n[i] - a)
        return self.w[i] + a * self.width[i], self.w[i] + b * self.width[i]

    def _to_sheets(self, i: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        s, n, w, width, sign = (column[i] for column in self._by_web)
        a, b = (low - w) // width, -(-(high - w) // width)
        up = sign > 0
        return s + np.where(up, a, n - b), s + np.where(up, b, n - a)

"""Batches that keep their place: put down one after another, each no earlier than all it waits for lets it."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from .arrays import Arrays
from .matched import Row
from .tables import NEVER

__all__ = ["Facts", "Kept", "closed_upward"]

Facts = Mapping[int, Row]  # operation -> (machine, start, end)


class Kept:
    """Rows by step, first in first out, and what they hold of machines and resources."""

    def __init__(self, a: Arrays, now: int) -> None:
        self.a, self.now = a, now
        self.rows: dict[int, list[Row]] = {k: [] for k in range(a.batches.size)}
        self.free = [0] * a.which.shape[1]
        self.family = [int(one) for one in a.family0]
        self._latest = [-NEVER] * a.which.shape[1]
        self.used = np.zeros((a.uses.shape[1], a.start.shape[1]), np.int64)

    @property
    def done(self) -> Sequence[int]:
        """How many of each step are put down."""
        return [len(self.rows[k]) for k in range(self.a.batches.size)]

    def put(self, k: int, row: Row) -> None:
        """The next batch of a step, where it is or stays."""
        m, begin, end = row
        self.rows[k].append(row)
        self.free[m] = max(self.free[m], end)
        if begin >= self._latest[m]:
            self._latest[m], self.family[m] = begin, int(self.a.family[k])
        self.used[:, self._worked(m, begin, end)] += self.a.uses[k][:, None]

    def _worked(self, m: int, begin: int, end: int) -> NDArray[np.intp]:
        """Units in which it holds people: those in which its machine is open."""
        low, high = max(0, begin), max(0, min(end, self.a.open.shape[1]))
        return low + np.flatnonzero(self.a.open[m, low:high])

    def placed(self, k: int, b: int, m: int, wish: int) -> Row | None:
        """Where batch b of a step can be on that machine, not before `wish`; None where something before it is free."""
        a, table = self.a, int(self.a.which[k, m])
        if table < 0 or b != len(self.rows[k]) or not (a.first[k] or b < len(self.rows[k - 1])):
            return None
        t = max(wish, self.now, int(a.release[k]), self._ready(k, m, self.free[m]))
        if not a.first[k]:
            t = max(t, self.rows[k - 1][b][2] + int(a.least[k]))
        if b:
            t = max(t, self.rows[k][b - 1][1])
        while t < a.start.shape[1] and a.start[table, t] < NEVER:
            begin, end = int(a.start[table, t]), int(a.end[table, t])
            if self._fits(k, m, begin, end):
                return m, begin, end
            t = begin + 1
        return None

    def _ready(self, k: int, m: int, free: int) -> int:
        """When a machine that is free then is set up for the step."""
        units, fitted = self._setup(k, m)
        if fitted < 0:
            return free + units
        return int(self.a.end[fitted, max(0, free)]) if free < self.a.end.shape[1] else NEVER

    def _setup(self, k: int, m: int) -> tuple[int, int]:
        """Units of set-up for the step, and their table or -1."""
        a, before = self.a, self.family[m]
        units = int(a.setup[before, a.family[k]]) if before >= 0 and before != a.family[k] else 0
        return units, int(a.fitted[before, a.family[k], m]) if units else -1

    def set_up(self, k: int, m: int, wish: int) -> None:
        """The machine's set-up for a step that was to begin there at `wish`: where it has begun, it is carried on.

        It is taken to begin as late as it could, once the machine was free.
        """
        units, fitted = self._setup(k, m)
        latest = wish - units if fitted < 0 else int(np.searchsorted(self.a.end[fitted], wish, side="right")) - 1
        begun = max(self.free[m], latest)
        if units and begun < self.now:
            self.free[m], self.family[m] = self._ready(k, m, begun), int(self.a.family[k])

    def _fits(self, k: int, m: int, begin: int, end: int) -> bool:
        at = self._worked(m, begin, end)
        after = self.used[:, at] + self.a.uses[k][:, None]
        return bool((after <= self.a.level[:, at])[self.a.uses[k] > 0].all())


def closed_upward(a: Arrays, facts: Mapping[int, list[Row]], old: Mapping[int, list[Row]]) -> dict[int, list[Row]]:
    """The facts, and for each what must have been before it: a batch that was printed was cut, whoever wrote it down.

    What no fact tells is taken as planned, but ended when the next stage began.
    """
    full = {k: list(facts.get(k, ())) for k in range(a.batches.size)}
    for k in range(a.batches.size - 1, 0, -1):
        if a.first[k]:
            continue
        for b in range(len(full[k - 1]), len(full[k])):
            m, begin, end = old[k - 1][b] if b < len(old.get(k - 1, ())) else (int(a.able[k - 1, 0]), NEVER, NEVER)
            end = min(end, full[k][b][1])
            full[k - 1].append((m, min(begin, end), end))
        full[k - 1].sort(key=lambda row: row[1:])
    return full

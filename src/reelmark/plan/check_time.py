"""Time on a machine as the checker counts it: spell by spell, with no table.

ends(closed, start, units)      when so much open time has passed
ready(machine, free, units)     when a set-up is done that needs people
open_parts(closed, spell)       the spell less the closed time
overlap(one, other)             units common to two spells
"""

from collections.abc import Iterable, Iterator
from itertools import groupby, pairwise
from typing import NamedTuple

from ..jobs import Machine, Spell

__all__ = ["Beyond", "Held", "beyond", "ends", "open_parts", "overlap", "ready"]

Held = tuple[int, int, int, int]  # from, to, amount, whose


class Beyond(NamedTuple):
    """A stretch.  held, level : where they differ most;  size : amount-units beyond;  who : holds something then"""

    begins: int
    ends: int
    held: int
    level: int
    size: int
    who: tuple[int, ...]


def overlap(one: Spell, other: Spell) -> int:
    """Units common to both.

    >>> overlap((2, 6), (5, 9)), overlap((2, 4), (4, 9))
    (1, 0)
    """
    return max(0, min(one[1], other[1]) - max(one[0], other[0]))


def _joined(closed: Iterable[Spell]) -> list[Spell]:
    """The spells in order, those that touch as one."""
    out: list[Spell] = []
    for a, b in sorted(closed):
        if out and a <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], b))
        else:
            out.append((a, b))
    return out


def open_parts(closed: Iterable[Spell], spell: Spell) -> list[Spell]:
    """The parts of the spell that are not closed.

    >>> open_parts([(4, 6)], (2, 9))
    [(2, 4), (6, 9)]
    """
    out, t = [], spell[0]
    for a, b in _joined(closed):
        if t < min(a, spell[1]):
            out.append((t, min(a, spell[1])))
        t = max(t, b)
    return [*out, (t, spell[1])] if t < spell[1] else out


def ends(closed: Iterable[Spell], start: int, units: int) -> int:
    """The first moment when the open time since the start equals `units`; nothing to do ends at once.

    >>> ends([(4, 6)], 2, 3), ends([(4, 6)], 2, 2), ends([(4, 6)], 4, 0)
    (7, 4, 4)
    """
    t, left = start, units
    for a, b in _joined(closed):
        if left == 0 or b <= t:
            continue
        if left <= a - t:
            return t + left
        left -= max(0, a - t)
        t = b
    return t + left


def ready(machine: Machine, free: int, units: int) -> int:
    """When a set-up is done that begins at `free` at the earliest: it rests while the machine is closed, and does not
    reach over maintenance.

    >>> ready(Machine("P1", closed=((4, 6),), maintenance=((7, 8),)), 2, 4)
    12
    """
    t = free
    while True:
        begins = ends(machine.closed, t, 1) - 1  # the first open unit
        end = ends(machine.closed, begins, units)
        over = [b for a, b in machine.maintenance if overlap((a, b), (begins, end))]
        if not over:
            return end
        t = max(over)


def beyond(held: list[Held], levels: list[tuple[int, int]]) -> Iterator[Beyond]:
    """The stretches in which more is held than the level of that time; before the first level there is nothing.

    >>> list(beyond([(0, 4, 1, 7), (2, 6, 2, 8)], [(0, 2)]))
    [Beyond(begins=2, ends=4, held=3, level=2, size=2, who=(7, 8))]
    """
    moments = sorted({t for a, b, _, _ in held for t in (a, b)} | {t for t, _ in levels})
    steps = []
    for t, until in pairwise(moments):
        who = tuple(i for a, b, _, i in held if a <= t < b)
        level = max([(at, amount) for at, amount in levels if at <= t], default=(0, 0))[1]
        steps.append(Beyond(t, until, sum(amount for a, b, amount, _ in held if a <= t < b), level, 0, who))
    for over, group in groupby(steps, lambda one: one.held > one.level):
        if over:
            all_ = list(group)
            worst = max(all_, key=lambda one: one.held - one.level)
            size = sum((one.held - one.level) * (one.ends - one.begins) for one in all_)
            everyone = tuple(sorted({i for one in all_ for i in one.who}))
            yield Beyond(all_[0].begins, all_[-1].ends, worst.held, worst.level, size, everyone)

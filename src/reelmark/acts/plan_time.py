"""Time in a plan: moments and hours in words, weeks, open hours of a machine, and when each set-up is done."""

from bisect import bisect_right
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import accumulate, pairwise

from ..errors import BadValue
from ..jobs import ANYWHERE, JobShop, Machine, Spell
from ..plan.opening import joined
from ..plan.planned import Planned

__all__ = ["OpenTime", "in_words", "iso", "moment", "name", "sequences", "setups", "short", "unit_at", "weeks"]

WEEK = timedelta(days=7)
DAYS_FROM = 48  # h, from which on a length is told in days


def moment(planned: Planned, unit: float) -> datetime:
    """When a unit begins, in the plan's zone; elapsed time, so that a change of the clocks moves nothing."""
    return planned.moment(unit)


def iso(planned: Planned, unit: float) -> str:
    """The same as ISO 8601 text."""
    return moment(planned, unit).isoformat(timespec="minutes")


def unit_at(planned: Planned, when: datetime) -> float:
    """Units from the plan's begin to a moment; BadValue for one without a zone."""
    if when.tzinfo is None:
        raise BadValue("moment", when.isoformat(), "it has no zone", "add one, as +01:00")
    # in UTC: the difference of two moments of one zone is that of the clocks on the wall
    return (when.astimezone(UTC) - planned.begins.astimezone(UTC)).total_seconds() / 60 / planned.shop.unit_min


def in_words(hours: float) -> str:
    """A length of time.

    >>> in_words(52), in_words(31), in_words(0.5), in_words(72)
    ('2 days 4 h', '31 h', '0.5 h', '3 days')
    """
    if hours < DAYS_FROM:
        return f"{hours:.3g} h"
    days, rest = divmod(round(hours), 24)
    return f"{days:,} days {rest} h" if rest else f"{days:,} days"


def short(when: datetime) -> str:
    """A moment as a planner says it.

    >>> short(datetime(2026, 3, 9, 6, 0))
    'Mon 2026-03-09 06:00'
    """
    return f"{when:%a %Y-%m-%d %H:%M}"


def name(shop: JobShop, number: int) -> str:
    """An operation in words: order, batch, stage."""
    job, batch, stage = shop.operations[number]
    return f"{shop.jobs[job].name}, batch {batch + 1}, {shop.jobs[job].stages[stage].name}"


def weeks(planned: Planned, until: int) -> Iterator[tuple[str, int, int]]:
    """(ISO week, first unit, last unit) from the begin to a unit; the first and the last may be cut short."""
    day = planned.begins.replace(hour=0, minute=0, second=0, microsecond=0)
    monday, low = day - timedelta(days=day.weekday()), 0
    while low < until:
        year, week, _ = monday.isocalendar()
        monday += WEEK
        high = min(until, round(unit_at(planned, monday)))
        if high > low:
            yield f"{year}-W{week:02d}", low, high
        low = max(low, high)


class OpenTime:
    """Open time of a machine.  kept : its maintenance counts as closed too."""

    def __init__(self, machine: Machine | None, kept: bool = False) -> None:
        spells = machine.closed + (machine.maintenance if kept else ()) if machine else ()
        self.closed = joined(spells)
        self.maintenance = sorted(machine.maintenance) if machine else []
        self._begins = [a for a, _ in self.closed]
        self._before = [0, *accumulate(b - a for a, b in self.closed)]

    def _closed_before(self, t: int) -> int:
        at = bisect_right(self._begins, t)
        return self._before[at] - max(0, self.closed[at - 1][1] - t) if at else 0

    def between(self, a: int, b: int) -> int:
        """Open units from a to b."""
        return b - a - (self._closed_before(b) - self._closed_before(a))

    def opens(self, t: int) -> int:
        """First open unit at or after t."""
        at = bisect_right(self._begins, t)
        return max(t, self.closed[at - 1][1]) if at else t

    def end(self, start: int, units: int) -> int:
        """When so much open time has passed."""
        t = start + units
        while (lacks := units - self.between(start, t)) > 0:
            t += lacks
        return t

    def start(self, end: int, units: int) -> int:
        """Latest begin of so much open time before `end`; it may lie before 0."""
        t = end - units
        while (lacks := units - self.between(t, end)) > 0:
            t -= lacks
        return t

    def place(self, at: int, units: int) -> int:
        """First begin at or after `at` of work that reaches over no maintenance."""
        while True:
            at = self.opens(at) if units else at
            end = self.end(at, units)
            over = [b for a, b in self.maintenance if a < end and b > at]
            if not over:
                return at
            at = max(over)

    def before(self, end: int, units: int) -> Spell:
        """The latest (begin, end) of work that is over by `end` and reaches over no maintenance."""
        while True:
            begin = self.start(end, units)
            over = [a for a, b in self.maintenance if a < end and b > begin]
            if not over or begin <= 0:
                return begin, end
            end = min(over)

    def parts(self, a: int, b: int) -> list[Spell]:
        """The open parts of a spell."""
        cuts = [a, *(min(b, max(a, t)) for one in self.closed if one[0] < b and one[1] > a for t in one), b]
        return [(low, high) for low, high in list(pairwise(cuts))[::2] if low < high]


def sequences(planned: Planned) -> list[list[int]]:
    """Operations of each machine in the order of time."""
    out: list[list[int]] = [[] for _ in planned.shop.machines]
    at = planned.schedule
    for i in sorted(range(len(at.start)), key=lambda i: (at.start[i], at.end[i], i)):
        if at.machine[i] != ANYWHERE:
            out[at.machine[i]].append(i)
    return out


def setups(planned: Planned) -> dict[int, Spell]:
    """Operation -> (begin, end) of the set-up before it, as late as it can be done."""
    shop, found = planned.shop, {}
    for m, numbers in enumerate(sequences(planned)):
        family, time = shop.machines[m].family, OpenTime(shop.machines[m])
        for i in numbers:
            after = shop.stage(i).family
            units = shop.setups.get((family, after), 0) if family is not None and family != after else 0
            start = planned.schedule.start[i]
            if units:
                found[i] = time.before(start, units) if shop.setups_open else (start - units, start)
            family = after
    return found

"""Weekly hours by the clock on the wall, as units of elapsed time from a moment on.

    opened = spells(calendar.open, begins, units, unit_min)      sorted, disjoint, half open
    closed = closed_of(calendar, begins, units, unit_min)

Hours follow the zone of `begins`: in the week in which the clocks change a night shift is an hour longer or shorter.
"""

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta

from ..jobs import Level, Spell
from ..plant import WEEK, Calendar, Hours, Maintenance, Shift

__all__ = ["at_unit", "closed_of", "end_of_day", "joined", "levels_of", "maintenance_of", "moment", "spells"]


def moment(monday: date, minute: int, begins: datetime) -> datetime:
    """That minute of the week, by the wall clock of begins' zone."""
    day = monday + timedelta(days=minute // 1440)
    return datetime.combine(day, time(minute % 1440 // 60, minute % 60), begins.tzinfo)


def at_unit(when: datetime, begins: datetime, unit_min: int, up: bool) -> int:
    """Units from begins to when, elapsed time, rounded up or down to whole ones."""
    seconds = round((when.astimezone(UTC) - begins.astimezone(UTC)).total_seconds())
    whole, rest = divmod(seconds, unit_min * 60)
    return whole + (1 if up and rest else 0)


def _weeks(begins: datetime, units: int, unit_min: int) -> list[date]:
    """Mondays from the week before begins to the week of the end."""
    first = begins.date() - timedelta(days=begins.weekday() + 7)
    days = units * unit_min // 1440 + 21
    return [first + timedelta(days=at) for at in range(0, days, 7)]


def spells(
    hours: Iterable[Hours], begins: datetime, units: int, unit_min: int, up: tuple[bool, bool] = (True, False)
) -> list[Spell]:
    """Open spells within 0..units.

    up : are begin and end rounded up; as it stands, a unit that is open in part counts as closed
    """
    listed = list(hours)
    exact = joined(
        (at_unit(moment(monday, one.begins, begins), begins, 1, False),
         at_unit(moment(monday, one.ends, begins), begins, 1, False))
        for monday in _weeks(begins, units, unit_min) for one in listed
    )  # fmt: skip
    edges = ([_rounded(edge, unit_min, way) for edge, way in zip(one, up, strict=True)] for one in exact)
    return joined((max(0, a), min(units, b)) for a, b in edges)


def _rounded(minute: int, unit_min: int, up: bool) -> int:
    return -(-minute // unit_min) if up else minute // unit_min


def joined(found: Iterable[Spell]) -> list[Spell]:
    """Sorted, those that touch joined, empty ones left out.

    >>> joined([(4, 6), (0, 2), (5, 9), (7, 7)])
    [(0, 2), (4, 9)]
    """
    out: list[Spell] = []
    for a, b in sorted(one for one in found if one[0] < one[1]):
        if out and a <= out[-1][1]:
            out[-1] = out[-1][0], max(b, out[-1][1])
        else:
            out.append((a, b))
    return out


def closed_of(calendar: Calendar, begins: datetime, units: int, unit_min: int) -> tuple[Spell, ...]:
    """When nothing is done: outside the hours, and on the days closed."""
    at, closed = 0, []
    for a, b in spells(calendar.open, begins, units, unit_min):
        closed.append((at, a))
        at = b
    closed.append((at, units))
    for day in calendar.closed:
        start, stop = (datetime.combine(day + timedelta(days=n), time(), begins.tzinfo) for n in (0, 1))
        one = at_unit(start, begins, unit_min, up=False), at_unit(stop, begins, unit_min, up=True)
        closed.append((max(0, one[0]), min(units, one[1])))
    return tuple(joined(closed))


def maintenance_of(kept: Maintenance | None, begins: datetime, units: int, unit_min: int) -> tuple[Spell, ...]:
    """Maintenance within the units; weeks are counted from one day for ever, so that plans begun apart agree."""
    if kept is None:
        return ()
    weeks = [one for one in _weeks(begins, units, unit_min) if (one.toordinal() // 7) % kept.every_weeks == 0]
    long = Hours(kept.at, kept.at + max(1, round(kept.hours * 60)))
    found = []
    for monday in weeks:
        start = at_unit(moment(monday, long.begins, begins), begins, unit_min, up=False)
        stop = at_unit(moment(monday, long.ends, begins), begins, unit_min, up=True)
        found.append((max(0, start), min(units, stop)))
    return tuple(joined(found))


def levels_of(shifts: Sequence[Shift], begins: datetime, units: int, unit_min: int) -> tuple[Level, ...]:
    """People there, from each unit on at which their number changes."""
    change = {0: 0}
    for shift in shifts:
        for a, b in spells(shift.open, begins, units, unit_min, (True, True)):
            change[a] = change.get(a, 0) + shift.people
            change[b] = change.get(b, 0) - shift.people
    levels: list[Level] = []
    there = 0
    for at in sorted(change):
        there += change[at]
        if at < units and (not levels or there != levels[-1].amount):
            levels.append(Level(at, there))
    return tuple(levels)


def end_of_day(day: date, calendar: Calendar, begins: datetime) -> datetime:
    """Last moment of that day at which the calendar is open, or of the last day before it that has one."""
    for back in range(15):
        last = _last_open(day - timedelta(days=back), calendar, begins)
        if last is not None:
            return last
    return datetime.combine(day, time(), begins.tzinfo) + timedelta(days=1)


def _last_open(day: date, calendar: Calendar, begins: datetime) -> datetime | None:
    if day in calendar.closed:
        return None
    low = day.weekday() * 1440
    ends = [
        min(ends, low + 1440)
        for one in calendar.open
        for begin, ends in ((one.begins, one.ends), (one.begins - WEEK, one.ends - WEEK))
        if begin < low + 1440 and ends > low
    ]
    return moment(day - timedelta(days=day.weekday()), max(ends), begins) if ends else None

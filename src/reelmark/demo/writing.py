"""The records a shop writes about what it did: who, when, in which shift, numbered by the machine that wrote them."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from ..works import Works
from .plant import HANDS, person, second_person

__all__ = ["Book", "Json", "Line", "shifts"]

Json = dict[str, Any]
SHIFT = 8 * 3600  # s
DAY = 3 * SHIFT


@dataclass(slots=True)
class Line:
    """A record in the making.  at : s after the first shift began; of : the line that this one corrects."""

    machine: str
    at: int
    by: str
    by2: str | None
    body: Json
    of: "Line | None" = None
    seq: int = 0

    @property
    def shift(self) -> int:
        """The shift it was written in, 0 the first."""
        return self.at // SHIFT

    def record(self, start: datetime) -> Json:
        """As the intake takes it."""
        head: Json = {"machine": self.machine, "seq": self.seq}
        at = start.astimezone(UTC) + timedelta(seconds=self.at)
        head["at"] = at.astimezone(start.tzinfo).isoformat()
        head["by"] = self.by
        if self.by2 is not None:
            head["by2"] = self.by2
        if self.of is not None:
            return head | {"kind": "correct", "of_machine": self.of.machine, "of_seq": self.of.seq} | self.body
        return head | self.body


@dataclass(slots=True)
class Book:
    """Everything written, and when each machine and each unit is free again."""

    lines: list[Line] = field(default_factory=list)
    free: dict[str, int] = field(default_factory=dict)
    ready: dict[str, int] = field(default_factory=dict)

    def write(
        self,
        machine: str,
        body: Json,
        seconds: int,
        needs: Sequence[str] = (),
        gives: Sequence[str] = (),
        after: int = 0,
        two: bool = False,
        of: Line | None = None,
        not_by: str = "",
    ) -> Line:
        """A job of so many seconds, begun when the machine and what it needs are there; written when it is done.

        after : earliest s to begin; two : a second person signs; not_by : who must not be the one
        """
        begin = max([after, *(self.ready.get(unit, 0) for unit in needs)])
        if machine not in HANDS:
            begin = max(begin, self.free.get(machine, 0))
        end = begin + seconds
        by, by2 = person(machine, end // SHIFT), second_person(machine, end // SHIFT)
        if by == not_by:
            by, by2 = by2, by
        line = Line(machine, end, by, by2 if two else None, {k: v for k, v in body.items() if v is not None}, of)
        self.lines.append(line)
        self.free[machine] = max(end, self.free.get(machine, 0))
        for unit in gives:
            self.ready[unit] = end
        return line

    def closed(self) -> list[Line]:
        """All lines in the order of time, each with its machine's running number."""
        order = sorted(self.lines, key=lambda line: line.at)
        last: dict[str, int] = {}
        for line in order:
            line.seq = last[line.machine] = last.get(line.machine, 0) + 1
        return order


def shifts(lines: Sequence[Line], works: Works, twice: Line) -> tuple[list[list[Json]], int]:
    """One list a shift that wrote anything; the line `twice` comes again, first thing in the next one.

    Gives the lists, and the place (0 the first) of the list with the repeat.
    """
    start = datetime(2026, 3, 2, 6, tzinfo=ZoneInfo(works.zone))
    lists: list[list[Json]] = []
    again = last = -1
    for line in lines:
        if line.shift != last:
            lists.append([twice.record(start)] if again == len(lists) else [])
            last = line.shift
        lists[-1].append(line.record(start))
        if line is twice:
            again = len(lists)
    if again >= len(lists):
        lists.append([twice.record(start)])
    return lists, again

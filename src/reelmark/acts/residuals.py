"""The reads of a numbered pile against the plan, read by read, and where the findings on it are sure and where not."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from ..facts import Imprint
from ..reading import Reading
from ..spans import Spans
from ..stations.numbering import Finding, Numbering, Numbers, Residual, residuals
from .settings import diagnosed, numbered, plan_of, reads_of, serious

__all__ = ["FindingAt", "Point", "Residuals", "residuals_of"]


class Point(NamedTuple):
    """One read.  tick : that its sheet should have had; off : steps borne less steps planned, None = unreadable."""

    position: int
    tick: int
    sheet: int
    off: int | None


@dataclass(frozen=True, slots=True)
class FindingAt:
    """A finding as stretches of ticks, both ends meant.

    position : None = all positions.  may : where it may be, as a whole.  sure : where it surely is, within may
    """

    position: int | None
    fault: str
    serious: bool
    may: tuple[int, int]
    sure: tuple[tuple[int, int], ...]
    text: str


@dataclass(frozen=True, slots=True)
class Residuals:
    """A pile's reads.  ticks : first and last of the pile; rows, columns : of the sheet as it lies."""

    unit: str
    ticks: tuple[int, int]
    rows: int
    columns: int
    points: tuple[Point, ...]
    findings: tuple[FindingAt, ...]


def residuals_of(reading: Reading, unit: str) -> Residuals:
    """Every number read on a numbered pile less what its position was to bear at that tick, and what it tells."""
    imprint = numbered(reading, unit)
    sheets, layout = reading.thread.length[unit].constant, reading.order.layout
    last = imprint.first_tick + sheets - 1
    seen = residuals(plan_of(imprint), reads_of(reading, unit))
    found = tuple(_at(one, imprint, seen) for _, one in diagnosed(reading, unit))
    points = tuple(Point(one.position, one.tick, last - one.tick, _off(one)) for one in seen)
    return Residuals(unit, (imprint.first_tick, last), layout.rows, layout.columns, points, found)


def _off(one: Residual) -> int | None:
    return None if one.shared is None or one.own is None else one.shared + one.own


def _at(one: Finding, imprint: Imprint, seen: Sequence[Residual]) -> FindingAt:
    sure = tuple(_sure(one, plan_of(imprint), seen))
    may = one.first_tick_suspect, one.last_tick
    return FindingAt(one.position, one.kind.value, serious(one), may, sure, one.text)


def _sure(one: Finding, plan: Numbering, seen: Sequence[Residual]) -> Iterator[tuple[int, int]]:
    """From the numbers surely concerned; where it names none, from the first to the last read that shows it."""
    first, last = one.first_tick_sure, one.last_tick
    if one.surely:
        within = [(max(first, a), min(last, b)) for n in one.surely for a, b in _ticks(plan, n)]
        yield from _joined([(a, b) for a, b in within if a <= b])
    else:
        shown = [r.tick for r in seen if first <= r.tick <= last and _shows(one, r)]
        yield first, max(shown, default=first)


def _ticks(plan: Numbering, numbers: Numbers) -> Iterator[tuple[int, int]]:
    """First and last tick of consecutive numbers of one position, block by block."""
    low = numbers.first
    while low <= numbers.last:
        high = min(numbers.last, low + plan.block - 1 - (low - plan.base) % plan.block)
        ends = plan.tick_position(low)[0], plan.tick_position(high)[0]
        yield min(ends), max(ends)
        low = high + 1


def _joined(ends: Sequence[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """Stretches in order; those that touch are one."""
    some = Spans.of(*((a, b + 1) for a, b in ends))
    return ((a, b - 1) for a, b in some)


def _shows(one: Finding, read: Residual) -> bool:
    """Is this read one of those the finding rests on?"""
    if one.position is None:
        return read.shared is None if one.offset == 0 else bool(read.shared)
    return read.position == one.position and (read.shared is None or bool(read.own))

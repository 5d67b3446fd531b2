"""From segments to numbers: which are withdrawn, which may stand twice, which may be missing.

Two axes, one law (tally.py).  A box's segments lie in blocks, and each block has its own stretch of the series.
What all positions share lies on the axis of ticks, and is turned into numbers of every position only at the end.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from reelmark.stations.numbering.finding import Finding
from reelmark.stations.numbering.plan import Numbering, Numbers
from reelmark.stations.numbering.segments import Segment
from reelmark.stations.numbering.tally import Range, Stretch, Touched, settle, union

__all__ = ["at_boxes", "at_sheets"]


def at_sheets(plan: Numbering, faults: Sequence[tuple[Finding, Segment]], end: int) -> list[Finding]:
    """The findings shared by all positions, with their numbers.

    end : last tick of the sheets numbered
    Only the sheets in doubt are withdrawn: behind them the notes are good and only the books are off.
    """
    verdicts = settle([(plan.first_tick, end + 1)], [_ticks(segment) for _, segment in faults])
    return [
        replace(
            finding,
            withdraw=_everywhere(plan, [(segment.suspect, segment.sure)]),
            printed=_everywhere(plan, wrong),
            missing=_everywhere(plan, gone),
        )
        for (finding, segment), (wrong, gone) in zip(faults, verdicts, strict=True)
    ]


def at_boxes(plan: Numbering, faults: Sequence[tuple[Finding, list[Segment]]], ticks: int) -> list[Finding]:
    """The findings at single positions, with their numbers.

    ticks : workings of the press so far; segments count ticks from the first
    """
    full, rest = divmod(ticks, plan.block)
    whole = plan.base + full * plan.ups * plan.block
    last = plan.first_tick + full * plan.block
    part = [(n.first, n.stop) for p in range(plan.ups) for n in plan.of_ticks(last, last + rest - 1, p)]
    touched = [_notes(plan, finding.position or 0, segments) for finding, segments in faults]
    verdicts = settle([(plan.base, whole), *part], touched)
    return [
        replace(
            finding,
            withdraw=_tidy(notes.planned),
            surely=_tidy(_sure(plan, finding.position or 0, segments)),
            printed=_tidy(wrong),
            missing=_tidy(gone),
        )
        for (finding, segments), notes, (wrong, gone) in zip(faults, touched, verdicts, strict=True)
    ]


def _ticks(segment: Segment) -> Touched:
    parts = segment.stretches()
    return Touched(
        [(segment.suspect, segment.end + 1)],
        [line for part in parts for line in part.may_bear()],
        [line for part in parts for line in part.surely_bears()],
    )


def _notes(plan: Numbering, position: int, segments: Iterable[Segment]) -> Touched:
    touched = Touched([], [], [])
    for start, part in _by_block(plan, segments):
        touched.planned.append(_numbers(plan, position, start, (part.start, part.stop)))
        touched.may_bear.extend(_numbers(plan, position, start, line) for line in part.may_bear())
        touched.surely_bears.extend(_numbers(plan, position, start, line) for line in part.surely_bears())
    return touched


def _sure(plan: Numbering, position: int, segments: Iterable[Segment]) -> Iterator[Range]:
    for start, part in _by_block(plan, segments):
        if part.was == part.now:
            yield _numbers(plan, position, start, (part.start, part.stop))


def _by_block(plan: Numbering, segments: Iterable[Segment]) -> Iterator[tuple[int, Stretch]]:
    """Every stretch, cut at the blocks; each with the first tick of its block."""
    for part in (part for segment in segments for part in segment.stretches()):
        for start in range(part.start // plan.block * plan.block, part.stop, plan.block):
            yield start, replace(part, start=max(part.start, start), stop=min(part.stop, start + plan.block))


def _numbers(plan: Numbering, position: int, start: int, line: Range) -> Range:
    """What stands on the wheels from line[0] to line[1] - 1 ticks; they turn on past the ends of the block."""
    begin = plan.at(plan.first_tick + start, position)
    if plan.descending:
        return begin - (line[1] - start) + 1, begin - (line[0] - start) + 1
    return begin + line[0] - start, begin + line[1] - start


def _everywhere(plan: Numbering, ticks: Iterable[Range]) -> tuple[Numbers, ...]:
    """The numbers of these ticks at every position."""
    numbers = (n for a, b in ticks for p in range(plan.ups) for n in plan.of_ticks(a, b - 1, p))
    return _tidy((n.first, n.stop) for n in numbers)


def _tidy(ranges: Iterable[Range]) -> tuple[Numbers, ...]:
    return tuple(Numbers(a, b - 1) for a, b in union(ranges))

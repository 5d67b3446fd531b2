"""The part of a handling of piles that needs no doubt, as runs on the big axis.

Whatever stands here is whole numbers; what does not (windows of uncounted pulls, places behind a pull whose number is
not known) is left out and reached through the Feed.
"""

import itertools
from collections.abc import Iterator

from .feed import Feed

__all__ = ["Row", "exact_rows"]

Row = tuple[str, int, int, str, int, int]  # unit, start, count, to_unit, at, sign


def exact_rows(feed: Feed) -> Iterator[Row]:
    """Rows of the sheets whose way through is known to the sheet."""
    if feed.fed_total.terms:
        return
    stops = _stops(feed)
    inputs = _whole(feed.run.inputs, feed.offsets)
    for start, end in itertools.pairwise(stops):
        unit, offset = next((u, o) for u, o in reversed(inputs) if o <= start)
        yield from _segment(feed, start, end, unit, offset)


def _stops(feed: Feed) -> list[int]:
    """Feed cuts at which anything changes: ends of inputs, pulls, windows and outputs."""
    total = feed.fed_total.constant
    cuts = {0, total, *(o.constant for o in feed.offsets)}
    for pull in feed.pulls:
        cuts |= {pull.start, pull.start + pull.sheets}
    for u in feed.run.unknowns:
        cuts |= {u.start, u.stop}
    if len(feed.run.outputs) > 1 and not feed.windows:
        cuts |= {feed.fed(o, feed.doubt).constant for o in feed.out_offsets if not o.terms}
    return sorted(c for c in cuts if 0 <= c <= total)


def _whole(names: tuple[str, ...], offsets: list) -> list[tuple[str, int]]:  # type: ignore[type-arg]
    return [(name, offset.constant) for name, offset in zip(names, offsets, strict=True)]


def _segment(feed: Feed, start: int, end: int, unit: str, offset: int) -> Iterator[Row]:
    known = feed.known_before(start)
    if feed.known_before(end) - known == end - start:
        pull = next(p for p in feed.pulls if p.start <= start < p.start + p.sheets)
        yield unit, start - offset, end - start, pull.lot, start - pull.start, 1
        return
    gone = feed.quiet_at(start - known)
    if gone is None or gone.terms:
        return
    yield from _delivered(feed, start - known - gone.constant, end - start, unit, start - offset)


def _delivered(feed: Feed, d: int, many: int, unit: str, at: int) -> Iterator[Row]:
    for (name, _), begins in zip(feed.run.outputs, feed.out_offsets, strict=True):
        length = feed.out_lengths[name]
        if begins.terms or (length.terms and feed.run.reverses):
            continue
        e = d - begins.constant
        if e < 0 or (not length.terms and e >= length.constant):
            continue
        if feed.run.reverses:
            yield unit, at, many, name, length.constant - 1 - e, -1
        else:
            yield unit, at, many, name, e, 1
        return

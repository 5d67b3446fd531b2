"""Numbers read on sheets, set against the strikes of the boxes: which strike a sheet must have had."""

from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence

from . import records as rec
from .facts import BLANK, Imprint, Tie
from .shop import Shop
from .trace.strikes import Strikes

__all__ = ["seen_tick", "strikes_seen"]

_AGREE = 2  # positions that must tell the same strike: a single box may be mis-set


def seen_tick(strikes: Strikes, read: rec.Reading, index: dict[str, int | None]) -> int | None:
    """The tick most positions of a sheet tell, if at least two agree and no other is told as often."""
    told = Counter(
        tick
        for one in read.reads
        if (number := index[one.text]) is not None and number >= strikes.base
        for tick, position in [strikes.struck(number)]
        if position == one.position
    )
    best = told.most_common(2)
    if not best or best[0][1] < _AGREE or (len(best) > 1 and best[1][1] == best[0][1]):
        return None
    return best[0][0]


def strikes_seen(shop: Shop) -> list[Tie]:
    """A tie for each sheet whose strike was read, on piles where some went unnumbered: elsewhere counts say it all."""
    short = {
        run.imprint.unit: run.imprint
        for run in shop.runs
        if run.imprint and shop.lengths.sheets(run.imprint.unit)[1] > run.imprint.ticks
    }
    seen: dict[str, list[Tie]] = {unit: [] for unit in short}
    for seq, read in shop.reads:
        if read.unit in short:
            seen[read.unit] += _tie(shop, seq, read, short[read.unit])
    return [tie for unit, ties in seen.items() for tie in _credible(short[unit], shop.lengths.sheets(unit)[1], ties)]


def _tie(shop: Shop, seq: int, read: rec.Reading, imprint: Imprint) -> list[Tie]:
    if all(not one.text for one in read.reads):
        return [Tie(seq, read.unit, sheet=read.sheet, as_unit=BLANK, by=read.by)]
    strikes, form = Strikes.of(imprint), shop.formats[imprint.series]
    tick = seen_tick(strikes, read, {one.text: form.read(one.text) for one in read.reads})
    if tick is None or not imprint.first_tick <= tick < imprint.first_tick + imprint.ticks:
        return []
    return [Tie(seq, read.unit, sheet=read.sheet, as_unit=strikes.place[0], as_sheet=tick, by=read.by)]


def _credible(imprint: Imprint, most: int, ties: Sequence[Tie]) -> list[Tie]:
    """Ties that can be true together; a read that cannot is a misread, and must not stop every other answer.

    From the top down the ticks fall, and ever more sheets went unnumbered: never more than there are.
    """
    blank = sorted({tie.sheet for tie in ties if tie.as_unit == BLANK})[: most - imprint.ticks]
    room = most - imprint.ticks - len(blank)
    read = [
        (tie.sheet, -tie.as_sheet, missed, tie)
        for tie in sorted(ties, key=lambda tie: tie.sheet) if tie.as_unit != BLANK and tie.sheet not in blank
        if 0 <= (missed := _missed(imprint, tie) - bisect_left(blank, tie.sheet)) <= room
    ]  # fmt: skip
    return [tie for tie in ties if tie.as_unit == BLANK] + [tie for *_, tie in _longest_rise(read)]


def _missed(imprint: Imprint, tie: Tie) -> int:
    """Sheets above this one that went unnumbered, if its strike was read right."""
    return tie.sheet - (imprint.ticks - 1 - (tie.as_sheet - imprint.first_tick))


def _longest_rise(read: Sequence[tuple[int, int, int, Tie]]) -> list[tuple[int, int, int, Tie]]:
    """The most reads of which each follows from the one before: the same sheet and strike, or both further on."""
    chains: list[list[tuple[int, int, int, Tie]]] = []
    for one in read:
        sheet, strike, missed, _ = one
        before = [
            c for c in chains
            if c[-1][:2] == (sheet, strike) or (c[-1][0] < sheet and c[-1][1] < strike and c[-1][2] <= missed)
        ]  # fmt: skip
        chains.append([*max(before, key=len, default=[]), one])
    return max(chains, key=len, default=[])

"""Numbers read on sheets, set against the strikes of the boxes: which strike a sheet must have had."""

from collections import Counter

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
    """A tie for every sheet whose strike was read, on piles where sheets went unnumbered: elsewhere counts say it all."""
    short = {
        run.imprint.unit: run.imprint
        for run in shop.runs
        if run.imprint and shop.lengths.sheets(run.imprint.unit)[1] > run.imprint.ticks
    }
    return [tie for seq, read in shop.reads if read.unit in short for tie in _tie(shop, seq, read, short[read.unit])]


def _tie(shop: Shop, seq: int, read: rec.Reading, imprint: Imprint) -> list[Tie]:
    if all(not one.text for one in read.reads):
        return [Tie(seq, read.unit, sheet=read.sheet, as_unit=BLANK, by=read.by)]
    strikes, form = Strikes.of(imprint), shop.formats[imprint.series]
    tick = seen_tick(strikes, read, {one.text: form.read(one.text) for one in read.reads})
    if tick is None or not imprint.first_tick <= tick < imprint.first_tick + imprint.ticks:
        return []
    return [Tie(seq, read.unit, sheet=read.sheet, as_unit=strikes.place[0], as_sheet=tick, by=read.by)]

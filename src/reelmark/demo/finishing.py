"""The guillotine, the packs with their replacement notes, the counts, and the spoil destroyed."""

from collections.abc import Iterator

from .looking import number
from .numberwork import ORDER, REPLACEMENT, NumberPile
from .shop import Shop
from .writing import DAY, SHIFT, Json, Line

__all__ = ["destroy_spoil", "finish"]


def finish(shop: Shop, piles: Iterator[NumberPile]) -> None:
    """Cut every pile, and band the blocks that are whole after it."""
    packs = _Packs(shop)
    for pile in piles:
        body: Json = {"kind": "cut", "unit": pile.name, "counted_in": shop.sheets(pile.name)}
        line = shop.book.write("guillotine", body, 1200 + shop.sheets(pile.name) // 3, needs=[pile.name])
        packs.cut(pile, line.at)


class _Packs:
    """Numbers cut so far, and the replacement notes not used yet."""

    def __init__(self, shop: Shop) -> None:
        self.shop, self.done = shop, 0
        self.spare: Iterator[int] = iter(())

    def cut(self, pile: NumberPile, at: int) -> None:
        """A pile is cut: replacement notes go to the store, whole blocks of the order are banded."""
        shop = self.shop
        if pile.series == REPLACEMENT:
            ticks = shop.floor.tick[shop.floor.piles[pile.name]].tolist()
            plan = shop.boxes.planned
            self.spare = iter(sorted(plan(tick, p) for tick in ticks for p in range(shop.boxes.ups)))
            return
        while (self.done + 1) * shop.size.block <= pile.first_tick + pile.ticks:
            at += 300
            self._band(self.done, at)
            self.done += 1

    def _band(self, block: int, at: int) -> None:
        """Notes of one block at every position: consecutive numbers, those spoiled replaced."""
        shop = self.shop
        many = shop.boxes.ups * shop.size.block
        lost = [shop.boxes.planned(tick, p) for tick in self._gone(block) for p in range(shop.boxes.ups)]
        short = self._counted_short(at) if block == shop.plan.short[0] else None
        if short is not None:
            torn, at = short
            lost.append(torn)
        replaced = [(number(shop, ORDER, n), number(shop, REPLACEMENT, next(self.spare))) for n in sorted(lost)]
        body = self._range("pack", block * many, many)
        body["replaced"] = [{"number": n, "by": by} for n, by in replaced] or None
        line = shop.book.write("banding line", body, 900, after=at)
        if short is not None:
            start = torn // 100 * 100
            self._count(start, 100, 100, line.at)
            self._plant(start, replaced, number(shop, ORDER, torn))
        elif shop.chance.yes(20):
            some = min(1_000, shop.size.block)
            start = block * many + shop.chance.whole(0, many // some - 1) * some
            self._count(start, some, some, line.at)

    def _gone(self, block: int) -> list[int]:
        """Ticks of the block whose sheets did not stay good."""
        floor, first = self.shop.floor, block * self.shop.size.block
        struck = (floor.series == ORDER) & (floor.tick >= first) & (floor.tick < first + self.shop.size.block)
        return [int(tick) for tick in floor.tick[struck & (floor.kind > 0)]]

    def _counted_short(self, at: int) -> tuple[int, int]:
        """The trouble: 99 in a pack; a shift later the note is found torn.  Gives the note, and when it was moved."""
        shop = self.shop
        block, position, hundred = shop.plan.short
        start = (block * shop.boxes.ups + position) * shop.size.block + hundred * 100
        torn = start + shop.chance.whole(1, 98)
        self.counted = self._count(start, 100, 99, at)
        text = number(shop, ORDER, torn)
        body: Json = {
            "kind": "move", "series": shop.size.order.series[ORDER].name, "first": text, "last": text,
            "source": "good", "target": "spoiled", "why": "found torn under the guillotine",
        }  # fmt: skip
        moved = shop.book.write("office", body, 900, after=(self.counted.at // SHIFT + 1) * SHIFT, two=True)
        shop.floor.notes[text] = "spoiled"
        return torn, moved.at

    def _plant(self, start: int, replaced: list[tuple[str, str]], torn: str) -> None:
        shop = self.shop
        body = self._range("count", start, 100)
        place = {"series": body["series"], "first": body["first"], "last": body["last"]}
        shop.plant("short pack", self.counted, counted=99, number=torn, replaced_by=dict(replaced)[torn], **place)

    def _count(self, start: int, notes: int, counted: int, after: int) -> Line:
        body = self._range("count", start, notes, counted=counted, blind=True)
        return self.shop.book.write("counting room", body, 900, after=after)

    def _range(self, kind: str, start: int, notes: int, **more: object) -> Json:
        shop = self.shop
        first, last = number(shop, ORDER, start), number(shop, ORDER, start + notes - 1)
        return {"kind": kind, "series": shop.size.order.series[ORDER].name, "first": first, "last": last} | more


def destroy_spoil(shop: Shop) -> None:
    """More than half the lots of spoil, two days after they were pulled, before two persons."""
    for lot, pile in shop.spoiled:
        if shop.chance.yes(60):
            body: Json = {"kind": "destroy", "unit": lot, "why": "spoil destroyed"}
            after = shop.book.ready[pile] + 2 * DAY + shop.chance.whole(0, SHIFT)
            shop.book.write("counting room", body, 300, after=after, two=True)
            shop.floor.destroy(lot)

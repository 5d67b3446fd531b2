"""Numbers read by camera and by hand, the sheet without one found, and every sheet looked through for spoil."""

from collections.abc import Sequence

import numpy as np

from .boxes import written
from .pulls import Pulled, draw_pulls, put_aside, taken
from .shop import Shop
from .writing import Json, Line

__all__ = ["find_blank", "look_through", "number", "read_sheet"]

TABLE = "hand table"


def number(shop: Shop, series: int, index: int) -> str:
    """Text of a number of the order, by its place in the series."""
    return written(shop.size.order.series[series], index)


def read_sheet(shop: Shop, machine: str, pile: str, sheet: int, positions: Sequence[int], seconds: int) -> None:
    """What stands printed at these positions of a sheet, from the top; nothing on a sheet without a number."""
    who = shop.floor.piles[pile][sheet]
    series, tick = int(shop.floor.series[who]), int(shop.floor.tick[who])
    texts = {p: "" for p in positions}
    if series >= 0:
        printed = shop.boxes.strike(series, np.array([tick]))[0].tolist()
        texts = {p: number(shop, series, printed[p]) for p in positions}
    reads = [{"position": p, "text": text} for p, text in texts.items()]
    body: Json = {"kind": "read", "unit": pile, "sheet": sheet, "reads": reads}
    shop.book.write(machine, body, seconds, needs=[pile], gives=[pile])


def find_blank(shop: Shop, line: Line, pile: str, blank: int) -> str:
    """The double feed, and how the shop finds it: the camera's numbers shift by one; the stretch is halved by hand.

    blank : feed count of the sheet without a number; gives the pile without it
    """
    sheets, to = shop.sheets(pile), pile + "k"
    good = blank // shop.size.look_every * shop.size.look_every
    shifted = good + shop.size.look_every
    while shifted - good > 1:
        middle = (good + shifted) // 2
        read_sheet(shop, TABLE, pile, sheets - 1 - middle, [0], 120)
        if middle == blank:
            break
        good, shifted = (middle, shifted) if middle < blank else (good, middle)
    found = [Pulled(sheets - 1 - blank, 1, "spoiled", "no number")]
    put_aside(shop, pile, to, found, None, reverses=False)
    body: Json = {"kind": "pull", "unit": pile, "to": to, "pulls": taken(found)}
    shop.book.write(TABLE, body, 600, needs=[pile], gives=[to])
    tick = int(shop.floor.tick[shop.floor.piles[pile][sheets - blank]])
    shop.plant("double feed", line, unit=pile, sheet=sheets - 1 - blank, tick=tick)
    return to


def look_through(shop: Shop, unit: str, to: str, keep: Sequence[tuple[int, int]]) -> None:
    """Every sheet looked at: a sample and spoil pulled, but nothing out of the stretches to keep."""
    size, burst, shut = shop.sheets(unit), max(1, shop.size.burst // 3), list(keep)
    pulls = draw_pulls(shop, size, 1, 1, "sample", ("sample for the issuer",), shut)
    bursts, why = shop.chance.whole(2, 5), ("number weak", "number doubled", "smear", "crease")
    pulls += draw_pulls(shop, size, bursts, burst, "spoiled", why, shut + [(p.start, p.end) for p in pulls])
    pulls.sort(key=lambda p: p.start)
    gone = put_aside(shop, unit, to, pulls, None, reverses=False)
    body: Json = {"kind": "pull", "unit": unit, "to": to, "pulls": taken(pulls)}
    if shop.chance.yes(50):
        body["counted_out"] = size - gone
    shop.book.write(TABLE, body, 1800 + size // 3, needs=[unit], gives=[to])

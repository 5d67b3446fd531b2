"""From the film line to white piles: rolls wound, coated, looked at, written, slit and cut to sheets."""

from collections.abc import Iterator
from itertools import pairwise

from ..units import metres
from .filmline import METRES_A_MINUTE
from .shop import Shop
from .writing import Json

__all__ = ["white_piles"]

# machine, letter its roll ends in, m of web a minute
STAGES = (
    ("coater", "a", 200), ("coater", "b", 200), ("window viewer", "c", 150), ("optic writer", "d", 120),
)  # fmt: skip
MM = 1000  # um
Kept = list[tuple[str, int, int]]


def white_piles(shop: Shop) -> list[str]:
    """Names of the piles, in the order they were cut."""
    names: list[str] = []
    ready = [name for roll in range(len(shop.size.rolls)) for name in _written(shop, roll)]
    for roll in ready:
        for lane in _slit(shop, roll):
            if shop.floor.born < shop.size.to_cut:
                names += _sheets(shop, *lane, len(names))
    return names


def _written(shop: Shop, roll: int) -> Iterator[str]:
    """Film wound and taken through the passes; the short roll waits to be set on the outside of its neighbour."""
    name, length = f"F{roll + 1:02d}", shop.size.rolls[roll]
    if roll == shop.size.joined:
        return
    unit = _film(shop, name, length)
    for stage in range(len(STAGES)):
        if stage == len(STAGES) - 1 and roll == shop.plan.rewound:
            unit = _rewind(shop, unit, name + "x")
        short = _short_roll(shop) if stage == len(STAGES) - 1 and roll == shop.size.joined - 1 else None
        unit = _pass(shop, unit, name, roll, stage, short)
    yield unit


def _short_roll(shop: Shop) -> str:
    roll = shop.size.joined
    name = f"F{roll + 1:02d}"
    unit = _film(shop, name, shop.size.rolls[roll])
    for stage in range(len(STAGES) - 1):
        unit = _pass(shop, unit, name, roll, stage, None)
    return unit


def _film(shop: Shop, name: str, length: int) -> str:
    shop.floor.film(name, length)
    body = {"kind": "roll", "unit": name, "length": metres(length), "lanes": shop.size.order.lanes}
    shop.book.write("film line", body, 900 + _seconds(length, METRES_A_MINUTE), gives=[name])
    if shop.chance.yes(60):
        _mark(shop, name, "thick band", "film gauge")
    return name


def _pass(shop: Shop, unit: str, name: str, roll: int, stage: int, short: str | None) -> str:
    machine, letter, speed = STAGES[stage]
    start, end = _ends(shop, unit)
    kept: Kept = [(unit, start, end)]
    for splice in shop.plan.splices:
        if (splice.roll, splice.stage) == (roll, stage):
            middle = shop.floor.length(unit) * splice.percent // 100 // MM * MM
            out = shop.chance.whole(*shop.size.splice_waste) // MM * MM
            kept = [(unit, start, middle), (unit, middle + out, end)]
    if short is not None:
        kept.append((short, *_ends(shop, short)))
    body = _wind(shop, machine, kept, name + letter, speed)
    if letter == "c":
        _mark(shop, name + letter, shop.chance.pick(["speck in window", "window out of register"]), "window viewer")
    return str(body["to"])


def _rewind(shop: Shop, unit: str, to: str) -> str:
    """The trouble: the whole roll over the standing rewinder, a little waste at both ends."""
    start, end = _ends(shop, unit)
    _wind(shop, "rewinder", [(unit, start, end)], to, 300)
    shop.plant("extra rewind", shop.book.lines[-1], unit=unit, to=to)
    return to


def _wind(shop: Shop, machine: str, kept: Kept, to: str, speed: int) -> Json:
    shop.floor.wind(kept, to)
    stretches = [{"unit": unit, "start": metres(start), "end": metres(end)} for unit, start, end in kept]
    body = {"kind": "pass", "kept": stretches, "to": to, "why": "ends and waste"}
    seconds = 1200 + _seconds(sum(end - start for _, start, end in kept), speed)
    line = shop.book.write(machine, body, seconds, needs=[k[0] for k in kept], gives=[to])
    at = 0
    for (unit, start, end), (after, begin, _) in pairwise(kept):
        at += end - start
        out = metres(begin - end) if after == unit else None
        why = {"out": out} if out else {"joined": [unit, after]}
        shop.plant("splice", line, to=to, at=metres(at), **why)
    return body


def _slit(shop: Shop, roll: str) -> list[tuple[str, int]]:
    """One roll a lane, all with the same metres."""
    start, end = _ends(shop, roll)
    lanes = [(f"{roll[:-1]}-{lane}", lane) for lane in range(1, shop.size.order.lanes + 1)]
    for name, _ in lanes:
        shop.floor.wind([(roll, start, end)], name)
    to = [{"lane": lane, "unit": name} for name, lane in lanes]
    kept = [{"unit": roll, "start": metres(start), "end": metres(end)}]
    body = {"kind": "slit", "kept": kept, "to": to, "why": "ends"}
    shop.book.write("sheeter", body, 900 + _seconds(end - start, 250), needs=[roll], gives=[name for name, _ in lanes])
    return lanes


def _sheets(shop: Shop, roll: str, lane: int, piles: int) -> list[str]:
    """The lane cut to piles of about the usual size, a few mm of web lost between them."""
    cut_off, length = shop.size.order.layout.cut_off, shop.floor.length(roll)
    first = length // 4000 + shop.chance.whole(0, 9_999)
    end = length - length // 4000
    count = max(1, round((end - first) / cut_off / shop.size.white_pile))
    each = (end - first) // count // cut_off
    names = []
    for i in range(count):
        last = (end - first) // cut_off
        sheets = last if i == count - 1 else each
        name = f"P{piles + i + 1:03d}"
        shop.floor.cut(roll, lane, first, sheets, cut_off, name)
        body = {"kind": "sheet", "unit": roll, "to": name, "first_cut": metres(first), "sheets": sheets}
        shop.book.write("sheeter", body, 600 + sheets * 2 // 5, needs=[roll], gives=[name])
        names.append(name)
        first += sheets * cut_off + shop.chance.whole(2, 90) * MM
    return names


def _ends(shop: Shop, unit: str) -> tuple[int, int]:
    """(from, to) um of what is kept when only the waste at both ends goes."""
    low, high = shop.size.web_waste
    start, tail = (shop.chance.whole(low // MM, high // MM) * MM for _ in range(2))
    return start, shop.floor.length(unit) - tail


def _mark(shop: Shop, unit: str, fault: str, seen_by: str) -> None:
    """Something seen, in metres as wound."""
    length = shop.floor.length(unit)
    start = length * shop.chance.whole(5, 90) // 100 // MM * MM
    lanes = shop.chance.several(1, shop.size.order.lanes + 1, shop.chance.whole(1, 2))
    body = {
        "kind": "mark", "unit": unit, "lanes": lanes, "start": metres(start),
        "end": metres(start + length // 2000 // MM * MM), "fault": fault, "grade": "note", "seen_by": seen_by,
    }  # fmt: skip
    machine = "film line" if seen_by == "film gauge" else "window viewer"
    shop.book.write(machine, body, 30, needs=[unit], gives=[unit])


def _seconds(um: int, metres_a_minute: int) -> int:
    return um * 60 // (metres_a_minute * 10**6)

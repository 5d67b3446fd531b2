"""The numbering press: piles set to size, numbered, read by the camera, looked through; and what goes wrong there."""

from collections.abc import Iterator
from dataclasses import dataclass

from .looking import find_blank, look_through, number, read_sheet
from .pulls import draw_pulls, put_aside, taken
from .shop import Shop
from .writing import Json, Line

__all__ = ["ORDER", "REPLACEMENT", "NumberPile", "allocate", "number_piles"]

ORDER, REPLACEMENT = 0, 1  # place in the order's series list
PRESS, TABLE = "numbering press", "hand table"


@dataclass(frozen=True, slots=True)
class NumberPile:
    """A pile at the numbering press, and afterwards at the guillotine, with the ticks that struck it."""

    name: str
    series: int
    first_tick: int
    ticks: int


def allocate(shop: Shop) -> None:
    """Both ranges of numbers, each by two persons."""
    for series, sheets, purpose in (
        (ORDER, shop.size.sheets, "order"),
        (REPLACEMENT, shop.size.replacements, "replacement"),
    ):
        body: Json = {"kind": "allocate", "series": shop.size.order.series[series].name}
        body |= {"first": number(shop, series, 0), "last": number(shop, series, sheets * shop.boxes.ups - 1)}
        shop.book.write("office", body | {"purpose": purpose}, 900 + 300 * series, two=True)


def number_piles(shop: Shop, printed: Iterator[str]) -> Iterator[NumberPile]:
    """Replacements first, then the order until its last number is struck; each pile ready for the guillotine."""
    rest = _set_to_size(shop, printed, "", "R001", shop.size.replacements)
    yield _made(shop, "R001", REPLACEMENT, 0, None)
    tick, owed = 0, 0
    for n in range(shop.size.number_piles):
        doubled, blank = shop.plan.doubled[0], shop.plan.doubled[1] + 1
        name = f"N{n + 1:03d}"
        rest = _set_to_size(shop, printed, rest, name, shop.size.number_pile + owed)
        pile = _made(shop, name, ORDER, tick, blank if n == doubled else None)
        tick += pile.ticks
        owed = int(n == doubled)  # the next pile makes good the number that was not struck
        yield pile


def _made(shop: Shop, unit: str, series: int, tick: int, blank: int | None) -> NumberPile:
    """Numbered, read and looked through.  blank : feed count of the sheet that slips through under another."""
    to, line = unit + "n", _numbered(shop, unit, series, tick, blank)
    ticks = int(line.body["ticks"])
    _plant_slips(shop, line, to, series, tick, ticks)
    for feed in range(0, shop.sheets(to), shop.size.look_every):
        read_sheet(shop, PRESS, to, shop.sheets(to) - 1 - feed, range(shop.boxes.ups), 1)
    if blank is not None:
        to = find_blank(shop, line, to, blank)
    pile = NumberPile(unit + "ni", series, tick, ticks)
    look_through(shop, to, pile.name, _keep(shop, pile))
    return pile


def _numbered(shop: Shop, unit: str, series: int, tick: int, blank: int | None) -> Line:
    ticks = shop.floor.strike(unit, unit + "n", series, tick, blank)
    body: Json = {
        "kind": "number", "unit": unit, "to": unit + "n", "series": shop.size.order.series[series].name,
        "first": number(shop, series, 0), "first_tick": tick, "ticks": ticks, "block": shop.size.block,
        "descending": True, "counted_out": shop.sheets(unit),
    }  # fmt: skip
    return shop.book.write(PRESS, body, 1800 + ticks // 2, needs=[unit], gives=[unit + "n"])


def _plant_slips(shop: Shop, line: Line, pile: str, series: int, tick: int, ticks: int) -> None:
    """The boxes that went wrong in this pile."""
    for slip in shop.plan.slips:
        if slip.series == series and tick <= slip.tick < tick + ticks:
            name = "mis-set box" if slip.offset else "skipped tick"
            end = (slip.tick // shop.size.block + 1) * shop.size.block - 1
            place = {"position": slip.position, "first_tick": slip.tick, "last_tick": end}
            shop.plant(name, line, unit=pile, offset=slip.offset or 1, **place)


def _keep(shop: Shop, pile: NumberPile) -> list[tuple[int, int]]:
    """Stretches of the pile, from the top, out of which nothing is pulled: blocks that another trouble needs whole."""
    if pile.series == REPLACEMENT:
        return []
    block, plan = shop.size.block, shop.plan
    blocks = (plan.misset.tick // block, plan.stuck.tick // block, plan.short[0])
    tops = [pile.first_tick + pile.ticks - (one + 1) * block for one in blocks]
    return [(top - 1, top + block + 1) for top in tops]


def _set_to_size(shop: Shop, printed: Iterator[str], rest: str, name: str, sheets: int) -> str:
    """Piles set on one another and split at the count wanted; gives the pile that is left."""
    units = [rest] if rest else []
    while sum(map(shop.sheets, units)) < sheets + 3:
        units.append(next(printed, ""))
        if not units[-1]:
            raise ValueError(f"no printed sheets left for {name}; give the size more film or a larger margin")
    unit, left = units[0], name + "z"
    if len(units) > 1:
        unit = "J" + name
        shop.floor.join(units, unit)
        body: Json = {"kind": "join", "units": units, "to": unit}
        shop.book.write(TABLE, body, 900, needs=units, gives=[unit])
    if shop.chance.yes(40):
        unit = _last_look(shop, unit, name + "q")
    shop.floor.split(unit, (name, left), sheets)
    body = {"kind": "split", "unit": unit, "to": [{"unit": name, "sheets": sheets}, {"unit": left}]}
    shop.book.write(TABLE, body, 900 + sheets // 10, needs=[unit], gives=[name, left])
    return left


def _last_look(shop: Shop, unit: str, to: str) -> str:
    """A sheet or two taken off before numbering: they never get a number."""
    pulls = draw_pulls(shop, shop.sheets(unit), 1, 2, "spoiled", ("set-off", "turned corner"), ())
    put_aside(shop, unit, to, pulls, None, reverses=False)
    body: Json = {"kind": "pull", "unit": unit, "to": to, "pulls": taken(pulls)}
    shop.book.write(TABLE, body, 1200, needs=[unit], gives=[to])
    return to

"""Three print passes and two turns for every white pile, with what is pulled on the way."""

from collections.abc import Sequence
from typing import Any

from .pulls import Pulled, Window, draw_pulls, draw_window, put_aside, taken
from .shop import Shop
from .writing import DAY, Json, Line

__all__ = ["press", "transposed"]

# machine, work, letter its pile ends in
PASSES = (
    ("background press", "background, front", "f"),
    ("background press", "background, back", "b"),
    ("relief press", "relief, front", "r"),
)
WHY = ("hickey", "crease", "out of register", "ink mist", "torn edge")


def press(shop: Shop, white: str, number: int) -> str:
    """The pile through all its passes; gives the name of the printed pile.  number : of the white pile, from 0."""
    unit = _print(shop, white, white, number, 0)
    unit = _turn(shop, unit, white + "t", by_hand=number == shop.plan.tumbled)
    unit = _print(shop, unit, white, number, 1)
    unit = _turn(shop, unit, white + "u", by_hand=False)
    unit = _print(shop, unit, white, number, 2)
    if unit in shop.owed or shop.chance.yes(30):
        shop.owed.discard(unit)
        _count(shop, "counting room", unit)
    return unit


def _print(shop: Shop, unit: str, white: str, number: int, step: int) -> str:
    machine, work, letter = PASSES[step]
    to, size = white + letter, shop.sheets(unit)
    wrong = (number, step) == (shop.plan.corrected, shop.plan.corrected_pass)
    window = draw_window(shop, size) if shop.plan.uncounted.get(number) == step else None
    pulls = _print_pulls(shop, size, window, wrong)
    gone = put_aside(shop, unit, to, pulls, window, reverses=True)
    told = [Pulled(p.start, shop.size.mistaken[0], p.kind, p.why) if p.why == "crash" else p for p in pulls]
    body: Json = {"kind": "print", "unit": unit, "to": to, "work": work, "pulls": taken(told)}
    if unit in shop.owed or shop.chance.yes(50):
        shop.owed.discard(unit)
        body["counted_in"] = size
    if window is not None:
        body["uncounted"] = [{"start": window.start, "end": window.end, "low": 0, "high": window.high}]
    elif not wrong and shop.chance.yes(50):
        body["counted_out"] = size - gone
    line = shop.book.write(machine, body, 1500 + size * 9 // 20, needs=[unit], gives=[to])
    if window is not None or wrong:
        shop.owed.add(to)
    if window is not None:
        values: dict[str, Any] = {"start": window.start, "end": window.end, "low": 0, "high": window.high}
        shop.plant("uncounted pull", line, unit=unit, to=to, count=len(window.gone), **values)
    if wrong:
        _correct(shop, line, pulls)
    if step == 0 and number >= shop.plan.miscounted and number not in {*shop.plan.uncounted, shop.plan.corrected}:
        _wrong_count(shop, to)
    return to


def _print_pulls(shop: Shop, size: int, window: Window | None, wrong: bool) -> list[Pulled]:
    low, high = shop.size.make_ready
    pulls = [Pulled(0, shop.chance.whole(low, high), "spoiled", "make-ready")]
    shut = [(window.start, window.end)] if window else []
    if wrong:
        start = shop.chance.whole(size * 4 // 10, size * 6 // 10)
        pulls.append(Pulled(start, shop.size.mistaken[1], "spoiled", "crash"))
    pulls += draw_pulls(shop, size, 1, 1, "sample", ("colour sample",), shut + [(p.start, p.end) for p in pulls])
    bursts = shop.chance.whole(0, 3)
    pulls += draw_pulls(shop, size, bursts, shop.size.burst, "spoiled", WHY, shut + [(p.start, p.end) for p in pulls])
    return sorted(pulls, key=lambda p: p.start)


def _turn(shop: Shop, unit: str, to: str, by_hand: bool) -> str:
    """By the turner over the lead edge; by hand, the trouble, over the side edge."""
    how, machine = ("tumble", "hand table") if by_hand else ("turn", "pile turner")
    shop.floor.turn(unit, to, rows=by_hand, columns=not by_hand)
    body: Json = {"kind": "turn", "unit": unit, "to": to, "how": how}
    line = shop.book.write(machine, body, 5400 if by_hand else 480, needs=[unit], gives=[to])
    if unit in shop.owed:
        shop.owed.remove(unit)
        shop.owed.add(to)
    if by_hand:
        shop.plant("pile turned by hand", line, unit=unit, to=to, how=how)
    return to


def _correct(shop: Shop, line: Line, pulls: Sequence[Pulled]) -> None:
    """The trouble: the record says another number of sheets; three days later two persons put it right."""
    right = line.body | {"pulls": taken(pulls)}
    wrote, really = shop.size.mistaken
    body: Json = {"record": right, "why": f"the crash took {really} sheets, not {wrote}"}
    correction = shop.book.write("office", body, 600, after=line.at + 3 * DAY, two=True, of=line)
    values = {"unit": line.body["unit"], "to": line.body["to"], "written": wrote, "right": really}
    start = next(p.start for p in pulls if p.why == "crash")
    shop.plant("late correction", correction, start=start, of=line, **values)


def _wrong_count(shop: Shop, unit: str) -> None:
    """The trouble, at the first pile whose count can be misread so: two digits changed over, then a blind recount."""
    right = shop.sheets(unit)
    wrong = transposed(right)
    if wrong == right or any(t.name == "wrong count" for t in shop.planted.all):
        return
    first = _count(shop, "hand table", unit, wrong, blind=False)
    _count(shop, "counting room", unit, not_by=first.by)
    shop.plant("wrong count", first, unit=unit, counted=wrong, right=right)


def _count(
    shop: Shop, machine: str, unit: str, counted: int | None = None, blind: bool = True, not_by: str = ""
) -> Line:
    """A pile counted; the pile waits for it."""
    sheets = shop.sheets(unit) if counted is None else counted
    body: Json = {"kind": "count", "unit": unit, "counted": sheets, "blind": blind}
    return shop.book.write(machine, body, 900 + sheets // 10, needs=[unit], gives=[unit], not_by=not_by)


def transposed(number: int) -> int:
    """The number with its last two differing neighbours changed over; itself where there are none."""
    digits = list(str(number))
    for i in range(len(digits) - 1, 0, -1):
        if digits[i] != digits[i - 1] and (i > 1 or digits[i] != "0"):
            digits[i], digits[i - 1] = digits[i - 1], digits[i]
            break
    return int("".join(digits))

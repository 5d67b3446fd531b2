"""Take hold of any material and see where it came from and where it went.

    chosen = choose(reading, ["F05@5214.25-5217m@1,2"])       metres of a roll; lanes, or all of them
    chosen = choose(reading, ["P001@120-121"])                sheets of a pile, 0 the top one
    chosen = choose(reading, ["series TM20@AA0001001-AA0001100"])    numbers, the last among them
    follow(reading, chosen)                                   MAY and MUST, on every unit up and down the way

The text is what stands in the address of a page, so that a selection can be sent to a colleague.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from ..errors import BadValue, NotThere
from ..facts import SERIES
from ..reading import Reading
from ..spans import EMPTY, Extent, Place, Spans
from ..trace import Answer
from ..trace.thread import Thread
from ..units import in_metres, whole
from .recall import web_extent

__all__ = ["MOST_CHOSEN", "Followed", "choose", "follow", "text_of"]

MOST_CHOSEN = 64  # places in one address


@dataclass(frozen=True, slots=True)
class Followed:
    """What was taken hold of; all it may touch, and surely touches, itself among them."""

    chosen: Extent
    may: Extent
    must: Extent


def choose(reading: Reading, texts: Sequence[str]) -> Extent:
    """The places named in an address."""
    if len(texts) > MOST_CHOSEN:
        raise BadValue("of", f"{len(texts)} places", f"an address holds {MOST_CHOSEN} at most", "take hold of fewer")
    parts = [_place(reading, text) for text in texts]
    return Extent([(place, spans) for part in parts for place, spans in part.items()])


def _place(reading: Reading, text: str) -> Extent:
    unit, _, rest = text.strip().partition("@")
    stretch, _, lanes = rest.partition("@")
    unit = _named(reading, unit)
    if unit.startswith(SERIES):
        return _numbers(reading, unit, stretch)
    reading.thread.known(unit)
    start, stop = _ends(reading, unit, stretch, text)
    return web_extent(reading, unit, start, stop, _lanes(lanes, text))


def _named(reading: Reading, unit: str) -> str:
    """The unit as it is written, whatever capitals were typed."""
    if unit in reading.thread.length or unit.startswith(SERIES):
        return unit
    return next((one for one in reading.thread.length if one.lower() == unit.lower()), unit)


def _ends(reading: Reading, unit: str, stretch: str, text: str) -> tuple[int, int]:
    web = unit in reading.shop.web_length
    if not stretch:
        return 0, reading.shop.web_length[unit] if web else reading.thread.lengths.sheets(unit)[1]
    first, dash, last = stretch.partition("-")
    form = "F01@120.5-123m" if web else "P001@120-123"
    if not dash or web != last.endswith("m"):
        raise BadValue("of", text, "the stretch does not read", f"write it as {form}")
    if web:
        return whole(first.strip() + " m", "um", field="of"), whole(last[:-1].strip() + " m", "um", field="of")
    if not (first.isdecimal() and last.isdecimal() and len(first) < 12 and len(last) < 12):
        raise BadValue("of", text, "sheets are counted in whole numbers from the top", f"write it as {form}")
    return int(first), int(last)


def _lanes(text: str, whole_text: str) -> list[int] | None:
    if not text:
        return None
    steps = text.split(",")
    if not all(step.isdecimal() and len(step) < 3 for step in steps):
        raise BadValue("of", whole_text, f"lanes {text!r} do not read", "write them as 1,2")
    return sorted({int(step) for step in steps})


def _numbers(reading: Reading, unit: str, stretch: str) -> Extent:
    name = unit.removeprefix(SERIES)
    if name not in reading.shop.formats:
        known = ", ".join(reading.shop.formats)
        raise NotThere("series", name, f"the order has {known}", "name one of them")
    form, given = reading.shop.formats[name], reading.shop.allocated.get(name, EMPTY)
    if not stretch:
        return Extent({(unit, 0): given})
    first, _, last = stretch.partition("-")
    low, high = (form.index(one.strip().upper()) for one in (first, last or first))
    if high < low:
        raise BadValue("of", stretch, f"{last} comes before {first}", "give the lower number first")
    return Extent({(unit, 0): Spans.of((low, high + 1))})


def by_lanes(extent: Extent) -> Iterator[tuple[str, Spans, list[int]]]:
    """(unit, spans, lanes): lanes of a unit that hold the same are taken together."""
    same: dict[tuple[str, Spans], list[int]] = {}
    for (unit, lane), spans in extent.items():
        same.setdefault((unit, spans), []).append(lane)
    return ((unit, spans, sorted(lanes)) for (unit, spans), lanes in same.items())


def text_of(reading: Reading, chosen: Extent) -> list[str]:
    """The address of a selection; lanes that hold the same are named together."""
    return [text for unit, spans, lanes in by_lanes(chosen) for text in _texts(reading, unit, spans, lanes)]


def _texts(reading: Reading, unit: str, spans: Spans, lanes: Sequence[int]) -> Iterable[str]:
    on = reading.shop.rolls.get(unit)
    named = "" if on is None or set(on) == set(lanes) else "@" + ",".join(map(str, lanes))
    for a, b in spans:
        if unit.startswith(SERIES):
            form = reading.shop.formats[unit.removeprefix(SERIES)]
            yield f"{unit}@{form.text(a)}-{form.text(b - 1)}"
        elif on is None:
            yield f"{unit}@{a}-{b}"
        else:
            yield f"{unit}@{in_metres(a)}-{in_metres(b)}m{named}"


def follow(reading: Reading, chosen: Extent) -> Followed:
    """Back to the film and on to the numbers, from wherever it was taken.

    The sheets that chosen numbers stand on are followed on too; their other numbers are not: a note is not its sheet.
    """
    thread = reading.thread
    behind, ahead = thread.back(chosen), thread.forward(chosen)
    from_sheets = _from_numbered(thread, behind, numbers=not any(_is_series(place) for place in chosen))
    may, must = (
        Extent([*chosen.items(), *one.items(), *two.items(), *three.items()])
        for one, two, three in zip(
            (behind.may, behind.must), (ahead.may, ahead.must), (from_sheets.may, from_sheets.must), strict=True
        )
    )
    return Followed(chosen, may, must)


def _is_series(place: Place) -> bool:
    return place[0].startswith(SERIES)


def _from_numbered(thread: Thread, behind: Answer, numbers: bool) -> Answer:
    """From the numbered sheets behind a selection: the numbers they bear, or the piles they went to."""
    may, must = (Extent({p: s for p, s in one.items() if p[0] in thread.imprints}) for one in (behind.may, behind.must))
    if not may:
        return Answer(Extent(), Extent())
    perhaps = thread.forward(may).of(lambda unit: unit.startswith(SERIES) == numbers)
    surely = perhaps if must == may else thread.forward(must).of(lambda unit: unit.startswith(SERIES) == numbers)
    return Answer(perhaps.may, surely.must)

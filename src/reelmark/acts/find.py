"""What a person types into the search box, and the places in an order that it may mean.

aa 000.1001                     a number as printed          AA0001001 pack, AA0001001-AA0001100    a pack
F01, P001f/0, p001              a roll, a lot, a pile        AA0001001 bundle                       ten packs
thick band                      marks of that fault          #6                                     an entry
TM20, AA0001001-AA0001250       a series, a range of it
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from ..errors import BadValue, NotThere
from ..facts import SERIES, Mark
from ..reading import Reading
from ..spans import EMPTY, Spans
from ..stations.numbering.plan import BUNDLE, PACK
from .follow import text_of
from .unit import kind_of

__all__ = ["LONGEST", "MOST", "Place", "find", "plain"]

MOST = 20  # choices given
LONGEST = 100  # signs of a question

Kind = Literal["number", "roll", "pile", "lot", "pack", "bundle", "mark", "entry", "series"]


@dataclass(frozen=True, slots=True)
class Place:
    """Something to go to.  words : as a choice in a list.  of : how it is taken hold of on the strips.

    name : the unit, or the series of a number, pack, bundle or range; first, last : its numbers;
    entry : of a mark or an entry
    """

    kind: Kind
    words: str
    name: str = ""
    first: str = ""
    last: str = ""
    entry: int | None = None
    of: tuple[str, ...] = ()


def find(reading: Reading, text: str) -> list[Place]:
    """Every place that is exactly meant; else those whose name or fault holds the text, MOST of them."""
    wanted = " ".join(text.split())
    if not wanted or len(text) > LONGEST:
        true = f"a question has 1 to {LONGEST} signs, this one {len(text) if wanted else 0}"
        raise BadValue("what", text, true, f"type {_examples(reading)}")
    found = [place for look in _EXACT for place in look(reading, wanted)] or list(_holding(reading, wanted))
    if not found:
        raise _not_there(reading, wanted)
    return found[:MOST]


def plain(text: str) -> str:
    """A number as printed, from one as typed: capitals, without spaces and dots."""
    return re.sub(r"[\s.]", "", text).upper()


# --- exactly ---------------------------------------------------------------------------------------------------


def _series_of(reading: Reading, text: str) -> Iterator[tuple[str, int]]:
    """(series, index) of a number given to the order."""
    for name, form in reading.shop.formats.items():
        index = form.read(plain(text))
        if index is not None and index in reading.shop.allocated.get(name, EMPTY):
            yield name, index


def _numbers(reading: Reading, wanted: str) -> Iterator[Place]:
    for name, index in _series_of(reading, wanted):
        number = reading.shop.formats[name].text(index)
        yield Place("number", f"{number}, number of series {name}", name, number, number,
                    of=(f"{SERIES}{name}@{number}-{number}",))  # fmt: skip


_PACK = re.compile(r"(?:(pack|bundle) )?(.+?)(?: (pack|bundle))?", re.I)


def _packs(reading: Reading, wanted: str) -> Iterator[Place]:
    """A pack or bundle by any number in it."""
    match = _PACK.fullmatch(wanted)
    said = match and (match[1] or match[3])
    if match and said:
        many = PACK if said.lower() == "pack" else BUNDLE
        for name, index in _series_of(reading, match[2]):
            start = index - index % many
            yield _range(reading, name, start, min(start + many, reading.shop.formats[name].size))


def _range(reading: Reading, name: str, start: int, stop: int) -> Place:
    """Numbers from start up to stop: a pack, a bundle, or a stretch of their series."""
    form, whole = reading.shop.formats[name], stop - start if not start % (stop - start) else 0
    kind: Kind = "pack" if whole == PACK else "bundle" if whole == BUNDLE else "series"
    first, last = form.text(start), form.text(stop - 1)
    words = f"{'numbers' if kind == 'series' else kind} {first} to {last} of series {name}"
    return Place(kind, words, name, first, last, of=(f"{SERIES}{name}@{first}-{last}",))


def _ranges(reading: Reading, wanted: str) -> Iterator[Place]:
    ends = re.split(r"\s*[-\u2013\u2014]\s*| to ", re.sub(r"^(pack|bundle) | (pack|bundle)$", "", wanted, flags=re.I))
    if len(ends) != 2:
        return
    last = dict(_series_of(reading, ends[1]))
    for name, low in _series_of(reading, ends[0]):
        high = last.get(name)
        if high is not None and high < low:
            raise BadValue("what", wanted, f"{ends[1]} comes before {ends[0]}", "give the lower number first")
        if high is not None and reading.shop.allocated[name].covers(Spans.of((low, high + 1))):
            yield _range(reading, name, low, high + 1)


def _series(reading: Reading, wanted: str) -> Iterator[Place]:
    for name, given in reading.shop.allocated.items():
        if given and wanted.casefold() in (name.casefold(), f"{SERIES}{name}".casefold()):
            form = reading.shop.formats[name]
            first, last = form.text(given.first), form.text(given.stop - 1)
            yield Place("series", f"series {name}, {first} to {last}", name, first, last, of=(SERIES + name,))


def _units(reading: Reading, wanted: str) -> Iterator[Place]:
    names, low = reading.thread.maker, wanted.casefold()
    same = [wanted] if wanted in names else [u for u in names if " ".join(u.split()).casefold() == low]
    yield from (_unit(reading, unit) for unit in same)


def _unit(reading: Reading, unit: str) -> Place:
    kind = kind_of(reading, unit)
    return Place(kind, f"{unit}, {kind}", unit, of=(unit,))  # type: ignore[arg-type]


def _entries(reading: Reading, wanted: str) -> Iterator[Place]:
    match = re.fullmatch(r"(?:#|entry) ?(\d{1,9})", wanted, re.I | re.A)
    if not match:
        return
    seq = int(match[1])
    if seq >= reading.size:
        there = f"the journal holds entries #0 to #{reading.size - 1}" if reading.size else "the journal is empty"
        raise NotThere("entry", wanted, there, "type one of these" if reading.size else "take in records first")
    marks = [_mark(reading, mark) for mark in reading.shop.marks if mark.seq == seq]
    record = reading.records[seq]
    words = f"#{seq}, {record.kind} at {record.machine}"  # type: ignore[attr-defined]
    yield from marks or [Place("entry", words, entry=seq)]


def _mark(reading: Reading, mark: Mark) -> Place:
    unit = next(iter(mark.extent))[0]
    return Place("mark", f"#{mark.seq}, {mark.fault} on {unit}", unit, entry=mark.seq,
                 of=tuple(text_of(reading, mark.extent)))  # fmt: skip


def _faults(reading: Reading, wanted: str) -> Iterator[Place]:
    yield from (_mark(reading, one) for one in reading.shop.marks if one.fault.casefold() == wanted.casefold())


_EXACT: tuple[Callable[[Reading, str], Iterator[Place]], ...] = (
    _numbers, _packs, _ranges, _series, _units, _entries, _faults,
)  # fmt: skip


# --- nearly ----------------------------------------------------------------------------------------------------


def _holding(reading: Reading, wanted: str) -> Iterator[Place]:
    """Units whose name holds the text, those that begin with it first; then marks whose fault holds all its words."""
    low = wanted.casefold()
    names = [unit for unit in reading.thread.maker if low in unit.casefold()]
    for unit in sorted(names, key=lambda unit: not unit.casefold().startswith(low))[:MOST]:
        yield _unit(reading, unit)
    for mark in reading.shop.marks:
        if all(word in mark.fault.casefold() for word in low.split()):
            yield _mark(reading, mark)


def _not_there(reading: Reading, wanted: str) -> NotThere:
    """What is known near it: numbers given, what is wrong with it as a number, units that begin alike."""
    ends = [plain(end) for end in re.split(r"[-\u2013\u2014]| to | pack| bundle", wanted, flags=re.I)]
    for name, form in reading.shop.formats.items():
        read = {form.read(end) for end in ends} - {None}
        if any(index not in reading.shop.allocated.get(name, EMPTY) for index in read if index is not None):
            return NotThere("what", wanted, _given(reading, name), f"type {_examples(reading)}")
    near = _near(list(reading.thread.maker), wanted)
    more = [f"near it: {', '.join(near)}"] if near else []
    more += [f"as a number: {why}" for why in _no_number(reading, ends[0])]
    true = "; ".join(["no number, unit, pack, mark or entry of this order is called so", *more])
    return NotThere("what", wanted, true, f"type {_examples(reading)}")


def _no_number(reading: Reading, text: str) -> Iterator[str]:
    """Why a text that looks like a number of the order is none."""
    if not re.fullmatch(r"[A-Z]+\d{2,}", text):
        return
    for form in reading.shop.formats.values():
        try:
            form.index(text)
        except BadValue as no:
            if len(text) == len(form.places):
                yield no.true
                return
    form = next(iter(reading.shop.formats.values()))
    yield f"it has {len(text)} signs, and numbers have {len(form.places)}, as {form.text(0)}"


def _given(reading: Reading, name: str) -> str:
    form = reading.shop.formats[name]
    there = [f"{form.text(a)} to {form.text(b - 1)}" for a, b in reading.shop.allocated.get(name, EMPTY)]
    return f"of series {name} this order was given {', '.join(there) or 'no number yet'}"


def _near(names: list[str], wanted: str) -> list[str]:
    """Names that begin alike, the longest beginning first."""

    def alike(name: str) -> int:
        pairs = zip(name.casefold(), wanted.casefold(), strict=False)
        return next((i for i, (a, b) in enumerate(pairs) if a != b), min(len(name), len(wanted)))

    return sorted(filter(alike, names), key=lambda name: (-alike(name), len(name)))[:4]


def _examples(reading: Reading) -> str:
    """What may be typed, as this order has it."""
    series, form = next(iter(reading.shop.formats.items()))
    number = form.text(reading.shop.allocated[series].first if series in reading.shop.allocated else 0)
    unit = next(iter(reading.thread.maker), "F01")
    fault = next((mark.fault for mark in reading.shop.marks), "pinhole")
    return (
        f"a number ({number}), a roll, pile or lot ({unit}), a pack ({number} pack), "
        f"the fault of a mark ({fault}) or an entry of the journal (#0)"
    )

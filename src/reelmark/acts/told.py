"""A selection in words: so many metres, sheets and numbers, in which accounts."""

from collections.abc import Sequence
from dataclasses import dataclass

from ..facts import SERIES
from ..reading import Reading
from ..spans import Extent
from .follow import Followed
from .strips import Strip

__all__ = ["Amount", "accounts_of", "amounts", "number_ranges"]


@dataclass(frozen=True, slots=True)
class Amount:
    """How much of what a station gave is touched, surely and perhaps."""

    station: str
    words: str
    measure: str
    may: int
    must: int
    units: tuple[str, ...]


def amounts(strips: Sequence[Strip], followed: Followed) -> list[Amount]:
    """What stations give, track by track in the order of the way, those alone that are touched."""
    found = []
    for strip in strips:
        for track in (one for one in strip.tracks if one.gives):
            may, must = track.flat(followed.may), track.flat(followed.must)
            if may:
                units = tuple(
                    box.unit for box in track.boxes if any((box.unit, lane) in followed.may for lane in box.lanes)
                )
                many, sure = (sum(s.size for s in one.values()) for one in (may, must))
                found.append(Amount(strip.station.name, track.words, track.measure, many, sure, units))
    return found


def number_ranges(reading: Reading, extent: Extent) -> list[tuple[str, str, str, int]]:
    """(series, first, last, how many) of the numbers in an extent."""
    return [
        (unit.removeprefix(SERIES), form.text(a), form.text(b - 1), b - a)
        for (unit, _), spans in sorted(extent.items()) if unit.startswith(SERIES)
        for form in [reading.shop.formats[unit.removeprefix(SERIES)]]
        for a, b in spans
    ]  # fmt: skip


def accounts_of(reading: Reading, may: Extent) -> list[tuple[str, str, int]]:
    """(account, measure, how much) of what is touched and stands somewhere; sheets that notes were cut from do not."""
    books, found = reading.accounting.books, dict[tuple[str, str], int]()
    for place, spans in may.items():
        for account, held in books.accounts(place).items():
            if account.kind != "carried" and (many := (held & spans).size):
                key = f"{account.place}:{account.kind}", books.measures[place[0]]
                found[key] = found.get(key, 0) + many
    return [(account, measure, many) for (account, measure), many in sorted(found.items())]

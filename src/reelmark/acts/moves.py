"""What is touched, out of one state into another: the records that do it, each range as the books keep it."""

from collections.abc import Sequence
from typing import Any

from ..facts import SERIES
from ..reading import Reading
from ..spans import Extent

__all__ = ["moves"]


def moves(reading: Reading, may: Extent, sources: Sequence[str], target: str, why: str) -> list[dict[str, Any]]:
    """Bodies of the records that move what is touched, notes and standing sheets, out of the kinds named into another.

    Web cannot be moved (mark it instead), nor what is destroyed or was cut to notes: that is left out.
    """
    books, bodies = reading.accounting.books, []
    for place, spans in sorted(may.items()):
        if place[0] in reading.shop.rolls:
            continue
        for source in sources:
            for held in books.of_kind(place, source).values():  # type: ignore[arg-type]
                bodies += [_move(reading, place[0], a, b, source, target, why) for a, b in held & spans]
    return bodies


def _move(reading: Reading, unit: str, a: int, b: int, source: str, target: str, why: str) -> dict[str, Any]:
    what: dict[str, Any] = {"unit": unit, "start": a, "sheets": b - a}
    if unit.startswith(SERIES):
        form = reading.shop.formats[unit.removeprefix(SERIES)]
        what = {"series": unit.removeprefix(SERIES), "first": form.text(a), "last": form.text(b - 1)}
    return {"kind": "move", **what, "source": source, "target": target, "why": why}

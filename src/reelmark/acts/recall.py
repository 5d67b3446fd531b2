"""From metres of web or sheets of a pile to the numbers they touch, and those numbers out of good."""

from typing import Any

from ..errors import NotThere
from ..facts import SERIES
from ..reading import Reading
from ..spans import Extent, Spans
from ..trace import Answer
from ..units import metres
from .life import web_places
from .moves import moves

__all__ = ["forward_numbers", "recall", "web_extent", "withdraw"]

Ranges = dict[str, Spans]


def web_extent(reading: Reading, unit: str, start: int, stop: int, lanes: list[int] | None) -> Extent:
    """Metres of a roll, or sheets of a pile (lanes then None), as an extent; NotThere when it holds no such place."""
    reading.thread.known(unit)
    on = reading.shop.rolls.get(unit, (0,))
    if lanes and unit not in reading.shop.rolls:
        raise NotThere("lane", lanes[0], f"{unit} is a pile of sheets", "leave the lane out")
    if stop <= start:
        raise NotThere(
            "to", stop, f"it does not lie after {start}, where the stretch begins", "give the later place last"
        )
    wrong = [lane for lane in lanes or () if lane not in on]
    if wrong:
        raise NotThere("lane", wrong[0], f"{unit} has lanes {list(on)}", "name one of them")
    whole = (
        reading.thread.length[unit].constant if unit not in reading.shop.web_length else reading.shop.web_length[unit]
    )
    if not 0 <= start < stop <= whole:
        shown = (metres(start), metres(stop), metres(whole)) if unit in reading.shop.rolls else (start, stop, whole)
        raise NotThere(
            "from, to", f"{shown[0]} to {shown[1]}", f"{unit} runs from 0 to {shown[2]}", "give a stretch on it"
        )
    return Extent({(unit, lane): Spans.of((start, stop)) for lane in lanes or on})


def forward_numbers(reading: Reading, extent: Extent) -> tuple[Ranges, Ranges]:
    """Numbers that may, and that surely do, lie on sheets that hold any of the extent; by series."""
    answer = reading.thread.numbers(extent)
    return tuple(  # type: ignore[return-value]
        {place[0].removeprefix(SERIES): spans for place, spans in one.items()} for one in (answer.may, answer.must)
    )


def recall(reading: Reading, extent: Extent) -> dict[str, Any]:
    """Numbers to call back (may) and to book (must), and the sheets that never got a number."""
    may, must = forward_numbers(reading, extent)
    return {
        "may": _shown(reading, may),
        "must": _shown(reading, must),
        "unnumbered": _unnumbered(reading, extent),
        "waste": _waste(reading, extent),
        "accounts": _accounts(reading, may),
    }


def _shown(reading: Reading, numbers: Ranges) -> dict[str, Any]:
    ranges = []
    for series, spans in numbers.items():
        form = reading.shop.formats[series]
        ranges += [[form.text(a), form.text(b - 1)] for a, b in spans]
    return {"count": sum(spans.size for spans in numbers.values()), "ranges": ranges}


def _waste(reading: Reading, extent: Extent) -> list[dict[str, Any]]:
    """Web of the extent that went to waste and never became sheets."""
    went = reading.thread.forward(extent).may | extent
    return web_places(reading, Extent({p: s for p, s in went.items() if p[0].endswith("/waste")}))


def _unnumbered(reading: Reading, extent: Extent) -> dict[str, Any]:
    """Sheets of the extent that bear no number: in lots pulled before numbering, in piles not yet numbered."""
    answer, numbered = reading.thread.forward(extent), numbered_units(reading)
    answer = Answer(answer.may | extent, answer.must | extent)
    gone = set(reading.shop.taken)
    stands = [
        p
        for p in answer.may
        if p[0] not in numbered and p[0] not in gone and p[0] not in reading.shop.rolls and not p[0].startswith(SERIES)
    ]
    books = reading.accounting.books
    where = [
        {
            "unit": unit,
            "sheets_may": answer.may[unit, lane].size,
            "sheets_must": answer.must[unit, lane].size if (unit, lane) in answer.must else 0,
            "account": next((f"{a.place}:{a.kind}" for a in books.accounts((unit, lane))), ""),
        }
        for unit, lane in stands
    ]
    where += _blank(reading, answer)
    return {"may": sum(w["sheets_may"] for w in where), "must": sum(w["sheets_must"] for w in where), "where": where}


def _blank(reading: Reading, answer: Any) -> list[dict[str, Any]]:
    """Sheets that went through the numbering press without a strike and may be among them."""
    found = []
    for (unit, lane), spans in answer.may.items():
        if unit in reading.thread.imprints:
            for u in reading.thread.print_feed(unit).run.unknowns:
                touched = (spans & Spans.of((u.start, u.stop))).size
                sure = touched if u.stop - u.start == u.low and (unit, lane) in answer.must else 0
                if touched:
                    found.append(
                        {"unit": unit, "sheets_may": min(touched, u.high), "sheets_must": sure, "account": "no strike"}
                    )
    return found


def numbered_units(reading: Reading) -> set[str]:
    """Units whose sheets went under the numbering boxes."""
    numbered: set[str] = set()
    for run in reading.shop.runs:
        if run.imprint:
            numbered.add(run.imprint.unit)
        elif run.pile and numbered.issuperset(run.pile.inputs):
            numbered |= {unit for unit, _ in run.pile.outputs} | {p.lot for p in run.pile.pulls}
            numbered |= {u.lot for u in run.pile.unknowns}
    return numbered


def _accounts(reading: Reading, numbers: Ranges) -> dict[str, int]:
    """How many of the numbers each account holds; on sheets = not cut yet."""
    found: dict[str, int] = {}
    for series, spans in numbers.items():
        left = spans.size
        for account, held in reading.accounting.books.accounts((SERIES + series, 0)).items():
            if many := (held & spans).size:
                found[f"{account.place}:{account.kind}"] = found.get(f"{account.place}:{account.kind}", 0) + many
                left -= many
        if left:
            found["on sheets"] = found.get("on sheets", 0) + left
    return found


def withdraw(reading: Reading, numbers: Ranges, why: str) -> list[dict[str, Any]]:
    """Bodies of the move records that take these numbers out of good into held, each range as it is kept.

    Numbers that are not good any more, or not cut yet, are left out: there is nothing to hold there.
    """
    return moves(
        reading, Extent({(SERIES + series, 0): spans for series, spans in numbers.items()}), ["good"], "held", why
    )

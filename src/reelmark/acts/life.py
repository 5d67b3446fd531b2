"""The whole life of a number: its film, its sheet, every station it passed, every mark it bears, its account."""

from typing import Any

from .. import records as rec
from ..errors import NotThere
from ..facts import SERIES, Account, Run
from ..handling import flipped
from ..reading import Reading
from ..spans import Extent, Spans
from ..trace import Answer
from .settings import diagnosed, serious

__all__ = ["account_of", "life", "number_of", "web_places"]


def number_of(reading: Reading, text: str) -> tuple[str, int]:
    """(series, index) of a number as printed."""
    wanted = text.strip().upper()
    for name, form in reading.shop.formats.items():
        index = form.read(wanted)
        if index is not None:
            return name, index
    known = ", ".join(f"{name} ({form.text(0)} …)" for name, form in reading.shop.formats.items())
    raise NotThere("number", text, f"it is in none of the order's series: {known}", "check the number on the note")


def life(reading: Reading, text: str) -> dict[str, Any]:
    """What is known of one number, down to the metre of film.

    may, must : stretches of film roll it may, and surely does, come from; the sheet's whole cut-off, for the film
        under a whole sheet is handled together.  note : its own stretch of film, where its sheet is known.
    """
    series, index = number_of(reading, text)
    back = reading.thread.back(Extent.one(SERIES + series, 0, index, index + 1))
    ahead = _ahead(reading, back)
    struck = reading.thread.strike_of(series, index)
    position = struck[2] if struck else None
    return {
        "number": reading.shop.formats[series].text(index),
        "series": series,
        "account": account_of(reading, series, index, back),
        "may": web_places(reading, back.may, film_only=True),
        "must": web_places(reading, back.must, film_only=True),
        "sheet": _sheet(reading, back, series, index),
        "position": position,
        "note": _note(reading, back, position),
        "stations": sorted(
            [*_stations(reading, back, ahead), *_finished(reading, series, index, back, ahead)],
            key=lambda step: step["entry"],
        ),
        "marks": _marks(reading, back, ahead),
        "faults": [
            f"{unit}: {one.text}"
            for pile in sorted({unit for unit, _ in back.may if unit in reading.thread.imprints})
            for unit, one in diagnosed(reading, pile)
            if serious(one) and any(n.first <= index <= n.last for n in one.withdraw)
        ],
    }


def _ahead(reading: Reading, back: Answer) -> Answer:
    """Onward from the pile it was numbered in."""
    numbered = {p: s for p, s in back.may.items() if p[0] in reading.thread.imprints}
    return reading.thread.forward(Extent(numbered)).of(lambda unit: not unit.startswith(SERIES))


def web_places(reading: Reading, extent: Extent, film_only: bool = False) -> list[dict[str, Any]]:
    """Stretches of web in metres, by roll and lane; film_only: only of rolls as the film line wound them."""
    rolls = reading.shop.rolls
    born = {unit for run in reading.shop.runs for unit, _, _ in run.born}
    return [
        {"unit": unit, "lane": lane, "from_m": a / 1e6, "to_m": b / 1e6}
        for (unit, lane), spans in sorted(extent.items())
        if unit in rolls and (unit in born or not film_only)
        for a, b in spans
    ]


def _sheet(reading: Reading, back: Answer, series: str, index: int) -> dict[str, Any] | None:
    """The sheet as it was delivered by the numbering press: pile, and place from the top (least and most)."""
    for (unit, _), spans in back.may.items():
        if unit in reading.thread.imprints and reading.thread.imprints[unit].series == series:
            return {"unit": unit, "from_top": spans.first, "to": spans.stop - 1}
    return None


def _note(reading: Reading, back: Answer, position: int | None) -> dict[str, Any] | None:
    """The note's own stretch of film, in the cut-off its sheet was cut from.

    Row 0 of a sheet as it was cut is at its lead edge, the end that came first through the cutter.
    """
    sheets = [(p, s) for p, s in back.must.items() if p[0] in reading.thread.imprints]
    born = [(p, s) for p, s in back.must.items() if reading.thread.maker[p[0]].what == "sheet"]
    if position is None or not born or sheets[0][1].size != 1:
        return None
    thread, layout = reading.thread, reading.order.layout
    row, column = layout.cell(position, _flip(reading, sheets[0][0][0]))
    web = thread.cutter.web(thread.frames.globally(*born[0]))
    low, high = layout.along(row)
    own = Spans.of((web.stop - high, web.stop - low))
    film = thread.frames.locally(thread.wound.image(own))
    across = layout.across(column)
    return {
        "row": row,
        "column": column,
        "film": web_places(reading, film),
        "across_mm": [across[0] / 1e3, across[1] / 1e3],
    }


def _flip(reading: Reading, unit: str) -> tuple[bool, bool]:
    """How the sheets of a pile lie, against how they were cut."""
    flip, run = (False, False), reading.thread.maker.get(unit)
    while run is not None and run.pile:
        flip = flipped(flip, run.pile.flip)
        run = reading.thread.maker.get(run.pile.inputs[0])
    return flip


def _stations(reading: Reading, back: Answer, ahead: Answer) -> list[dict[str, Any]]:
    """Every run it passed or may have passed, in the order of the journal."""
    runs: dict[int, tuple[Run, bool]] = {}
    for answer in (back, ahead):
        for place in answer.may:
            if (run := reading.thread.maker.get(place[0])) is not None:
                sure = place in answer.must or runs.get(run.seq, (run, False))[1]
                runs[run.seq] = run, sure
    return [
        {"entry": seq, "station": run.station, "machine": run.machine, "does": run.what, "at": run.at, "by": run.by,
         "sure": sure}
        for seq, (run, sure) in sorted(runs.items())
    ]  # fmt: skip


def _finished(reading: Reading, series: str, index: int, back: Answer, ahead: Answer) -> list[dict[str, Any]]:
    """What was posted of it: cut, packed, moved, destroyed."""
    found = []
    for seq, due in reading.shop.due:
        if isinstance(due, Run | rec.Count):
            continue
        unit = getattr(due, "unit", None)
        mine = {(unit, 0)} & (ahead.may.keys() | back.may.keys()) if unit else set()
        if unit is None and getattr(due, "series", None) == series:
            mine = {(series, 0)} if index in reading.shop.numbers(due) else set()  # type: ignore[arg-type]
        if mine:
            sure = unit is None or (unit, 0) in ahead.must or (unit, 0) in back.must
            station = reading.works.machine(due.machine).station
            found.append(
                {"entry": seq, "station": station, "machine": due.machine, "does": due.kind,  # type: ignore[attr-defined]
                 "at": due.at.isoformat(), "by": due.by, "sure": sure}
            )  # fmt: skip
    return found


def _marks(reading: Reading, back: Answer, ahead: Answer) -> list[dict[str, Any]]:
    """Marks on any of the web or sheets it is of."""
    borne = []
    for mark in reading.shop.marks:
        may = (mark.extent & back.may) | (mark.extent & ahead.may)
        if may:
            sure = bool((mark.extent & back.must) | (mark.extent & ahead.must))
            places = web_places(reading, mark.extent)
            borne.append({"fault": mark.fault, "grade": mark.grade, "seen_by": mark.seen_by, "entry": mark.seq,
                          "sure": sure, "where": places})  # fmt: skip
    return borne


def account_of(reading: Reading, series: str, index: int, back: Answer | None = None) -> str:
    """Which account holds a number: its own, or before cutting that of its sheet."""
    books = reading.accounting.books
    account = books.account_of(SERIES + series, 0, index)
    if account is not None:
        return _name(account)
    back = back or reading.thread.back(Extent.one(SERIES + series, 0, index, index + 1))
    for (unit, lane), spans in _ahead_of_sheet(reading, back).items():
        account = books.account_of(unit, lane, spans.first)
        if account is not None and account.kind != "carried":
            return _name(account)
    allocated = index in reading.shop.allocated.get(series, Spans.of())
    return "series:allocated" if allocated else "series:free"


def _ahead_of_sheet(reading: Reading, back: Answer) -> Extent:
    numbered = {p: s for p, s in back.may.items() if p[0] in reading.thread.imprints}
    return Extent(numbered) | _ahead(reading, back).may if numbered else Extent()


def _name(account: Account) -> str:
    return f"{account.place}:{account.kind}"

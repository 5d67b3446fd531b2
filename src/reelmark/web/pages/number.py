"""A number: where it is, which film it is of, what it went through, what was seen on its way."""

from functools import partial
from typing import Annotated, Any

from fastapi import Path

from ...acts.find import plain
from ...acts.life import life, number_of
from ...acts.pack import replacement
from ...facts import SERIES
from ...reading import Reading
from ...spans import EMPTY
from ...stations.numbering.plan import PACK
from ..content import Action, Cell, Column, Content, Link, Table
from ..page import Asked, AskedNow, Page
from .find import account_link, entry_link, pack_address, strips_address, unit_link

__all__ = ["PAGE"]

Rows = list[list[Cell]]
NOWHERE = {"series:allocated": "given to the order, not printed yet", "series:free": "not given to the order"}


def build(asked: AskedNow, number: Annotated[str, Path(max_length=40)]) -> Content:
    """The page."""
    text, base = plain(number), asked.base
    told = asked.now.recent(("life", text), partial(_life, text=text))
    series, index = number_of(asked.now.reading, text)
    instead = replacement(asked.now.reading, series, index)
    actions = (
        Action("Show on the strips", strips_address(base, [f"{SERIES}{series}@{text}-{text}"])),
        *_its_pack(asked, series, index, instead),
        *_postings(base, told["account"]),
        Action("Books", f"{base}/books"),
    )
    parts = (_sheet(base, told), _own(base, told), _film(base, told), _stations(base, told), _marks(base, told),
             _faults(told))  # fmt: skip
    return Content(f"Number {told['number']}", (_account(told), *_instead(text, instead)), parts, actions)


def _life(reading: Reading, text: str) -> dict[str, Any]:
    return life(reading, text)


def _its_pack(asked: Asked, series: str, index: int, instead: dict[str, Any] | None) -> tuple[Action, ...]:
    """The pack it belongs to, or as a replacement note lies in; none where the number was not given to the order."""
    shop = asked.now.reading.shop
    if instead:
        series, index = instead["series"], shop.formats[instead["series"]].index(instead["number"])
    if index not in shop.allocated.get(series, EMPTY):
        return ()
    return (Action("Its pack", pack_address(asked.base, series, shop.formats[series].text(index - index % PACK))),)


def _postings(base: str, account: str) -> tuple[Action, ...]:
    link = account_link(base, account)
    return (Action(f"Postings of {account}", link.href),) if isinstance(link, Link) else ()


def _instead(text: str, instead: dict[str, Any] | None) -> tuple[str, ...]:
    if instead is None:
        return ()
    if text == instead["number"]:
        return (f"In its pack {instead['by']} lies in its place (entry #{instead['entry']}).",)
    return (f"It lies in a pack in place of {instead['number']} (entry #{instead['entry']}).",)


def _account(told: dict[str, Any]) -> str:
    words = NOWHERE.get(told["account"])
    return f"Series {told['series']}. Account: {told['account']}{f' ({words})' if words else ''}."


def _sheet(base: str, told: dict[str, Any]) -> Table:
    """Its sheet, as the numbering press delivered it, and its place there."""
    columns = (
        Column("pile"), Column("from the top, at least", "sheets", "figure"),
        Column("at most", "sheets", "figure"), Column("position", kind="figure"), Column("row", kind="figure"),
        Column("column", kind="figure"),
    )  # fmt: skip
    sheet, note = told["sheet"], told["note"] or {}
    rows: Rows = []
    if sheet:
        place: list[Cell] = [told["position"], note.get("row"), note.get("column")]
        rows = [[unit_link(base, sheet["unit"]), sheet["from_top"], sheet["to"], *place]]
    words = "Positions, rows and columns are counted from 0; row 0 is at the lead edge of the sheet as it was cut."
    return Table("sheet", "Sheet", columns, rows, "no numbering record has printed it yet", words)


def _own(base: str, told: dict[str, Any]) -> Table:
    """The note's own film."""
    columns = (
        Column("roll"), Column("lane", kind="figure"), Column("from", "m", "figure", 6), Column("to", "m", "figure", 6),
        Column("across, from", "mm", "figure", 1), Column("across, to", "mm", "figure", 1),
    )  # fmt: skip
    note = told["note"] or {"film": [], "across_mm": [None, None]}
    rows: Rows = [[unit_link(base, one["unit"]), one["lane"], one["from_m"], one["to_m"], *note["across_mm"]]
                  for one in note["film"]]  # fmt: skip
    empty = "its sheet is not known to the sheet" if told["sheet"] else "no sheet bears it yet"
    return Table("own", "The note's own film", columns, rows, empty, "Along the roll as wound, 0 at the core.")


def _film(base: str, told: dict[str, Any]) -> Table:
    """The film of its whole sheet: all that it may be of, and surely is."""
    columns = (
        Column("touch"), Column("roll"), Column("lane", kind="figure"), Column("from", "m", "figure", 6),
        Column("to", "m", "figure", 6), Column("length", "m", "figure", 6),
    )  # fmt: skip
    rows: Rows = [
        [touch, unit_link(base, one["unit"]), one["lane"], one["from_m"], one["to_m"],
         round(one["to_m"] - one["from_m"], 6)]
        for touch in (("must",) if told["must"] == told["may"] else ("must", "may")) for one in told[touch]
    ]  # fmt: skip
    note = "must: surely of it. may: may be of it, what surely is among it; left out where it is the same."
    return Table("film", "Film of its sheet", columns, rows, "no sheet bears it yet", note)


def _stations(base: str, told: dict[str, Any]) -> Table:
    columns = (
        Column("entry"), Column("station"), Column("machine"), Column("what"), Column("at", kind="time"), Column("by"),
        Column("surely"),
    )  # fmt: skip
    rows: Rows = [
        [entry_link(base, one["entry"]), one["station"], one["machine"], one["does"], one["at"], one["by"], one["sure"]]
        for one in told["stations"]
    ]
    return Table("stations", "Stations passed", columns, rows, "none yet: no record is of it")


def _marks(base: str, told: dict[str, Any]) -> Table:
    columns = (
        Column("entry"), Column("fault"), Column("grade"), Column("seen by"), Column("roll"),
        Column("lane", kind="figure"), Column("from", "m", "figure", 3), Column("to", "m", "figure", 3),
        Column("surely"),
    )  # fmt: skip
    rows: Rows = [
        [entry_link(base, one["entry"]), one["fault"], one["grade"], one["seen_by"], unit_link(base, at["unit"]),
         at["lane"], at["from_m"], at["to_m"], one["sure"]]
        for one in told["marks"] for at in one["where"]
    ]  # fmt: skip
    return Table("marks", "Marks on its web", columns, rows, "no mark is on its web")


def _faults(told: dict[str, Any]) -> Table:
    note = "What the numbers read say of the box that printed it."
    empty = "no number read speaks against its box"
    return Table("faults", "Faults of the boxes", (Column("fault"),), [[one] for one in told["faults"]], empty, note)


PAGE = Page("/orders/{order}/number/{number}", "Number", build)

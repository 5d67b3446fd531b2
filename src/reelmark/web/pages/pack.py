"""A pack or a bundle, as the page Unit shows it: its numbers, who banded it, what was put in, where it is from."""

from functools import partial
from typing import Any

from ...acts.find import plain
from ...acts.pack import pack_life
from ...facts import SERIES
from ...reading import Reading
from ...stations.numbering.plan import BUNDLE, PACK
from ..content import Action, Cell, Column, Content, Link, Table
from ..page import Asked
from ..words import figure
from .find import account_link, entry_link, number_link, pack_address, strips_address, unit_link

__all__ = ["differences", "page"]

Rows = list[list[Cell]]
Life = dict[str, Any]


def page(asked: Asked, series: str, first: str, notes: int) -> Content:
    """The page of the pack, or with 1,000 notes the bundle, that begins with a number."""
    first = plain(first)
    made = partial(_life, series=series, first=first, notes=notes)
    told, base = asked.now.recent(("pack", series, first, notes), made), asked.base
    packs = (_packs(asked, told),) if notes == BUNDLE else ()
    parts = (*packs, _accounts(base, told), _banded(base, told), _replaced(base, told), _from(base, told),
             _marks(base, told), _faults(told), differences(base, told["differences"], "notes"),
             _numbers(base, told))  # fmt: skip
    kind = "Pack" if notes == PACK else "Bundle"
    return Content(f"{kind} {told['first']} to {told['last']}", (_lead(told),), parts, _actions(asked, told))


def _life(reading: Reading, series: str, first: str, notes: int) -> Life:
    return pack_life(reading, series, first, notes)


def _lead(told: Life) -> str:
    banded = [f"{one['by']} at {one['machine']} (entry #{one['entry']})" for one in told["banded"]]
    who = f"banded by {' and '.join(banded)}" if banded else "not banded yet"
    return f"{figure(told['notes'])} numbers of series {told['series']}, {who}."


def _actions(asked: Asked, told: Life) -> tuple[Action, ...]:
    form = asked.now.reading.shop.formats[told["series"]]
    start = form.text(form.index(told["first"]) // BUNDLE * BUNDLE)
    bundle = Action("Its bundle", pack_address(asked.base, told["series"], start, BUNDLE))
    of = f"{SERIES}{told['series']}@{told['first']}-{told['last']}"
    strips = Action("Show on the strips", strips_address(asked.base, [of]))
    return (strips, *((bundle,) if told["notes"] == PACK else ()), Action("Books", f"{asked.base}/books"))


def _packs(asked: Asked, told: Life) -> Table:
    """The packs of a bundle."""
    form = asked.now.reading.shop.formats[told["series"]]
    start = form.index(told["first"])
    rows: Rows = [
        [Link(f"{first} to {form.text(at + PACK - 1)}", pack_address(asked.base, told["series"], first))]
        for at in range(start, start + told["notes"] - PACK + 1, PACK) for first in [form.text(at)]
    ]  # fmt: skip
    return Table("packs", "Its packs", (Column("pack"),), rows)


def _accounts(base: str, told: Life) -> Table:
    columns = (Column("account"), Column("first"), Column("last"), Column("holds", "notes", "figure"))
    rows: Rows = [
        [account_link(base, one["account"]), number_link(base, one["first"]), number_link(base, one["last"]),
         one["notes"]]
        for one in told["accounts"]
    ]  # fmt: skip
    return Table("accounts", "Accounts of its numbers", columns, rows)


def _banded(base: str, told: Life) -> Table:
    columns = (
        Column("what"), Column("first"), Column("last"), Column("of these", "notes", "figure"),
        Column("counted", "notes", "figure"), Column("machine"), Column("at", kind="time"), Column("by"),
        Column("second person"), Column("entry"),
    )  # fmt: skip
    steps = sorted([*told["banded"], *told["moved"], *told["counts"]], key=lambda one: one["entry"])
    rows: Rows = [
        [_said(one), one["first"], one["last"], one["of_these"], one.get("counted"), one["machine"], one["at"],
         one["by"], one["by2"], entry_link(base, one["entry"])]
        for one in steps
    ]  # fmt: skip
    empty = "nothing yet: send the `pack` record when it is banded"
    return Table("entries", "Banded, moved, counted", columns, rows, empty)


def _said(one: dict[str, Any]) -> str:
    if one["what"] == "move":
        return f"moved from {one['source']} to {one['target']}: {one['why']}"
    return f"destroyed: {one['why']}" if one["what"] == "destroy" else {"pack": "banded"}.get(one["what"], one["what"])


def _replaced(base: str, told: Life) -> Table:
    columns = (Column("number"), Column("its account"), Column("in its place"), Column("account of that"),
               Column("entry"))  # fmt: skip
    rows: Rows = [
        [number_link(base, one["number"]), account_link(base, one["account"]), number_link(base, one["by"]),
         account_link(base, one["by_account"]),
         entry_link(base, one["entry"])]
        for one in told["replaced"]
    ]  # fmt: skip
    return Table("replaced", "Replaced numbers", columns, rows, "none: every number lies in it itself")


def _from(base: str, told: Life) -> Table:
    columns = (
        Column("unit"), Column("station"), Column("lane", kind="figure"),
        Column("web, may", "m", "figure", 3), Column("web, must", "m", "figure", 3),
        Column("may", "sheets", "figure"), Column("must", "sheets", "figure"), Column("between"),
        Column("stretches", kind="figure"),
    )  # fmt: skip
    rows: Rows = [
        [unit_link(base, one["unit"]), one["station"], one["lane"], *_amounts(one), _between(one), one["stretches"]]
        for one in told["from"]
    ]
    note = "What lies in it, replacement notes among it, back to the film. may: may be of it. must: surely is."
    return Table("from", "Where it came from", columns, rows, "no sheet bears these numbers yet", note)


def _amounts(one: dict[str, Any]) -> list[Cell]:
    both: list[Cell] = [one["may"], one["must"]]
    return [*both, None, None] if one["measure"] == "m" else [None, None, *both]


def _between(one: dict[str, Any]) -> str:
    if one["measure"] == "m":
        return f"{figure(one['from'], 3)} to {figure(one['to'], 3)} m"
    first, last = one["from"], one["to"] - 1
    return f"sheet {figure(first)}" if first == last else f"sheets {figure(first)} to {figure(last)}"


def _marks(base: str, told: Life) -> Table:
    columns = (
        Column("fault"),
        Column("grade"),
        Column("seen by"),
        Column("seen on"),
        Column("surely"),
        Column("entry"),
    )
    rows: Rows = [
        [one["fault"], one["grade"], one["seen_by"], unit_link(base, one["seen_on"]), one["sure"],
         entry_link(base, one["entry"])]
        for one in told["marks"]
    ]  # fmt: skip
    return Table("marks", "Marks on its web", columns, rows, "no mark is on its web")


def _faults(told: Life) -> Table:
    note = "What the numbers read say of the boxes that printed it."
    rows: Rows = [[one] for one in told["faults"]]
    return Table("faults", "Faults of the boxes", (Column("fault"),), rows, "no number read speaks against them", note)


def differences(base: str, told: list[dict[str, Any]], measure: str) -> Table:
    """Counts that could not be true, and what ended them."""
    columns = (
        Column("of"), Column("counted", measure, "figure"), Column("booked, at least", measure, "figure"),
        Column("booked, at most", measure, "figure"), Column("between"), Column("entry"), Column("settled by"),
    )  # fmt: skip
    rows: Rows = [
        [one["unit"], one["counted"], one["booked_low"], one["booked_high"], " and ".join(one["between"]),
         entry_link(base, one["entry"]), _ended(base, one["settled_by"])]
        for one in told
    ]  # fmt: skip
    return Table("differences", "Differences", columns, rows, "no count of it disagrees with the book")


def _ended(base: str, seq: int | None) -> Cell:
    return "not settled: count again, blind, by another person" if seq is None else entry_link(base, seq)


def _numbers(base: str, told: Life) -> Table:
    columns = (Column("number"), Column("account"), Column("in its place"))
    rows: Rows = [
        [number_link(base, one["number"]), account_link(base, one["account"]),
         number_link(base, one["replaced_by"]) if one["replaced_by"] else None]
        for one in told["numbers"]
    ]  # fmt: skip
    return Table("numbers", "Its numbers", columns, rows)

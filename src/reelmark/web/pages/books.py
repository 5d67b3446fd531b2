"""The books: what every account holds, where counts disagree with it, and what all of it stands on."""

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import Query

from ...acts import balance
from ...acts.entries import postings_of
from ...errors import BadValue
from ...reading import Reading
from ..asking import Place
from ..content import Cell, Column, Content, Field, Form, Link, Table
from ..live import Now
from ..page import Asked, AskedNow, Page

__all__ = ["MORE", "PAGE"]

Name = Annotated[str, Query(max_length=128)]
COUNTED = (Column("Unit"), Column("Counted", kind="figure"), Column("Booked, least", kind="figure"),
           Column("Booked, most", kind="figure"), Column("Of"))  # fmt: skip


def build(asked: AskedNow, at: Place = None) -> Content:
    """Accounts, differences, and the seal; at = as known when the journal held so many entries."""
    now = asked.now if at is None else asked.live.at(at)
    told = now.once("balance", balance)
    return Content(
        "Books",
        _lead(now, told),
        (
            _accounts(asked, told, at), _differences(told), _between(asked, told), _settled(asked, told),
            _unsettled(told), _faults(told), _seal(now, told), _earlier(asked, now),
        ),
        template="texts.html",
        extra={"texts": _note(now.seal)},
        seal=now.seal,
    )  # fmt: skip


def _note(seal: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    size = seal.get("sealed_size", seal["size"])
    return ((f"The signed seal over {size:,} entries", seal["note"]),) if seal["note"] else ()


def _lead(now: Now, told: dict[str, Any]) -> tuple[str, ...]:
    if not now.reading.size:
        return ("No entry yet: take in the records of a shift.",)
    size = f"As of {now.reading.size:,} entries"
    if told["balanced"]:
        return (f"{size} the books balance: every count agrees, and nothing is left unsettled.",)
    many = {"counts disagree with them": "differences", "units are not settled": "unsettled",
            "postings do not hold": "faults"}  # fmt: skip
    words = ", ".join(f"{len(told[key]):,} {what}" for what, key in many.items() if told[key])
    return (f"{size} the books do not balance: {words}.",)


def _accounts(asked: Asked, told: dict[str, Any], at: int | None) -> Table:
    """Account by account; a column for each measure, so that the figures stand under one another."""
    held: dict[str, dict[str, int]] = {}
    for line in told["accounts"]:
        held.setdefault(line["account"], {})[line["measure"]] = line["holds"]
    rows = [[Link(name, _account(asked, name, at)), _m(some.get("um")), some.get("sheets"), some.get("notes")]
            for name, some in held.items()]  # fmt: skip
    columns = (Column("Account"), Column("Web, lane by lane", "m", "figure", 3), Column("Sheets", kind="figure"),
               Column("Notes", kind="figure"))  # fmt: skip
    empty = "No account holds anything yet: take in the records of a shift."
    return Table(
        "accounts", "Accounts", columns, rows, empty, "Station or store, and state. A name leads to its postings."
    )


def _m(um: int | None) -> float | None:
    return None if um is None else um / 1e6


def _account(asked: Asked, name: str, at: int | None) -> str:
    query = {"account": name} | ({} if at is None else {"at": str(at)})
    return f"{asked.base}/account?{urlencode(query)}"


def _entry(asked: Asked, seq: int) -> Link:
    return Link(f"{seq:,}", f"{asked.base}/entry/{seq}")


def _counted(one: dict[str, Any]) -> list[Cell]:
    return [one["unit"], one["counted"], one["booked_low"], one["booked_high"], one["measure"]]


def _differences(told: dict[str, Any]) -> Table:
    rows = [[*_counted(one), one["between"][0], one["between"][1]] for one in told["differences"]]
    columns = (*COUNTED, Column("It arose after"), Column("and before"))
    empty = "No count disagrees with the books."
    return Table("differences", "Differences", columns, rows, empty, "Each arose between two counts.")


def _between(asked: Asked, told: dict[str, Any]) -> Table:
    """Every entry in which a difference may have arisen, and its two counts."""
    rows: list[list[Cell]] = []
    for one in told["differences"]:
        rows += [[one["unit"], _entry(asked, event["entry"]), event["kind"], event["machine"], event["at"]]
                 for event in one["events"]]  # fmt: skip
        rows.append([one["unit"], _entry(asked, one["entry"]), "the count that disagrees", None, None])
    columns = (Column("Difference at"), Column("Entry"), Column("What"), Column("Machine"), Column("When", kind="time"))
    empty = "Nothing to look for."
    return Table("between", "Entries between the two counts", columns, rows, empty, "One of these is where to look.")


def _settled(asked: Asked, told: dict[str, Any]) -> Table:
    rows = [[*_counted(one), _entry(asked, one["entry"]), one["settled_by"]] for one in told["settled"]]
    columns = (*COUNTED, Column("Entry"), Column("Settled by"))
    return Table("settled", "Settled", columns, rows, "No difference was settled by a later count.",
                 "Differences that a later, blind count by another person ended.")  # fmt: skip


def _unsettled(told: dict[str, Any]) -> Table:
    rows = [[one["unit"], _m(one["most"]) if one["measure"] == "um" else one["most"],
             "m" if one["measure"] == "um" else one["measure"]] for one in told["unsettled"]]  # fmt: skip
    columns = (Column("Unit"), Column("At most", kind="figure"), Column("Of"))
    return Table("unsettled", "Not settled", columns, rows, "Nothing is unsettled.",
                 "In the pile or pulled: nobody counted. Count the pile to settle it.")  # fmt: skip


def _faults(told: dict[str, Any]) -> Table:
    rows = [[one] for one in told["faults"]]
    empty = "Every posting holds: what went in came out, in whole units."
    return Table("faults", "Postings that do not hold", (Column("What does not hold"),), rows, empty)


def _seal(now: Now, told: dict[str, Any]) -> Table:
    """What the page stands on."""
    books = now.reading.accounting.books
    rows: list[list[Cell]] = [
        ["entries of the journal", f"{now.reading.size:,}"], ["postings made from them", f"{len(books.postings):,}"],
        ["origin", now.seal["origin"]], ["entries under the seal", f"{now.seal['size']:,}"],
        ["root over them, hexadecimal", now.seal["root"] or None],
    ]  # fmt: skip
    if "sealed_size" in now.seal:
        rows.append(["entries under the signed seal, which goes on from it", f"{now.seal['sealed_size']:,}"])
    return Table("stands-on", "What this stands on", (Column("What"), Column("Is")), rows,
                 note="Worked out from the journal alone; the seal names it to the last byte.")  # fmt: skip


def _earlier(asked: Asked, now: Now) -> Form:
    size = asked.now.reading.size
    field = Field(
        "at", "Entries", "number", str(now.reading.size), f"0 to {size:,}", more={"min": "0", "max": str(size)}
    )
    return Form("As known earlier", f"{asked.base}/books", (field,), "Show",
                says="The books as they were when the journal held so many entries.")  # fmt: skip


PAGE = Page("/orders/{order}/books", "Books", build, menu="order")


# ---- one account


def build_account(asked: AskedNow, account: Name, at: Place = None) -> Content:
    """What an account was made from.  account : place:kind."""
    place, colon, kind = account.rpartition(":")
    if not colon:
        raise BadValue("account", account, "it has no state", "write place and state, as press:good")
    now = asked.now if at is None else asked.live.at(at)
    rows = postings_of(now.reading, place, kind)
    return Content(f"Postings of {account}", (_sums(rows, now.reading),), (_postings(asked, rows),), seal=now.seal)


def _sums(rows: list[dict[str, Any]], reading: Reading) -> str:
    words = []
    for measure in sorted({row["measure"] for row in rows}):
        into = sum(row["many"] for row in rows if row["measure"] == measure and row["many"] > 0)
        out = -sum(row["many"] for row in rows if row["measure"] == measure and row["many"] < 0)
        words.append(f"{_amount(into, measure)} in, {_amount(out, measure)} out, {_amount(into - out, measure)} held")
    return f"As of {reading.size:,} entries: {'; '.join(words)}."


def _amount(many: int, measure: str) -> str:
    return f"{many / 1e6:,.3f} m" if measure == "um" else f"{many:,} {measure}"


def _postings(asked: Asked, rows: list[dict[str, Any]]) -> Table:
    def of(row: dict[str, Any], measure: str) -> Cell:
        if row["measure"] != measure:
            return None
        return _m(row["many"]) if measure == "um" else row["many"]

    columns = (
        Column("Entry"), Column("When", kind="time"), Column("What"), Column("Machine"),
        Column("Web, lane by lane", "m", "figure", 3), Column("Sheets", kind="figure"),
        Column("Notes", kind="figure"), Column("From or to"), Column("Unit"), Column("Where"), Column("Why"),
        Column("By"),
    )  # fmt: skip
    cells = [
        [_entry(asked, row["entry"]), row["at"], row["kind"], row["machine"], of(row, "um"), of(row, "sheets"),
         of(row, "notes"), _other(row), row["unit"], row["where"], row["why"], row["by"]]
        for row in rows
    ]  # fmt: skip
    return Table("postings", "Postings", columns, cells, note="Above 0: into the account. Below 0: out of it.")


def _other(row: dict[str, Any]) -> str:
    if row["other"] is None:
        return "made here"
    return f"from {row['other']}" if row["many"] > 0 else f"to {row['other']}"


MORE = (Page("/orders/{order}/account", "Postings", build_account),)

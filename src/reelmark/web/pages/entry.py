"""The journal: its entries as a list, and each by itself, as it was written, with a proof that it stands there."""

from bisect import bisect_left
from collections.abc import Sequence
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from fastapi import Path, Query

from ...acts.entries import checked_kind, checked_machine, entries, entry, matching
from ...acts.findings import Found, findings
from ...journal import Tree, leaf
from ...note import proof_text
from ...reading import Reading
from ...records import KINDS
from ..asking import Place
from ..content import Action, Cell, Column, Content, Field, Form, Link, Table
from ..live import Now
from ..page import Asked, AskedNow, Page
from ..two import correct_form
from ..words import moment

__all__ = ["MORE", "PAGE"]

MANY: Final = 100  # entries of the list at a time
Seq = Annotated[int, Path(ge=0, le=2**53)]
Word = Annotated[str, Query(max_length=64)]


def build(asked: AskedNow, seq: Seq) -> Content:
    """One entry of the journal."""
    reading = asked.now.reading
    told = entry(reading, seq)
    return Content(
        f"Entry {seq:,}: {told['kind']}",
        _lead(told, asked.live.works.zone),
        (
            _written(told), *_parts(told), *_there(_corrections(asked, told), _changed(told)), _postings(asked, told),
            *_there(_units(asked, told), _ties(told), _marks(told), _troubles(asked, seq)), _proved(asked.now, seq),
            *correct_form(asked, seq, asked.now.bodies[seq]),
        ),
        _links(asked, seq, reading.size),
        template="texts.html",
        extra={"texts": _texts(asked.now, seq)},
    )  # fmt: skip


def _there(*tables: Table) -> list[Table]:
    """Those with anything in them: most entries have few of them."""
    return [one for one in tables if one.rows]


def _lead(told: dict[str, Any], zone: str) -> tuple[str, ...]:
    who = " and ".join(filter(None, (told["by"], told["by2"])))
    lines = [f"Number {told['seq']:,} of {told['machine']}, by {who}, at {moment(told['at'], zone)}."]
    if told["corrects"]:
        lines.append(f"It takes the place of entry {told['corrects']['entry']:,}, whose postings it changed.")
    if told["corrected_by"] and told["stands"]:
        by = told["corrected_by"][-1]
        lines.append(f"Corrected later: what entry {by['entry']:,} says counts in its place. Why: {by['why']}.")
    if not told["stands"]:
        lines.append(f"Taken back by entry {told['corrected_by'][-1]['entry']:,}: it counts as never having happened.")
    return tuple(lines)


def _links(asked: Asked, seq: int, size: int) -> tuple[Action, ...]:
    near = [(seq - 1, "Entry before"), (seq + 1, "Entry after")]
    links = [Action(f"{words}: {at:,}", f"{asked.base}/entry/{at}") for at, words in near if 0 <= at < size]
    return (*links, Action("Journal", f"{asked.base}/journal?start={max(0, seq - MANY // 2)}"))


def _entry(asked: Asked, seq: int) -> Link:
    return Link(f"{seq:,}", f"{asked.base}/entry/{seq}")


def _written(told: dict[str, Any]) -> Table:
    rows: list[Sequence[Cell]] = [["at", told["at"], ""], ["kind", told["kind"], ""]]
    rows += [[row.name.replace("_", " "), row.value, row.unit] for row in told["fields"]]
    columns = (Column("Field"), Column("Value"), Column("Unit"))
    return Table("written", "As written", columns, rows, note="What was left empty is left out.")


def _parts(told: dict[str, Any]) -> list[Table]:
    return [
        Table(one["name"], one["name"].capitalize(), tuple(map(_column, one["heads"], one["units"])), one["rows"])
        for one in told["lists"]
    ]


def _column(head: str, unit: str) -> Column:
    return Column(head.replace("_", " ").capitalize(), unit)


def _corrections(asked: Asked, told: dict[str, Any]) -> Table:
    about = [("corrects", told["corrects"])] if told["corrects"] else []
    about += [("is corrected by", one) for one in told["corrected_by"]]
    rows = [[what, _entry(asked, one["entry"]), one["at"], one["machine"], one["by"], one.get("why", "")]
            for what, one in about]  # fmt: skip
    columns = (Column("This entry"), Column("Entry"), Column("When", kind="time"), Column("Machine"), Column("By"),
               Column("Why"))  # fmt: skip
    return Table("corrections", "Corrections", columns, rows)


def _changed(told: dict[str, Any]) -> Table:
    rows = [[one["field"].replace("_", " "), one["was"], one["is"]] for one in told["changed"]]
    columns = (Column("Field"), Column("Was"), Column("Counts instead"))
    return Table("changed", "What the correction changed", columns, rows)


def _postings(asked: Asked, told: dict[str, Any]) -> Table:
    def account(name: str | None) -> Cell:
        return Link(name, f"{asked.base}/account?{urlencode({'account': name})}") if name else "made here"

    rows = [
        [account(one["out_of"]), account(one["into"]), one["many"] / 1e6 if one["measure"] == "um" else None,
         *(one["many"] if one["measure"] == measure else None for measure in ("sheets", "notes")),
         one["unit"], one["where"], one["why"], one["by"]]
        for one in told["postings"]
    ]  # fmt: skip
    columns = (
        Column("Out of"), Column("Into"), Column("Web, lane by lane", "m", "figure", 3),
        Column("Sheets", kind="figure"), Column("Notes", kind="figure"), Column("Unit"), Column("Where"),
        Column("Why"), Column("By"),
    )  # fmt: skip
    empty = "It moved nothing in the books."
    if told["corrects"]:
        empty = f"None of its own: they stand under entry {told['corrects']['entry']:,}, in whose place it counts."
    return Table("postings", "What it did to the books", columns, rows, empty)


def _units(asked: Asked, told: dict[str, Any]) -> Table:
    def of(one: dict[str, Any], end: str) -> Cell:
        many: int = one[end]
        return many / 1e6 if one["measure"] == "um" else many

    rows = [[one["what"], Link(one["unit"], f"{asked.base}/unit?{urlencode({'name': one['unit']})}"),
             *(of(one, end) if one["measure"] == measure else None
               for end, measure in (("most", "um"), ("least", "sheets"), ("most", "sheets")))]
            for one in told["units"]]  # fmt: skip
    columns = (Column("It"), Column("Unit"), Column("Web", "m", "figure", 3),
               Column("Sheets, least", kind="figure"), Column("Sheets, most", kind="figure"))  # fmt: skip
    return Table("units", "Units it took and made", columns, rows)


def _ties(told: dict[str, Any]) -> Table:
    rows = [[one["what"], one["words"]] for one in told["ties"]]
    return Table("ties", "What it pins down", (Column("What"), Column("Says")), rows)


def _marks(told: dict[str, Any]) -> Table:
    rows = [[one["fault"], one["grade"], one["seen_by"], at["unit"], at["lane"], at["from_m"], at["to_m"]]
            for one in told["marks"] for at in one["where"]]  # fmt: skip
    columns = (Column("Fault"), Column("Grade"), Column("Seen by"), Column("Roll"), Column("Lane", kind="figure"),
               Column("From", "m", "figure", 3), Column("To", "m", "figure", 3))  # fmt: skip
    return Table("marks", "Marks", columns, rows)


def _findings(reading: Reading) -> list[Found]:
    return findings(reading)


def _troubles(asked: Asked, seq: int) -> Table:
    found = [one for one in asked.now.once("findings", _findings) if one.entry == seq]
    rows = [[one.name, ", ".join(f"{key.replace('_', ' ')} {value}" for key, value in one.what.items()
                                 if value is not None and key not in {"machine", "seq"})] for one in found]  # fmt: skip
    return Table("findings", "Findings at this entry", (Column("What"), Column("Where")), rows)


# ---- the proof


def _tree(now: Now) -> Tree:
    return now.once("tree", lambda _: Tree(map(leaf, now.bodies)))


def _proved(now: Now, seq: int) -> Table:
    """What a machine needs to check that the entry stands in the journal as sealed."""
    rows: list[list[Cell]] = [
        ["leaf hash, hexadecimal", leaf(now.bodies[seq]).hex()], ["bytes of the entry", f"{len(now.bodies[seq]):,}"],
        ["entries under the seal", f"{now.seal['size']:,}"], ["root over them, hexadecimal", now.seal["root"]],
        ["body", now.bodies[seq].decode()], ["proof", _proof(now, seq)],
    ]  # fmt: skip
    return Table("proof", "Proof", (Column("What"), Column("Is")), rows,
                 note="Save body as PROOF.entry and proof as PROOF, byte for byte, from the CSV or JSON; "
                 "then: reelmark log verify PROOF --key KEY.")  # fmt: skip


def _proof(now: Now, seq: int) -> str:
    size = now.seal["size"]
    return proof_text(seq, _tree(now).inclusion(seq, size), now.seal["note"])


def _texts(now: Now, seq: int) -> tuple[tuple[str, str], ...]:
    return ("The entry, byte for byte", now.bodies[seq].decode()), ("The proof", _proof(now, seq))


PAGE = Page("/orders/{order}/entry/{seq}", "Entry", build)


# ---- the list


def build_journal(asked: AskedNow, start: Place = None, kind: Word = "", machine: Word = "") -> Content:
    """The journal from an entry on; without one, its last entries.  kind, machine : those alone."""
    reading = asked.now.reading
    checked_kind(kind or None), checked_machine(reading, machine or None)
    every = matching(reading, kind or None, machine or None)
    place = max(0, len(every) - MANY) if start is None else bisect_left(every, start)
    rows = entries(reading, every[place], MANY, kind or None, machine or None) if place < len(every) else []
    return Content(
        "Journal",
        (_shown(rows, len(every), reading.size),),
        (_filters(asked, start, kind, machine), _list(asked, rows)),
        tuple(_onward(asked, every, place, {"kind": kind, "machine": machine})),
    )


def _shown(rows: Sequence[dict[str, Any]], many: int, size: int) -> str:
    if not size:
        return "No entry yet: take in the records of a shift."
    if not rows:
        return f"None of the journal's {size:,} entries matches from there on."
    span = f"Entries {rows[0]['entry']:,} to {rows[-1]['entry']:,}"
    if many == size:
        return f"{span} of {size:,}, counted from 0."
    return f"{span}: {len(rows):,} of the {many:,} that match, among {size:,} counted from 0."


def _onward(asked: Asked, every: Sequence[int], place: int, kept: dict[str, str]) -> list[Action]:
    """The pages before and after."""
    before, after = max(0, place - MANY), place + MANY
    near = [(0, "First entries", place > 0), (before, "Entries before", place > 0),
            (after, "Entries after", after < len(every)),
            (max(0, len(every) - MANY), "Last entries", after < len(every))]  # fmt: skip
    asks = {key: value for key, value in kept.items() if value}
    return [Action(words, f"{asked.base}/journal?{urlencode({'start': every[at], **asks})}")
            for at, words, there in near if there]  # fmt: skip


def _filters(asked: Asked, start: int | None, kind: str, machine: str) -> Form:
    kinds = (("", "every kind"), *((one, one) for one in sorted(KINDS)))
    machines = (("", "every machine"), *((one.name, one.name) for one in asked.now.reading.works.machines))
    fields = (
        Field("start", "From entry", "number", "" if start is None else str(start), "counted from 0; empty = the last",
              more={"min": "0"}),
        Field("kind", "Kind", "select", kind, choices=kinds),
        Field("machine", "Machine", "select", machine, choices=machines),
    )  # fmt: skip
    return Form("Which entries", f"{asked.base}/journal", fields, "Show")


def _list(asked: Asked, rows: Sequence[dict[str, Any]]) -> Table:
    columns = (Column("Entry"), Column("When", kind="time"), Column("What"), Column("Says"), Column("Machine"),
               Column("Its number", kind="figure"), Column("By"), Column("Second"), Column("Corrected"))  # fmt: skip
    cells = [[_entry(asked, one["entry"]), one["at"], one["kind"], one["words"], one["machine"], one["seq"], one["by"],
              one["by2"], "corrected later" if one["corrected"] else ""] for one in rows]  # fmt: skip
    empty = "No entry matches: choose another kind or machine."
    if not asked.now.reading.size:
        empty = "No entry yet: take in the records of a shift."
    return Table("entries", "Entries", columns, cells, empty, most=MANY)


MORE = (Page("/orders/{order}/journal", "Journal", build_journal, menu="order"),)

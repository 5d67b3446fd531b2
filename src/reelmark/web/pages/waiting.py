"""What waits for a second person, with all that is asked; and what became of what was asked before."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from ...acts.written import fields, lists
from ...io.proposals import Proposal
from ...records import Record, adapter
from ..content import Column, Content, Link, Table
from ..page import Asked, AskedNow, Page
from ..roles import Role

__all__ = ["PAGE", "in_words"]

SHOWN = 20  # records of one proposal written out at once; the others unfold
WHO = (Column("id", kind="figure"), Column("order"), Column("what is asked"), Column("why"), Column("asked by"))


@dataclass(frozen=True)
class _Card:
    """One that waits.

    about : the entries it corrects, as they stand now
    may : what who looks can do about it, sign or take back; barred : why they cannot sign it
    """

    one: Proposal
    lines: list[str]
    about: list[tuple[Link, str]]
    may: str
    barred: str


def in_words(body: dict[str, Any]) -> str:
    """All that a record to be written says."""
    kind = body.get("kind")
    if kind == "move":
        return f"{_what(body)}: from {body['source']} to {body['target']}; {body['why']}"
    if kind == "allocate":
        return f"allocate {_what(body)}, for the {body['purpose']} series"
    if kind == "destroy":
        return f"destroy {_what(body)}; {body.get('why', 'spoil destroyed')}"
    return f"{kind}: {_fields(body)}"


def _what(body: dict[str, Any]) -> str:
    if body.get("unit") is None:
        return f"numbers {body.get('first')} to {body.get('last')} of series {body.get('series')}"
    if body.get("sheets") is None:
        return f"all of {body['unit']}"
    return f"{body['sheets']:,} sheets of {body['unit']}, from sheet {body.get('start') or 0:,} on"


def _fields(body: dict[str, Any]) -> str:
    """Field by field, as the journal will hold it."""
    record = adapter().validate_python({**body, "machine": "desk", "seq": 1, "by": "A", "by2": "B",
                                        "at": "2000-01-01T00:00:00Z"})  # fmt: skip
    words = [f"{row.name} {row.value} {row.unit}".rstrip() for row in fields(record)]
    for some in lists(record):
        words += [f"{some['name']} {', '.join(map(' '.join, zip(some['heads'], row, strict=True)))}"
                  for row in some["rows"]]  # fmt: skip
    return "; ".join(words)


def _card(asked: Asked, one: Proposal) -> _Card:
    lines, about = [in_words(body) for body in one.bodies], list(_about(asked, one))
    if asked.who is not None and asked.who.name == one.by:
        return _Card(one, lines, about, "take back", "You asked for this; another person must sign it.")
    if asked.may(Role.SIGN):
        return _Card(one, lines, about, "sign", "")
    return _Card(one, lines, about, "", "To sign or refuse this, the role sign is needed.")


def _about(asked: Asked, one: Proposal) -> Iterator[tuple[Link, str]]:
    """What stands now where a correction is asked for."""
    live = asked.house.lives.get(one.order)
    wrong = {(b["of_machine"], b["of_seq"]) for b in one.bodies if b.get("kind") == "correct"}
    for seq, record in enumerate(live.now.reading.records if live and wrong else ()):
        if (record.machine, record.seq) in wrong:
            body = json.loads(live.now.bodies[seq]) if live else {}
            plain = {name: value for name, value in body.items() if name not in Record.model_fields}
            yield Link(f"Entry {seq:,} as it stands", f"/orders/{quote(one.order)}/entry/{seq}"), in_words(plain)


def _row(one: Proposal) -> list[Any]:
    return [one.id, _order(one), one.title, one.why, one.by, one.at]


def _order(one: Proposal) -> Link:
    return Link(one.order, f"/orders/{one.order}")


def build(asked: AskedNow) -> Content:
    """What waits, oldest first; what is decided, newest first."""
    waiting, decided = asked.house.people.proposals.waiting(), asked.house.people.proposals.decided()
    asked_at = Column("asked at", kind="time")
    tables = (
        Table("waiting", "Waiting", (*WHO, asked_at), [_row(one) for one in waiting], "Nothing waits."),
        Table("records", "Records that would be written", (Column("id", kind="figure"), Column("record")),
              lambda: [[one.id, in_words(body)] for one in waiting for body in one.bodies]),
        Table("decided", "Decided", (*WHO, asked_at, Column("became"), Column("by"), Column("at", kind="time"),
                                     Column("outcome")),
              [[*_row(one), one.state, one.by2 or one.by, one.at2, one.outcome] for one in decided],
              "Nothing has been decided yet."),
    )  # fmt: skip
    lead = (f"{len(waiting)} wait for a second person." if waiting else "Nothing waits for a second person.",)
    cards = [_card(asked, one) for one in waiting]
    return Content("Waiting", lead, tables, template="waiting.html", extra={"cards": cards, "shown": SHOWN})


PAGE = Page("/waiting", "Waiting", build, menu="house")

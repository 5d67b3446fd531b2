"""What needs two persons from the start: numbers allocated, spoil destroyed, an entry corrected.

Each is asked for here and waits; it is written when another person signs (see waiting).
"""

import json
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form
from fastapi.responses import RedirectResponse

from ..acts.find import plain
from ..errors import BadValue
from ..records import Record
from .asking import Why
from .content import Field
from .content import Form as Asking
from .page import Asked, AskedNow
from .roles import Role
from .sign import Needs
from .waiting import propose

__all__ = ["allocate_form", "correct_form", "destroy_form", "router"]

router = APIRouter()
WRITES = [Depends(Needs(Role.WRITE))]
Short = Annotated[str, Form(max_length=64)]


WAITS = "It waits under Waiting until another person signs."
PURPOSES = (("order", "the order"), ("replacement", "replacement notes"))
WHO_AND_WHEN = frozenset(Record.model_fields)


def allocate_form(asked: Asked) -> tuple[Asking, ...]:
    """Numbers given to the order: for who may write."""
    if not asked.may(Role.WRITE):
        return ()
    series = tuple((one.name, one.name) for one in asked.live.order.series)
    return (
        Asking(
            "Ask to allocate numbers", f"{asked.base}/allocate",
            (
                Field("series", "Series", "select", choices=series),
                Field("first", "First number", required=True, more={"maxlength": "24"}),
                Field("last", "Last number, itself too", required=True, more={"maxlength": "24"}),
                Field("purpose", "For", "select", choices=PURPOSES),
                Field("why", "Why", required=True, more={"minlength": "3", "maxlength": "200"}),
            ),
            "Ask to allocate", "post", f"A number is allocated once, for ever. {WAITS}",
        ),
    )  # fmt: skip


def destroy_form(asked: Asked, unit: str) -> tuple[Asking, ...]:
    """A lot of spoil destroyed: for who may write."""
    if not asked.may(Role.WRITE):
        return ()
    fields = (
        Field("unit", "", "hidden", unit),
        Field("why", "Why", value="spoil destroyed", required=True, more={"minlength": "3", "maxlength": "200"}),
    )
    caution = "Guillotines and shredders maim; their makers' instructions and the works' own rules come first."
    says = f"All of {unit}, before the eyes of both persons. {WAITS}"
    return (Asking("Ask to destroy", f"{asked.base}/destroy", fields, "Ask to destroy", "post", says, caution),)


def correct_form(asked: Asked, seq: int, body: bytes) -> tuple[Asking, ...]:
    """An entry as it should have been: for who may write; an allocation or a correction is not corrected."""
    written = json.loads(body)
    if not asked.may(Role.WRITE) or written["kind"] in {"allocate", "correct"}:
        return ()
    plain = {name: value for name, value in written.items() if name not in WHO_AND_WHEN}
    fields = (
        Field("seq", "", "hidden", str(seq)),
        Field("record", "As it should have been", "area", json.dumps(plain, ensure_ascii=False, indent=1),
              "without who and when, which stay; empty = it never happened"),
        Field("why", "Why", required=True, more={"minlength": "3", "maxlength": "200"}),
    )  # fmt: skip
    says = f"The entry stays in the journal as it was written; a later one takes its place. {WAITS}"
    return (Asking("Ask to correct this entry", f"{asked.base}/correct", fields, "Ask to correct", "post", says),)


def _waits(asked: Asked, kind: str, title: str, body: dict[str, Any], why: str) -> RedirectResponse:
    propose(asked, kind, title, [{"kind": kind, **body}], why)
    return RedirectResponse("/waiting", 303)


@router.post("/orders/{order}/allocate", dependencies=WRITES, summary="Ask to allocate numbers", response_model=None)
def allocate(
    asked: AskedNow, series: Short, first: Short, last: Short, purpose: Short = "order", why: Why = "next run"
) -> RedirectResponse:
    """A range of a series for the order."""
    body = {"series": series, "first": plain(first), "last": plain(last), "purpose": purpose}
    return _waits(asked, "allocate", f"allocate {body['first']} to {body['last']} of {series}", body, why)


@router.post("/orders/{order}/destroy", dependencies=WRITES, summary="Ask to destroy spoil", response_model=None)
def destroy(asked: AskedNow, unit: Short, why: Why = "spoil destroyed") -> RedirectResponse:
    """A whole lot, in the presence of both."""
    return _waits(asked, "destroy", f"destroy {unit}", {"unit": unit, "why": why}, why)


@router.post("/orders/{order}/correct", dependencies=WRITES, summary="Ask to correct an entry", response_model=None)
def correct(
    asked: AskedNow,
    seq: Annotated[int, Form(ge=0, le=2**40)],
    why: Why,
    record: Annotated[str, Form(max_length=20_000)] = "",
) -> RedirectResponse:
    """The entry as it should have been, or, with nothing written, as one that never happened."""
    records = asked.now.reading.records
    if seq >= len(records):
        true = f"the journal holds entries 0 to {len(records) - 1}"
        raise BadValue("seq", seq, true, "correct an entry that is there")
    wrong = records[seq]
    body: dict[str, Any] = {"of_machine": wrong.machine, "of_seq": wrong.seq, "why": why}
    if record.strip():
        body["record"] = _object(record)
    return _waits(asked, "correct", f"correct entry {seq:,} of {wrong.machine}", body, why)


def _object(text: str) -> dict[str, Any]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadValue(
            "record", text, f"it is not JSON: {error}", "give the whole record, without who and when"
        ) from error
    if not isinstance(found, dict):
        raise BadValue("record", text, "it is not an object", "give the whole record, without who and when")
    return found

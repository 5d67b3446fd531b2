"""What needs two persons from the start: numbers allocated, spoil destroyed, an entry corrected.

Each is asked for here and waits; it is written when another person signs (see waiting).
"""

import json
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form
from fastapi.responses import RedirectResponse

from ..errors import BadValue
from .page import Asked, AskedNow
from .roles import Role
from .sign import Needs
from .waiting import propose

__all__ = ["router"]

router = APIRouter()
WRITES = [Depends(Needs(Role.WRITE))]
Short = Annotated[str, Form(max_length=64)]
Why = Annotated[str, Form(min_length=3, max_length=200)]


def _waits(asked: Asked, kind: str, title: str, body: dict[str, Any], why: str) -> RedirectResponse:
    propose(asked, kind, title, [{"kind": kind, **body}], why)
    return RedirectResponse("/waiting", 303)


@router.post("/orders/{order}/allocate", dependencies=WRITES, summary="Ask to allocate numbers", response_model=None)
def allocate(
    asked: AskedNow, series: Short, first: Short, last: Short, purpose: Short = "order", why: Why = "next run"
) -> RedirectResponse:
    """A range of a series for the order."""
    body = {"series": series, "first": first.strip().upper(), "last": last.strip().upper(), "purpose": purpose}
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

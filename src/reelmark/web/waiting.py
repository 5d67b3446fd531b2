"""What waits for a second person: asked here by one, confirmed or refused by another, or taken back.

A confirmation is claimed, posted and noted as done by the one hand that writes an order's journal, so two at once post
once.  A claim that a stop of the server left behind is settled at the next confirmation, from the journal itself.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

from fastapi import APIRouter, Depends
from fastapi.responses import JSONResponse, RedirectResponse, Response
from pydantic import ValidationError

from ..desk import Desk
from ..errors import Clash, NotAllowed
from ..fields import refusal
from ..io.proposals import Proposal, Proposals
from ..journal import canonical
from ..records import adapter
from .asking import Why
from .faults import wants_json
from .live import Live
from .page import Asked, AskedNow
from .roles import Role
from .sign import Needs

__all__ = ["propose", "router"]

SECOND = "the second person"  # stands in for whoever will sign, when it is judged whether it can be signed at all
LEFT = timedelta(minutes=5)  # a claim older than this is of a server that stopped
router = APIRouter()


def _now() -> datetime:
    # Whole milliseconds, as the record in the journal shall bear the very time that the claim bears.
    now = datetime.now(UTC)
    return now.replace(microsecond=now.microsecond // 1000 * 1000)


def propose(asked: Asked, kind: str, title: str, bodies: Sequence[dict[str, Any]], why: str) -> int:
    """Keep what one person asks for until a second confirms it; its number.  BadValue where a body does not read.

    What could not be true beside the journal as it stands is refused at once, not when the second person signs.
    """
    name = asked.name
    if not asked.may(Role.WRITE):
        raise NotAllowed("role", Role.WRITE.value, f"{name} does not hold it", "ask who keeps people for it")
    if not bodies:
        raise Clash("bodies", 0, "there is nothing to be written", "choose something first")
    for body in bodies:
        _reads(body, asked.live.machine, name)
    live, at = asked.live, _now().isoformat()
    live.write(lambda desk: desk.judge(bodies, live.machine, name, SECOND, at)).result()
    number = asked.house.people.proposals.ask(asked.live.key, kind, title, bodies, why, name, _now())
    _tell(asked)
    return number


def _reads(body: dict[str, Any], machine: str, by: str) -> None:
    """BadValue for what no journal would take, told to who asks and not to who signs."""
    canonical(body)
    try:
        adapter().validate_python({**body, "machine": machine, "seq": 1, "at": _now(), "by": by, "by2": None})
    except ValidationError as error:
        raise refusal(error) from error


def _tell(asked: Asked) -> None:
    asked.house.news.tell("waiting", {"count": asked.house.people.proposals.count()})


# ---- deciding


@router.post(
    "/waiting/{number}/confirm", dependencies=[Depends(Needs(Role.SIGN))], summary="Sign as the second of two",
    response_model=None,
)  # fmt: skip
def confirm(asked: AskedNow, number: int) -> Response:
    """The records go into the journal with both names; refused for who asked for them."""
    kept, name = asked.house.people.proposals, asked.name
    live = asked.house.live(kept.one(number).order)
    try:
        done = live.write(partial(_post, kept, live, number, name)).result()
    finally:
        _tell(asked)
    return _to_list(asked, done)


def _post(kept: Proposals, live: Live, number: int, by2: str, desk: Desk) -> Proposal:
    """By the one hand: claim, post, note.  What the journal does not take waits again, with the reason."""
    _settle(kept, live, number, desk)
    at, first = _now(), len(desk.records)
    one = kept.claim(number, by2, at)
    try:
        many = desk.post(one.bodies, live.machine, one.by, by2, at.isoformat(timespec="milliseconds"))
    except BaseException as error:
        kept.let_go(number, f"not taken when {by2} signed: {error}")
        raise
    return kept.done(number, _outcome(first, many))


def _outcome(first: int, many: int) -> str:
    return f"1 record, entry {first}" if many == 1 else f"{many} records, entries {first} to {first + many - 1}"


def _settle(kept: Proposals, live: Live, number: int, desk: Desk) -> None:
    """A claim left behind: done, if its records stand in the journal; else it waits again."""
    one = kept.one(number)
    if one.state != "posting" or one.at2 is None:
        return
    at = datetime.fromisoformat(one.at2)
    key = live.machine, one.by, one.by2, at
    found = [seq for seq, r in enumerate(desk.records) if (r.machine, r.by, r.by2, r.at) == key]
    if found:
        kept.done(number, _outcome(found[0], len(found)))
    elif _now() - at < LEFT:
        raise Clash("proposal", number, f"{one.by2} is signing it now", "look at it again in some minutes")
    else:
        kept.let_go(number, f"the server stopped when {one.by2} signed; nothing was written")


@router.post(
    "/waiting/{number}/refuse", dependencies=[Depends(Needs(Role.SIGN))], summary="Refuse as the second of two",
    response_model=None,
)  # fmt: skip
def refuse(asked: AskedNow, number: int, why: Why) -> Response:
    """It is not done, for the reason given."""
    return _decided(asked, asked.house.people.proposals.refuse(number, asked.name, _now(), why))


@router.post(
    "/waiting/{number}/take-back", dependencies=[Depends(Needs(Role.SIGNED_IN))], summary="Take back what one asked",
    response_model=None,
)  # fmt: skip
def take_back(asked: AskedNow, number: int) -> Response:
    """Not wanted any more, by who asked for it."""
    return _decided(asked, asked.house.people.proposals.take_back(number, asked.name, _now()))


def _decided(asked: Asked, one: Proposal) -> Response:
    _tell(asked)
    return _to_list(asked, one)


def _to_list(asked: Asked, one: Proposal) -> Response:
    if wants_json(asked.request):
        return JSONResponse({"id": one.id, "state": one.state, "outcome": one.outcome})
    return RedirectResponse("/waiting", 303)

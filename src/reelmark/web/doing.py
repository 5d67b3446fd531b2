"""What is done with a selection: held at once by one person; withdrawn or released by two; marked on the web."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form
from fastapi.responses import RedirectResponse

from ..acts.follow import Followed, by_lanes, choose, follow
from ..acts.moves import moves
from ..desk import Desk
from ..errors import BadValue, NotThere
from ..spans import Extent
from ..units import metres
from .asking import Said, Why
from .page import Asked, AskedNow
from .roles import Role
from .sign import Needs
from .waiting import propose

__all__ = ["post_with", "router"]

router = APIRouter()
WRITES = [Depends(Needs(Role.WRITE))]
Of = Annotated[list[str], Form(max_length=64)]


def _back(asked: Asked, of: Sequence[str], done: str) -> RedirectResponse:
    query = urlencode([*(("of", text) for text in of), ("done", done)])
    return RedirectResponse(f"{asked.base}?{query}", 303)


def _followed(asked: Asked, of: Sequence[str]) -> Followed:
    with asked.live.looking:
        return follow(asked.now.reading, choose(asked.now.reading, of))


def _bodies(asked: Asked, of: Sequence[str], sources: Sequence[str], target: str, why: str) -> list[dict[str, Any]]:
    """Records that move what may be touched; NotThere where there is nothing to move."""
    touched = _followed(asked, of)
    with asked.live.looking:
        bodies = moves(asked.now.reading, touched.may, sources, target, why)
    if not bodies:
        true = f"no note and no standing sheet of it is {' or '.join(sources)}"
        raise NotThere("selection", ", ".join(of)[:80], true, "look in which accounts it is, on the panel")
    return bodies


def _post(asked: Asked, bodies: list[dict[str, Any]]) -> None:
    post_with(asked, lambda _: bodies)


def post_with(asked: Asked, bodies: Callable[[Desk], list[dict[str, Any]]]) -> int:
    """Written at once, by one person; how many.  bodies : of the journal as it stands when they are written"""
    live, by, at = asked.live, asked.name, datetime.now(UTC).isoformat(timespec="seconds")
    return live.write(lambda desk: desk.post(bodies(desk), live.machine, by, None, at)).result()


@router.post("/orders/{order}/hold", dependencies=WRITES, summary="Hold what may be touched", response_model=None)
def hold(asked: AskedNow, of: Of, why: Why) -> RedirectResponse:
    """Good notes and sheets become held at once: to stop something needs no second person."""
    bodies = _bodies(asked, of, ("good",), "held", why)
    _post(asked, bodies)
    return _back(asked, of, "held")


@router.post("/orders/{order}/withdraw", dependencies=WRITES, summary="Ask to withdraw", response_model=None)
def withdraw(asked: AskedNow, of: Of, why: Why) -> RedirectResponse:
    """Good and held become spoiled, once a second person has confirmed."""
    bodies = _bodies(asked, of, ("good", "held"), "spoiled", why)
    propose(asked, "withdraw", f"withdraw {_said(bodies)}", bodies, why)
    return _back(asked, of, "asked")


@router.post("/orders/{order}/release", dependencies=WRITES, summary="Ask to release from hold", response_model=None)
def release(asked: AskedNow, of: Of, why: Why) -> RedirectResponse:
    """Held becomes good again, once a second person has confirmed."""
    bodies = _bodies(asked, of, ("held",), "good", why)
    propose(asked, "release", f"release {_said(bodies)} from hold", bodies, why)
    return _back(asked, of, "asked")


def _said(bodies: Sequence[dict[str, Any]]) -> str:
    sheets = sum(body.get("sheets", 0) for body in bodies)
    ranges = [body for body in bodies if "series" in body]
    words = [f"{sheets:,} sheets"] if sheets else []
    if ranges:
        words.append(f"{len(ranges):,} ranges of numbers from {ranges[0]['first']} to {ranges[-1]['last']}")
    return " and ".join(words)


@router.post("/orders/{order}/mark", dependencies=WRITES, summary="Mark the web", response_model=None)
def mark(
    asked: AskedNow,
    of: Of,
    fault: Said,
    grade: Said = "note",
) -> RedirectResponse:
    """What was seen on the web, written on the stretch taken hold of."""
    with asked.live.looking:
        chosen = choose(asked.now.reading, of)
        bodies = _marks(asked, chosen, fault, grade)
    _post(asked, bodies)
    return _back(asked, of, "marked")


def _marks(asked: Asked, chosen: Extent, fault: str, grade: str) -> list[dict[str, Any]]:
    for unit, _ in chosen:
        if unit not in asked.now.reading.shop.rolls:
            raise BadValue("of", unit, "marks are made on web, and this is no roll", "take hold of metres of a roll")
    return [
        {"kind": "mark", "unit": unit, "lanes": lanes, "start": metres(a), "end": metres(b), "fault": fault,
         "grade": grade, "seen_by": asked.name}
        for unit, spans, lanes in by_lanes(chosen) for a, b in spans
    ]  # fmt: skip

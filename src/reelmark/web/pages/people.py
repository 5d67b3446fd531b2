"""Who may come in and what they may do; only for who keeps people."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Form
from fastapi.responses import JSONResponse, RedirectResponse, Response

from ...io.people import LINK
from ...io.persons import ROLES
from ..content import Column, Content, Table
from ..faults import wants_json
from ..page import Asked, AskedNow, Page
from ..roles import Role
from ..sign import Needs

__all__ = ["PAGE", "router"]

router = APIRouter()
KEEP = [Depends(Needs(Role.KEEP))]
SAYS = {  # what a role lets a person do, where it is given
    "read": "look at orders, numbers, books",
    "write": "take in records, mark, hold; ask for what needs two",
    "sign": "be the second of two",
    "keep": "keep people and their roles",
}
Chosen = Annotated[list[str], Form(max_length=8)]
Who = Annotated[str, Form(max_length=64)]


def build(asked: AskedNow) -> Content:
    """Everybody, and what was done about people."""
    people = asked.house.people
    persons, deeds = people.persons(), people.deeds()
    tables = (
        Table("persons", "Persons",
              (Column("name"), Column("may"), Column("state"), Column("last seen", kind="time")),
              [[p.name, _may(p.roles), "active" if p.active else "retired", p.seen] for p in persons]),
        Table("deeds", "What was done about people", (Column("at", kind="time"), Column("by"), Column("what")),
              [[d.at, d.by or "who runs the server", d.what] for d in deeds]),
    )  # fmt: skip
    extra = {"persons": persons, "roles": SAYS, "link": ""}
    return Content("People", (), tables, template="people.html", extra=extra)


def _may(roles: frozenset[str]) -> str:
    return ", ".join(one for one in ROLES if one in roles)


PAGE = Page("/people", "People", build, role=Role.KEEP, menu="house")


# ---- acts


def _shown(asked: Asked, token: str, whose: str) -> Response:
    """A link: shown now, and never again, for only its hash is kept."""
    link = f"{str(asked.request.base_url).rstrip('/')}/join/{token}"
    if wants_json(asked.request):
        return JSONResponse({"link": link})
    extra = {"link": link, "whose": whose, "days": LINK.days}
    return asked.house.render(asked, Content("People", template="people.html", extra=extra))


def _done(asked: Asked, act: Callable[..., object], *values: object) -> Response:
    act(*values, _by(asked), datetime.now(UTC))
    return RedirectResponse("/people", 303)


def _by(asked: Asked) -> str:
    assert asked.who is not None
    return asked.who.name


@router.post("/people/invite", dependencies=KEEP, summary="A link for somebody new", response_model=None)
def invite(asked: AskedNow, role: Chosen = []) -> Response:  # noqa: B006  FastAPI copies it
    """A one-time link by which somebody comes in."""
    token = asked.house.people.invite(role, _by(asked), datetime.now(UTC))
    return _shown(asked, token, "somebody new")


@router.post("/people/renew", dependencies=KEEP, summary="A link for a new passphrase", response_model=None)
def renew(asked: AskedNow, name: Who) -> Response:
    """A one-time link by which a person chooses a new passphrase, and comes back if retired."""
    return _shown(asked, asked.house.people.renew(name, _by(asked), datetime.now(UTC)), name)


@router.post("/people/roles", dependencies=KEEP, summary="What a person may do", response_model=None)
def roles(asked: AskedNow, name: Who, role: Chosen = []) -> Response:  # noqa: B006  FastAPI copies it
    """From now on, the next page already."""
    return _done(asked, asked.house.people.set_roles, name, role)


@router.post("/people/end", dependencies=KEEP, summary="End a person's sessions", response_model=None)
def end(asked: AskedNow, name: Who) -> Response:
    """The person must sign in again, on every desk."""
    return _done(asked, asked.house.people.end_all, name)


@router.post("/people/retire", dependencies=KEEP, summary="Retire a person", response_model=None)
def retire(asked: AskedNow, name: Who) -> Response:
    """The person may not come in any more; the name stays in the journal and in the list."""
    return _done(asked, asked.house.people.retire, name)

"""Signing in: who asks, whether they may, and the pages on which they come in and go."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from threading import Lock
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, FastAPI, Form, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from ..errors import BadValue, NotAllowed, NotThere, Problem
from ..io.people import SHIFT, People
from ..io.persons import ROLES, folded, tidy
from .faults import said, wants_json
from .passphrase import Passphrases
from .roles import Role

__all__ = ["COOKIE", "Needs", "Person", "first_link", "here", "passphrases", "router", "signed_in"]

COOKIE = "reelmark"
_LOCAL = re.compile(r"/(?![/\\])[^\x00-\x20\\\x7f]*")
_FIRST = Lock()


@dataclass(frozen=True, slots=True)
class Person:
    """Who is signed in."""

    name: str
    roles: frozenset[Role]

    def holds(self, role: Role) -> bool:
        """Does the person hold that role?  Everybody holds what every person holds."""
        return role in {Role.ANYONE, Role.SIGNED_IN} or role in self.roles

    def holds_word(self, word: str) -> bool:
        """The same, by the role's word."""
        return self.holds(Role(word))


def _now() -> datetime:
    return datetime.now(UTC)


def _people(request: Request) -> People:
    return request.app.state.house.people  # type: ignore[no-any-return]


def passphrases(app: FastAPI) -> Passphrases:
    """Those of the application: app.state.passphrases, made at the first asking."""
    with _FIRST:
        if not hasattr(app.state, "passphrases"):
            app.state.passphrases = Passphrases()
    return app.state.passphrases  # type: ignore[no-any-return]


def signed_in(request: Request) -> Person | None:
    """Who asks, by the session's cookie."""
    token = request.cookies.get(COOKIE)
    known = _people(request).seen(token, _now()) if token else None
    return Person(known.name, frozenset(Role(word) for word in known.roles)) if known else None


class Needs:
    """What stands before a route: lets in who holds the role, and puts the person into request.state.person."""

    def __init__(self, role: Role) -> None:
        self.role = role

    def __call__(self, request: Request) -> None:
        request.state.person = who = signed_in(request)
        if self.role is Role.ANYONE:
            return
        if who is None:
            raise _not_signed_in(request)
        if not who.holds(self.role):
            raise _not_held(request, who, self.role)


def _not_signed_in(request: Request) -> HTTPException:
    """To the sign-in page where a person looks; 401 for machines, scripts and forms."""
    looks = request.method in {"GET", "HEAD"} and request.headers.get("sec-fetch-mode", "navigate") == "navigate"
    if looks and not wants_json(request) and request.url.path != "/openapi.json":
        return HTTPException(303, headers={"Location": f"/sign-in?then={quote(here(request), safe='/')}"})
    return HTTPException(401, "nobody is signed in, or the session has ended")


def _not_held(request: Request, who: Person, role: Role) -> NotAllowed:
    held = ", ".join(one.value for one in Role if one in who.roles) or "no role"
    cure = f"ask {' or '.join(_people(request).keepers())} for it"
    return NotAllowed("role", role.value, f"this needs it, and {who.name} holds {held}", cure)


def here(request: Request) -> str:
    """Path and query of what was asked."""
    query = request.url.query
    return quote(request.scope["path"]) + (f"?{query}" if query else "")


def _local(then: str) -> str:
    """Where to go afterwards: only a path of this house."""
    return then if _LOCAL.fullmatch(then) else "/"


def first_link(people: People, base_url: str, now: datetime) -> str | None:
    """The link by which the first keeper comes in; None once there is one."""
    return None if people.keepers() else f"{base_url.rstrip('/')}/join/{people.invite(ROLES, None, now)}"


router = APIRouter()
ANYONE = [Depends(Needs(Role.ANYONE))]
Typed = Annotated[str, Form()]  # no rule here: what breaks one is told back, and a passphrase must not be


def _shown(request: Request, template: str, fault: Problem | None = None, status: int = 200, **values: Any) -> Response:
    """The form; with what was wrong before."""
    if fault and wants_json(request):
        return said(request, status, fault.asked, fault.true, fault.cure)
    house, who = request.app.state.house, getattr(request.state, "person", None)
    text = house.fragment(template, asked=None, who=who, live=None, fault=fault, **values)
    return HTMLResponse(text, status)


def _come_in(request: Request, name: str, to: str) -> Response:
    """A new session, and the end of the one there was."""
    people, old = _people(request), request.cookies.get(COOKIE)
    if old:
        people.end(old, _now())
    response = RedirectResponse(to, 303)
    response.set_cookie(
        COOKIE, people.begin(name, _now()), max_age=int(SHIFT.total_seconds()), httponly=True, samesite="lax",
        secure=request.url.scheme == "https",
    )  # fmt: skip
    return response


@router.get("/sign-in", dependencies=ANYONE, summary="Sign in", response_class=HTMLResponse, response_model=None)
def sign_in_page(request: Request, then: str = "/") -> Response:
    """The form; straight on for who is signed in."""
    if request.state.person:
        return RedirectResponse(_local(then), 303)
    return _shown(request, "sign-in.html", then=_local(then), name="")


@router.post("/sign-in", dependencies=ANYONE, summary="Sign in", response_model=None)
def sign_in(request: Request, name: Typed, passphrase: Typed, then: Typed = "/") -> Response:
    """Name and passphrase; a session, where they are right."""
    kept = passphrases(request.app)
    keys = ("name", folded(name)[:64]), ("address", request.client.host if request.client else "")
    if wait := kept.tries.begin(*keys):
        fault = Problem("sign in", "it failed too often", f"wait {wait} seconds, then try again")
        response = _shown(request, "sign-in.html", fault, 429, then=_local(then), name=name[:64])
        response.headers["Retry-After"] = str(wait)
        return response
    known = _people(request).person(name)
    right = kept.right(known.hash if known else None, passphrase)
    if known is None or not (right and known.active):
        fault = Problem("sign in", "name and passphrase do not belong together", "try again, or ask who keeps people")
        return _shown(request, "sign-in.html", fault, 401, then=_local(then), name=name[:64])
    kept.tries.held(*keys)
    if kept.stale(known.hash):
        _people(request).rehash(known.name, kept.hash(passphrase))
    return _come_in(request, known.name, _local(then))


@router.post("/sign-out", dependencies=ANYONE, summary="Sign out", response_model=None)
def sign_out(request: Request) -> Response:
    """The session is over."""
    if token := request.cookies.get(COOKIE):
        _people(request).end(token, _now())
    response = RedirectResponse("/sign-in", 303)
    response.delete_cookie(COOKIE, httponly=True, samesite="lax")
    return response


def _link(request: Request, token: str) -> tuple[str, list[str]]:
    """(name, roles) that a link is for; NotThere if it is for nothing."""
    found = _people(request).invited(token, _now())
    if found is None:
        true = "it was used, has ended, or was never given"
        raise NotThere("link", "to come in", true, "ask who keeps people for a new one")
    return found.person or "", [one for one in ROLES if one in found.roles]


@router.get("/join/{token}", dependencies=ANYONE, summary="Come in by a link", response_model=None)
def join_page(request: Request, token: str) -> Response:
    """Where a name and a passphrase are chosen; looking does not use the link up."""
    person, roles = _link(request, token)
    return _shown(request, "join.html", person=person, roles=roles, name=person, here=here(request))


@router.post("/join/{token}", dependencies=ANYONE, summary="Come in by a link", response_model=None)
def join(request: Request, token: str, passphrase: Typed, again: Typed, name: Typed = "") -> Response:
    """A new person, signed in; or a new passphrase."""
    person, roles = _link(request, token)
    try:
        asked = person or tidy(name)
        Passphrases.check(asked, passphrase, again)
        kept = _people(request).join(token, asked, passphrases(request.app).hash(passphrase), _now())
    except BadValue as fault:
        return _shown(
            request, "join.html", fault, 422, person=person, roles=roles, name=person or name, here=here(request)
        )
    return _come_in(request, kept, "/")

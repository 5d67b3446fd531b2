"""Errors on the page, in the words of the library's errors: what was asked, what is true instead, what to do."""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from ..errors import BadValue, Broken, Clash, NotAllowed, NotThere, Problem
from ..reading import Refused

__all__ = ["HANDLERS", "not_understood", "said", "wants_json"]

STATUS: dict[type[Problem], int] = {
    Broken: 500,
    NotThere: 404,
    NotAllowed: 403,
    Clash: 409,
    BadValue: 422,
    Problem: 400,
}


def wants_json(request: Request) -> bool:
    """Does a machine ask, or a script of the page?"""
    return request.url.path.startswith("/api") or "text/html" not in request.headers.get("accept", "text/html")


def said(request: Request, status: int, asked: str, true: str, cure: str) -> Response:
    """An error as a page, or for machines as JSON."""
    if wants_json(request):
        return JSONResponse({"asked": asked, "true": true, "cure": cure}, status)
    house = request.app.state.house
    fault = {"asked": asked, "true": true, "cure": cure, "status": status}
    who = getattr(request.state, "person", None)
    text = house.fragment("error.html", asked=None, who=who, live=None, fault=fault, back=_back(request))
    return Response(text, status, media_type="text/html")


def _back(request: Request) -> str:
    """The page of this house that was asked from, so that who signs in again comes back to it."""
    there = urlsplit(request.headers.get("referer", ""))
    if there.netloc != request.url.netloc or there.path.startswith("//"):
        return "/"
    return f"{there.path}?{there.query}" if there.query else there.path


def _problem(request: Request, problem: Any) -> Response:
    status = next(code for kind, code in STATUS.items() if isinstance(problem, kind))
    return said(request, status, problem.asked, problem.true, problem.cure)


def _refused(request: Request, refused: Any) -> Response:
    return _problem(request, refused.problem)


def _http(request: Request, error: Any) -> Response:
    if error.headers and "location" in {name.lower() for name in error.headers}:
        return Response(status_code=error.status_code, headers=error.headers)
    asked = f"{request.method} {request.url.path}"
    cure = {
        401: "sign in at /sign-in",
        404: "follow a link from Orders, or use the search box",
        405: "use the form on the page",
    }
    return said(request, error.status_code, asked, str(error.detail), cure.get(error.status_code, "try again"))


def not_understood(request: Request, error: RequestValidationError) -> Response:
    """A question whose parts do not read: the first of them, in words."""
    first = error.errors()[0]
    where = ".".join(str(step) for step in first["loc"][1:]) or "question"
    value = first.get("input")
    true = first["msg"].lower().removeprefix("value error, ")
    return said(request, 422, f"{where} = {str(value)[:80]!r}", true, "correct the address or the form")


def _unknown(request: Request, error: Any) -> Response:
    """What nobody foresaw; the server's log has the rest."""
    true = f"the program failed ({type(error).__name__}); what was being written is in the journal whole or not at all"
    return said(request, 500, f"{request.method} {request.url.path}", true, "try again; then tell who keeps the server")


HANDLERS: dict[type[Exception], Callable[[Request, Any], Response]] = {
    Exception: _unknown,
    Problem: _problem,
    Refused: _refused,
    HTTPException: _http,
}

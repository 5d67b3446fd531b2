"""What stands before every route: no act from another site's page, and headers that keep a browser from harm."""

from collections.abc import Callable, Iterable
from functools import wraps
from typing import Any
from urllib.parse import urlsplit

from fastapi import FastAPI, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response
from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware.body_limit import RequestBodyLimitMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .faults import said
from .sign import COOKIE, signed_in

__all__ = ["Guard", "hosts", "stand_before", "with_heads"]

SMALL = 16_384  # bytes, enough for a form
MOST = 256 * 2**20  # bytes of a request: a file of shop records
SAFE = {"GET", "HEAD", "OPTIONS"}
PAGE = "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'; object-src 'none'"
PICTURE = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"  # a drawing brings its style along
REST = "default-src 'none'; frame-ancestors 'none'"


def hosts(allowed: Iterable[str]) -> list[str]:
    """Names under which the house answers, as TrustedHostMiddleware wants them: without ports, small letters."""
    names = {urlsplit(f"//{one.strip()}").hostname or "" for one in allowed}
    return sorted(f"[{name}]" if ":" in name else name for name in names if name)


def stand_before(app: FastAPI, allowed: Iterable[str], most: int = MOST) -> None:
    """Put the guard before an application; outermost, so that every answer has the headers.  most : bytes of a body"""
    app.add_middleware(RequestBodyLimitMiddleware, max_body_size=most)
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=hosts(allowed), www_redirect=False)
    app.add_middleware(Guard, most=most)


class Guard:
    """Plain ASGI, so that what is streamed goes through piece by piece."""

    def __init__(self, app: ASGIApp, most: int = MOST) -> None:
        self._app, self._most = app, most

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headed = _headed(scope, send)
        answer = await _refused(scope, self._most)
        await (answer or self._app)(scope, receive, headed)


async def _refused(scope: Scope, most: int) -> Response | None:
    """What is answered instead, where an act may not go on."""
    request = Request(scope)
    asked = f"{scope['method']} {scope['path']}"
    if site := _foreign(scope):
        cure = "use the form on the page here; behind a proxy, let it pass Host unchanged"
        return said(request, 403, asked, f"it comes from {site}, not from a page of this house", cure)
    if _bytes(scope) > most:
        cure = "send it in several goes, or take it in on the command line"
        return said(request, 413, asked, f"it brings {_bytes(scope):,} bytes, and {most:,} are taken at a time", cure)
    # Roles are asked about once the body has been read, and nobody from outside shall make us read a large one.
    if _large(scope) and not await run_in_threadpool(signed_in, request):
        return said(request, 401, asked, f"it brings more than {SMALL} bytes, and nobody is signed in", "sign in")
    return None


def _large(scope: Scope) -> bool:
    """Does it bring a large body, or does not say how large?"""
    return "transfer-encoding" in Headers(scope=scope) or _bytes(scope) > SMALL


def _bytes(scope: Scope) -> int:
    """How large it says its body is."""
    length = Headers(scope=scope).get("content-length", "0")
    return int(length) if length.isdecimal() else 0


def _foreign(scope: Scope) -> str:
    """Where an act comes from, if it is not this house; else nothing."""
    headers = Headers(scope=scope)
    site, origin = headers.get("sec-fetch-site"), headers.get("origin")
    if scope["method"] in SAFE:
        return ""
    if site is not None:
        return "" if site in {"same-origin", "none"} else f"a {site} page"
    # Browsers leave Sec-Fetch-Site out over plain http, save to localhost; Origin they send with every post.
    if origin is not None:
        there = urlsplit(origin).netloc.lower()
        return "" if there and there == headers.get("host", "").lower() else origin[:80]
    return "an unnamed page" if f"{COOKIE}=" in headers.get("cookie", "") else ""


def with_heads(handler: Callable[[Request, Any], Response]) -> Callable[[Request, Any], Response]:
    """The same handler with the headers: what it answers where all else failed does not come by the guard."""

    @wraps(handler)
    def answer(request: Request, error: Any) -> Response:
        response = handler(request, error)
        _set(response.headers, request.url.path)
        return response

    return answer


def _headed(scope: Scope, send: Send) -> Send:
    async def headed(message: Message) -> None:
        if message["type"] == "http.response.start":
            _set(MutableHeaders(scope=message), scope["path"])
        await send(message)

    return headed


def _set(headers: MutableHeaders, path: str) -> None:
    kind = headers.get("content-type", "").partition(";")[0]
    headers["content-security-policy"] = {"text/html": PAGE, "image/svg+xml": PICTURE}.get(kind, REST)
    headers["x-content-type-options"] = "nosniff"
    headers["referrer-policy"] = "same-origin"
    if not path.startswith("/static/"):
        headers["cache-control"] = "no-store"

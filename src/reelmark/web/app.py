"""The application: the house, its pages, its acts, and what stands in front of them."""

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager, nullcontext
from pathlib import Path
from typing import Any

from fastapi import Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response, StreamingResponse
from fastapi.staticfiles import StaticFiles

from .. import __version__
from ..svg import style
from . import faults, guard, pages
from .acts import ROUTERS
from .house import House
from .page import add
from .roles import Role
from .sign import Needs

__all__ = ["make_app"]

STATIC = Path(__file__).parent / "static"


def make_app(
    house: House,
    hosts: Sequence[str] = ("127.0.0.1", "localhost"),
    beside: Callable[[House], AbstractAsyncContextManager[None]] | None = None,
) -> FastAPI:
    """The web face of a house.  hosts : names under which it answers.  beside : what runs while it is served."""

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        async with beside(house) if beside else nullcontext():
            yield
        house.stop()

    app = FastAPI(
        title="reelmark", version=__version__, docs_url=None, redoc_url=None, openapi_url=None, lifespan=lifespan
    )
    app.state.house = house
    for page in pages.PAGES:
        add(app, page)
        if page.menu != "none":
            house.menus[page.menu].append((page.path, page.title))
    for router in ROUTERS:
        app.include_router(router)
    _own_routes(app, house)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    guard.stand_before(app, hosts, guard.MOST)
    for kind, handler in faults.HANDLERS.items():
        app.add_exception_handler(kind, guard.with_heads(handler) if kind is Exception else handler)
    app.add_exception_handler(RequestValidationError, faults.not_understood)  # type: ignore[arg-type]
    return app


def _own_routes(app: FastAPI, house: House) -> None:
    @app.get("/openapi.json", dependencies=[Depends(Needs(Role.READ))], summary="This list, for machines")
    def calls() -> JSONResponse:
        return JSONResponse(app.openapi())

    @app.get("/live", dependencies=[Depends(Needs(Role.READ))], summary="What changes, as server-sent events")
    async def live() -> StreamingResponse:
        return StreamingResponse(house.news.stream(house.stands()), media_type="text/event-stream")

    @app.get("/favicon.ico", dependencies=[Depends(Needs(Role.ANYONE))], include_in_schema=False)
    def favicon() -> Response:
        return Response((STATIC / "mark.svg").read_bytes(), media_type="image/svg+xml")

    @app.get("/inks.css", dependencies=[Depends(Needs(Role.ANYONE))], include_in_schema=False)
    def inks() -> Response:
        return Response(style(), media_type="text/css", headers={"Cache-Control": "max-age=3600"})

    @app.get("/health", dependencies=[Depends(Needs(Role.ANYONE))], summary="Is the server there?")
    def health(request: Request) -> dict[str, Any]:
        return {"up": True}

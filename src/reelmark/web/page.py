"""The one pattern of a page: say what it shows once, and it is there as page, table files, pictures and JSON.

    PAGE = Page("/orders/{order}/books", "Books", build, menu="order")        in a module of web/pages

    def build(asked: AskedNow, at: int | None = None) -> Content: ...

A build function takes ``asked`` (who asks, of which works) and its own questions as typed arguments, as any FastAPI
endpoint does, and gives a Content.  From it ``add`` makes four addresses:

    /orders/{order}/books                           the page
    /orders/{order}/books/table/accounts.csv        each of its tables
    /orders/{order}/books/figure/NAME.svg           each of its figures
    /api/orders/{order}/books                       lead and tables as JSON

A new station adds a module to web/pages with a PAGE, and its name to PAGES there: that is all.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import wraps
from typing import Annotated, Any, Literal
from urllib.parse import quote

from fastapi import Depends, FastAPI, Path, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response, StreamingResponse

from ..errors import NotAllowed, NotThere
from .content import Content, csv_of, json_of
from .house import House
from .live import Live, Now
from .roles import Role
from .sign import Needs, Person

__all__ = ["Asked", "AskedNow", "Page", "add"]


@dataclass(frozen=True)
class Asked:
    """Who asks, where.  live : the works of the order in the address, where there is one."""

    house: House
    request: Request
    who: Person | None
    _live: Live | None
    _now: Now | None

    @property
    def live(self) -> Live:
        """The works asked about; only on pages below an order."""
        assert self._live is not None
        return self._live

    @property
    def now(self) -> Now:
        """The reading of the works as it stood when the question came: one for all of the answer."""
        assert self._now is not None
        return self._now

    @property
    def base(self) -> str:
        """Where the order's pages begin: /orders/NAME."""
        return f"/orders/{quote(self.live.key)}"

    @property
    def name(self) -> str:
        """Who asks, as it stands in the records; NotAllowed where nobody is signed in."""
        if self.who is None:
            raise NotAllowed("person", None, "nobody is signed in", "sign in")
        return self.who.name

    def may(self, role: Role) -> bool:
        """Does who asks hold this role?"""
        return self.who is not None and self.who.holds(role)


def _asked(request: Request) -> Asked:
    house: House = request.app.state.house
    order = request.path_params.get("order")
    live = house.live(order) if order else None
    return Asked(house, request, getattr(request.state, "person", None), live, live.now if live else None)


AskedNow = Annotated[Asked, Depends(_asked)]


@dataclass(frozen=True, slots=True)
class Page:
    """A page.

    menu : house = in the menu of every page, order = in the menu of an order, none = reached by links
    alone : it looks at the order's reading, one at a time; False for long work on something else
    """

    path: str
    title: str
    build: Callable[..., Content]
    role: Role = Role.READ
    menu: Literal["house", "order", "none"] = "none"
    alone: bool = True


def _looking(build: Callable[..., Content]) -> Callable[..., Content]:
    """The same, while nobody else looks at that reading: what is worked out lazily fills in one thread at a time."""

    @wraps(build)
    def held(**asked: Any) -> Content:
        where: Asked = asked["asked"]
        if where._live is None:
            return build(**asked)
        with where._live.looking:
            return build(**asked)

    return held


def _part(of: Mapping[str, Any], name: str, what: str) -> Any:
    if name not in of:
        raise NotThere(what, name, f"the page has {', '.join(of) or 'none'}", "follow a link on the page")
    return of[name]


def add(app: FastAPI, page: Page) -> None:
    """The four addresses of a page."""
    made = Annotated[Content, Depends(_looking(page.build) if page.alone else page.build)]
    needs = [Depends(Needs(page.role))]
    stem = "" if page.path == "/" else page.path

    def html(asked: AskedNow, content: made) -> HTMLResponse:
        with asked.house.looking(asked._live if page.alone else None):
            return asked.house.render(asked, content)

    def table(asked: AskedNow, content: made, part_name: Annotated[str, Path(max_length=64)]) -> StreamingResponse:
        with asked.house.looking(asked._live if page.alone else None):
            lines = list(csv_of(_part(content.tables(), part_name, "table")))
        kept = {"Content-Disposition": f'attachment; filename="{part_name}.csv"'}
        return StreamingResponse(iter(lines), media_type="text/csv; charset=utf-8", headers=kept)

    def figure(asked: AskedNow, content: made, part_name: Annotated[str, Path(max_length=64)]) -> Response:
        with asked.house.looking(asked._live if page.alone else None):
            drawn = _part(content.figures(), part_name, "figure").draw(True)
        return Response(drawn, media_type="image/svg+xml")

    def data(asked: AskedNow, content: made) -> JSONResponse:
        with asked.house.looking(asked._live if page.alone else None):
            stands = {"checkpoint": content.seal or asked.now.seal} if asked._live else {}
            return JSONResponse(json_of(content) | stands)

    title = page.title
    app.get(page.path, dependencies=needs, name=title, summary=f"{title}: the page", response_class=HTMLResponse)(html)
    app.get(f"{stem}/table/{{part_name}}.csv", dependencies=needs, summary=f"{title}: a table as CSV")(table)
    app.get(f"{stem}/figure/{{part_name}}.svg", dependencies=needs, summary=f"{title}: a figure as SVG")(figure)
    app.get(f"/api{stem or '/'}", dependencies=needs, summary=f"{title}: its tables as JSON")(data)

"""The house: the works that are served, the people who may come in, and how a page is rendered."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Any
from urllib.parse import quote

from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape

from ..errors import Clash, NotThere
from ..io.people import People
from .content import Content
from .jobs import Jobs
from .live import Live
from .news import News, event
from .view import warm
from .words import FILTERS

__all__ = ["House"]

TEMPLATES = Path(__file__).parent / "templates"


class House:
    """What one server serves."""

    def __init__(self, folders: Sequence[Path], people: People, machine: str = "office") -> None:
        self.people, self.news = people, News()
        self.jobs = Jobs(self.news)
        self.lives: dict[str, Live] = {}
        self.menus: dict[str, list[tuple[str, str]]] = {"house": [], "order": []}
        try:
            for folder in folders:
                self._add(Live(folder, machine, self._told, warm))
        except BaseException:
            self.close()
            raise
        self._pages = Environment(
            loader=FileSystemLoader(TEMPLATES), autoescape=select_autoescape(), undefined=StrictUndefined,
            trim_blocks=True, lstrip_blocks=True,
        )  # fmt: skip
        self._pages.filters.update(FILTERS)

    def _add(self, live: Live) -> None:
        """Clash for a second works whose order has the name, and so the address, of one before."""
        if other := self.lives.get(live.key):
            live.close()
            true = f"{other.folder} has the order {other.order.name} already"
            raise Clash("order", live.order.name, true, f"serve {live.folder} by itself, or name its order otherwise")
        self.lives[live.key] = live

    def stop(self) -> None:
        """No more news, and long work given up, so that nothing holds the server."""
        self.news.close()
        self.jobs.cancel_all()
        for live in self.lives.values():
            live.stop()

    def close(self) -> None:
        """Let go of everything."""
        for live in self.lives.values():
            live.close()
        self.people.close()

    @property
    def zone(self) -> str:
        """The zone of the works where they share one, else UTC."""
        zones = {live.works.zone for live in self.lives.values()}
        return zones.pop() if len(zones) == 1 else "UTC"

    def live(self, order: str) -> Live:
        """The works of an order."""
        if order not in self.lives:
            raise NotThere("order", order, f"the orders here are {', '.join(self.lives)}", "follow a link from Orders")
        return self.lives[order]

    @contextmanager
    def looking(self, live: Live | None) -> Iterator[None]:
        """While a reading is looked at."""
        with live.looking if live else nullcontext():
            yield

    def _told(self, live: Live) -> None:
        self.news.tell("journal", self._size(live))

    @staticmethod
    def _size(live: Live) -> dict[str, Any]:
        return {"order": live.key, "entries": live.now.reading.size}

    def stands(self) -> str:
        """How every journal stands now, for a page that begins to listen: what grew since it was made is news to it."""
        return "".join(event("journal", self._size(live)) for live in self.lives.values())

    def render(self, asked: Any, content: Content, status: int = 200) -> HTMLResponse:
        """The page of a content."""
        text = self._pages.get_template(content.template).render(
            content=content, asked=asked, who=asked.who, live=asked._live, house=self, quote=quote, **content.extra
        )
        return HTMLResponse(text, status)

    def fragment(self, template: str, **values: Any) -> str:
        """A piece of a page."""
        return self._pages.get_template(template).render(house=self, quote=quote, **values)

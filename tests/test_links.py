"""Every link of every page leads somewhere: followed from the first page on, five of each sort."""

import re
import socket
from collections import Counter, deque
from collections.abc import Iterator
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest
from fastapi.testclient import TestClient

from reelmark.io.people import People
from reelmark.web.app import make_app
from reelmark.web.house import House
from reelmark.web.server import Served
from small_demo import folder

EACH = 5  # links of one sort that are followed
MORE = ("?of=F01@3-4m&open=press", "?of=F01@3-4m&fit=1", "/list?of=F01@3-4m")


class Links(HTMLParser):
    """Where the links, pictures and style sheets of a page lead."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value for name, value in attrs if name in {"href", "src"} and value]


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    at: Path = tmp_path_factory.mktemp("links")
    people = People.open(at / "people.db")
    house = House([folder(at)], people)
    now = datetime.now(UTC)
    people.join(people.invite(["read", "write", "sign", "keep"], None, now), "A. Moss", "-", now)
    with TestClient(make_app(house, ["testserver"]), base_url="http://testserver") as made:
        made.cookies.set("reelmark", people.begin("A. Moss", now))
        yield made
    house.close()


def sort_of(link: str) -> str:
    """The same for links that differ only in what they name."""
    parts = urlsplit(link)
    return re.sub(r"\d+", "#", parts.path) + "?" + ",".join(sorted(set(re.findall(r"(?:^|&)(\w+)=", parts.query))))


def test_every_link_leads_somewhere(client: TestClient) -> None:
    base = next(iter(client.app.state.house.lives.values())).key  # type: ignore[attr-defined]
    todo, seen, many = deque(["/", *(f"/orders/{base}{one}" for one in MORE)]), set[str](), Counter[str]()
    while todo:
        link = todo.popleft().partition("#")[0]
        if link in seen or urlsplit(link).netloc not in {"", "testserver"} or many[sort_of(link)] >= EACH:
            continue
        seen.add(link)
        many[sort_of(link)] += 1
        answer = client.get(link)
        assert answer.status_code == 200, link
        if answer.headers["content-type"].startswith("text/html"):
            links = Links()
            links.feed(answer.text)
            todo.extend(urljoin(link, one) for one in links.found)
    kinds = {re.sub(r"^/orders/[^/?]+", "", sort_of(link)) for link in seen}
    wanted = {"/books?", "/journal?", "/numbering?", "/intake?", "/entry/#?", "/account?account", "/unit?name"}
    assert wanted <= kinds, wanted - kinds
    assert len(seen) > 100


def test_answers_are_sent_at_once(tmp_path: Path) -> None:
    """A socket not named as TCP keeps the kernel's delay: the second packet of an answer would wait 40 ms."""
    served = Served([folder(tmp_path)], port=0)
    try:
        assert served.socket.proto == socket.IPPROTO_TCP
    finally:
        served.house.close()
        served.socket.close()

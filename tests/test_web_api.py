"""Every address of the desk: its role, its sisters, what it answers to nonsense, and that nobody gets in sideways.

The application is the whole one, on the small demo order; the requests are real ones, in one process.
"""

import csv
import io
import json
import re
import shutil
import time
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext, suppress
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

import pytest
import schemathesis
from argon2 import PasswordHasher
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.core.result import Ok

from reelmark.desk import Desk
from reelmark.errors import Clash, Problem
from reelmark.io.people import People
from reelmark.web.app import make_app
from reelmark.web.content import Content
from reelmark.web.house import House
from reelmark.web.live import Live
from reelmark.web.page import AskedNow, Page, add
from reelmark.web.pages import PAGES
from reelmark.web.passphrase import Passphrases
from reelmark.web.roles import Role
from reelmark.web.sign import Needs
from served import Server
from small_demo import folder
from window_kept import keep  # type: ignore[import-not-found]

CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
WORDS = "four words nobody guesses"
EVERYBODY = {"A. Moss": ["read", "write", "sign", "keep"], "B. Reed": ["sign"], "D. Ash": ["read"]}
OPEN = {"/sign-in", "/sign-out", "/join/{token}"}  # acts for who is not signed in, or is so no more
MACHINES = "application/json"
ODD, BAD = "A b.:/+#-1", "<script>alert(1)</script>"


def people(at: Path) -> People:
    """Everybody, with a passphrase that is quickly checked."""
    kept = People.open(at)
    for name, roles in EVERYBODY.items():
        by = None if name == "A. Moss" else "A. Moss"
        kept.join(kept.invite(roles, by, datetime.now(UTC)), name, CHEAP.hash(WORDS), datetime.now(UTC))
    return kept


@contextmanager
def served(*folders: Path) -> Iterator[FastAPI]:
    """The whole application over these folders."""
    house = House(folders, people(folders[0] / "people.db"))
    try:
        app = make_app(house, ["testserver"])
        app.state.passphrases = Passphrases(CHEAP)
        yield app
    finally:
        house.stop()
        house.close()


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small works, never written to: who must write copies it."""
    works: Path = folder(tmp_path_factory.mktemp("api"))
    keep(works)
    return works


def copied(made: Path, to: Path) -> Path:
    """A works of one's own."""
    return Path(shutil.copytree(made, to / "works", ignore=shutil.ignore_patterns("people.db*")))


@pytest.fixture(scope="module")
def app(made: Path) -> Iterator[FastAPI]:
    with served(made) as whole:
        yield whole


@pytest.fixture(scope="module")
def odd(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The same with words in it that mean something to a browser, and a roll with every sign a name may have."""
    works = copied(made, tmp_path_factory.mktemp("odd"))
    with Desk(works) as desk:
        roll = {"kind": "roll", "unit": ODD, "length": "900 m", "lanes": 4}
        mark = {"kind": "mark", "unit": ODD, "lanes": [1, 2], "start": "3 m", "end": "4 m", "fault": BAD,
                "grade": BAD, "seen_by": "viewer"}  # fmt: skip
        numbers = {"kind": "move", "series": "TM20", "first": "AA0000101", "last": "AA0000102", "source": "good",
                   "target": "held", "why": BAD}  # fmt: skip
        assert desk.post([roll, mark, numbers], "office", "A. Moss", None, "2026-04-01T08:00:00Z") == 3
    with served(works) as whole:
        yield whole


def client(app: FastAPI, name: str | None = None) -> TestClient:
    """A browser; one in which that person has signed in."""
    heads = {"Origin": "http://testserver", "Accept": "text/html"}
    browser = TestClient(app, follow_redirects=False, headers=heads, raise_server_exceptions=False)
    if name:
        assert browser.post("/sign-in", data={"name": name, "passphrase": WORDS}).status_code == 303
    return browser


@pytest.fixture(scope="module")
def browser(app: FastAPI) -> TestClient:
    return client(app, "A. Moss")


def house_of(app: FastAPI) -> House:
    house: House = app.state.house
    return house


def base(app: FastAPI) -> str:
    return f"/orders/{next(iter(house_of(app).lives))}"


# ---- every route


def routes(app: FastAPI) -> list[tuple[str, str, Role | None]]:
    """(method, address, role) of all of them."""
    return [
        (method, str(route.path_format), role_of(route.dependant))
        for route in iter_route_contexts(app.routes)
        if route.path_format != "/static/{path}"  # files of the program, the same for everybody
        for method in sorted(route.methods or ())
    ]


def role_of(dependant: Any) -> Role | None:
    """The strictest that a Needs names anywhere in the tree; declared twice, all must be the same."""
    found, todo = set(), [dependant]
    while todo:
        one = todo.pop()
        found |= {one.call.role} if isinstance(one.call, Needs) else set()
        todo += one.dependencies
    assert len(found) < 2, found
    return next(iter(found), None)


def filled(app: FastAPI, path: str) -> str:
    """An address that leads somewhere."""
    first = house_of(app).lives[base(app).rpartition("/")[2]].order.series[0]
    values = {"{order}": base(app)[8:], "{number}": "AA0000001", "{seq}": "0", "{part_name}": "x", "{token}": "x",
              "{job}": "x", "{key}": "film.rolls", "{reading}": "F01", "{name}": "0-missing.png"}  # fmt: skip
    assert first.name == "TM20"
    if path.startswith("/waiting/"):
        values["{number}"] = "1"
    for name, value in values.items():
        path = path.replace(name, value)
    assert "{" not in path, path
    return path


def test_every_route_declares_its_role(app: FastAPI) -> None:
    every = routes(app)
    assert len(every) > 80
    assert [one for one in every if one[2] is None] == []


def test_a_route_without_a_role_would_be_found(made: Path, tmp_path: Path) -> None:
    with served(copied(made, tmp_path)) as app:
        app.get("/forgotten")(lambda: "in")
        assert [path for _, path, role in routes(app) if role is None] == ["/forgotten"]


def test_every_page_has_its_sisters(app: FastAPI) -> None:
    there = {(method, path): role for method, path, role in routes(app)}
    for page in PAGES:
        stem = page.path.rstrip("/")
        sisters = (page.path, f"{stem}/table/{{part_name}}.csv", f"{stem}/figure/{{part_name}}.svg",
                   f"/api{stem or '/'}")  # fmt: skip
        assert {path: there.get(("GET", path)) for path in sisters} == dict.fromkeys(sisters, page.role)


def test_only_coming_in_and_going_is_open_to_anyone(app: FastAPI) -> None:
    assert {path for method, path, role in routes(app) if method != "GET" and role is Role.ANYONE} == OPEN
    seen = {path for method, path, role in routes(app) if method == "GET" and role is Role.ANYONE}
    assert seen == {"/sign-in", "/join/{token}", "/favicon.ico", "/inks.css", "/health"}
    assert {method for method, _, _ in routes(app)} == {"GET", "POST"}


def test_without_a_session_nothing_is_shown(app: FastAPI) -> None:
    stranger = client(app)
    for method, path, role in routes(app):
        if role is Role.ANYONE:
            continue
        address = filled(app, path)
        answer = stranger.request(method, address)
        if method == "GET" and not path.startswith(("/api", "/openapi")):
            assert (answer.status_code, answer.text) == (303, ""), address
            assert answer.headers["location"] == f"/sign-in?then={quote(address, safe='/')}"
        else:
            assert answer.status_code == 401, address
            assert "nobody is signed in" in answer.text
            assert "TM20" not in answer.text


def test_who_only_reads_does_nothing(app: FastAPI) -> None:
    reader = client(app, "D. Ash")
    posts = [(path, role) for method, path, role in routes(app) if method == "POST" and role is not Role.ANYONE]
    assert len(posts) > 12
    for path, role in posts:
        answer = reader.post(filled(app, path))
        if path == "/waiting/{number}/take-back":  # what one asked for oneself, whatever one holds now
            assert answer.status_code == 404, answer.text
            continue
        assert answer.status_code == 403, path
        assert str(role.value if role else "") in answer.text
    assert reader.get("/people").status_code == reader.get("/api/people").status_code == 403


def test_who_only_signs_does_not_read(app: FastAPI) -> None:
    signer = client(app, "B. Reed")
    for method, path, role in routes(app):
        if method == "GET" and role is Role.READ:
            assert signer.get(filled(app, path)).status_code == 403, path


# ---- nonsense


SOME = ("F01", "F01@0-1m", "P001", "P001@0-3", "series TM20@AA0000001-AA0000100", "TM20", "AA0000101", "press:good",
        "A. Moss", "D. Ash", "read", "sign", "a reason", "film.rolls", "film.rolls:0-1000", "film", "1", "0", "#3",
        '{"kind":"mark"}', '{"kind": "mark", "why": "\\ud800", "x": NaN}', "2026-03-02", "", "\x00", "\ud7ff",
        "accounts", "entries", "order", "strips")  # fmt: skip


def asked_of(app: FastAPI, case: Any, data: Any) -> None:
    """Where a case names something, often the name of something that is there: or nothing but the first line runs."""
    parts = [case.path_parameters or {}, case.query or {}, *([case.body] if isinstance(case.body, dict) else [])]
    for part in parts:
        for name, value in part.items():
            if name == "order" and data.draw(st.integers(0, 9)):
                part[name] = base(app)[8:]
            elif data.draw(st.booleans()) and isinstance(value, str | list):
                known = data.draw(st.sampled_from([one for one in SOME if one or part is not case.path_parameters]))
                part[name] = (
                    [known]
                    if isinstance(value, list)
                    else quote(known, safe="")
                    if part is case.path_parameters
                    else known
                )


def no_500(app: FastAPI, method: str, examples: int, only: str = "/") -> int:
    """Ask every operation in that method what its schema allows, and what it forbids; how often was asked."""
    schema = schemathesis.openapi.from_dict(app.openapi())
    schema.app = app
    asker, asked = client(app, "A. Moss"), 0
    token = asker.cookies["reelmark"]

    def answer(case: Any) -> Any:
        nonlocal asked, token
        kept = case.as_transport_kwargs(base_url="http://testserver")
        kept.pop("cookies", None)
        if isinstance(kept.get("data"), bytes):
            kept["content"] = kept.pop("data")
        asker.cookies.clear()
        asker.cookies.set("reelmark", token)
        asked += 1
        got = asker.request(**kept)
        if method == "POST" and asker.get("/openapi.json").status_code != 200:  # it ended its own session, as it may
            people = house_of(app).people
            if not people.keepers():
                people.join(people.invite(EVERYBODY["A. Moss"], None, datetime.now(UTC)), "A. Moss II", "x",
                            datetime.now(UTC))  # fmt: skip
            token = people.begin(people.keepers()[0], datetime.now(UTC))
        return got

    for found in schema.get_all_operations():
        assert isinstance(found, Ok), found
        one = found.ok()
        if (
            one.method.upper() != method or one.path == "/live" or not one.path.startswith(only)
        ):  # a stream has no end: test_sign has it
            continue
        for mode in GenerationMode:
            for_one(app, one, mode, examples, answer)
    return asked


def for_one(app: FastAPI, one: Any, mode: GenerationMode, examples: int, answer: Any) -> None:
    @settings(max_examples=examples, database=None, deadline=None, derandomize=True, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(one.as_strategy(generation_mode=mode), st.data())
    def asks(case: Any, data: Any) -> None:
        asked_of(app, case, data)
        got = answer(case)
        assert got.status_code < 500, (one.label, case.path_parameters, case.query, case.body, got.text)

    with suppress(Unsatisfiable) if mode is GenerationMode.NEGATIVE else nullcontext():  # where nothing can be wrong
        asks()


def test_no_question_ends_in_a_500(app: FastAPI) -> None:
    assert no_500(app, "GET", 5) > 500


def test_a_500_would_be_found(made: Path, tmp_path: Path) -> None:
    with served(copied(made, tmp_path)) as app:
        app.get("/half/{of}")(lambda of: 1 // (len(of) % 2))
        with pytest.raises(AssertionError, match="GET /half"):
            no_500(app, "GET", 50, "/half")


def test_no_act_ends_in_a_500(made: Path, tmp_path: Path) -> None:
    with served(copied(made, tmp_path)) as app:
        assert no_500(app, "POST", 10) > 200


HARD = (
    ("/correct", {"seq": "3", "why": "try", "record": '{"kind": "mark", "fault": "\\ud800"}'}, 422),
    ("/correct", {"seq": "3", "why": "try", "record": '{"kind": "move", "start": NaN}'}, 422),
    ("/correct", {"seq": "3", "why": "try", "record": "[" * 9_999}, 422),
    ("/correct", {"seq": str(2**70), "why": "try"}, 422),
    ("/hold", {"of": "F01@0-1m", "why": "a\x00b"}, 422),
    ("/hold", {"of": "F01@0-1m", "why": " \t  "}, 422),
    ("/mark", {"of": "F01@0-1m", "fault": "   "}, 422),
    ("/mark", {"of": "F01@0-1m", "fault": "a\nb"}, 422),
    ("/allocate", {"series": "TM20", "first": "aa 10", "last": "\ud7ff", "why": "next"}, 422),
)


@pytest.mark.parametrize(("path", "body", "code"), HARD)
def test_what_cannot_be_written_is_told_to_who_writes(
    app: FastAPI, browser: TestClient, path: str, body: dict[str, str], code: int
) -> None:
    before = house_of(app).lives[base(app)[8:]].now.reading.size
    answer = browser.post(base(app) + path, data=body, headers={"Accept": MACHINES})
    assert answer.status_code == code, answer.text
    assert answer.json().keys() == {"asked", "true", "cure"}
    assert house_of(app).lives[base(app)[8:]].now.reading.size == before


@pytest.mark.parametrize("number", ["0", "-1", str(2**63), str(2**200)])
def test_a_number_that_nothing_waits_under(browser: TestClient, number: str) -> None:
    for act in ("confirm", "refuse", "take-back"):
        assert browser.post(f"/waiting/{number}/{act}", data={"why": "for nothing"}).status_code in {404, 422}


# ---- every page


def looks(app: FastAPI) -> dict[str, list[str]]:
    """Addresses of each page, each with something on it."""
    at, of = base(app), quote("F01@3-4m", safe="")
    order = {
        "": ["", f"?of={of}", f"?of={of}&open=press&fit=1", "?of=F01%3B%20P001%400-3"],
        "/list": [f"?of={of}", "?of=series%20TM20%40AA0000001-AA0000100"],
        "/books": ["", "?at=9", "?at=0"],
        "/account": ["?account=packed%3Agood", "?account=press%3Agood&at=200"],
        "/journal": ["", "?start=0", "?kind=mark", "?machine=office"],
        "/film": ["", "?gauge=75&width=2.8&speed=25&sweep=draw_across&sweep_from=5&sweep_to=12"],
        "/windows": ["", "?kind=missing&mark=1&offset=0.3", "?reading=F01&core_m=2&column=4"],
        "/plan": [""],
        "/plan/compare": [""],
        "/numbering": ["", "?first=AA0000001&notes=4500&blocks=2&reversals=1", f"?unit={imprinted(app)}"],
        "/intake": [""],
        "/number/{number}": ["AA0000001", "AA0000777", "aa 000.1001", "AA9999999"],
        "/unit": ["?name=F01", "?name=P001", "?series=TM20&pack=AA0000001", "?series=TM20&pack=AA0000001&notes=1000"],
        "/entry/{seq}": ["0", "1", str(house_of(app).lives[at[8:]].now.reading.size - 1)],
    }
    found = {f"/orders/{{order}}{path}": [at + path.partition("{")[0] + one for one in some]
             for path, some in order.items()}  # fmt: skip
    whole = {"/": [""], "/found": ["?what=F0", "?what=thick%20band"], "/waiting": [""], "/way": [""], "/people": [""],
             "/calls": [""]}  # fmt: skip
    return found | {path: [path + one for one in some] for path, some in whole.items()}


def imprinted(app: FastAPI) -> str:
    return quote(next(iter(house_of(app).lives[base(app)[8:]].now.reading.thread.imprints)), safe="")


def every_look(app: FastAPI) -> list[str]:
    return [one for some in looks(app).values() for one in some]


def parts(address: str) -> tuple[str, str]:
    """Path and query, as they are asked of its sisters."""
    path, _, query = address.partition("?")
    return path.rstrip("/"), f"?{query}" if query else ""


def sealed(live: Live, size: int) -> dict[str, Any]:
    """The checkpoint over the first entries alone, as the command line gives it."""
    with Desk(live.folder) as desk:
        return desk.checkpoint(None if size == desk.store.size else size)


def test_the_list_of_looks_holds_every_page(app: FastAPI) -> None:
    assert set(looks(app)) == {page.path for page in PAGES}


def test_every_page_of_an_order_names_its_position_and_its_zone(app: FastAPI, browser: TestClient) -> None:
    live = house_of(app).lives[base(app)[8:]]
    for address in every_look(app):
        answer = browser.get(address)
        assert answer.status_code == 200, (address, answer.text)
        foot = answer.text.partition("<footer>")[2]
        if address.startswith("/orders"):
            size = int(re.search(r"\?(?:.*&)?at=(\d+)", address)[1]) if "at=" in address else live.now.reading.size  # type: ignore[index]
            seal = sealed(live, size)
            assert f"As of {size:,} entries" in foot
            assert (seal["root"][:16] or "entries. Times") in foot
            path, query = parts(address)
            assert browser.get(f"/api{path}{query}").json()["checkpoint"] == seal
            assert f"Times in {live.works.zone}" in foot


def test_every_table_is_the_same_as_page_as_csv_and_as_json(app: FastAPI, browser: TestClient) -> None:
    tables = 0
    for address in every_look(app):
        path, query = parts(address)
        told = browser.get(f"/api{path or '/'}{query}").json()
        for name, table in told["tables"].items():
            answer = browser.get(f"{path}/table/{name}.csv{query}")
            assert answer.status_code == 200, (address, name)
            assert answer.headers["content-disposition"] == f'attachment; filename="{name}.csv"'
            heads, *rows = csv.reader(io.StringIO(answer.text))
            assert len(rows) == len(table["rows"]), (address, name)
            assert len(set(heads)) == len(heads), (address, name, heads)
            assert {len(row) for row in rows} <= {len(heads)}
            assert all(len(row) == len(heads) for row in table["rows"]), (address, name)  # no two under one title
            tables += bool(rows)
    assert tables > 60


def test_every_table_on_a_page_leads_to_its_csv(app: FastAPI, browser: TestClient) -> None:
    for address in every_look(app):
        text = browser.get(address).text
        for section in re.findall(r'<section class="table".*?</section>', text, re.S):
            links = re.findall(r'<a href="([^"]+\.csv[^"]*)" download', section)
            if 'class="empty"' in section:
                assert "<table>" not in section
                assert len(re.search(r'class="empty">([^<]*)', section)[1]) > 3, address  # type: ignore[index]
            else:
                assert len(links) == 1, (address, section[:200])
                assert browser.get(unescape(links[0])).status_code == 200, links


def test_every_figure_is_an_svg_of_its_own(app: FastAPI, browser: TestClient) -> None:
    many = 0
    for address in every_look(app):
        text = browser.get(address).text
        for link in set(re.findall(r'<a href="([^"]+/figure/[^"]+)"', text)):
            answer = browser.get(unescape(link))
            assert answer.status_code == 200, link
            assert answer.headers["content-type"] == "image/svg+xml"
            assert ET.fromstring(answer.text).tag == "{http://www.w3.org/2000/svg}svg"
            many += 1
    assert many > 20


def shape(link: str) -> tuple[str, tuple[str, ...]]:
    """What two links of the same sort share."""
    there = urlsplit(link)
    path = re.sub(r"(?<=/number/)[^/]+|(?<=/entry/)\d+", "_", there.path)
    return path, tuple(sorted({one.partition("=")[0] for one in there.query.split("&")}))


def links_of(text: str) -> list[str]:
    return [unescape(link) for link in re.findall(r'<a (?:[^>]*? )?href="([^"]+)"', text)]


def followed(app: FastAPI, pages: list[str], browser: TestClient, each: int) -> dict[Any, int]:
    """Every sort of link on those pages is followed, some of each: none is dead."""
    tried: dict[Any, int] = {}
    for address in pages:
        answer = browser.get(address)
        assert answer.status_code == 200, address
        for link in set(links_of(answer.text)):
            sort = (urlsplit(address).path, shape(link))
            if link.startswith("#") or tried.get(sort, 0) >= each:
                continue
            tried[sort] = tried.get(sort, 0) + 1
            assert link.startswith("/"), link
            got = browser.get(link)
            assert got.status_code in {200, 303}, (address, link, got.text)
    return tried


def test_every_sort_of_link_leads_somewhere(app: FastAPI, browser: TestClient) -> None:
    assert len(followed(app, every_look(app), browser, 2)) > 100


# ---- a works with nothing in it


NEXT = re.compile(r"take in|make |send |allocate|choose|read a few|invite|ask|type|count|nothing|no |none|holds", re.I)


@pytest.fixture(scope="module")
def new(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """A works as `reelmark new` makes it."""
    at = tmp_path_factory.mktemp("new") / "works"
    Desk.create(at).store.close()
    with served(at) as app:
        yield app


def test_every_page_of_a_new_works_is_there(new: FastAPI) -> None:
    browser, at = client(new, "A. Moss"), base(new)
    for path in ("", "/books", "/journal", "/numbering", "/intake", "/number/AA0000001", "/books?at=0"):
        for address in (at + path, f"/api{at}{path}"):
            answer = browser.get(address)
            assert answer.status_code == 200, (address, answer.text)
    for path in ("/", "/waiting", "/way", "/people", "/calls"):
        assert browser.get(path).status_code == 200
    for address in ("/find?what=F01", "/found?what=F01", f"{at}/list?of=F01", f"{at}?of=F01", f"{at}/entry/0",
                    f"{at}/unit?name=F01", f"{at}/account?account=press:good", f"{at}/track/film.rolls"):  # fmt: skip
        assert browser.get(address).status_code in {404, 422}, address


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("", "Take in the shop's records at"),
        ("/books", "No entry yet: take in the records of a shift."),
        ("/journal", "take in the records of a shift"),
        ("/numbering", "before the first run"),
        ("/intake", "Nothing was sent in since"),
    ],
)
def test_a_new_works_says_what_to_do_next(new: FastAPI, path: str, words: str) -> None:
    text = client(new, "A. Moss").get(base(new) + path).text
    assert words in text
    for section in re.findall(r'class="empty">([^<]*)', text):
        assert NEXT.search(section), section


def test_the_first_records_can_be_taken_in_from_a_new_works(made: Path, tmp_path: Path) -> None:
    order, plant = ((made / name).read_text(encoding="utf-8") for name in ("order.toml", "works.toml"))
    Desk.create(tmp_path / "works", order, plant).store.close()
    with served(tmp_path / "works") as app:
        browser, at = client(app, "A. Moss"), base(app)
        shift = sorted((made.parent / "records").glob("*.jsonl"))[0]
        for name, bytes_, fate in (
            ("empty.jsonl", b"", "no record in it"), ("binary.jsonl", bytes(range(256)) * 40, "null byte"),
            ("shift.jsonl", shift.read_bytes(), "taken whole"), ("again.jsonl", shift.read_bytes(), "nothing new"),
        ):  # fmt: skip
            answer = browser.post(f"{at}/intake", files={"files": (name, bytes_)})
            assert answer.status_code == 303, answer.text
            text = until_ended(browser, answer.headers["location"])
            assert fate in text, (name, re.sub(r"<[^>]+>", " ", text))
        assert browser.post(f"{at}/intake", files={"files": ("records.exe", b"x")}).status_code == 422
        assert browser.post(f"{at}/intake").status_code == 422
        assert len(shift.read_text().splitlines()) == house_of(app).lives[at[8:]].now.reading.size


def until_ended(browser: TestClient, address: str) -> str:
    """The page of a sending once it is over."""
    for _ in range(500):
        text: str = browser.get(address).text
        if 'class="jobs"' not in text:
            return text
        time.sleep(0.02)
    raise AssertionError("the intake did not end in 10 s")


# ---- times


ZONES = {"+05:30": timedelta(hours=5, minutes=30), "America/St_Johns": None, "Etc/UTC": timedelta(0)}


@pytest.mark.parametrize("zone", ZONES)
def test_times_stand_in_the_works_own_zone(made: Path, tmp_path: Path, zone: str) -> None:
    works = copied(made, tmp_path)
    plant = (works / "works.toml").read_text(encoding="utf-8")
    (works / "works.toml").write_text(re.sub(r'(?m)^zone = "[^"]*"', f'zone = "{zone}"', plant), encoding="utf-8")
    with served(works) as app:
        browser, at = client(app, "A. Moss"), base(app)
        first = json.loads(house_of(app).lives[at[8:]].now.bodies[0])["at"]
        ahead = ZONES[zone] if ZONES[zone] is not None else timedelta(hours=-3, minutes=-30)  # 2 March: no summer time
        there = datetime.fromisoformat(first).astimezone(UTC) + (ahead or timedelta())
        for path in ("/journal?start=0", "/number/AA0000001", "/unit?name=F01", "/account?account=packed%3Agood"):
            text = browser.get(at + path).text
            assert f"Times in {zone}" in text
            named = "NST" if zone == "America/St_Johns" else "UTC"
            assert re.search(rf"\d{{4}}-\d\d-\d\d \d\d:\d\d {named}", text), path
        assert f"{there:%Y-%m-%d %H:%M}" in browser.get(f"{at}/journal?start=0").text
        assert f"{there:%Y-%m-%d %H:%M}" in browser.get(f"{at}/entry/0").text


# ---- from outside


HEADS = {"x-content-type-options": "nosniff", "referrer-policy": "same-origin", "cache-control": "no-store"}


def test_every_answer_has_the_heads_that_keep_a_browser_from_harm(made: Path, tmp_path: Path) -> None:
    with served(copied(made, tmp_path)) as app:

        def broken() -> None:
            raise ZeroDivisionError

        app.get("/broken", dependencies=[])(broken)
        browser, stranger, at = client(app, "A. Moss"), client(app), base(app)
        answers = {
            200: browser.get(at), 303: stranger.get(at), 401: stranger.post(f"{at}/hold"),
            403: browser.post(f"{at}/hold", headers={"Sec-Fetch-Site": "cross-site"}), 404: browser.get("/nothing"),
            405: browser.get(f"{at}/hold"), 422: browser.get(f"{at}/entry/x"), 500: browser.get("/broken"),
            400: browser.get(at, headers={"Host": "elsewhere.example"}),
        }  # fmt: skip
        answers |= {204: browser.get("/api/orders/none"), 205: browser.get(f"{at}/figure/strips.svg")}
        for code, answer in answers.items():
            assert answer.status_code == {204: 404, 205: 200}.get(code, code), answer.text
            assert {name: answer.headers.get(name) for name in HEADS} == HEADS, code
            assert "frame-ancestors 'none'" in answer.headers["content-security-policy"], code
            assert "script" not in answer.headers["content-security-policy"]


def test_what_brings_too_much_is_told_so(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("reelmark.web.guard.MOST", 100_000)
    with served(copied(made, tmp_path)) as app:
        browser, at = client(app, "A. Moss"), f"{base(app)}/intake"
        whole = browser.post(at, files={"files": ("a.jsonl", b"x" * 100_001)})
        assert "100,000 are taken at a time" in whole.text
        head = b'--x\r\nContent-Disposition: form-data; name="files"; filename="a.jsonl"\r\n\r\n'
        heads = {"Content-Type": "multipart/form-data; boundary=x"}
        piece_by_piece = browser.post(at, content=iter([head, *[b"x" * 1_000] * 200]), headers=heads)
        for answer in (whole, piece_by_piece):
            assert answer.status_code == 413
            assert {name: answer.headers.get(name) for name in HEADS} == HEADS


def test_two_works_with_one_order_are_not_served_as_one(made: Path, tmp_path: Path) -> None:
    one, two = (copied(made, tmp_path / name) for name in ("one", "two"))
    with pytest.raises(Clash, match="has the order TM-20-1 already"), served(one, two):
        pass


def test_an_answer_holds_to_one_position_while_entries_come(made: Path, tmp_path: Path) -> None:
    with served(copied(made, tmp_path)) as app:
        browser, live = client(app, "A. Moss"), house_of(app).lives[base(app)[8:]]
        build = next(page.build for page in PAGES if page.title == "Books")
        size, roll = live.now.reading.size, {"kind": "roll", "unit": "F90", "length": "9 m", "lanes": 4}

        def slow(asked: AskedNow) -> Content:
            content = build(asked)
            live.write(lambda desk: desk.post([roll], "office", "A. Moss", None, "2026-04-01T08:00:00Z")).result()
            return content

        add(app, Page("/orders/{order}/slow", "Slow", slow))
        text = browser.get(f"{base(app)}/slow").text
        assert live.now.reading.size == size + 1
        assert f"As of {size:,} entries the books" in text
        assert f"As of {size:,} entries, root" in text.partition("<footer>")[2]


def test_what_a_person_writes_is_given_up_when_the_server_stops(made: Path, tmp_path: Path) -> None:
    with served(copied(made, tmp_path)) as app:
        live = house_of(app).lives[base(app)[8:]]
        size, roll = live.now.reading.size, {"kind": "roll", "unit": "F90", "length": "9 m", "lanes": 4}
        house_of(app).stop()
        with pytest.raises(Problem, match="nothing was written"):
            live.write(lambda desk: desk.post([roll], "office", "A. Moss", None, "2026-04-01T08:00:00Z")).result()
    with Desk(live.folder) as desk:
        assert desk.store.size == size


def test_a_stopped_server_has_closed_its_files(made: Path, tmp_path: Path) -> None:
    works = copied(made, tmp_path)
    server = Server(works)
    try:
        assert {one.name for one in works.glob("*-wal")} == {"journal.db-wal", "people.db-wal"}
    finally:
        took = server.stop()
        assert server.process.stdout is not None
        server.process.stdout.close()
    assert took < 3
    assert server.process.returncode == 0
    assert list(works.glob("*-wal")) == []  # or a copy of the .db files alone would lack what was written last


def test_a_failure_tells_nothing_of_the_inside(made: Path, tmp_path: Path) -> None:
    with served(copied(made, tmp_path)) as app:

        def broken() -> None:
            raise RuntimeError("key at /etc/reelmark/key")

        app.get("/broken")(broken)
        text = client(app).get("/broken").text
        assert "RuntimeError" in text
        assert "/etc/reelmark" not in text
        assert "Traceback" not in text


@pytest.mark.parametrize(
    "then", ["//evil.example", "/\\evil.example", "https://evil.example", "/%0d%0aSet-Cookie:x=1", "\t//evil.example"]
)
def test_nobody_is_sent_elsewhere_after_signing_in(app: FastAPI, then: str) -> None:
    answer = client(app).post("/sign-in", data={"name": "D. Ash", "passphrase": WORDS, "then": then})
    where = urlsplit(answer.headers["location"])
    assert (answer.status_code, where.scheme, where.netloc) == (303, "", "")
    assert not where.path.startswith("//")
    assert len(answer.headers.get_list("set-cookie")) == 1


@pytest.mark.parametrize("name", ["../../key", "accounts%0d%0aX: y", "accounts%22; x", "%2e%2e%2fkey", "a" * 5000])
def test_no_name_of_a_file_reaches_the_heads_or_the_disk(app: FastAPI, browser: TestClient, name: str) -> None:
    for kind, ending in (("table", "csv"), ("figure", "svg")):
        answer = browser.get(f"{base(app)}/books/{kind}/{name}.{ending}")
        assert answer.status_code in {404, 422}
        assert "content-disposition" not in answer.headers
        assert "x" not in answer.headers
    assert browser.get(f"/static/{name}").status_code in {404, 405}
    assert browser.get("/static/../server.py").status_code == 404


def test_a_question_too_large_is_refused_at_once(app: FastAPI, browser: TestClient) -> None:
    at, began = base(app), time.monotonic()
    for query in ("?of=" + "F01;" * 10_000, "?" + "of=F01&" * 3_000, "?view=" + "x" * 50_000, "?wide=" + "9" * 9_000,
                  "?of=" + quote("series TM20@" + "A" * 3_900 + "-")):  # fmt: skip
        assert browser.get(at + query).status_code in {404, 422}, query[:40]
        assert browser.get(f"{at}/follow{query}").status_code in {404, 422}, query[:40]
    assert browser.get("/find", params={"what": "9" * 60_000}).status_code == 422
    assert time.monotonic() - began < 5


def test_all_of_everything_is_answered_in_seconds(app: FastAPI, browser: TestClient) -> None:
    at, thread = base(app), house_of(app).lives[base(app)[8:]].now.reading.thread
    for of in (list(thread.maker)[:64], ["series TM20"], ["F01"] * 64):
        for page in (at, f"{at}/list", f"{at}/follow", f"/api{at}", f"{at}/figure/strips.svg"):
            began = time.monotonic()
            answer = browser.get(page, params={"of": of})
            assert answer.status_code == 200, (page, answer.text[:500])
            assert time.monotonic() - began < 5, page


# ---- words that mean something to a browser


def odd_looks(app: FastAPI) -> list[str]:
    at, size = base(app), house_of(app).lives[base(app)[8:]].now.reading.size
    unit = quote(ODD, safe="")
    return [
        at, f"{at}?of={unit}", f"{at}?of={unit}%401-5m%401,2", f"{at}/list?of={unit}", f"{at}/unit?name={unit}",
        f"{at}/journal", f"{at}/books", *(f"{at}/entry/{size - n}" for n in (1, 2, 3)), f"{at}/number/AA0000101",
        f"{at}/unit?series=TM20&pack=AA0000101", f"/found?what={quote(BAD, safe='')}", f"/found?what={quote(ODD[:4])}",
        f"{at}/account?account=packed%3Aheld",
    ]  # fmt: skip


def test_what_was_written_on_the_shop_floor_is_never_run(odd: FastAPI) -> None:
    browser, shown = client(odd, "A. Moss"), 0
    for address in odd_looks(odd):
        answer = browser.get(address)
        if answer.status_code == 303:
            continue
        assert answer.status_code == 200, (address, answer.text)
        assert "<script>alert" not in answer.text, address
        shown += "&lt;script&gt;alert(1)" in answer.text
    assert shown >= 5
    drawn = browser.get(f"{base(odd)}/figure/strips.svg").text
    assert "<script" not in drawn
    assert BAD in "".join(ET.fromstring(drawn).itertext())
    follow = browser.get(f"{base(odd)}/follow", params={"of": f"{ODD}@1-5m", "fit": "1"}).json()
    assert "<script>alert" not in json.dumps(follow)


def test_links_to_a_unit_with_odd_signs_in_its_name_lead_to_it(odd: FastAPI) -> None:
    browser = client(odd, "A. Moss")
    assert followed(odd, odd_looks(odd), browser, 3)
    for address in odd_looks(odd):
        for link in links_of(browser.get(address).text):
            if "/unit?name=A" in link:
                assert f"Roll {ODD}" in browser.get(link).text, link


def test_a_search_may_be_anything(odd: FastAPI) -> None:
    browser = client(odd, "A. Moss")
    sought = browser.get("/find", params={"what": ODD})
    assert (sought.status_code, sought.headers["location"]) == (303, f"{base(odd)}/unit?name={quote(ODD, safe='')}")
    for what in (BAD, '"><img src=x onerror=1>', "{{7*7}}", "\x00", "'; DROP TABLE entry; --"):
        answer = browser.get("/find", params={"what": what})
        assert answer.status_code in {303, 404}
        assert "<img" not in answer.text
        assert "<script>alert" not in answer.text
        assert "49" not in answer.text.partition("<main")[2].partition("type a number")[0]

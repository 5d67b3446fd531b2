"""Signing in, what a role opens, where an act may come from, and that two persons stand behind what needs two."""

import asyncio
import re
from collections.abc import AsyncIterator, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Barrier
from typing import Annotated, Any

import pytest
from argon2 import PasswordHasher
from fastapi import Body, Depends, FastAPI
from fastapi.responses import HTMLResponse, Response, StreamingResponse
from fastapi.testclient import TestClient

from reelmark.desk import Desk
from reelmark.io.people import People
from reelmark.web import faults, guard, sign, waiting
from reelmark.web.content import Content
from reelmark.web.house import House
from reelmark.web.page import AskedNow, Page, add
from reelmark.web.pages import people as people_page
from reelmark.web.pages import waiting as waiting_page
from reelmark.web.passphrase import Passphrases
from reelmark.web.roles import Role
from reelmark.web.sign import Needs, first_link
from reelmark.web.tries import FREE, Tries

CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
WORDS = "four words nobody guesses"
PAGE = {"Accept": "text/html", "Sec-Fetch-Mode": "navigate"}
ROLES = {  # A. Moss keeps people and may do all; the others what their trade needs
    "A. Moss": ["read", "write", "sign", "keep"], "B. Reed": ["read", "sign"], "C. Fern": ["read", "write"],
    "D. Ash": ["read"], "E. Elm": ["read", "sign"],
}  # fmt: skip
ALLOCATE = {"kind": "allocate", "series": "TM20", "first": "AA0000001", "last": "AA0000100", "purpose": "order"}


@pytest.fixture
def app(tmp_path: Path) -> Iterator[FastAPI]:
    """A small house with one order, and everybody of ROLES."""
    Desk.create(tmp_path / "works").store.close()
    people = People.open(tmp_path / "people.db")
    for name, roles in ROLES.items():
        by = None if name == "A. Moss" else "A. Moss"
        people.join(people.invite(roles, by, datetime.now(UTC)), name, CHEAP.hash(WORDS), datetime.now(UTC))
    house = House([tmp_path / "works"], people)
    yield made(house)
    house.close()


def made(house: House) -> FastAPI:
    """The application, with routes of its own to try things on."""
    app = FastAPI(openapi_url=None)
    app.state.house, app.state.passphrases = house, Passphrases(CHEAP)
    for page in (waiting_page.PAGE, people_page.PAGE):
        add(app, page)
    for router in (sign.router, waiting.router, people_page.router):
        app.include_router(router)
    own_routes(app)
    guard.stand_before(app, ["testserver"])
    for kind, handler in faults.HANDLERS.items():
        app.add_exception_handler(kind, handler)
    return app


def own_routes(app: FastAPI) -> None:
    for role in Role:
        app.get(f"/for/{role.name}", dependencies=[Depends(Needs(role))])(lambda: "in")

    @app.post("/orders/{order}/ask", dependencies=[Depends(Needs(Role.READ))])
    def ask(asked: AskedNow, bodies: Annotated[list[dict[str, Any]], Body()]) -> int:
        return waiting.propose(asked, "allocation", "allocate 100 numbers", bodies, "as ordered")

    @app.get("/who", dependencies=[Depends(Needs(Role.ANYONE))])
    def who(asked: AskedNow) -> str | None:
        return asked.who.name if asked.who else None

    @app.get("/static/mark.svg", dependencies=[Depends(Needs(Role.ANYONE))])
    def picture() -> Response:
        return Response("<svg/>", media_type="image/svg+xml")

    @app.get("/words", dependencies=[Depends(Needs(Role.ANYONE))], response_class=HTMLResponse)
    def words() -> str:
        return "<p>words"


def client(app: FastAPI, name: str | None = None) -> TestClient:
    """A browser, in which that person has signed in."""
    browser = TestClient(app, follow_redirects=False, headers={"Origin": "http://testserver"})
    if name:
        answer = browser.post("/sign-in", data={"name": name, "passphrase": WORDS})
        assert answer.status_code == 303, answer.text
    return browser


def whose(app: FastAPI, token: str) -> str | None:
    """Who that token lets in."""
    name: str | None = client(app).get("/who", headers={"Cookie": f"reelmark={token}"}).json()
    return name


def house_of(app: FastAPI) -> House:
    house: House = app.state.house
    return house


def order(app: FastAPI) -> str:
    return next(iter(house_of(app).lives))


def ask(app: FastAPI, name: str = "C. Fern", body: dict[str, Any] = ALLOCATE) -> int:
    """What that person proposes; its number."""
    answer = client(app, name).post(f"/orders/{order(app)}/ask", json=[body])
    assert answer.status_code == 200, answer.text
    return int(answer.json())


# ---- signing in


def test_sign_in_and_out(app: FastAPI):
    browser = client(app)
    answer = browser.post("/sign-in", data={"name": " a.  MOSS ", "passphrase": WORDS, "then": "/waiting?at=3"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/waiting?at=3")
    cookie = answer.headers["set-cookie"].lower()
    assert cookie.startswith("reelmark=")
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert "secure" not in cookie
    assert browser.get("/who").json() == "A. Moss"
    token = browser.cookies["reelmark"]
    assert whose(app, token) == "A. Moss"
    assert browser.post("/sign-out").headers["location"] == "/sign-in"
    assert whose(app, token) is None


def test_cookie_is_secure_over_https(app: FastAPI):
    browser = TestClient(app, base_url="https://testserver", follow_redirects=False)
    answer = browser.post("/sign-in", data={"name": "A. Moss", "passphrase": WORDS})
    assert "secure" in answer.headers["set-cookie"].lower()


def test_signing_in_again_ends_the_old_session(app: FastAPI):
    browser = client(app, "A. Moss")
    old = browser.cookies["reelmark"]
    browser.post("/sign-in", data={"name": "B. Reed", "passphrase": WORDS})
    assert browser.cookies["reelmark"] != old
    assert browser.get("/who").json() == "B. Reed"
    assert whose(app, old) is None


@pytest.mark.parametrize(("name", "typed"), [
    ("A. Moss", "wrong words, these"), ("Nobody", WORDS), ("D. Ash", WORDS),
])  # fmt: skip
def test_a_wrong_pair_says_the_same(app: FastAPI, name: str, typed: str):
    house_of(app).people.retire("D. Ash", "A. Moss", datetime.now(UTC))
    answer = client(app).post("/sign-in", data={"name": name, "passphrase": typed}, headers=PAGE)
    assert answer.status_code == 401
    assert "name and passphrase do not belong together" in answer.text
    assert "set-cookie" not in answer.headers
    assert typed not in answer.text


def test_an_unknown_name_takes_as_long(app: FastAPI):
    seen: list[str] = []

    class Watched(PasswordHasher):
        def verify(self, hash: str | bytes, password: str | bytes) -> Any:
            seen.append(str(hash))
            return super().verify(hash, password)

    app.state.passphrases = kept = Passphrases(Watched(time_cost=1, memory_cost=8, parallelism=1))
    for name in ("A. Moss", "Nobody"):
        client(app).post("/sign-in", data={"name": name, "passphrase": "wrong words, these"})
    assert [one.split("$")[3] for one in seen] == ["m=8,t=1,p=1"] * 2
    assert not kept.right(None, "nobody has this passphrase")  # even the words behind that hash do not open


def test_other_parameters_hash_anew(app: FastAPI):
    app.state.passphrases = Passphrases(PasswordHasher(time_cost=2, memory_cost=8, parallelism=1))
    client(app, "A. Moss")
    known = house_of(app).people.person("A. Moss")
    assert known is not None
    assert "t=2" in known.hash
    client(app, "A. Moss")


def test_too_many_failures_wait(app: FastAPI):
    browser, bad = client(app), {"name": "A. Moss", "passphrase": "wrong words, these"}
    assert [browser.post("/sign-in", data=bad).status_code for _ in range(FREE["name"])] == [401] * FREE["name"]
    answer = browser.post("/sign-in", data={"name": "a. moss", "passphrase": WORDS}, headers=PAGE)
    assert answer.status_code == 429
    assert re.search(r"wait \d+ seconds", answer.text)
    assert int(answer.headers["retry-after"]) <= 10
    client(app, "B. Reed")  # others come in as before


def test_waits_grow_and_end():
    now = [0.0]
    tries, name, here = Tries(lambda: now[0]), ("name", "a. moss"), ("address", "10.0.0.7")
    waits = []
    for _ in range(FREE["name"] + 8):
        wait = tries.begin(name, here)
        waits.append(wait)
        now[0] += wait
        assert tries.begin(name, here) == 0 or not wait
    grown = [wait for wait in waits if wait]
    assert grown[:4] == [10, 20, 40, 80]
    assert max(grown) <= 900
    now[0] += 4000
    assert tries.begin(name, here) == 0


def test_an_address_waits_too_and_a_success_does_not_clear_it():
    tries, here = Tries(lambda: 0.0), ("address", "10.0.0.7")
    for i in range(FREE["address"]):
        assert tries.begin(("name", f"n{i}"), here) == 0
        if i % 2 == 0:
            own = ("name", "own")
            assert tries.begin(own, here) == 0
            tries.held(own, here)
    assert tries.begin(("name", "other"), here) == 10


def test_many_tries_at_once_gain_nothing():
    tries, start, name = Tries(lambda: 0.0), Barrier(16), ("name", "a. moss")

    def once(_: int) -> bool:
        start.wait()
        return tries.begin(name, ("address", "a")) == 0

    with ThreadPoolExecutor(16) as pool:
        assert sum(pool.map(once, range(16))) == FREE["name"]


@pytest.mark.parametrize("then", [
    "//evil.example", "https://evil.example", "/\\evil.example", "\\\\evil.example", "evil.example", "/\t/evil.example",
    "javascript:alert(1)", "/a\\b", "/a\nb", "",
])  # fmt: skip
def test_no_way_out_of_the_house(app: FastAPI, then: str):
    answer = client(app).post("/sign-in", data={"name": "A. Moss", "passphrase": WORDS, "then": then})
    assert answer.headers["location"] == "/"
    again = client(app, "A. Moss").get("/sign-in", params={"then": then})
    assert again.headers["location"] == "/"


# ---- what a role opens


def test_a_page_leads_to_signing_in_and_back(app: FastAPI):
    answer = client(app).get("/waiting?at=3&of=M1 m 5", headers=PAGE)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in?then=/waiting%3Fat%3D3%26of%3DM1%20m%205".replace("%20", "%2520")
    form = client(app).get(answer.headers["location"], headers=PAGE)
    assert 'name="then" value="/waiting?at=3&amp;of=M1%20m%205"' in form.text


@pytest.mark.parametrize(("path", "headers"), [
    ("/api/waiting", PAGE), ("/waiting", {"Accept": "text/html", "Sec-Fetch-Mode": "cors"}),
    ("/waiting", {"Accept": "application/json"}), ("/for/SIGNED_IN", {}),
])  # fmt: skip
def test_machines_and_scripts_are_told(app: FastAPI, path: str, headers: dict[str, str]):
    answer = client(app).get(path, headers=headers)
    assert answer.status_code == 401
    assert "sign in at /sign-in" in answer.text


def test_a_post_without_a_session_is_told(app: FastAPI):
    answer = client(app).post("/waiting/1/confirm", headers=PAGE)
    assert answer.status_code == 401


@pytest.mark.parametrize("name", [None, *ROLES])
def test_roles_open_what_they_say(app: FastAPI, name: str | None):
    browser = client(app, name)
    opened = {role for role in Role if browser.get(f"/for/{role.name}").status_code == 200}
    held = {Role(word) for word in ROLES[name]} | {Role.SIGNED_IN} if name else set()
    assert opened == held | {Role.ANYONE}


def test_what_is_lacking_is_told(app: FastAPI):
    answer = client(app, "D. Ash").get("/people", headers={"Accept": "application/json"})
    assert answer.status_code == 403
    assert answer.json() == {
        "asked": "role = 'keep'", "true": "this needs it, and D. Ash holds read", "cure": "ask A. Moss for it",
    }  # fmt: skip


def test_roles_taken_away_are_gone_at_once(app: FastAPI):
    browser = client(app, "B. Reed")
    assert browser.get("/for/SIGN").status_code == 200
    house_of(app).people.set_roles("B. Reed", ["read"], "A. Moss", datetime.now(UTC))
    assert browser.get("/for/SIGN").status_code == 403


def test_every_route_declares_a_role(app: FastAPI):
    for router in (sign.router, waiting.router, people_page.router):
        for route in router.routes:
            declared = [one.dependency for one in route.dependencies]  # type: ignore[attr-defined]
            assert any(isinstance(one, Needs) for one in declared), route.path  # type: ignore[attr-defined]


def test_nothing_is_worked_out_for_who_may_not_see(app: FastAPI):
    built = []

    def build(asked: AskedNow, many: int) -> Content:
        built.append(many)
        return Content("Secret")

    add(app, Page("/secret", "Secret", build, role=Role.SIGN))
    for browser, status in ((client(app), 401), (client(app, "D. Ash"), 403)):
        assert browser.get("/secret?many=3").status_code == status
        assert browser.get("/secret?many=x").status_code == status
    assert not built
    assert client(app, "B. Reed").get("/secret?many=3").status_code == 200
    assert built == [3]


def test_a_large_body_is_not_read_for_nobody(app: FastAPI):
    def body() -> Iterator[bytes]:
        yield b"name=x&passphrase=" + b"y" * 20_000

    form = {"Content-Type": "application/x-www-form-urlencoded"}
    for content in (b"".join(body()), body()):
        answer = client(app).post("/sign-in", content=content, headers=form)
        assert answer.status_code == 401
        assert "nobody is signed in" in answer.json()["true"]
    large = [{**ALLOCATE, "last": "A" * 20_000}]
    assert client(app, "C. Fern").post(f"/orders/{order(app)}/ask", json=large).status_code == 422


# ---- coming in


def test_first_link(tmp_path: Path):
    people, now = People.open(tmp_path / "people.db"), datetime.now(UTC)
    house = House([], people)
    browser = client(made(house))
    link = first_link(people, "http://testserver/", now)
    assert link is not None
    path = link.removeprefix("http://testserver")
    assert 'autocomplete="new-password"' in browser.get(path, headers=PAGE).text
    answer = browser.post(path, data={"name": "A.  Moss", "passphrase": WORDS, "again": WORDS})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert browser.get("/who").json() == "A. Moss"
    assert first_link(people, "http://testserver", now) is None
    assert client(made(house)).get(path, headers=PAGE).status_code == 404
    house.close()


@pytest.mark.parametrize(("name", "one", "two", "said"), [
    ("F. Oak", WORDS, WORDS + "x", "the two are not the same"),
    ("F. Oak", "short words", "short words", "it has 11 characters"),
    ("F. Oak", "aaaaaaaaaaaaaaa", "aaaaaaaaaaaaaaa", "few characters over and over"),
    ("F. Oak", "f. oak f. oak f. oak", "f. oak f. oak f. oak", "it is your name"),
    ("F. Oak", "y" * 257, "y" * 257, "it has 257 characters"),
    ("a. moss", WORDS, WORDS, "A. Moss is known here already"),
    ("<b>", WORDS, WORDS, "begins with a letter"),
])  # fmt: skip
def test_what_cannot_be_a_name_or_passphrase(app: FastAPI, name: str, one: str, two: str, said: str):
    people = house_of(app).people
    path = f"/join/{people.invite(['read'], 'A. Moss', datetime.now(UTC))}"
    answer = client(app).post(path, data={"name": name, "passphrase": one, "again": two}, headers=PAGE)
    assert answer.status_code == 422
    assert said in answer.text
    assert one not in answer.text
    assert client(app).post(path, data={"name": "F. Oak", "passphrase": WORDS, "again": WORDS}).status_code == 303


def test_keeper_invites_renews_and_retires(app: FastAPI):
    keeper = client(app, "A. Moss")
    shown = keeper.post("/people/invite", data={"role": ["read", "write"]}, headers=PAGE)
    (path,) = re.findall(r"http://testserver(/join/[\w-]+)", shown.text)
    assert path not in keeper.get("/people", headers=PAGE).text
    new = client(app)
    new.post(path, data={"name": "F. Oak", "passphrase": WORDS, "again": WORDS})
    assert new.get("/for/WRITE").status_code == 200
    keeper.post("/people/roles", data={"name": "F. Oak", "role": "read"})
    assert new.get("/for/WRITE").status_code == 403
    keeper.post("/people/end", data={"name": "F. Oak"})
    assert new.get("/who").json() is None
    shown = keeper.post("/people/renew", data={"name": "F. Oak"}, headers=PAGE)
    (path,) = re.findall(r"http://testserver(/join/[\w-]+)", shown.text)
    other = WORDS[::-1]
    assert new.post(path, data={"name": "A. Moss", "passphrase": other, "again": other}).status_code == 303
    assert new.get("/who").json() == "F. Oak"  # whatever name was sent along
    assert keeper.post("/people/retire", data={"name": "F. Oak"}).status_code == 303
    assert new.post("/sign-in", data={"name": "F. Oak", "passphrase": other}).status_code == 401
    last = keeper.post("/people/retire", data={"name": "A. Moss"}, headers=PAGE)
    assert last.status_code == 409
    assert "nobody else keeps the people" in last.text
    assert "F. Oak retired" in keeper.get("/people/table/deeds.csv").text


# ---- where an act may come from


@pytest.mark.parametrize(("headers", "status"), [
    ({"Sec-Fetch-Site": "same-origin"}, 303), ({"Sec-Fetch-Site": "none"}, 303),
    ({"Sec-Fetch-Site": "cross-site"}, 403), ({"Sec-Fetch-Site": "same-site"}, 403),
    ({"Sec-Fetch-Site": "cross-site", "Origin": "http://testserver"}, 403),
    ({"Origin": "http://testserver"}, 303), ({"Origin": "http://TESTSERVER"}, 303),
    ({"Origin": "http://evil.example"}, 403), ({"Origin": "null"}, 403), ({"Origin": "http://testserver:81"}, 403),
    ({"Origin": "http://testserver.evil.example"}, 403), ({}, 303),
    ({"Cookie": "other=1"}, 303), ({"Cookie": "reelmark=1"}, 403),
])  # fmt: skip
def test_acts_come_from_our_own_pages(app: FastAPI, headers: dict[str, str], status: int):
    browser = TestClient(app, follow_redirects=False)
    answer = browser.post("/sign-in", data={"name": "A. Moss", "passphrase": WORDS}, headers=headers)
    assert answer.status_code == status
    if status == 403:
        assert "not from a page of this house" in answer.json()["true"]
        assert answer.headers["x-content-type-options"] == "nosniff"


def test_looking_may_come_from_anywhere(app: FastAPI):
    assert client(app).get("/for/ANYONE", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200


def test_other_host_names_are_refused(app: FastAPI):
    answer = client(app).get("/for/ANYONE", headers={"Host": "evil.example"})
    assert answer.status_code == 400
    assert "content-security-policy" in answer.headers


def test_hosts_are_names_without_ports():
    assert guard.hosts(["Works.Example:8000", "127.0.0.1", "[::1]:8000", " "]) == [
        "127.0.0.1", "[::1]", "works.example",
    ]  # fmt: skip


def test_headers_of_answers(app: FastAPI):
    browser = client(app)
    page, picture, data = (browser.get(path).headers for path in ("/words", "/static/mark.svg", "/who"))
    assert page["content-security-policy"] == (
        "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'; object-src 'none'"
    )
    assert picture["content-security-policy"].startswith("default-src 'none'; style-src 'unsafe-inline'")
    assert data["content-security-policy"].startswith("default-src 'none'")
    for headers in (page, picture, data):
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
    assert page["cache-control"] == data["cache-control"] == "no-store"
    assert "cache-control" not in picture


def test_pages_need_no_inline_script_or_style(app: FastAPI):
    ask(app)
    browser = client(app, "A. Moss")
    for path in ("/people", "/waiting"):
        text = browser.get(path, headers=PAGE).text
        assert not re.search(r"<style|\sstyle=|\son\w+=|<script(?![^>]*\ssrc=)", text)
        inputs = set(re.findall(r'<input id="([^"]+)"', text))
        assert inputs <= set(re.findall(r'<label for="([^"]+)"', text))


def test_what_is_streamed_goes_through_piece_by_piece():
    sent: list[bytes] = []
    taken = asyncio.Event()

    async def pieces() -> AsyncIterator[str]:
        yield "one"
        await asyncio.wait_for(taken.wait(), 5)  # set only once the first piece has come through
        yield "two"

    async def send(message: Any) -> None:
        if body := message.get("body"):
            sent.append(body)
            taken.set()

    async def receive() -> Any:
        await asyncio.sleep(3600)

    scope = {"type": "http", "method": "GET", "path": "/live", "headers": [], "asgi": {"spec_version": "2.4"}}
    asyncio.run(guard.Guard(StreamingResponse(pieces()))(scope, receive, send))
    assert sent == [b"one", b"two"]


# ---- two persons


def test_two_persons_sign(app: FastAPI):
    number = ask(app)
    shown = client(app, "B. Reed").get("/waiting", headers=PAGE).text
    assert "allocate numbers AA0000001 to AA0000100 of series TM20, for the order series" in shown
    assert "C. Fern" in shown
    answer = client(app, "B. Reed").post(f"/waiting/{number}/confirm", headers=PAGE)
    assert (answer.status_code, answer.headers["location"]) == (303, "/waiting")
    (record,) = house_of(app).lives[order(app)].now.reading.records
    assert (record.by, record.by2, record.machine) == ("C. Fern", "B. Reed", "office")
    one = house_of(app).people.proposals.one(number)
    assert (one.state, one.by2, one.outcome) == ("done", "B. Reed", "1 record, entry 0")
    assert "1 record, entry 0" in client(app, "B. Reed").get("/waiting/table/decided.csv").text


def test_the_same_person_never_signs_twice(app: FastAPI):
    number = ask(app, "A. Moss")
    browser = client(app, "A. Moss")
    page = browser.get("/waiting", headers=PAGE).text
    assert "another person must sign it" in page
    assert f"/waiting/{number}/confirm" not in page
    for act in ("confirm", "refuse"):
        answer = browser.post(
            f"/waiting/{number}/{act}", data={"why": "my own"}, headers={"Accept": "application/json"}
        )
        assert answer.status_code == 403
        assert "the second must be another" in answer.json()["true"]
    assert house_of(app).people.proposals.one(number).state == "waiting"
    assert house_of(app).lives[order(app)].now.reading.size == 0


@pytest.mark.parametrize("name", ["C. Fern", "D. Ash"])
def test_who_may_not_sign_is_refused(app: FastAPI, name: str):
    number = ask(app)
    browser = client(app, name)
    assert f"/waiting/{number}/confirm" not in browser.get("/waiting", headers=PAGE).text
    assert browser.post(f"/waiting/{number}/confirm").status_code == 403
    assert browser.post(f"/waiting/{number}/refuse", data={"why": "why not"}).status_code == 403


def test_only_who_may_write_asks(app: FastAPI):
    answer = client(app, "B. Reed").post(f"/orders/{order(app)}/ask", json=[ALLOCATE])
    assert answer.status_code == 403


@pytest.mark.parametrize("body", [{}, {"kind": "boss"}, {**ALLOCATE, "first": "-"}, {**ALLOCATE, "more": 1}])
def test_what_does_not_read_is_not_asked(app: FastAPI, body: dict[str, Any]):
    answer = client(app, "C. Fern").post(f"/orders/{order(app)}/ask", json=[body])
    assert answer.status_code == 422
    assert house_of(app).people.proposals.count() == 0


def test_two_confirmations_at_once_post_once(app: FastAPI):
    number, start = ask(app), Barrier(4)
    browsers = [client(app, name) for name in ("A. Moss", "B. Reed", "E. Elm", "B. Reed")]

    def sign_it(browser: TestClient) -> int:
        start.wait()
        return browser.post(f"/waiting/{number}/confirm", headers=PAGE).status_code

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(sign_it, browsers)) == [303, 409, 409, 409]
    assert house_of(app).lives[order(app)].now.reading.size == 1


def test_what_the_journal_refuses_waits_and_says_why(app: FastAPI):
    one, two = ask(app), ask(app)
    browser = client(app, "B. Reed")
    assert browser.post(f"/waiting/{one}/confirm").status_code == 200
    answer = browser.post(f"/waiting/{two}/confirm")
    assert answer.status_code == 409
    kept = house_of(app).people.proposals.one(two)
    assert (kept.state, kept.by2) == ("waiting", None)
    assert kept.outcome.startswith("not taken when B. Reed signed")
    assert "not taken when B. Reed signed" in browser.get("/waiting", headers=PAGE).text
    assert browser.post(f"/waiting/{two}/refuse", data={"why": "given already"}).json()["state"] == "refused"


def test_taken_back_by_who_asked(app: FastAPI):
    number = ask(app)
    assert client(app, "B. Reed").post(f"/waiting/{number}/take-back").status_code == 403
    assert client(app, "C. Fern").post(f"/waiting/{number}/take-back").json()["state"] == "taken back"
    assert client(app, "B. Reed").post(f"/waiting/{number}/confirm").status_code == 409


def test_a_refusal_needs_a_reason(app: FastAPI):
    assert client(app, "B. Reed").post(f"/waiting/{ask(app)}/refuse", data={"why": ""}).status_code == 422


@pytest.mark.parametrize("stands", [True, False])
def test_a_claim_left_by_a_stopped_server_is_settled(app: FastAPI, stands: bool):
    number, kept, live = ask(app), house_of(app).people.proposals, house_of(app).lives[order(app)]
    at = (datetime.now(UTC) - timedelta(hours=1)).replace(microsecond=5000)
    kept.claim(number, "E. Elm", at)
    if stands:  # the server stopped after the journal was written
        live.write(lambda desk: desk.post([ALLOCATE], live.machine, "C. Fern", "E. Elm", at.isoformat())).result()
    answer = client(app, "B. Reed").post(f"/waiting/{number}/confirm")
    assert answer.status_code == (409 if stands else 200)
    assert live.now.reading.size == 1
    one = kept.one(number)
    assert (one.state, one.by2) == ("done", "E. Elm" if stands else "B. Reed")


def test_a_claim_of_this_moment_is_left_alone(app: FastAPI):
    number, kept = ask(app), house_of(app).people.proposals
    kept.claim(number, "E. Elm", datetime.now(UTC))
    answer = client(app, "B. Reed").post(f"/waiting/{number}/confirm")
    assert answer.status_code == 409
    assert "E. Elm is signing it now" in answer.json()["true"]
    assert house_of(app).lives[order(app)].now.reading.size == 0


def test_what_waits_is_told_to_open_pages(app: FastAPI, monkeypatch: pytest.MonkeyPatch):
    told: list[tuple[str, dict[str, Any]]] = []
    monkeypatch.setattr(house_of(app).news, "tell", lambda what, data: told.append((what, data)))
    number = ask(app)
    client(app, "B. Reed").post(f"/waiting/{number}/refuse", data={"why": "not now"})
    assert told == [("waiting", {"count": 1}), ("waiting", {"count": 0})]


MOVE = {"kind": "move", "source": "held", "target": "good", "why": "looked at"}


@pytest.mark.parametrize(("body", "words"), [
    ({**MOVE, "unit": "P1", "start": 1200, "sheets": 40},
     "40 sheets of P1, from sheet 1,200 on: from held to good; looked at"),
    ({**MOVE, "series": "TM20", "first": "AA1", "last": "AA9"},
     "numbers AA1 to AA9 of series TM20: from held to good; looked at"),
    ({"kind": "destroy", "unit": "P1/spoiled"}, "destroy all of P1/spoiled; spoil destroyed"),
    ({"kind": "correct", "of_machine": "press", "of_seq": 3, "why": "slip", "record": {"kind": "cut", "unit": "P9"}},
     "correct: of_machine press; of_seq 3; record.kind cut; record.unit P9; why slip"),
    ({"kind": "join", "units": ["P1", "P2"], "to": "P3"}, "join: units P1; P2; to P3"),
])  # fmt: skip
def test_what_is_asked_is_told_in_words(body: dict[str, Any], words: str):
    assert waiting_page.in_words(body) == words


def test_parts_and_lengths_are_told_too():
    mark = {
        "kind": "mark",
        "unit": "M1",
        "lanes": [2, 3],
        "start": "5 m",
        "end": "6.5 m",
        "fault": "gel",
        "seen_by": "A",
    }
    split = {"kind": "split", "unit": "P1", "to": [{"unit": "P2", "sheets": 7}, {"unit": "P3"}]}
    assert re.search(r"lanes 2; 3; start 5[.0]* m; end 6\.50* m; fault gel", waiting_page.in_words(mark))
    assert re.search(r"to unit P2, sheets 7.*; to unit P3", waiting_page.in_words(split))

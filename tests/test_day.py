"""A whole day at the desk in a real Chromium: from a defect on the film to held notes, books and one note's life.

The server is `reelmark serve` as a process of its own, on the small demo order; the browser is the system's Chromium.
What is expected is worked out by the library on a copy of the same journal, not read off the page.
"""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from reelmark.acts.follow import choose, follow, text_of
from reelmark.acts.moves import moves
from reelmark.acts.told import number_ranges
from reelmark.desk import Desk
from served import FIRST, SECOND, Server, chromium, join, sign_in
from small_demo import folder
from window_kept import keep  # type: ignore[import-not-found]

ORDER = "/orders/{key}"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as made:
        yield made


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made: Path = folder(tmp_path_factory.mktemp("day"))
    keep(made)
    return made


@pytest.fixture(scope="module")
def server(works: Path) -> Iterator[Server]:
    made = Server(works)
    try:
        yield made
    finally:
        made.stop()


@pytest.fixture(scope="module")
def base(works: Path) -> str:
    with Desk(works) as desk:
        return f"/orders/{desk.order.name}"


@pytest.fixture(scope="module")
def first(browser: Any, server: Server) -> Any:
    """The first person's browser, come in by the link that the server printed."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    join(page, server.first_link())
    return context


@pytest.fixture(scope="module")
def second(browser: Any, server: Server, first: Any) -> Any:
    """Another person, invited by the first, who may read and sign."""
    page = first.new_page()
    page.goto(f"{server.url}/people")
    page.get_by_label("sign: be the second of two").first.check()
    page.get_by_role("button", name="Make a link").click()
    link = page.locator("code").inner_text()
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    join(context.new_page(), link, SECOND)
    return context


@pytest.fixture
def page(first: Any) -> Iterator[Any]:
    """A page that fails the test when its script does."""
    made, faults = first.new_page(), []
    made.on("pageerror", lambda error: faults.append(str(error)))
    made.on(
        "console",
        lambda said: faults.append(said.text) if said.type == "error" and "Failed to load" not in said.text else None,
    )
    yield made
    made.close()
    assert not faults


def drag(page: Any, key: str, from_: float, to: float, rows: tuple[int, int] = (0, 0)) -> None:
    """By mouse along a strip, from a share of its width to another, over lanes."""
    hand = page.locator(f'.hand[data-key="{key}"]')
    hand.scroll_into_view_if_needed()
    box, high = hand.bounding_box(), 11 if "," in hand.get_attribute("data-rows") else 26
    turn = int(page.locator("#strips").get_attribute("data-turn") or 0)
    page.mouse.move(box["x"] + from_ * box["width"], box["y"] + 10 + high * (rows[0] + 0.5))
    page.mouse.down()
    page.mouse.move(box["x"] + to * box["width"], box["y"] + 10 + high * (rows[1] + 0.5), steps=4)
    page.mouse.up()
    page.locator(f'#strips[data-turn="{turn + 1}"]').wait_for()


def expected(works: Path, of: list[str]) -> tuple[int, int, int]:
    """(notes that may be touched, surely, records it takes to hold them), by the library."""
    with Desk(works) as desk:
        touched = follow(desk.reading, choose(desk.reading, of))
        many = [sum(row[3] for row in number_ranges(desk.reading, one)) for one in (touched.may, touched.must)]
        return many[0], many[1], len(moves(desk.reading, touched.may, ["good"], "held", "why"))


def places(page: Any) -> list[str]:
    written: str = page.locator("#of").input_value()
    return written.split("; ")


# --- the day ---------------------------------------------------------------------------------------------------------


def test_a_defect_on_the_film_is_held_withdrawn_by_two_and_found_again(
    page: Any, second: Any, server: Server, works: Path, base: str
) -> None:
    page.goto(server.url)
    page.get_by_role("link", name=base.rpartition("/")[2]).first.click()
    page.wait_for_url(f"**{base}")
    drag(page, "film.rolls", 0.10, 0.14, (0, 1))
    of = places(page)
    assert all(re.fullmatch(r"F\d+@[\d.]+-[\d.]+m(@1,2)?", text) for text in of), of
    may, _must, records = expected(works, of)
    panel = page.locator("#panel")
    assert may > 0
    assert f"{may:,} notes may be touched" in panel.inner_text()
    assert page.url.endswith(page.evaluate("location.search"))
    assert page.locator('.hand[data-key="finish.s0"] g.touched path.pale').count() >= 1  # the packs show it too

    held_before = account(page, server, base, "packed:held")
    page.get_by_label("Why").fill("gel streak seen on the film")
    page.get_by_role("button", name="Hold now").click()
    page.get_by_text("Held. The books have it.").wait_for()
    with Desk(works) as desk:
        assert [one.kind for one in desk.records[-records:]] == ["move"] * records  # type: ignore[attr-defined]
        assert {one.by for one in desk.records[-records:]} == {FIRST}
    assert account(page, server, base, "packed:held") > held_before

    page.go_back()
    page.get_by_label("Why").fill("gel streak, looked at by two")
    page.get_by_role("button", name="Ask to withdraw").click()
    page.get_by_text("It waits for a second person.").wait_for()
    spoiled = account(page, server, base, "packed:spoiled")
    page.goto(f"{server.url}/waiting")
    assert page.get_by_role("button", name=re.compile(r"^Sign \d")).count() == 0  # not one's own
    other = second.new_page()
    other.goto(f"{server.url}/waiting")
    other.get_by_role("button", name=re.compile(r"^Sign \d")).click()
    other.get_by_text("entries").first.wait_for()
    assert account(page, server, base, "packed:spoiled") > spoiled
    page.goto(f"{server.url}{base}/books")
    assert "books balance" in page.locator(".lead").first.inner_text()

    first_number = first_of(works, of)
    page.locator("#find").fill(first_number.lower())
    page.get_by_role("button", name="Find").click()
    page.wait_for_url(f"**/number/{first_number}")
    told = page.locator("main").inner_text()
    assert "spoiled" in told.split("Sheet")[0]
    assert of[0].partition("@")[0] in told


def account(page: Any, server: Server, base: str, name: str) -> int:
    """Notes in an account, by the page's table for machines."""
    rows = page.request.get(f"{server.url}/api{base}/books").json()["tables"]["accounts"]["rows"]
    return next(
        (
            int(next(v for k, v in row.items() if k.lower().startswith("notes")) or 0)
            for row in rows
            if name in row.values()
        ),
        0,
    )


def first_of(works: Path, of: list[str]) -> str:
    with Desk(works) as desk:
        return number_ranges(desk.reading, follow(desk.reading, choose(desk.reading, of)).must)[0][1]


def test_what_needs_two_is_written_when_another_signs(
    page: Any, second: Any, server: Server, works: Path, base: str
) -> None:
    """Spoil destroyed, numbers allocated, an entry corrected: asked by one, each signed by the other."""
    with Desk(works) as desk:
        books = desk.reading.accounting.books
        lot = next(unit for unit, lane in books.places() if "/" in unit and books.of_kind((unit, lane), "spoiled"))
        seq, mark = next((n, r) for n, r in enumerate(desk.records) if r.kind == "mark")  # type: ignore[attr-defined]
        series = desk.order.series[0].name
        free = desk.reading.shop.allocated[series].stop
        first, last = (desk.reading.shop.formats[series].text(free + n) for n in (0, 99))
        size = desk.store.size
    page.goto(f"{server.url}{base}/unit?name={quote(lot)}")
    page.get_by_role("button", name="Ask to destroy").click()
    page.goto(f"{server.url}{base}/numbering")
    page.get_by_label("First number").last.fill(first)
    page.get_by_label("Last number, itself too").fill(last)
    page.get_by_label("Why").last.fill("a further run")
    page.get_by_role("button", name="Ask to allocate").click()
    page.goto(f"{server.url}{base}/entry/{seq}")
    written = json.loads(page.get_by_label("As it should have been").input_value())
    assert written["fault"] == mark.fault  # type: ignore[attr-defined]
    page.get_by_label("As it should have been").fill(json.dumps(written | {"fault": "gel streak"}))
    page.get_by_label("Why").fill("looked at again")
    page.get_by_role("button", name="Ask to correct").click()
    with Desk(works) as desk:
        assert desk.store.size == size  # nothing yet
    other = second.new_page()
    for _ in range(3):
        other.goto(f"{server.url}/waiting")
        other.get_by_role("button", name=re.compile(r"^Sign \d")).first.click()
        other.wait_for_load_state()
    assert not other.locator('[role="alert"]').count()
    with Desk(works) as desk:
        assert [(r.kind, r.by, r.by2) for r in desk.records[size:]] == [  # type: ignore[attr-defined]
            ("destroy", FIRST, SECOND), ("allocate", FIRST, SECOND), ("correct", FIRST, SECOND)
        ]  # fmt: skip
        assert next(m.fault for m in desk.reading.shop.marks if m.seq == seq) == "gel streak"
        assert free in desk.reading.shop.allocated[series]
        assert not desk.reading.accounting.books.of_kind((lot, 0), "spoiled")


def test_an_address_can_be_sent_to_a_colleague(page: Any, second: Any, server: Server, base: str) -> None:
    page.goto(f"{server.url}{base}")
    drag(page, "film.rolls", 0.30, 0.33)
    page.locator('.hand[data-key="film.rolls"]').focus()
    page.keyboard.press("+")
    page.locator('.hand[data-key="film.rolls"][data-took]').wait_for()
    page.wait_for_timeout(100)
    colleague = second.new_page()
    colleague.goto(page.url)
    assert places(colleague) == places(page)
    for name in ("start", "stop"):
        path = '.hand[data-key="film.rolls"]'
        assert colleague.locator(path).get_attribute(f"data-{name}") == page.locator(path).get_attribute(f"data-{name}")


def test_a_mark_is_taken_hold_of_by_its_flag(page: Any, server: Server, works: Path, base: str) -> None:
    """By mouse and by key: the very stretch and lanes that were marked."""
    with Desk(works) as desk:
        mark = next(m for m in desk.reading.shop.marks if next(iter(m.extent))[0] == "F01")
        wanted = text_of(desk.reading, mark.extent)
    page.goto(f"{server.url}{base}")
    flag = page.locator(f'.hand[data-key="film.rolls"] a.flag[aria-label*="entry {mark.seq})"]')
    page.locator('.hand[data-key="film.rolls"][data-took]').wait_for()  # drawn anew for this window's width
    flag.click()
    page.locator('#strips[data-turn="1"]').wait_for()
    assert places(page) == wanted
    page.goto(f"{server.url}{base}")
    page.locator('.hand[data-key="film.rolls"][data-took]').wait_for()
    flag.focus()
    page.keyboard.press("Enter")
    page.locator('#strips[data-turn="1"]').wait_for()
    assert places(page) == wanted


def test_the_wheel_zooms_a_strip_that_was_clicked_and_scrolls_the_page_otherwise(
    page: Any, server: Server, base: str
) -> None:
    page.goto(f"{server.url}{base}")
    hand = page.locator('.hand[data-key="film.rolls"]')
    box = hand.bounding_box()
    page.mouse.move(box["x"] + 300, box["y"] + 20)
    page.mouse.wheel(0, 200)
    page.wait_for_timeout(200)
    assert page.evaluate("scrollY") > 0
    assert hand.get_attribute("data-start") == "0"
    page.evaluate("scrollTo(0, 0)")
    hand.focus()
    box = hand.bounding_box()
    page.mouse.move(box["x"] + 300, box["y"] + 20)
    whole = int(hand.get_attribute("data-stop"))
    page.mouse.wheel(0, -200)
    page.locator('.hand[data-key="film.rolls"][data-took]').wait_for()
    assert int(hand.get_attribute("data-stop")) - int(hand.get_attribute("data-start")) < whole


def test_keyboard_only_from_the_sign_in_to_a_selection(browser: Any, server: Server, base: str, first: Any) -> None:
    """No mouse at all: tab to a strip, stretch the hand, take hold, let go."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(f"{server.url}{base}")
    assert "/sign-in" in page.url
    page.locator("#name").focus()
    page.keyboard.type(FIRST)
    page.keyboard.press("Tab")
    page.keyboard.type("seven rolls of clear film")
    page.keyboard.press("Enter")
    page.wait_for_url(server.url + base)
    page.wait_for_load_state("load")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.dataset.key") == "film.rolls":
            break
    assert page.evaluate("document.activeElement.dataset.key") == "film.rolls"
    for key in ("ArrowLeft", "ArrowUp", "Shift+ArrowRight", "Shift+ArrowRight", "Enter"):
        page.keyboard.press(key)
    page.locator('#strips[data-turn="1"]').wait_for()
    assert places(page)[0].startswith("F")
    assert "Taken hold of" in page.locator("#said").text_content()
    page.keyboard.press("Escape")
    page.locator('#strips[data-turn="2"]').wait_for()
    assert page.locator("#panel h2").inner_text() == "Nothing taken hold of"
    context.close()


def test_without_script_every_page_reads(browser: Any, server: Server, base: str, first: Any, works: Path) -> None:
    context = browser.new_context(java_script_enabled=False, storage_state=first.storage_state())
    page = context.new_page()
    page.goto(f"{server.url}{base}")
    page.locator("#of").fill("F01@3-4m@1")
    page.get_by_role("button", name="Take hold").click()
    may, _, _ = expected(works, ["F01@3-4m@1"])
    assert f"{may:,} notes may be touched" in page.locator("#panel").inner_text()
    page.get_by_label("film rolls: zoom in").click()
    assert "view=film.rolls" in page.url
    page.get_by_text("Table of film").click()
    assert page.get_by_role("row", name=re.compile("F01 ")).first.is_visible()
    page.get_by_text("List to print").click()
    assert page.locator("#t-may").is_visible()
    context.close()


def test_on_a_phone_nothing_runs_off_and_a_tap_takes_hold(browser: Any, server: Server, base: str, first: Any) -> None:
    context = browser.new_context(
        viewport={"width": 390, "height": 800}, has_touch=True, is_mobile=True, storage_state=first.storage_state()
    )
    page = context.new_page()
    paths = (
        "/",
        base,
        f"{base}/books",
        f"{base}/journal",
        f"{base}/numbering",
        f"{base}/intake",
        f"{base}/windows",
        "/way",
        "/waiting",
        "/people",
    )
    for path in paths:
        page.goto(server.url + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, path
    page.goto(server.url + base)
    hand = page.locator('.hand[data-key="film.rolls"]')
    hand.evaluate("hand => hand.scrollIntoView({block: 'center'})")
    box = hand.bounding_box()
    page.touchscreen.tap(box["x"] + 20, box["y"] + 16)
    page.locator('#strips[data-turn="1"]').wait_for()
    assert re.fullmatch(r"F01@[\d.]+-[\d.]+m@1", places(page)[0])
    context.close()


def test_print_shows_the_strips_and_the_selection_and_no_controls(page: Any, server: Server, base: str) -> None:
    page.goto(f"{server.url}{base}?of=F01@3-4m")
    page.emulate_media(media="print")
    for gone in (".find", ".moves", "#mode", ".do", "nav.order"):
        assert not page.locator(gone).first.is_visible(), gone
    assert page.locator('.hand[data-key="film.rolls"] svg').is_visible()
    assert page.locator("#panel").get_by_text("notes may be touched").is_visible()
    assert page.pdf()[:5] == b"%PDF-"


def test_dark_is_dark_and_light_is_light(page: Any, server: Server, base: str) -> None:
    grounds = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        page.goto(f"{server.url}{base}")
        grounds.append(page.evaluate("getComputedStyle(document.documentElement).backgroundColor"))
    assert grounds == ["rgb(251, 250, 247)", "rgb(22, 21, 19)"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("wide", [1280, 390])
def test_no_page_has_a_violation_of_access(
    browser: Any, server: Server, base: str, first: Any, works: Path, wide: int, scheme: str
) -> None:
    """axe-core's rules, WCAG 2 A and AA and best practice among them, on every page there is."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="missing component: axe").Axe()
    context = browser.new_context(
        viewport={"width": wide, "height": 900},
        color_scheme=scheme,
        storage_state=first.storage_state(),
        bypass_csp=True,
    )
    page = context.new_page()
    number = first_of(works, ["F01@3-4m"])
    below = (
        "", "?of=F01@3-4m&open=press", "/list?of=F01@3-4m", "/books", "/account?account=packed:good", "/journal",
        "/entry/3", "/numbering", "/intake", f"/number/{number}", "/unit?name=F01", "/number/NOSUCH",
        "/film", "/film?gauge=75&width=2.8&speed=25", "/windows?mark=1", "/plan",
        "/plan/compare",
    )  # fmt: skip
    paths = ("/", "/way", "/waiting", "/people", "/calls", "/found?what=F0", *(base + one for one in below))
    for path in paths:
        page.goto(server.url + path)
        found = axe.run(page).response["violations"]
        assert not [(one["id"], one["nodes"][0]["html"][:200]) for one in found], path
    context.close()
    out = browser.new_context(color_scheme=scheme, bypass_csp=True).new_page()
    out.goto(f"{server.url}/sign-in")
    assert not axe.run(out).response["violations"]
    out.context.close()


def test_every_table_is_a_file_and_every_figure_a_picture(page: Any, server: Server, base: str) -> None:
    for path in ("/", f"{base}?of=F01@3-4m", f"{base}/books", f"{base}/numbering", "/way"):
        page.goto(server.url + path)
        links = page.eval_on_selector_all("a[download]", "all => all.map(a => a.href)")
        assert links, path
        for link in links:
            answer = page.request.get(link)
            kind = "text/csv" if ".csv" in link else "image/svg+xml"
            assert answer.status == 200, link
            assert answer.headers["content-type"].startswith(kind), link


# --- intake, news, stopping -----------------------------------------------------------------------------------------


def many_marks(path: Path, many: int, start: int) -> Path:
    """A file of shop records: marks on the first roll, one a centimetre."""
    line = json.dumps(
        {"machine": "window viewer", "seq": 0, "at": "2027-01-05T06:00:00+00:00", "by": "T. Wexcombe", "kind": "mark",
         "unit": "F01", "lanes": [1], "start": "A m", "end": "B m", "fault": "speck", "seen_by": "camera"}
    )  # fmt: skip

    def one(seq: int, at: float) -> str:
        return (
            line.replace('"seq": 0', f'"seq": {seq}').replace("A m", f"{at:.2f} m").replace("B m", f"{at + 0.01:.2f} m")
        )

    text = "".join(f"{one(start + n, n % 3000 / 100)}\n" for n in range(many))
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_is_taken_in_and_open_pages_hear_of_it(
    page: Any, second: Any, server: Server, base: str, tmp_path: Path
) -> None:
    listening = second.new_page()
    listening.goto(f"{server.url}{base}/books")
    listening.wait_for_timeout(300)
    page.goto(f"{server.url}{base}/intake")
    page.locator('input[type="file"]').set_input_files(many_marks(tmp_path / "viewer.jsonl", 3, 9_000))
    page.get_by_role("button", name="Take in").click()
    page.get_by_text("done").first.wait_for(timeout=20_000)
    listening.get_by_text("3 new entries in the journal").wait_for(timeout=10_000)
    listening.get_by_role("link", name="Show them").click()
    listening.close()
    page.locator('input[type="file"]').set_input_files(many_marks(tmp_path / "bad.jsonl", 1, 1))
    page.get_by_role("button", name="Take in").click()
    page.get_by_text("wrote something else under number 1").first.wait_for(timeout=20_000)


def test_a_long_intake_can_be_cancelled_and_nothing_was_taken(
    page: Any, server: Server, base: str, works: Path, tmp_path: Path
) -> None:
    with Desk(works) as desk:
        before = desk.store.size
    page.goto(f"{server.url}{base}/intake")
    page.locator('input[type="file"]').set_input_files(many_marks(tmp_path / "long.jsonl", 60_000, 100_000))
    page.get_by_role("button", name="Take in").click()
    page.get_by_role("button", name=re.compile("^End it")).first.click(timeout=20_000)
    page.get_by_text("cancelled").first.wait_for(timeout=20_000)
    with Desk(works) as desk:
        assert desk.store.size == before


def test_a_restart_in_mid_stream_is_got_over_and_stops_within_three_seconds(
    browser: Any, works: Path, base: str, server: Server, first: Any
) -> None:
    """The page listens; the server is stopped and started on the same port; the page hears of the next entry."""
    people = works / "people.db"
    again = Server(works, more=("--people", str(people)))
    context = browser.new_context()
    page = context.new_page()
    sign_in(page, again.url)
    page.goto(f"{again.url}{base}/books")
    page.wait_for_timeout(500)
    assert again.stop() < 3.0
    port = int(again.url.rpartition(":")[2])
    back = Server(works, port=port, more=("--people", str(people)))
    try:
        page.wait_for_timeout(3_000)
        with Desk(works) as desk:
            body = {
                "kind": "mark",
                "unit": "F01",
                "lanes": [1],
                "start": "1 m",
                "end": "1.1 m",
                "fault": "speck",
                "seen_by": "eye",
            }
            desk.post([body], "office", FIRST, None, "2027-02-01T06:00:00+00:00")
        page.get_by_text("1 new entry in the journal").wait_for(timeout=15_000)
    finally:
        assert back.stop() < 3.0
        context.close()

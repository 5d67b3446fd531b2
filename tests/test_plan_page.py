"""The page of a plan, its acts and its calendar, by the whole application; the search itself runs once.

What is expected of a plan stands in test_plan_view; here it is that the page shows it and that acts do what they say.
"""

import re
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from argon2 import PasswordHasher
from fastapi import FastAPI
from fastapi.testclient import TestClient

from model_shop import greedy
from reelmark.acts.plan_kept import to_dict
from reelmark.acts.plan_pins import costs
from reelmark.acts.planning import plant_of
from reelmark.desk import Desk
from reelmark.io.config import read_order, read_works, template
from reelmark.io.people import People
from reelmark.io.planfile import read_plan, write_plan
from reelmark.plan.loading import job_shop
from reelmark.plan.planned import Planned
from reelmark.web import plansearch, plantold, planwork
from reelmark.web.app import make_app
from reelmark.web.house import House
from reelmark.web.jobs import Cancelled
from reelmark.web.passphrase import Passphrases
from reelmark.web.planwork import key_of
from served import Server, chromium, join
from small_demo import folder

WORDS = "four words nobody guesses"
CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
BEGINS = datetime(2026, 3, 9, 6, tzinfo=UTC)
PLANT = template("works.toml").partition("# What planning must know")[2]


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small works, without a plan and without a plant."""
    works: Path = folder(tmp_path_factory.mktemp("plan"))
    text = (works / "works.toml").read_text(encoding="utf-8")
    (works / "works.toml").write_text(re.split(r"(?m)^# What planning must know|^\[plant\]", text)[0], encoding="utf-8")
    return works


@pytest.fixture
def works(bare: Path, tmp_path: Path) -> Path:
    """The same with a plant, and a plan of it that somebody made."""
    at = Path(shutil.copytree(bare, tmp_path / "works"))
    with (at / "works.toml").open("a", encoding="utf-8") as file:
        file.write(f"\n# What planning must know{PLANT}")
    planned = plan_of(at)
    write_plan(at, "current", to_dict(planned) | {"told": told(planned)})
    return at


def plan_of(at: Path) -> Planned:
    shop = job_shop([read_order(at / "order.toml")], plant_of(read_works(at / "works.toml")), BEGINS, 300)
    schedule = greedy(shop)
    return Planned(shop, schedule, BEGINS, costs(shop, schedule)[0], 1.0)


def told(planned: Planned) -> dict[str, Any]:
    return {"by": "A. Moss", "orders": ["TM-20-1"], "revision": 4} | plantold.told_of(planned)


@contextmanager
def served(*folders: Path) -> Iterator[FastAPI]:
    people = People.open(folders[0] / "people.db")
    for name, roles in {"A. Moss": ["read", "write", "keep"], "D. Ash": ["read"]}.items():
        by = None if name == "A. Moss" else "A. Moss"
        people.join(people.invite(roles, by, datetime.now(UTC)), name, CHEAP.hash(WORDS), datetime.now(UTC))
    house = House(folders, people)
    try:
        app = make_app(house, ["testserver"])
        app.state.passphrases = Passphrases(CHEAP)
        yield app
    finally:
        house.stop()
        house.close()


def client(app: FastAPI, name: str = "A. Moss") -> TestClient:
    heads = {"Origin": "http://testserver", "Accept": "text/html"}
    browser = TestClient(app, follow_redirects=False, headers=heads)
    assert browser.post("/sign-in", data={"name": name, "passphrase": WORDS}).status_code == 303
    return browser


def live_of(app: FastAPI) -> Any:
    return next(iter(app.state.house.lives.values()))


def base(app: FastAPI) -> str:
    return f"/orders/{quote(live_of(app).key)}"


def until_over(app: FastAPI, seconds: float = 60) -> Any:
    """The last job of planning, once it is over."""
    for _ in range(int(seconds / 0.05)):
        (job, *_) = app.state.house.jobs.of(key_of(live_of(app)))
        if not job.open:
            return job
        time.sleep(0.05)
    raise AssertionError("the plan was not made in time")


def words(text: str) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)))


@pytest.fixture
def no_search(monkeypatch: pytest.MonkeyPatch) -> list[Planned]:
    """What the search is asked, and that it finds nothing better."""
    asked: list[Planned] = []

    def searched(first: Planned, seconds: int, report: Any) -> Planned:
        asked.append(first)
        report.stopped()
        return first

    monkeypatch.setattr(planwork, "searched", searched)
    return asked


# --- what the page says ------------------------------------------------------------------------------------------


def test_a_works_without_a_plant_says_what_to_add(bare: Path, tmp_path: Path) -> None:
    with served(Path(shutil.copytree(bare, tmp_path / "works"))) as app:
        text = words(client(app).get(f"{base(app)}/plan").text)
        assert "says nothing of hours, rates, route and yields" in text
        assert "Add [plant] to it" in text
        answer = client(app).post(f"{base(app)}/plan/again", headers={"Accept": "application/json"})
        assert (answer.status_code, answer.json()["cure"][:11]) == (400, "add [plant]")


def test_a_works_without_a_plan_says_what_to_do_and_what_it_needs(works: Path) -> None:
    shutil.rmtree(works / "plans")
    with served(works) as app:
        mine, reader = (client(app, name).get(f"{base(app)}/plan").text for name in ("A. Moss", "D. Ash"))
        assert "Plan the works with the form below" in words(mine)
        assert f'action="{base(app)}/plan/again"' in mine
        assert "needs the role write" in words(reader)
        assert "plan/again" not in reader
        rows = client(app).get(f"/api{base(app)}/plan").json()["tables"]["starts"]["rows"]
        needed = {row["what"]: (row["needed"], row["unit"]) for row in rows}
        assert needed["rolls"][1] == "rolls"
        assert needed["resin"][0] > needed["film"][0] * 0.9 > 0  # kg: resin is the film and what is trimmed
        assert client(app).get(f"{base(app)}/plan.ics").status_code == 404


def test_the_page_shows_the_plan_and_its_reasons(works: Path) -> None:
    with served(works) as app:
        browser, planned = client(app), plan_of(works)
        text = browser.get(f"{base(app)}/plan").text
        for said in ("Deliveries", "By machine", "By order", "Critical path", "Load and bottleneck", "Store", "Tasks",
                     "What to start", "Bottleneck:", "gap to a lower bound", "made", "by A. Moss"):  # fmt: skip
            assert said in words(text), said
        assert len(set(re.findall(r'data-op="(\d+)"', text))) == len(planned.shop.operations)
        told_ = browser.get(f"/api{base(app)}/plan").json()["tables"]
        assert len(told_["tasks"]["rows"]) == len(planned.shop.operations)
        assert [row["order"] for row in told_["deliveries"]["rows"]] == ["TM-20-1"] * len(planned.shop.dues)
        assert all(0 <= row["P on time"] <= 1 for row in told_["deliveries"]["rows"])
        csv = browser.get(f"{base(app)}/plan/table/tasks.csv").text.splitlines()
        assert len(csv) == len(planned.shop.operations) + 1
        assert csv[0].startswith("Task,Order,Batch,Stage,Machine,Set-up from,Start,End")


def test_a_window_cuts_pictures_and_tasks(works: Path) -> None:
    with served(works) as app:
        browser, at = client(app), f"{base(app)}/plan?since=2026-03-09T06:00&until=2026-03-10"
        rows = browser.get(f"/api{at}").json()["tables"]["tasks"]["rows"]
        assert 0 < len(rows) < len(plan_of(works).shop.operations)
        assert all(row["start"] < "2026-03-10T00:00" for row in rows)
        assert 'data-minutes="1080"' in browser.get(at).text
        for move in ("Earlier", "Later", "Nearer", "Farther"):
            href = unescape(re.search(rf'<a href="([^"]+)">{move}</a>', browser.get(at).text)[1])  # type: ignore[index]
            assert browser.get(href).status_code == 200, move


def test_a_delivery_can_be_explained_and_a_task_chosen(works: Path) -> None:
    with served(works) as app:
        browser, at = client(app), f"{base(app)}/plan"
        lines = browser.get(f"/api{at}").json()["tables"]["deliveries"]["rows"]
        for n in range(len(lines)):
            path = browser.get(f"/api{at}?line={n}").json()["tables"]["critical"]["rows"]
            assert path[-1]["ends"] == lines[n]["ready"]
            assert all(row["begins then because"] for row in path)
        text = browser.get(f"{at}?op=3").text
        assert re.search(r'<details class="act" id="do-pin-a-task" open>', text)
        assert re.search(r'name="operation" type="number" value="3"', text)
        assert 'id="do-pin-a-task"' not in client(app, "D. Ash").get(f"{at}?op=3").text


@pytest.mark.parametrize("query", [
    "since=never", "until=2026-13-01", "since=0001-01-01", "since=9999-12-31T23:59:59-12:00", "op=-1", "op=44000",
    "line=99", "since=2026-04-01&until=2026-03-01", "since=" + "9" * 60,
])  # fmt: skip
def test_a_question_that_makes_no_sense_is_told(works: Path, query: str) -> None:
    with served(works) as app:
        assert client(app).get(f"{base(app)}/plan?{query}").status_code == 422


def test_a_damaged_plan_is_told_and_does_not_stop_anybody(works: Path, no_search: list[Planned]) -> None:
    (works / "plans" / "current.json").write_text('{"format": 1, "shop"', encoding="utf-8")
    with served(works) as app:
        text = words(client(app).get(f"{base(app)}/plan").text)
        assert "plan current in plans/" in text
        assert "damaged" in text
        assert client(app).post(f"{base(app)}/plan/again", data={"begins": "2026-03-09T06:00"}).status_code == 303
        assert until_over(app).state == "failed"  # nothing was searched, so there is none
        assert "came to nothing" in words(client(app).get(f"{base(app)}/plan").text)


def test_breaches_are_named(works: Path) -> None:
    planned = plan_of(works)
    broken = replace(planned.schedule, start=(planned.schedule.start[0] + 1, *planned.schedule.start[1:]))
    planned = replace(planned, schedule=broken)
    write_plan(works, "current", to_dict(planned) | {"told": told(planned)})
    with served(works) as app:
        assert "cannot be: see Breaches" in words(client(app).get(f"{base(app)}/plan").text)
        rows = client(app).get(f"/api{base(app)}/plan").json()["tables"]["breaches"]["rows"]
        assert "end" in {row["what"] for row in rows}


# --- acts --------------------------------------------------------------------------------------------------------


def test_a_pin_is_kept_at_once_and_can_be_taken_back(works: Path, no_search: list[Planned]) -> None:
    before = plan_of(works)
    number = before.shop.number(0, 0, 5)
    machine = before.shop.machines[before.schedule.machine[number]].name
    with served(works) as app:
        browser, at = client(app), f"{base(app)}/plan"
        pin = {"operation": number, "machine": machine, "start": "2026-04-20T08:00", "seconds": 5}
        assert browser.post(f"{at}/pin", data=pin).headers["location"] == at
        assert until_over(app).state == "done"
        assert [one.pinned for one in no_search] == [((number, before.schedule.machine[number], 42 * 48 + 4),)]
        text = words(browser.get(at).text)
        assert "Pinned" in text
        assert "later, from" in text
        kept = read_plan(works, "current")
        assert kept is not None
        assert kept["start"][number] >= 42 * 48 + 4  # half hours from 9 March, 06:00 to 20 April, 08:00
        assert kept["told"]["by"] == "A. Moss"

        assert browser.post(f"{at}/back").status_code == 303
        assert "no pinned" not in words(browser.get(at).text)
        assert (read_plan(works, "current") or {})["pinned"] == []
        assert browser.post(f"{at}/back").status_code == 303
        assert len((read_plan(works, "current") or {})["pinned"]) == 1

        assert browser.post(f"{at}/unpin", data={"operation": number}).status_code == 303
        assert until_over(app).state == "done"
        assert (read_plan(works, "current") or {})["pinned"] == []


def test_pins_stay_when_the_works_is_planned_again(works: Path, no_search: list[Planned]) -> None:
    planned = plan_of(works)
    number = planned.shop.number(0, 0, 3)
    m = planned.schedule.machine[number]
    write_plan(works, "current", to_dict(replace(planned, pinned=((number, m, 96),))) | {"told": told(planned)})
    with served(works) as app:
        client(app).post(f"{base(app)}/plan/again", data={"begins": "2026-03-10T06:00", "seconds": 5})
        until_over(app)
        assert no_search[0].pinned == ((number, m, 48),)  # a day later, so a day nearer
        client(app).post(f"{base(app)}/plan/again", data={"begins": "2026-03-20T06:00", "seconds": 5})
        until_over(app)
        assert no_search[1].pinned == ()
        assert "1 pins fell away" in no_search[1].says[0]


def test_orders_of_one_works_are_planned_together(works: Path, tmp_path: Path, no_search: list[Planned]) -> None:
    other = tmp_path / "other"
    text = (works / "order.toml").read_text(encoding="utf-8")
    text = re.sub(r'(?m)^name = "TM-20-1"', 'name = "TM-20-2"', text)
    text = text.replace("letters = 2", "letters = 4")  # a number of another length is no number of both
    Desk.create(other, text, (works / "works.toml").read_text(encoding="utf-8")).store.close()
    with served(works, other) as app:
        browser = client(app)
        assert "Plan TM-20-2 with it" in words(browser.get("/orders/TM-20-1/plan").text)
        data = {"begins": "2026-03-09T06:00", "also": "TM-20-2", "seconds": 5}
        assert browser.post("/orders/TM-20-1/plan/again", data=data).status_code == 303
        until_over(app)
        assert [job.name for job in no_search[0].shop.jobs] == ["TM-20-1", "TM-20-2"]


@pytest.mark.parametrize(("act", "data", "code"), [
    ("pin", {"operation": 9_999, "machine": "coater", "start": "2026-04-20T08:00"}, 422),
    ("pin", {"operation": 0, "machine": "coater", "start": "2026-04-20T08:00"}, 422),
    ("pin", {"operation": 0, "machine": "no such", "start": "2026-04-20T08:00"}, 404),
    ("pin", {"operation": 0, "machine": "film line", "start": "soon"}, 422),
    ("pin", {"operation": 0, "machine": "film line", "start": "2031-01-01"}, 422),
    ("unpin", {"operation": 0}, 422), ("back", {}, 404), ("nothing/stop", {}, 404),
    ("again", {"seconds": 4}, 422), ("again", {"seconds": 301}, 422), ("again", {"begins": "soon"}, 422),
    ("again", {"begins": "2026-09-09"}, 422), ("again", {"also": "NOSUCH"}, 404),
])  # fmt: skip
def test_an_act_that_cannot_be_done_is_told_and_changes_nothing(
    works: Path, no_search: list[Planned], act: str, data: dict[str, Any], code: int
) -> None:
    before = (works / "plans" / "current.json").read_bytes()
    with served(works) as app:
        answer = client(app).post(f"{base(app)}/plan/{act}", data=data, headers={"Accept": "application/json"})
        assert answer.status_code == code, answer.text
        assert answer.json().keys() == {"asked", "true", "cure"}
    assert (works / "plans" / "current.json").read_bytes() == before
    assert not no_search


def test_one_plan_is_made_at_a_time_and_the_best_so_far_is_kept(works: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def slow(first: Planned, seconds: int, report: Any) -> Planned:
        report.found(479.0, 434.0)
        while not report.stopped():
            time.sleep(0.02)
        return replace(first, schedule=greedy(first.shop), cost=479.0, bound=434.0)

    monkeypatch.setattr(planwork, "searched", slow)
    monkeypatch.setattr("reelmark.web.jobs.APART", 0.0)
    with served(works) as app:
        browser, at = client(app), f"{base(app)}/plan"
        assert browser.post(f"{at}/again", data={"begins": "2026-03-09T06:00", "seconds": 60}).status_code == 303
        for _ in range(200):
            text = words(browser.get(at).text)
            if "gap to a lower bound 9 %" in text:
                break
            time.sleep(0.02)
        assert "A plan is being made" in text
        assert "cost 479, lower bound 434, gap to a lower bound 9 %" in text
        (job,) = app.state.house.jobs.of(key_of(live_of(app)))
        assert browser.get(f"/api{at}/jobs/{job.id}").json()["state"] == "running"
        assert job.id not in browser.get(f"{base(app)}/intake").text  # the intake has its own
        for act in ("again", "pin", "back"):
            pin = {"operation": 0, "machine": "film line", "start": "2026-04-01"} if act == "pin" else {}
            assert browser.post(f"{at}/{act}", data=pin).status_code == 409
        assert client(app, "D. Ash").post(f"{at}/{job.id}/stop").status_code == 403
        assert browser.post(f"{at}/{job.id}/stop").status_code == 303
        assert until_over(app).state == "done"
        assert (read_plan(works, "current") or {})["start"] == list(plan_of(works).schedule.start)


def test_a_report_says_how_long_nothing_better_was_found(monkeypatch: pytest.MonkeyPatch) -> None:
    clock, said = [0.0], list[tuple[str, int, int]]()
    monkeypatch.setattr(plansearch, "monotonic", lambda: clock[0])
    report = plansearch.Report(lambda *one: said.append(one), 60)
    assert not report.stopped()
    report.found(200.0, 150.0)
    clock[0] = 7.5
    assert not report.stopped()
    assert said[0] == ("getting ready", 0, 60)
    assert said[1] == ("cost 200, lower bound 150, gap to a lower bound 25 %, nothing better for 8 s", 7, 60)

    def cancelled(*_: Any) -> None:
        raise Cancelled

    assert plansearch.Report(cancelled, 60).stopped()


def test_the_search_betters_the_plan_and_keeps_to_the_pin(works: Path) -> None:
    """The only search of these tests, for 5 s; the plan it goes on from was made by taking order by order."""
    before = plan_of(works)
    number = before.shop.number(0, 0, 4)
    machine = before.shop.machines[before.schedule.machine[number]].name
    with served(works) as app:
        pin = {"operation": number, "machine": machine, "start": "2026-03-20T08:00", "seconds": 5}
        assert client(app).post(f"{base(app)}/plan/pin", data=pin).status_code == 303
        job = until_over(app, 120)
        assert job.state == "done", job.fault
        kept = read_plan(works, "current")
        assert kept is not None
        assert kept["start"][number] >= 11 * 48 + 4
        assert (
            kept["cost"] <= costs(before.shop, before.schedule)[0] + 11 * 24
        )  # the pin costs what it puts off, at most
        assert 0 < kept["bound"] <= kept["cost"]
        assert kept["told"]["breaches"] == []


# --- the calendar ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("each", ["campaign", "task"])
def test_the_calendar_is_read_by_another_program_and_moves_its_entries(
    works: Path, no_search: list[Planned], each: str
) -> None:
    icalendar = pytest.importorskip("icalendar", reason="missing component: icalendar")

    def entries(text: str) -> dict[str, tuple[Any, int]]:
        return {str(one["UID"]): (one["DTSTART"].dt, int(one["SEQUENCE"]))
                for one in icalendar.Calendar.from_ical(text).walk("VEVENT")}  # fmt: skip

    with served(works) as app:
        browser, at = client(app), base(app)
        answer = browser.get(f"{at}/plan.ics?each={each}")
        assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
        first = entries(answer.text)
        planned = plan_of(works)
        if each == "task":
            assert len(first) == len(planned.shop.operations)
        pin = {"operation": 0, "machine": "film line", "start": "2026-03-12T06:00", "seconds": 5}
        browser.post(f"{at}/plan/pin", data=pin)
        until_over(app)
        second = entries(browser.get(f"{at}/plan.ics?each={each}").text)
        assert second.keys() == first.keys()
        assert all(second[uid][1] > first[uid][1] for uid in first)
        assert any(second[uid][0] > first[uid][0] for uid in first)


# --- in a browser ------------------------------------------------------------------------------------------------


def test_a_bar_is_drawn_to_its_place_and_reached_by_keys(works: Path) -> None:
    server = Server(works)
    try:
        with chromium() as browser:
            page, faults = browser.new_page(viewport={"width": 1280, "height": 900}), list[str]()
            page.on("pageerror", lambda error: faults.append(str(error)))
            join(page, server.first_link())
            page.goto(f"{server.url}/orders/TM-20-1/plan")
            page.wait_for_timeout(200)
            painted = page.evaluate("performance.getEntriesByType('paint').map(one => one.startTime)")
            assert painted
            bar = page.locator('svg[data-machines] a.bar[data-op="0"]')
            bar.scroll_into_view_if_needed()
            box = bar.locator("rect").first.bounding_box()
            page.mouse.move(box["x"] + 2, box["y"] + 5)
            page.mouse.down()
            page.mouse.move(box["x"] + 152, box["y"] + 5, steps=4)
            page.mouse.up()
            page.locator("#t-pins").wait_for()
            page.get_by_role("button", name="Stop and keep").click()
            page.locator(".jobs").wait_for(state="detached", timeout=30_000)
            kept = read_plan(works, "current")
            assert kept is not None
            assert [one[0] for one in kept["pinned"]] == [0]
            assert kept["pinned"][0][2] > 0
            page.locator("svg[data-machines] a.bar").first.focus()
            page.keyboard.press("ArrowDown")
            page.keyboard.press("Enter")
            page.wait_for_url("**op=*")
            page.locator("#do-pin-a-task[open]").wait_for()
            page.set_viewport_size({"width": 390, "height": 800})
            assert page.evaluate("document.documentElement.scrollWidth") <= 390
            page.emulate_media(media="print")
            assert page.locator("svg[data-machines]").is_visible()
            assert not page.locator("form[action$='/plan/pin']").is_visible()
            assert not faults
    finally:
        server.stop()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_plan_with_a_pin_has_no_violation_of_access(works: Path, scheme: str) -> None:
    """axe-core's rules on the page with a plan, a task chosen and one pinned, wide and narrow."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="missing component: axe").Axe()
    planned = plan_of(works)
    planned = replace(planned, pinned=((3, planned.schedule.machine[3], 0),), frozen=frozenset({0}), says=("a", "b"))
    write_plan(works, "current", to_dict(planned) | {"told": told(planned)})
    server = Server(works)
    try:
        with chromium() as browser:
            context = browser.new_context(color_scheme=scheme, bypass_csp=True)
            page = context.new_page()
            join(page, server.first_link())
            for wide in (1280, 390):
                page.set_viewport_size({"width": wide, "height": 900})
                page.goto(f"{server.url}/orders/TM-20-1/plan?op=5")
                found = axe.run(page).response["violations"]
                assert not [(one["id"], one["nodes"][0]["html"][:200]) for one in found], wide
    finally:
        server.stop()

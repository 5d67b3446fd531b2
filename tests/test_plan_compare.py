"""What if and the quote, by the whole application; the search is a stand-in but for the one in the browser.

What a changed question is stands in test_plan_whatif; here it is that the page asks it, shows it, and keeps nothing
that nobody keeps.  Orders and text are invented.
"""

import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from reelmark.acts.plan_whatif import side_by_side
from reelmark.demo.folder import order_text
from reelmark.io.planfile import read_plan
from reelmark.web import plancompare
from reelmark.web.plancompare import compare_key
from served import Server, chromium, join
from small_demo import made
from test_plan_loop import begun, kept_plan
from test_plan_page import client, live_of, served, words
from test_plan_whatif import best_of_first

AT = "/orders/TM-20-1/plan/compare"
OTHER = (
    order_text(made()[0].order).replace('"TM-20-1"', '"TM-20-2"').replace("letters = 2", "letters = 4")
    .replace("2026-06-30", "2026-05-29")
)  # fmt: skip
SHIFT = {"what": "shift", "machine": "guillotine", "begins": "2026-03-07T06:00", "hours": "8", "days": "2"}


@pytest.fixture
def works(tmp_path: Path) -> Path:
    """The small works just begun, with a plan."""
    at: Path = begun(tmp_path / "works", "2026-05-04")
    kept_plan(at, 5, now=1)
    return at


@pytest.fixture
def app(works: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FastAPI]:
    monkeypatch.setattr(plancompare, "searching", lambda *_: best_of_first)
    with served(works) as made_app:
        yield made_app


def asked(app: FastAPI, browser: TestClient, **data: str) -> Any:
    """The job of a question, once it is over."""
    answer = browser.post(f"{AT}/ask", data=data)
    assert answer.status_code == 303, answer.text
    for _ in range(1200):
        (job, *_) = app.state.house.jobs.of(compare_key(live_of(app)))
        if not job.open:
            return job
        time.sleep(0.05)
    raise AssertionError("the question was not answered in time")


@pytest.mark.parametrize(("data", "said"), [
    ({"what": "machine", "machine": "relief press"}, "Now, and a second relief press."),
    (SHIFT | {"change": "less"}, "guillotine closed 8 h more from Sat 06:00 on 2 days every week."),
    (SHIFT | {"weeks": "one", "days": "1"}, "guillotine open 8 h more from Sat 2026-03-07 06:00."),
    ({"what": "order-in", "text": OTHER}, "with order TM-20-2."),
    ({"what": "order-out", "taken_out": "TM-20-1"}, "without order TM-20-1."),
    ({"what": "yield", "stage": "relief front", "percent": "1"}, "relief front +1 points of good share."),
])  # fmt: skip
def test_two_plans_stand_side_by_side_and_the_plan_stays(
    app: FastAPI, works: Path, data: dict[str, str], said: str
) -> None:
    before = (works / "plans" / "current.json").read_bytes()
    browser = client(app)
    if data["what"] == "order-out":  # the last order is not taken out
        job = asked(app, browser, what="order-in", text=OTHER)
        assert browser.post(f"{AT}/{job.id}/keep").status_code == 303
        before = (works / "plans" / "current.json").read_bytes()
    job = asked(app, browser, **data)
    assert job.state == "done", job.fault
    text = words(browser.get(AT).text)
    assert said in text
    tables = browser.get(f"/api{AT}").json()["tables"]
    sides = side_by_side(job.result["base"].planned, job.result["planned"])  # the library's own
    assert [(row["ready now"], row["ready then"]) for row in tables["dates"]["rows"]] == [
        tuple(row["ready"]) for row in sides["deliveries"]]  # fmt: skip
    cost, late, setup, *_ = tables["totals"]["rows"]
    assert [cost["now"], cost["then"]] == sides["cost"]
    assert [late["now"], late["then"]] == sides["late_h"]
    assert setup["more"] == pytest.approx(sides["setup_h"][1] - sides["setup_h"][0])
    loads = {row["machine"]: (row["now"], row["then"]) for row in tables["loads"]["rows"]}
    assert (loads.get("relief press 2", (0, 0))[0] is None) == (data["what"] == "machine")
    moves = {(row["order"], row["batch"], row["stage"]) for row in tables["moved"]["rows"]}
    if data["what"] in {"order-in", "order-out"}:  # 55 tasks of the one order appear or go
        order = "TM-20-2" if data["what"] == "order-in" else "TM-20-1"
        assert sum(one[0] == order for one in moves) == 55
    assert "Keep this plan" in text
    assert (works / "plans" / "current.json").read_bytes() == before
    reader = client(app, "D. Ash")
    assert "Keep this plan" not in words(reader.get(AT).text)
    assert reader.post(f"{AT}/{job.id}/keep").status_code == 403


def test_what_has_begun_stays_where_it_is(app: FastAPI, works: Path) -> None:
    kept_plan(works, 5, now=9)  # the film line is kept until 10:00, unit 8
    job = asked(app, client(app), what="machine", machine="film line")
    old, new = job.result["base"].planned, job.result["planned"]
    begun_ones = [i for i, start in enumerate(old.schedule.start) if start < 10]
    assert begun_ones
    assert all(new.schedule.start[i] == old.schedule.start[i] for i in begun_ones)


def test_a_plan_is_kept_once_and_can_be_taken_back(app: FastAPI, works: Path) -> None:
    browser = client(app)
    old = read_plan(works, "current")
    job = asked(app, browser, what="order-in", text=OTHER)
    assert browser.post(f"{AT}/{job.id}/keep").headers["location"] == "/orders/TM-20-1/plan"
    kept = read_plan(works, "current")
    assert kept is not None
    assert old is not None
    assert [one["name"] for one in kept["shop"]["jobs"]] == ["TM-20-1", "TM-20-2"]
    assert kept["told"]["orders"] == ["TM-20-1", "TM-20-2"]
    assert kept["says"] == ["kept from a what if: with order TM-20-2"]
    assert (read_plan(works, "before") or {})["start"] == old["start"]
    assert browser.post(f"{AT}/{job.id}/keep").status_code == 409  # the plan has changed since
    assert "ask again" in words(browser.get(AT).text)


def test_a_quote_gives_a_date_and_a_cost_and_moves_nothing(app: FastAPI, works: Path) -> None:
    before = (works / "plans" / "current.json").read_bytes()
    browser = client(app)
    data = {"what": "quote", "allowed": "0", "seconds": "5"}
    answer = browser.post(f"{AT}/ask", data=data, files={"file": ("order.toml", OTHER.encode(), "text/plain")})
    assert answer.status_code == 303, answer.text
    for _ in range(600):
        (job, *_) = app.state.house.jobs.of(compare_key(live_of(app)))
        if not job.open:
            break
        time.sleep(0.05)
    assert job.state == "done", job.fault
    tables = browser.get(f"/api{AT}").json()["tables"]
    (offer,) = tables["quote"]["rows"]
    assert offer["order"] == "TM-20-2"
    assert offer["alone in the works not before"] <= offer["ready"]
    assert tables["moves"]["rows"] == []  # none is allowed to
    assert "Quote for TM-20-2" in words(browser.get(AT).text)
    assert browser.post(f"{AT}/{job.id}/keep").status_code == 404  # a quote is no plan
    assert (works / "plans" / "current.json").read_bytes() == before


@pytest.mark.parametrize(("data", "code", "said"), [
    ({"what": "machine", "machine": "no such"}, 404, "name one of these"),
    ({"what": "machine"}, 404, "name one of these"),
    ({"what": "order-out", "taken_out": "no such"}, 404, "name one of these"),
    ({"what": "order-in"}, 422, "paste the text of an order.toml"),
    ({"what": "order-in", "text": "name = "}, 422, "it is not TOML"),
    ({"what": "order-in", "text": "name = 'A'"}, 422, "order.toml"),
    ({"what": "order-in", "text": OTHER.replace("TM-20-2", "TM-20-1")}, 409, "give each its own"),
    ({"what": "order-in", "text": OTHER.replace("letters = 4", "letters = 2")}, 409, "another prefix"),
    ({"what": "quote", "text": OTHER.replace("letters = 4", "letters = 2")}, 409, "another prefix"),
    ({"what": "yield", "stage": "varnish"}, 404, "name one of these"),
    ({"what": "yield", "stage": "relief front", "percent": "9"}, 422, "at 1 at most"),
    (SHIFT | {"begins": "soon"}, 422, "it is no moment"),
    (SHIFT | {"begins": "2019-01-01T06:00"}, 422, "begins within the plan"),
    (SHIFT | {"hours": "25"}, 422, ""), (SHIFT | {"days": "8"}, 422, ""), (SHIFT | {"weeks": "some"}, 422, ""),
    ({"what": "else"}, 422, ""), ({"what": "machine", "machine": "coater", "seconds": "4"}, 422, ""),
    ({"what": "order-in", "text": "x" * 70_000}, 422, ""),
])  # fmt: skip
def test_a_question_that_makes_no_sense_is_told(app: FastAPI, data: dict[str, str], code: int, said: str) -> None:
    answer = client(app).post(f"{AT}/ask", data=data, headers={"Accept": "application/json"})
    assert answer.status_code == code, answer.text
    assert said in str(answer.json())
    assert app.state.house.jobs.of(compare_key(live_of(app))) == []


def test_without_a_plan_the_page_says_what_to_do(works: Path, app: FastAPI) -> None:
    (works / "plans" / "current.json").unlink()
    browser = client(app)
    assert "Plan the works first" in words(browser.get(AT).text)
    assert browser.post(f"{AT}/ask", data={"what": "machine", "machine": "coater"}).status_code == 404
    assert browser.get(f"{AT}?job=nothing").status_code in {200, 404}
    assert browser.post(f"{AT}/nothing/stop").status_code == 404


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_in_a_browser_a_question_is_asked_answered_and_read_by_all(works: Path, scheme: str) -> None:
    """axe-core's rules on the page with its answer, wide and narrow."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="missing component: axe").Axe()
    server = Server(works)
    try:
        with chromium() as browser:
            page = browser.new_context(color_scheme=scheme, bypass_csp=True).new_page()
            join(page, server.first_link())
            page.goto(f"{server.url}{AT}")
            form = page.locator("details", has=page.locator("summary", has_text=re.compile("^A machine more$")))
            form.locator("summary").click()
            form.locator("[name=machine]").select_option("relief press")
            form.get_by_label("Time for the search, s").fill("5")
            form.get_by_role("button", name="Compare").click()
            page.get_by_text("Now, and a second relief press.").wait_for(timeout=60_000)  # it redraws itself
            for wide in (1280, 390):
                page.set_viewport_size({"width": wide, "height": 900})
                assert page.evaluate("document.documentElement.scrollWidth") <= wide
                found = axe.run(page).response["violations"]
                assert not [(one["id"], one["nodes"][0]["html"][:200]) for one in found], wide
            page.get_by_role("button", name="Keep this plan").click()
            page.wait_for_url("**/plan")
            page.get_by_text("Kept from a what if: a second relief press.").wait_for(timeout=30_000)
    finally:
        server.stop()

"""The main loop, by the real server and a real browser: a mark on the film moves a date on the page, and says why.

Check values: the web held in m, whole sheets and notes are counted by hand beside each; the good notes to be expected
are worked out by the library on the same journal, not read off the page.
"""

import json
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from model_shop import greedy
from reelmark.acts.plan_drift import facts_of
from reelmark.acts.plan_kept import to_dict
from reelmark.acts.plan_pins import costs
from reelmark.acts.planning import plant_of
from reelmark.demo.folder import line, order_text
from reelmark.desk import Desk
from reelmark.io.config import read_order, read_works, template
from reelmark.io.people import People
from reelmark.io.planfile import read_plan, write_plan
from reelmark.plan.loading import job_shop
from reelmark.plan.planned import Planned
from reelmark.web.house import House
from reelmark.web.live import Live
from reelmark.web.planfiles import PLANS, PlanFiles
from reelmark.web.planfollow import CALM, LONGEST, Follower
from reelmark.web.planmove import move
from reelmark.web.plansearch import Report
from reelmark.web.planwork import key_of
from served import Server, chromium, join
from small_demo import made

FIRST = 5  # entries of the journal that are there at the beginning: two rolls wound, one mark that holds nothing
WITHIN = 30_000  # ms: the goal is 10 s; three times that where tests share two cores
ORDER = "TM-20-1"
DUE = "2026-03-12"


def begun(at: Path, day: str = "") -> Path:
    """The small order, just begun.  day : of delivery;  none: records are of the last hour, it is due in 60 days"""
    sim, reading = made()
    late = timedelta(0)
    if not day:
        late = datetime.now(UTC).replace(microsecond=0) - reading.records[FIRST - 1].at - timedelta(minutes=5)
        day = (datetime.now(UTC) + timedelta(days=60)).date().isoformat()
    order = re.sub(r"(?m)^by = .*", f"by = {day}", order_text(sim.order))
    works = re.sub(r"(?m)^batch = \S+", "batch = 1000", template("works.toml"))  # five batches of so small an order
    works = re.sub(r"(?m)^make_ready = \d+", "make_ready = 0", works)  # its rolls are of a few metres
    works = re.sub(r"(?m)^store = \d.*", "", works)
    first = [one for shift in sim.records for one in shift][:FIRST]
    moved = [one | {"at": (datetime.fromisoformat(one["at"]) + late).isoformat()} for one in first]
    file = at.parent / "first.jsonl"
    file.write_text("".join(map(line, moved)), encoding="utf-8")
    with Desk.create(at, order, works) as desk:
        assert desk.take([file]).taken == FIRST
    return at


@contextmanager
def planned(at: Path, begins: str = "") -> Iterator[tuple[Server, Any, Any]]:
    """A server, a browser signed in, and its page of the plan that was made there by the form."""
    server = Server(at)
    try:
        with chromium() as browser:
            context = browser.new_context(viewport={"width": 1280, "height": 900})
            page = context.new_page()
            join(page, server.first_link())
            page.goto(f"{server.url}/orders/{ORDER}/plan")
            page.get_by_label("Time for the search, s").fill("5")
            if begins:
                page.get_by_label("Begins").fill(begins)
            page.get_by_role("button", name="Plan", exact=True).click()
            page.get_by_text(f"It holds up to entry {FIRST - 1}, the last.").wait_for(timeout=60_000)
            yield server, context, page
    finally:
        server.stop()


def marked(server: Server, context: Any, of: str, grade: str, fault: str) -> None:
    """By the desk's own form."""
    other = context.new_page()
    other.goto(f"{server.url}/orders/{ORDER}?of={of}")
    form = other.locator("form[action$='/mark']")
    form.locator("[name=fault]").fill(fault)
    form.locator("[name=grade]").fill(grade)
    form.locator("button").click()
    other.wait_for_load_state()


def row(page: Any) -> dict[str, str]:
    """The one delivery of the table, by its columns."""
    table = page.locator("section[aria-labelledby='t-deliveries'] table")
    heads = [one.strip() for one in table.locator("th").all_inner_texts()]
    return dict(zip(heads, (one.strip() for one in table.locator("tbody tr").first.locator("td").all_inner_texts()),
                    strict=True))  # fmt: skip


def expected(at: Path) -> int:
    """Good notes to be expected, by the library."""
    with Desk(at) as desk:
        plan = read_plan(at, "current")
        assert plan is not None
        kept = PlanFiles().current(_Folder(at, desk))  # type: ignore[arg-type]
        assert kept is not None
        return facts_of(desk.reading, kept.planned, plant_of(desk.works)).good


class _Folder:
    """What a plan is read by."""

    def __init__(self, folder: Path, desk: Desk) -> None:
        self.folder, self.works = folder, desk.works


def test_a_mark_at_the_desk_moves_the_date_on_an_open_page_and_says_why(tmp_path: Path) -> None:
    at = begun(tmp_path / "works")
    with planned(at) as (server, context, page):
        before = row(page)
        assert before["Ready before it moved"] == "–"
        marked(server, context, "F01@5-35m", "hold", "thick band")
        page.get_by_text("moves from").first.wait_for(timeout=WITHIN)  # the page is not touched: it redraws itself
        after = row(page)
        # 30 m of 168 mm sheets touch 180 a lane at most, on two lanes of 6-up sheets: 2,160 notes
        text = page.locator("main").inner_text()
        assert "30 m of film held: 180 sheets a lane, 2,160 notes (thick band, entry 5)" in text
        good = expected(at)
        assert f"{good:,} good notes are to be expected of 4,800: a make-up batch of {4_800 - good:,} notes" in text
        assert f"elivery 1 of {ORDER} moves from" in text
        assert after["Ready before it moved"] == before["Ready"]
        assert after["Ready"] > before["Ready"]
        assert "it waits for the make-up batch" in after["In words"]
        assert f"It holds up to entry {FIRST}, the last." in text
        kept, old = read_plan(at, "current"), read_plan(at, "before")
        assert kept is not None
        assert old is not None
        assert kept["told"]["entries"] == FIRST + 1
        assert kept["told"]["by"] == old["told"]["by"]
        assert len(kept["start"]) > len(old["start"])  # the make-up batch


def test_marks_sent_by_the_command_line_that_make_a_delivery_late_are_shown_as_fast(tmp_path: Path) -> None:
    """Late, so a better plan is searched for; two marks at once are one move."""
    at = begun(tmp_path / "works", DUE)
    with planned(at, "2026-03-02T06:00") as (_, _context, page):
        before = row(page)
        assert before["Late h"] == "0.0"
        marks = [
            {"machine": "film line", "seq": 900 + n, "at": f"2026-03-02T07:0{n}:00+00:00",
             "by": "F. Norcott", "kind": "mark", "unit": "F01", "lanes": [1, 2], "start": f"{a} m", "end": f"{b} m",
             "fault": "gel", "grade": "hold", "seen_by": "film gauge"}
            for n, (a, b) in enumerate([(2, 6), (8, 40)])
        ]  # fmt: skip
        file = tmp_path / "marks.jsonl"
        file.write_text("".join(map(line, marks)), encoding="utf-8")
        done = subprocess.run([sys.executable, "-m", "reelmark", "take", file, "--works", at, "--json"], check=True,
                              capture_output=True)  # fmt: skip
        assert json.loads(done.stdout)["taken"] == 2
        page.get_by_text("moves from").first.wait_for(timeout=WITHIN)
        # 4 m and 32 m of 168 mm sheets: 23.8 and 190.5, so 25 and 192 a lane at most; two lanes of 6-up sheets
        text = page.locator("main").inner_text()
        assert "4 m of film held: 25 sheets a lane, 300 notes" in text
        assert "32 m of film held: 192 sheets a lane, 2,304 notes" in text
        assert row(page)["Late h"] != "0.0"
        kept = read_plan(at, "current")
        assert kept is not None
        assert len(kept["told"]["log"]) == 1


# --- without a browser: what the desk does by itself -------------------------------------------------------------


def kept_plan(at: Path, entries: int | None, **more: Any) -> Planned:
    """A plan of it in its folder, order by order without a search."""
    order, plant = read_order(at / "order.toml"), plant_of(read_works(at / "works.toml"))
    shop = job_shop([order], plant, datetime(2026, 3, 2, 6, tzinfo=UTC), 100)
    schedule = greedy(shop)
    planned = Planned(shop, schedule, datetime.fromisoformat(shop.begins), costs(shop, schedule)[0], 1.0)
    told = {"by": "A. Moss", "orders": [ORDER], "revision": 4, "turn": 7, **more}
    write_plan(at, "current", to_dict(planned) | {"told": told | ({} if entries is None else {"entries": entries})})
    return planned


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[tuple[House, Live, Follower]]:
    """A house of the works just begun, with a plan that knows its journal; nobody looks but the test."""
    at = begun(tmp_path / "works", "2026-05-04")
    kept_plan(at, FIRST)
    house = House([at], People.open(tmp_path / "people.db"))
    try:
        yield house, house.lives[ORDER], Follower(house)
    finally:
        house.stop()
        house.close()


def posted(live: Live, *marks: tuple[int, int, str]) -> None:
    """Marks on the first roll: from m, to m, grade."""
    bodies = [
        {"kind": "mark", "unit": "F01", "lanes": [1, 2], "start": f"{a} m", "end": f"{b} m", "fault": "gel",
         "grade": grade, "seen_by": "film gauge"} for a, b, grade in marks
    ]  # fmt: skip
    live.write(lambda desk: desk.post(bodies, live.machine, "F. Norcott", None, "2026-03-02T07:00:00+00:00")).result()


def looked(house: House, live: Live, follower: Follower, now: float) -> list[Any]:
    """A look, and the jobs of planning once they are over."""
    follower.look(now)
    jobs: list[Any] = []
    for _ in range(1200):
        jobs = house.jobs.of(key_of(live))
        if not any(one.open for one in jobs):
            return jobs
        time.sleep(0.05)
    raise AssertionError("the plan was not moved in time")


def current(live: Live) -> dict[str, Any]:
    found = read_plan(live.folder, "current")
    assert found is not None
    return found


def test_marks_that_come_together_move_the_plan_once(desk: tuple[House, Live, Follower]) -> None:
    house, live, follower = desk
    assert looked(house, live, follower, 0.0) == []  # it knows its journal
    for n, stretch in enumerate([(2, 6), (8, 20), (20, 40)]):
        posted(live, (*stretch, "hold"))
        assert looked(house, live, follower, 1 + 0.1 * n) == []  # more may come
    (job,) = looked(house, live, follower, 1.2 + CALM + 0.01)
    assert (job.state, job.by) == ("done", "the desk")
    told = current(live)["told"]
    assert told["entries"] == FIRST + 3
    assert told["by"] == "A. Moss"
    assert (told["log"][0]["since"], told["log"][0]["entries"], len(told["log"])) == (FIRST, FIRST + 3, 1)
    assert sum("of film held" in one for one in told["log"][0]["says"]) == 3
    assert told["moves"][0]["to"] > told["moves"][0]["from"]
    assert told["turn"] == 8
    before = read_plan(live.folder, "before")
    assert before is not None
    assert before["told"]["entries"] == FIRST
    assert looked(house, live, follower, 60.0) == [job]  # and nothing more


def test_entries_without_an_end_do_not_put_it_off_for_ever(desk: tuple[House, Live, Follower]) -> None:
    house, live, follower = desk
    follower.look(0.0)
    times = [1 + 0.3 * n for n in range(9)]  # each within CALM of the one before
    jobs: list[Any] = []
    for n, now in enumerate(times):
        posted(live, (n, n + 1, "note"))
        jobs = looked(house, live, follower, now)
        assert bool(jobs) == (now - times[0] >= LONGEST)
    assert jobs


def test_what_changes_nothing_is_taken_in_quietly(desk: tuple[House, Live, Follower]) -> None:
    house, live, follower = desk
    looked(house, live, follower, 0.0)
    posted(live, (5, 6, "note"))
    looked(house, live, follower, 1.0)
    (job,) = looked(house, live, follower, 2.0)
    assert job.state == "done"
    kept = current(live)
    assert kept["told"]["entries"] == FIRST + 1
    assert kept["told"]["turn"] == 7  # an open page is left as it is
    assert "log" not in kept["told"]
    assert kept["says"] == []
    assert read_plan(live.folder, "before") is None


def test_a_small_loss_is_told_though_no_date_moves(desk: tuple[House, Live, Follower]) -> None:
    house, live, follower = desk
    looked(house, live, follower, 0.0)
    posted(live, (0, 1, "hold"))
    looked(house, live, follower, 1.0)
    looked(house, live, follower, 2.0)
    kept = current(live)
    assert kept["told"]["moves"] == []
    assert kept["told"]["turn"] == 8
    assert (
        kept["says"][0] == f"1 m of film held: 7 sheets a lane, 84 notes (gel, entry {FIRST})"
    )  # 5.95 touch 7 at most
    assert read_plan(live.folder, "before") is None  # nothing to take back


def test_a_plan_that_another_has_overtaken_is_not_written(desk: tuple[House, Live, Follower]) -> None:
    _, live, _ = desk
    kept = PLANS.current(live)
    assert kept is not None
    kept_plan(live.folder, FIRST, note="by hand, meanwhile")
    assert not PLANS.write(live, kept.planned, kept.told, kept.stamp)
    assert not PLANS.replace(live, kept.planned, kept.told, kept.stamp)
    assert current(live)["told"]["note"] == "by hand, meanwhile"
    posted(live, (5, 35, "hold"))
    assert not move(live, kept, Report(lambda *_: None, 1), FIRST)
    assert current(live)["told"]["note"] == "by hand, meanwhile"


def test_a_plan_that_cannot_be_moved_stays_and_is_tried_again_with_the_next_entry(tmp_path: Path) -> None:
    at = begun(tmp_path / "works", "2026-05-04")
    kept_plan(at, FIRST)
    text = (at / "works.toml").read_text(encoding="utf-8")
    (at / "works.toml").write_text(text[: text.rindex("[[plant.stages]]")], encoding="utf-8")  # a stage less since
    house = House([at], People.open(tmp_path / "people.db"))
    try:
        live, follower = house.lives[ORDER], Follower(house)
        before = (at / "plans" / "current.json").read_bytes()
        looked(house, live, follower, 0.0)
        for n in (1, 2):
            posted(live, (5, 35, "hold"))
            looked(house, live, follower, 10.0 * n)
            for late in (5, 6, 7):  # the same is not tried again and again
                jobs = looked(house, live, follower, 10.0 * n + late)
            assert [one.state for one in jobs] == ["failed"] * n
            assert "plan the order anew" in jobs[0].fault[2]
        assert (at / "plans" / "current.json").read_bytes() == before
    finally:
        house.stop()
        house.close()


@pytest.mark.parametrize("what", ["another order", "no plan", "does not say", "damaged"])
def test_plans_that_are_left_alone(desk: tuple[House, Live, Follower], what: str) -> None:
    house, live, follower = desk
    path = live.folder / "plans" / "current.json"
    if what == "another order":
        path.write_text(path.read_text(encoding="utf-8").replace(ORDER, "TM-99-9"), encoding="utf-8")
    elif what == "no plan":
        path.unlink()
    elif what == "damaged":
        path.write_text("{", encoding="utf-8")
    else:
        kept_plan(live.folder, None)
    assert looked(house, live, follower, 0.0) == []
    if what == "does not say":  # up to where it was first seen it is taken to know
        posted(live, (5, 35, "hold"))
        looked(house, live, follower, 1.0)
        assert [one.state for one in looked(house, live, follower, 2.0)] == ["done"]
        assert current(live)["told"]["log"][0]["since"] == FIRST
    else:
        posted(live, (5, 35, "hold"))
        looked(house, live, follower, 1.0)
        assert looked(house, live, follower, 2.0) == []


def test_an_entry_after_the_calendars_end_is_taken_as_of_the_last_that_they_reach(
    desk: tuple[House, Live, Follower],
) -> None:
    house, live, follower = desk
    looked(house, live, follower, 0.0)
    body = {"kind": "mark", "unit": "F01", "lanes": [1, 2], "start": "5 m", "end": "35 m", "fault": "gel",
            "grade": "hold", "seen_by": "film gauge"}  # fmt: skip
    live.write(lambda desk: desk.post([body], live.machine, "F. Norcott", None, "2027-03-02T07:00:00+00:00")).result()
    looked(house, live, follower, 1.0)
    looked(house, live, follower, 2.0)
    says = current(live)["says"]
    assert any("moves from" in one for one in says)
    assert says[-1] == ("the last entry is of 2027-03-02 07:00, too late for the plan's calendars: it is taken as of "
                        "2026-03-02 06:33; plan again for days to come")  # fmt: skip

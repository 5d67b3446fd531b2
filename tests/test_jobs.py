"""Long work on the hand that writes: how far it is, how it ends, and files of records sent in."""

import json
import time
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from threading import Event
from typing import Any, cast

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from reelmark.demo import SMALL, simulate, write_records
from reelmark.desk import Desk
from reelmark.errors import Clash, NotThere
from reelmark.io.people import People
from reelmark.reading import Refused
from reelmark.web import faults, jobs, taking
from reelmark.web.house import House
from reelmark.web.jobs import Job, Jobs
from reelmark.web.live import Live
from reelmark.web.news import News
from reelmark.web.page import add
from reelmark.web.pages import intake
from reelmark.web.sign import COOKIE

ENDED = {"done", "failed", "cancelled"}


class Hand:
    """Stands for a works folder being served: one hand that does one act after another.  free : may it begin?"""

    key = "T-1"

    def __init__(self) -> None:
        self.free = Event()
        self._hand = ThreadPoolExecutor(1)

    def write(self, act: Any) -> "Future[Any]":
        def do() -> Any:
            assert self.free.wait(10)
            return act(None)

        return self._hand.submit(do)


class Heard(News):
    """News that keeps what it is told, and when."""

    def __init__(self) -> None:
        super().__init__()
        self.told: list[dict[str, Any]] = []

    def tell(self, what: str, data: dict[str, Any]) -> None:
        assert what == "job"
        json.dumps(data)
        self.told.append(data)


def until(true: Any) -> None:
    """Wait for what another thread does."""
    for _ in range(1_000):
        if true():
            return
        time.sleep(0.01)
    raise AssertionError("it did not come about in 10 s")


def started(all_jobs: Jobs, hand: Hand, act: Any, **more: Any) -> Job:
    return all_jobs.start(cast(Live, hand), "a job", "A. Quennel", act, **more)


def ended(job: Job) -> Job:
    until(lambda: job.state in ENDED)
    return job


def test_a_job_waits_runs_and_is_done_with_its_result() -> None:
    hand, news = Hand(), Heard()
    job = started(Jobs(news), hand, lambda desk, tell: tell("reading", 3, 9) or 42)
    assert (job.state, job.order, job.by) == ("waiting", "T-1", "A. Quennel")
    hand.free.set()
    assert (ended(job).result, job.what, job.done, job.of) == (42, "reading", 3, 9)
    until(lambda: news.told[-1]["state"] == "done")
    assert [one["state"] for one in news.told] == ["waiting", "running", "done"]
    assert {one["id"] for one in news.told} == {job.id}


def test_a_cancelled_job_ends_at_its_next_tell_and_what_was_done_before_stands() -> None:
    hand, all_jobs, so_far, on = Hand(), Jobs(Heard()), [1], Event()

    def act(desk: Any, tell: Any) -> None:
        so_far.append(2)
        tell("reading", 1, 0)
        on.set()
        for n in range(2, 100_000):
            time.sleep(0.001)
            tell("reading", n, 0)
        so_far.append(3)

    hand.free.set()
    job = started(all_jobs, hand, act, so_far=so_far)
    assert on.wait(10)
    all_jobs.cancel("T-1", job.id)
    assert (ended(job).state, job.fault, job.result) == ("cancelled", None, [1, 2])


def test_a_job_cancelled_while_it_waits_is_never_begun() -> None:
    hand, all_jobs, begun, over = Hand(), Jobs(Heard()), [], []
    job = started(all_jobs, hand, lambda desk, tell: begun.append(1), after=lambda: over.append(1))
    all_jobs.cancel_all()
    hand.free.set()
    assert (ended(job).state, begun, over) == ("cancelled", [], [1])


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (Clash("seq", 7, "7 is used", "send another"), ("seq = 7", "7 is used", "send another")),
        (Refused(4, Clash("seq", 7, "7 is used", "send another")), ("entry 4: seq = 7", "7 is used", "send another")),
        (ZeroDivisionError("1/0"), ("the job", "the program failed in it (ZeroDivisionError)", "look in the server's")),
    ],
)  # fmt: skip
def test_a_job_that_fails_says_why_and_the_next_one_goes_on(error: Exception, words: tuple[str, str, str]) -> None:
    def act(desk: Any, tell: Any) -> None:
        raise error

    hand, all_jobs, over = Hand(), Jobs(Heard()), []
    hand.free.set()
    job = ended(started(all_jobs, hand, act, after=lambda: over.append(1)))
    assert (job.state, over) == ("failed", [1])
    assert job.fault is not None
    assert [said.startswith(word) for said, word in zip(job.fault, words, strict=True)] == [True] * 3
    assert ended(started(all_jobs, hand, lambda desk, tell: 1)).state == "done"


def test_how_far_it_is_is_told_five_times_a_second_at_most(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter(n * 0.01 for n in range(10_000))  # every look at the clock is 10 ms later
    monkeypatch.setattr(jobs, "monotonic", lambda: next(clock))
    hand, news = Hand(), Heard()
    hand.free.set()
    ended(started(Jobs(news), hand, lambda desk, tell: [tell("reading", n, 500) for n in range(500)]))
    tells = len(news.told) - 3  # waiting, running, done
    assert 0 < tells <= 5 * 500 * 2 * 0.01 + 1  # two looks for a tell that goes out
    assert tells > 15


def test_the_last_fifty_are_kept_and_those_at_work_are_never_forgotten() -> None:
    hand, all_jobs = Hand(), Jobs(Heard())
    hand.free.set()
    made = [ended(started(all_jobs, hand, lambda desk, tell: 1)) for _ in range(jobs.MOST + 3)]
    assert [one.id for one in all_jobs.of("T-1")] == [one.id for one in made[3:]][::-1]
    with pytest.raises(NotThere, match="the last 50 are kept"):
        all_jobs.get("T-1", made[0].id)
    with pytest.raises(NotThere):
        all_jobs.get("T-2", made[-1].id)  # of another order
    hand.free.clear()
    for _ in range(jobs.MOST):
        started(all_jobs, hand, lambda desk, tell: 1)
    over: list[int] = []
    with pytest.raises(Clash, match="50 jobs wait already"):
        started(all_jobs, hand, lambda desk, tell: 1, after=lambda: over.append(1))
    assert over == [1]
    hand.free.set()


# ---- files sent in


@pytest.fixture
def app(tmp_path: Path) -> Iterator[FastAPI]:
    """A house with an empty works for the small order; its shifts' files lie beside it."""
    write_records(simulate(SMALL, 1), tmp_path)
    order, works = ((tmp_path / name).read_text(encoding="utf-8") for name in ("order.toml", "works.toml"))
    Desk.create(tmp_path / "works", order, works).store.close()
    people = People.open(tmp_path / "people.db")
    people.join(people.invite(["read", "write", "keep"], None, datetime.now(UTC)), "A. Moss", "-", datetime.now(UTC))
    people.join(people.invite(["read"], "A. Moss", datetime.now(UTC)), "D. Ash", "-", datetime.now(UTC))
    app = FastAPI(openapi_url=None)
    app.state.house = house = House([tmp_path / "works"], people)
    app.state.records = sorted((tmp_path / "records").glob("*.jsonl"))
    app.include_router(taking.router)
    add(app, intake.PAGE)
    for kind, handler in faults.HANDLERS.items():
        app.add_exception_handler(kind, handler)
    yield app
    house.close()


def live_of(app: FastAPI) -> Live:
    return cast(Live, next(iter(app.state.house.lives.values())))


def base(app: FastAPI) -> str:
    return f"/orders/{live_of(app).key}"


def client(app: FastAPI, name: str = "A. Moss", **headers: str) -> TestClient:
    token = app.state.house.people.begin(name, datetime.now(UTC))
    return TestClient(app, follow_redirects=False, headers={"Cookie": f"{COOKIE}={token}", **headers})


def sent(app: FastAPI, files: list[tuple[str, bytes]], **data: str) -> dict[str, Any]:
    """What became of files, once the job is over."""
    machine = client(app, Accept="application/json")
    answer = machine.post(f"{base(app)}/intake", files=[("files", one) for one in files], data=data)
    assert answer.status_code == 202, answer.text
    where = f"/api{base(app)}/jobs/{answer.json()['job']}"
    until(lambda: machine.get(where).json()["state"] in ENDED)
    told: dict[str, Any] = machine.get(where).json()
    return told


def shift(app: FastAPI, number: int) -> tuple[str, bytes]:
    file: Path = app.state.records[number]
    return file.name, file.read_bytes()


def test_files_are_taken_in_the_order_of_their_names_under_their_own_names(
    app: FastAPI, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    (tmp_path / "temporary").mkdir()
    (name, second), (first_name, first) = shift(app, 1), shift(app, 0)
    told = sent(app, [(f"../../{name}", second), (f"C:\\shifts\\{first_name}", first)])
    assert (told["state"], told["by"]) == ("done", "A. Moss")
    assert [one["file"] for one in told["result"]] == ["shift-001.jsonl", "shift-002.jsonl"]
    assert sum(one["taken"] for one in told["result"]) == live_of(app).now.reading.size > 0
    assert [one["refused"] for one in told["result"]] == [[], []]
    assert "A. Moss" not in {record.by for record in live_of(app).now.reading.records}
    assert list((tmp_path / "temporary").iterdir()) == []  # what was sent is not kept
    again = sent(app, [(first_name, first)])["result"][0]
    assert (again["taken"], again["sent_before"]) == (0, len(first.splitlines()))


def test_a_bad_line_keeps_its_file_out_and_is_told_with_why_and_cure(app: FastAPI) -> None:
    name, whole = shift(app, 0)
    bad = b'{"kind":"roll"}\n' + whole
    (file,) = sent(app, [(name, bad)])["result"]
    assert (file["taken"], file["lines_refused"], live_of(app).now.reading.size) == (0, 1, 0)
    assert {(one["line"], one["why"]) for one in file["refused"]} == {(1, "it is missing")}
    assert {"line", "field", "value", "why", "cure"} == file["refused"][0].keys()
    (file,) = sent(app, [(name, bad)], skip_bad="yes")["result"]
    assert (file["taken"], file["lines_refused"]) == (live_of(app).now.reading.size, 1)
    page = client(app).get(f"{base(app)}/intake?job={app.state.house.jobs.of(live_of(app).key)[0].id}").text
    for word in ("it is missing", "taken but for its bad lines", name):
        assert word in page


def test_an_intake_ended_by_a_person_takes_nothing_of_its_file(app: FastAPI) -> None:
    gate, person = Event(), client(app)
    holding = live_of(app).write(lambda desk: gate.wait(10))  # so that the job is still waiting
    answer = person.post(f"{base(app)}/intake", files=[("files", shift(app, 0))])
    assert answer.status_code == 303
    where, _, job = answer.headers["location"].partition("?job=")
    assert where == f"{base(app)}/intake"
    page = person.get(answer.headers["location"]).text
    assert f'action="{base(app)}/intake/{job}/cancel"' in page
    assert "<progress" in page
    assert client(app, "D. Ash").post(f"{base(app)}/intake/{job}/cancel").status_code == 403
    assert person.post(f"{base(app)}/intake/{job}/cancel").status_code == 303
    gate.set()
    holding.result()
    until(lambda: person.get(f"/api{base(app)}/jobs/{job}").json()["state"] == "cancelled")
    assert live_of(app).now.reading.size == 0
    assert "nothing was taken" in person.get(f"{base(app)}/intake?job={job}").text


@pytest.mark.parametrize(
    ("name", "said"), [("records.exe", "records come as .jsonl"), ("jsonl", "records come as .jsonl")]
)
def test_a_file_that_is_none_of_records_is_refused_before_it_is_stored(app: FastAPI, name: str, said: str) -> None:
    answer = client(app, Accept="application/json").post(f"{base(app)}/intake", files=[("files", (name, b"{}\n"))])
    assert (answer.status_code, said in answer.json()["true"]) == (422, True)
    assert app.state.house.jobs.of(live_of(app).key) == []


def test_more_bytes_than_are_taken_at_once_are_refused(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(taking, "MOST_BYTES", 2**20)
    two = [("files", (f"{n}.jsonl", b"\n" * (600 * 2**10))) for n in (1, 2)]
    answer = client(app, Accept="application/json").post(f"{base(app)}/intake", files=two)
    assert (answer.status_code, answer.json()["true"]) == (422, "the files sent have more than 1 MiB together")


def test_who_may_only_read_sees_the_page_and_sends_nothing(app: FastAPI) -> None:
    reader = client(app, "D. Ash")
    page = reader.get(f"{base(app)}/intake")
    assert (page.status_code, 'type="file"' in page.text) == (200, False)
    assert 'type="file"' in client(app).get(f"{base(app)}/intake").text
    assert reader.post(f"{base(app)}/intake", files=[("files", shift(app, 0))]).status_code == 403
    assert reader.get(f"/api{base(app)}/jobs/none").status_code == 404

"""Long work: done by the one hand that writes a works' folder, told of while it is done, and ended when asked.

    job = jobs.start(live, "Intake of 2 files", by, act)         act(desk, tell) -> its result, for the page
    jobs.get(order, job.id)                                      how far it is, or what came of it
    jobs.cancel(order, job.id)                                   the next tell raises Cancelled

Jobs are kept in memory: after a restart nobody remembers them, while what they wrote is in the journal.
"""

import logging
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from secrets import token_hex
from threading import Event, Lock
from time import monotonic
from typing import Any, Final, Literal

from ..desk import Desk
from ..errors import Clash, NotThere, Problem
from ..reading import Refused, Tell
from .live import Live
from .news import News

__all__ = ["Act", "Cancelled", "Job", "Jobs", "State"]

MOST: Final = 50  # jobs kept
APART: Final = 0.2  # s between two tellings of how far a job is

State = Literal["waiting", "running", "done", "failed", "cancelled"]
Act = Callable[[Desk, Tell], Any]


class Cancelled(Exception):
    """Somebody asked that the job be ended."""


@dataclass
class Job:
    """One piece of long work.

    order : key of the order in addresses; what, done, of : what is being done, how much of it; of 0 = nobody can say
    result : what the act gave; fault : asked, true, cure of what went wrong
    """

    title: str
    order: str
    by: str
    began: str
    id: str = field(default_factory=partial(token_hex, 6))
    state: State = "waiting"
    what: str = ""
    done: int = 0
    of: int = 0
    result: Any = None
    fault: tuple[str, str, str] | None = None
    stop: Event = field(default_factory=Event, repr=False)

    @property
    def open(self) -> bool:
        """Is it still to be ended?"""
        return self.state in {"waiting", "running"}

    def told(self) -> dict[str, Any]:
        """For machines and open pages."""
        fault = dict(zip(("asked", "true", "cure"), self.fault, strict=True)) if self.fault else None
        return {"id": self.id, "title": self.title, "order": self.order, "by": self.by, "began": self.began,
                "state": self.state, "what": self.what, "done": self.done, "of": self.of, "fault": fault}  # fmt: skip


class Jobs:
    """The jobs of a house.  news : told of every change, and at most five times a second how far a job is."""

    def __init__(self, news: News) -> None:
        self._news, self._lock = news, Lock()
        self._jobs: dict[str, Job] = {}

    def start(
        self, live: Live, title: str, by: str, act: Act, so_far: Any = None, after: Callable[[], None] = lambda: None
    ) -> Job:
        """A job that waits for its turn.  Clash when so many wait already that none can be forgotten for it.

        so_far : stands as the result until the act gives one, and where it is ended before
        after : always done at the end, whatever came of it, also where the job cannot start
        """
        job = Job(title, live.key, by, datetime.now(UTC).isoformat(timespec="seconds"), result=so_far)
        try:
            self._keep(job)
            future = live.write(partial(self._run, job, act))
        except BaseException:
            self._jobs.pop(job.id, None)
            after()
            raise
        self._tell(job)
        future.add_done_callback(partial(self._end, job, after))
        return job

    def _keep(self, job: Job) -> None:
        with self._lock:
            over = [one.id for one in self._jobs.values() if not one.open][: max(0, len(self._jobs) - MOST + 1)]
            for one in over:
                del self._jobs[one]
            if len(self._jobs) >= MOST:
                raise Clash("job", job.title, f"{MOST} jobs wait already", "wait until one is done, or cancel one")
            self._jobs[job.id] = job

    def get(self, order: str, job: str) -> Job:
        """The job of that name in an order; NotThere when it was never there, or is forgotten."""
        found = self._jobs.get(job)
        if found is None or found.order != order:
            true = f"it is not among the jobs of {order}: the last {MOST} are kept, and none over a restart"
            raise NotThere("job", job, true, "look in the journal whether its records were taken, or start it again")
        return found

    def of(self, order: str) -> list[Job]:
        """Those of an order, newest first."""
        with self._lock:
            return [one for one in self._jobs.values() if one.order == order][::-1]

    def cancel(self, order: str, job: str) -> Job:
        """Ask that it be ended; where it is ended already, nothing happens."""
        found = self.get(order, job)
        found.stop.set()
        return found

    def cancel_all(self) -> None:
        """Ask that every job be ended: the server stops."""
        with self._lock:
            for one in self._jobs.values():
                one.stop.set()

    # --- on the hand that writes ---------------------------------------------------------------------------------

    def _run(self, job: Job, act: Act, desk: Desk) -> Any:
        if job.stop.is_set():
            raise Cancelled
        job.state = "running"
        self._tell(job)
        last = monotonic()

        def tell(what: str, done: int, of: int) -> None:
            nonlocal last
            if job.stop.is_set():
                raise Cancelled
            job.what, job.done, job.of = what, done, of
            if monotonic() - last >= APART:
                last = monotonic()
                self._tell(job)

        return act(desk, tell)

    def _end(self, job: Job, after: Callable[[], None], future: "Future[Any]") -> None:
        """Once the act is over and the newest reading is shown."""
        try:
            after()
        finally:
            error = Cancelled() if future.cancelled() else future.exception()
            if error is None:
                job.result = job.result if (given := future.result()) is None else given
            else:
                job.fault = _words(error)
            job.state = "done" if error is None else "cancelled" if isinstance(error, Cancelled) else "failed"
            self._tell(job)

    def _tell(self, job: Job) -> None:
        self._news.tell("job", job.told())


def _words(error: BaseException) -> tuple[str, str, str] | None:
    """What went wrong, in words: asked, true, cure."""
    if isinstance(error, Cancelled):
        return None
    if isinstance(error, Refused):
        problem = error.problem
        return f"entry {error.seq}: {problem.asked}", problem.true, problem.cure
    if isinstance(error, Problem):
        return error.asked, error.true, error.cure
    logging.getLogger(__name__).error("a job failed", exc_info=error)
    return (
        "the job",
        f"the program failed in it ({type(error).__name__})",
        "look in the server's log, then start it again",
    )

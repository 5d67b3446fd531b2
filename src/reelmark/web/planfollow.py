"""The plan follows the journal: what is written moves it, though nobody asks.

    take_in(house, live, by)        the plan of a works moved by what its journal says, as a job
    following(app)                  while the server runs, every plan that its journal has outgrown is moved

Entries that come together are gathered; one plan is moved at a time.  Where a plan cannot be moved it stays, and is
tried again when more is written.
"""

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from functools import partial
from time import monotonic
from typing import Any, Final

from fastapi import FastAPI

from ..errors import NotThere, Problem
from ..reading import Tell
from .house import House
from .jobs import Job
from .live import Live
from .planfiles import PLANS, Kept
from .planmove import SECONDS, move
from .plansearch import Report
from .planwork import DESK, begin, key_of

__all__ = ["Follower", "following", "take_in"]

LOOK: Final = 0.2  # s between looks whether a journal has grown
CALM, LONGEST = 0.4, 2.0  # s without a new entry, after which a plan is moved; s after which it is moved all the same


def take_in(house: House, live: Live, by: str, since: int | None = None) -> Job:
    """A job that moves the plan.  NotThere where there is none, or none of this order.

    since : entries that the plan knows, where it does not say itself
    """
    kept = PLANS.current(live)
    if kept is None or not _has(live, kept):
        true = "there is none yet" if kept is None else f"it is of {', '.join(kept.orders)}"
        raise NotThere("plan", live.order.name, true, "plan again, with the form on the page")
    known = kept.entries if kept.entries is not None else since or 0
    title = f"taking in what happened since entry {known:,}"
    return begin(house, live, title, by, partial(_act, house, live, known))


def _act(house: House, live: Live, since: int, _: Any, tell: Tell) -> None:
    kept = PLANS.current(live)  # as it is when its turn comes
    if kept is None or not _has(live, kept):
        return
    try:
        move(live, kept, Report(tell, SECONDS), since if kept.entries is None else kept.entries)
    except Problem:
        house.news.tell("job", {"id": kept.turn, "state": "failed"})  # open pages say why it stays
        raise


def _has(live: Live, kept: Kept) -> bool:
    return live.works.plant is not None and live.order.name in [one.name for one in kept.planned.shop.jobs]


@dataclass
class _Seen:
    """What is known of a works.  first : entries when it was first looked at;  tried : what was tried last"""

    first: int
    size: int
    since: float = 0.0
    last: float = 0.0
    tried: Any = None


@dataclass
class Follower:
    """Looks at every works of a house again and again."""

    house: House
    _seen: dict[str, _Seen] = field(default_factory=dict)

    def look(self, now: float) -> None:
        """now : s, of a clock that goes on"""
        for live in list(self.house.lives.values()):
            try:
                self._look(live, now)
            except Problem:
                continue  # a damaged plan: its page says so
            except Exception:
                logging.getLogger(__name__).exception("the plan of %s could not be looked at", live.key)

    def _look(self, live: Live, now: float) -> None:
        size = live.now.reading.size
        seen = self._seen.setdefault(live.key, _Seen(size, size))
        if size != seen.size:
            seen.size, seen.last = size, now
            seen.since = seen.since or now
        if now - seen.last < CALM and now - seen.since < LONGEST:
            return
        seen.since = 0.0
        kept = PLANS.current(live)
        if kept is None or not _has(live, kept) or not self._outgrown(kept, seen) or self._moving(live):
            return
        if seen.tried != (size, kept.stamp):
            seen.tried = size, kept.stamp
            take_in(self.house, live, DESK, seen.first)

    @staticmethod
    def _outgrown(kept: Kept, seen: _Seen) -> bool:
        known = seen.first if kept.entries is None else kept.entries
        return seen.size > known or (bool(kept.told.get("by_hand")) and seen.size > 0)

    def _moving(self, live: Live) -> bool:
        return any(one.open and one.by == DESK for one in self.house.jobs.of(key_of(live)))


@asynccontextmanager
async def following(app: FastAPI) -> AsyncIterator[None]:
    """While the server runs."""
    follower = Follower(app.state.house)

    async def look() -> None:
        while True:
            await asyncio.sleep(LOOK)
            await asyncio.to_thread(follower.look, monotonic())

    task = asyncio.create_task(look())
    try:
        yield
    finally:
        task.cancel()

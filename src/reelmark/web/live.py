"""A works folder as it is served: one reading that many look at, one hand that writes.

``Live`` keeps a ``Now``: the reading of the journal as it stands, never changed, replaced whole when entries come.  All
writing is done by one thread of its own, which alone owns the folder's database; it also looks whether somebody else
(the command line) has written.  What is worked out of a reading is kept with it: ``now.once``.
"""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event, RLock
from typing import Any, TypeVar

from ..desk import Desk, sealed_at
from ..errors import BadValue, Clash, Problem
from ..io import Refused
from ..journal import leaf
from ..reading import Reading

__all__ = ["Live", "Now"]

T = TypeVar("T")
EARLIER = 3  # readings of earlier positions kept
REFUSALS = 200  # records refused for a used number, the last of which are shown
RECENT = 64  # answers kept with a reading, of those that may be asked in endless ways


@dataclass(frozen=True)
class Now:
    """A reading, the bytes it was read from, and the seal over them."""

    reading: Reading
    bodies: tuple[bytes, ...]
    seal: dict[str, Any]
    _made: dict[Any, Any] = field(default_factory=dict, repr=False)
    _recent: dict[Any, Any] = field(default_factory=dict, repr=False)

    def once(self, key: Any, make: Callable[[Reading], T]) -> T:
        """What `make` gives for this reading, worked out at the first asking."""
        if key not in self._made:
            self._made[key] = make(self.reading)
        return self._made[key]  # type: ignore[no-any-return]

    def recent(self, key: Any, make: Callable[[Reading], T]) -> T:
        """The same for what may be asked in endless ways: only the last are kept."""
        if key in self._recent:
            self._recent[key] = self._recent.pop(key)
            return self._recent[key]  # type: ignore[no-any-return]
        if len(self._recent) >= RECENT:
            self._recent.pop(next(iter(self._recent)))
        self._recent[key] = made = make(self.reading)
        return made


class Live:
    """A works folder being served.

    machine : under which records made here are written
    told : when there is a new reading; warm : works out, before it is shown, what every page wants of it
    looking : held while a reading is looked at, so that caches fill one at a time
    """

    def __init__(
        self,
        folder: Path,
        machine: str = "office",
        told: Callable[["Live"], None] = lambda _: None,
        warm: Callable[[Now], None] = lambda _: None,
    ) -> None:
        self.folder, self.machine, self._told, self._warm = folder, machine, told, warm
        self.looking = RLock()
        self._hand = ThreadPoolExecutor(1, thread_name_prefix=f"writes-{folder.name}")
        self._earlier: dict[int, Now] = {}
        self._stopped = Event()
        self.now: Now
        self.refusals: tuple[Refused, ...] = ()
        self._desk: Desk = self._hand.submit(Desk, folder).result()
        try:
            self._desk.tell = self._go_on
            self.order, self.works = self._desk.order, self._desk.works
            self.key = self.order.name.replace("/", "_")  # in addresses
            self.works.machine(machine)
            self._hand.submit(self._look).result()
            self._hand.submit(self._refresh).result()
        except BaseException:
            self.close()
            raise

    def stop(self) -> None:
        """Nothing more is written: what a person's act would write is given up, so that nobody waits for it."""
        self._stopped.set()

    def _go_on(self, what: str, done: int, of: int) -> None:
        if self._stopped.is_set():
            raise Problem("writing", "the server is being stopped, and nothing was written", "do it again later")

    def close(self) -> None:
        """Let go of the folder, once what is being written is written."""
        self._hand.submit(self._desk.store.close)
        self._hand.shutdown(wait=True)

    def write(self, act: Callable[[Desk], T]) -> "Future[T]":
        """Done by the one hand that writes, in its turn; afterwards the newest reading is shown."""

        def do() -> T:
            self._refresh()
            try:
                return act(self._desk)
            except Clash as clash:
                if clash.field != "journal size":
                    raise
                self._refresh()  # somebody else wrote in between: judged again, once
                return act(self._desk)
            finally:
                self._refresh()

        return self._hand.submit(do)

    def look(self) -> "Future[None]":
        """See whether somebody else has written."""
        return self._hand.submit(self._refresh)

    def at(self, size: int | None) -> Now:
        """As it was known when the journal held `size` entries; None = now."""
        if size is None or size == self.now.reading.size:
            return self.now
        with self.looking:
            if not 0 <= size <= self.now.reading.size:
                true = f"the journal holds {self.now.reading.size:,} entries"
                raise BadValue("at", size, true, "give a number up to that")
            if size not in self._earlier:
                now = self.now
                seal = sealed_at(now.seal, [leaf(body) for body in now.bodies], size)
                if len(self._earlier) >= EARLIER:
                    self._earlier.pop(next(iter(self._earlier)))
                self._earlier[size] = Now(now.reading.upto(size), now.bodies[:size], seal)
            return self._earlier[size]

    def _refresh(self) -> None:
        if self._desk.grown() or self._desk.reading is not self.now.reading:
            self._look()
        self.refusals = tuple(self._desk.store.refusals(REFUSALS))

    def _look(self) -> None:
        """Read, work out what every page wants, then show it."""
        reading = self._desk.reading
        reading.accounting  # noqa: B018  worked out here, so that no reader waits for it
        reading.thread.straight  # noqa: B018
        now = Now(reading, tuple(self._desk.store.entries()), self._desk.checkpoint())
        self._warm(now)
        self.now = now
        self._told(self)

"""Processes that look at frames, what each frame waits for, and what to do when a process dies or does not answer.

A crew holds frames in a line, in the order they were given; what is done leaves at the line's head.  It holds
`DEEP` unfinished frames for each worker, pictures in a ring of shared memory.  Where the pool breaks, what was in it
is looked at again one by one in a new pool, so that only the frame that breaks a pool by itself is booked.
"""

from collections import deque
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import ExitStack
from dataclasses import dataclass, replace
from typing import Any, Final

import cv2

from ..errors import Problem
from ..pool import processes
from ..stations.window.roll import Seen
from .looking import Looks, Task, failed, look_at_one, refused
from .ring import Ring, attached

__all__ = ["Crew"]

DEEP: Final = 4  # unfinished frames for each worker: one it looks at, and what it goes on with
AHEAD: Final = 16  # frames for each worker that may be done behind one that is not
BREAKS: Final = 3  # pools that may break, with no frame done between, before going on makes no sense
PATIENCE: Final = 60.0  # s for a frame, which takes some 20 ms
START: Final = 120.0  # s for processes to start, which takes some 2 s

_mine: tuple[Any, ...]  # of a worker: what looks, and the name of the ring


def _begin(*mine: Any) -> None:
    """A worker starts: one thread, as a second did not help one frame (the project's notes on vision, 2/3)."""
    global _mine
    cv2.setNumThreads(1)
    _mine = mine


def _here() -> bool:
    """In a worker that has started."""
    return True


def _work(task: Task) -> Seen:
    """In a worker."""
    detector, ring = _mine
    picture = attached(ring).picture(task.start, task.shape) if task.start >= 0 else task.picture
    return look_at_one(task, picture, detector)


@dataclass(slots=True)
class _Held:
    """A frame in the line: the task as it was sent, what is seen of it, and whether its buffer is given back."""

    task: Task
    seen: "Future[Seen]"
    freed: bool = False

    @property
    def finished(self) -> bool:
        """Looked at, or failed by itself; not where the pool broke, or was closed, with the frame in it."""
        seen = self.seen
        return seen.done() and not seen.cancelled() and not isinstance(seen.exception(), BrokenExecutor)


class Crew:
    """Workers and the line of frames; what is given comes out once and in order.

    patience : s to wait for one frame before its worker is taken for stuck
    """

    def __init__(self, detector: Looks, workers: int, patience: float = PATIENCE) -> None:
        self._detector, self._workers, self._patience = detector, workers, patience
        self._line: deque[_Held | Seen] = deque()
        self._room = ExitStack()  # the pool, while there is one
        self._pool: Executor | None = None
        self._started: Future[bool] = Future()
        self._ring: Ring | None = None
        self._breaks = 0

    def __enter__(self) -> "Crew":
        return self

    def __exit__(self, *_: object) -> None:
        self._close()
        if self._ring is not None:
            self._ring.close()

    @property
    def full(self) -> bool:
        """Whether the workers hold as many frames as they can, or too many wait behind a slow one."""
        unfinished = sum(isinstance(one, _Held) and not one.seen.done() for one in self._line)
        return unfinished >= self._workers * DEEP or len(self._line) >= self._workers * AHEAD

    def give(self, one: Task | Seen) -> None:
        """Take a frame into the line; one that is seen, or booked, already only waits its turn."""
        self._line.append(one if isinstance(one, Seen) else self._send(self._in_ring(one)))

    def ready(self) -> Iterator[Seen]:
        """What is done and whose turn it is."""
        while self._line and (isinstance(self._line[0], Seen) or self._line[0].finished):
            yield self.next()

    def rest(self) -> Iterator[Seen]:
        """All that is still in the line."""
        while self._line:
            yield self.next()

    def next(self) -> Seen:
        """The frame at the line's head, waited for."""
        head = self._line[0]
        if isinstance(head, _Held) and not self._waited(head):
            self._again()
        one = self._line.popleft()
        if isinstance(one, Seen):
            return one
        self._free(one)
        self._breaks = 0
        return _seen(one)

    def _waited(self, held: _Held) -> bool:
        """Whether the frame is finished, within patience from when the workers have started."""
        either: list[Future[Any]] = [self._started, held.seen]
        wait(either, START, FIRST_COMPLETED)
        wait([held.seen], self._patience)
        return held.finished

    def _send(self, task: Task) -> _Held:
        """To the pool, which starts with the first; where it has broken meanwhile, `next` finds out."""
        if self._pool is None:
            mine = (self._detector, self._ring.name if self._ring else "")
            self._pool = self._room.enter_context(processes(self._workers, _begin, mine))
            self._started = self._pool.submit(_here)
        try:
            held = _Held(task, self._pool.submit(_work, task))
        except BrokenExecutor as broken:
            held = _Held(task, Future())
            held.seen.set_exception(broken)
        return held

    def _close(self) -> None:
        self._room.close()
        self._pool = None

    def _in_ring(self, task: Task) -> Task:
        """The task with its picture in a buffer; one that does not fit goes as it is."""
        picture = task.picture
        if picture is None:
            return task
        self._reclaim()
        if self._ring is None and self._pool is None:
            self._ring = Ring(self._workers * DEEP, picture.nbytes)
        if self._ring is None or not self._ring.fits(picture) or not self._ring.free:
            return task
        return replace(task, start=self._ring.put(picture), picture=None)

    def _reclaim(self) -> None:
        """The buffers of what is finished; here and not as a future ends, which is in another thread."""
        for one in self._line:
            if isinstance(one, _Held) and one.finished:
                self._free(one)

    def _free(self, held: _Held) -> None:
        if held.task.start >= 0 and not held.freed and self._ring is not None:
            self._ring.back(held.task.start)
            held.freed = True

    def _again(self) -> None:
        """The pool broke, or its head does not answer: a new one, and what was in the old one by one."""
        self._broke()
        for at, one in enumerate(self._line):
            if isinstance(one, _Held) and not one.finished:
                self._line[at] = self._alone(one.task)

    def _alone(self, task: Task) -> _Held | Seen:
        """Looked at with nothing beside; booked where that breaks the pool, or is not done in time."""
        held = self._send(task)
        if self._waited(held):
            self._breaks = 0
            return held
        true = "its worker ended" if held.seen.done() else f"its worker had not answered after {self._patience:g} s"
        self._broke()
        self._free(held)
        return refused(task, Problem("worker lost", true, "look at memory; read the frame again by itself"))

    def _broke(self) -> None:
        self._close()
        self._breaks += 1
        if self._breaks > BREAKS:
            true = f"workers ended or did not answer {self._breaks} times, one after the other"
            raise Problem("look at frames", true, "give --workers 0, which needs none")


def _seen(held: _Held) -> Seen:
    error = held.seen.exception()
    return held.seen.result() if error is None else failed(held.task, error)

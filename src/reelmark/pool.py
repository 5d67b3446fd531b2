"""Processes of one's own for work that is long, which end when they are told to and are killed when they do not listen.

with processes(2) as pool:
    pool.submit(work, task)
"""

import multiprocessing as mp
import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.connection import wait
from threading import Thread
from typing import Any, Final

__all__ = ["processes"]

DEAD: Final = 5.0  # s for the machine to bury a process that was killed


@contextmanager
def processes(count: int, begin: Callable[..., None] | None = None, told: tuple[Any, ...] = ()) -> Iterator[Executor]:
    """A pool whose processes are gone at the end, in the middle of a task or not.

    begin : called with `told` as each process starts
    Whoever asks for it ends them: an interrupt from the keyboard does not, but they do not outlive this process.
    """
    pool = ProcessPoolExecutor(count, mp.get_context("spawn"), _start, (begin, told))
    try:
        yield pool
    finally:
        # no public way to the pool's own processes before Python 3.14; all children of this one may be another pool's
        mine = list((pool._processes or {}).values())
        pool.shutdown(wait=False, cancel_futures=True)
        for child in mine:
            child.kill()
        for child in mine:
            child.join(DEAD)


def _start(begin: Callable[..., None] | None, told: tuple[Any, ...]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_follow, daemon=True).start()
    if begin is not None:
        begin(*told)


def _follow() -> None:
    """End as the process that started this one does: a worker that waits for a task would never hear of it."""
    parent = mp.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)

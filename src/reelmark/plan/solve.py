"""The plan of a job shop: many annealings at once, repairs of the best, and the whole problem where it is small.

for progress in solve(shop, seconds=60, executor=..., clock=...):     the best so far, again and again
    ...
"""

from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from dataclasses import dataclass, replace
from typing import Any

from ..jobs import JobShop, Schedule
from .arrays import Arrays, arrays, is_chain
from .bound import lower_bound
from .decode import WORST, Lists, Start
from .exact import Exact, solve_exact
from .fitting import never_fits, unplaced
from .lists import fresh, schedule_of
from .search import Found, placed_of
from .turns import Turns

__all__ = ["WHOLE", "Progress", "solve"]

SMALL = 120  # operations that are proven as a whole in a minute or so, from trials
PLAIN = 3000  # operations of a classic job shop, which the whole model takes in its stride
WHOLE = 300  # up to here one worker tries the whole beside the others
FIRST = 0.08  # share of the time for annealing before the whole is tried with what it found


@dataclass(frozen=True, slots=True)
class Progress:
    """The best so far.  gap : to a lower bound, as a share of the cost: not the distance from the best there is."""

    schedule: Schedule
    cost: float
    bound: float
    seconds: float
    moves: int = 0
    proven: bool = False

    @property
    def gap(self) -> float:
        return max(0.0, (self.cost - self.bound) / self.cost) if self.cost > 0 else 0.0


Running = dict[Future[Any], float]


def solve(
    shop: JobShop,
    seconds: float,
    executor: Executor,
    clock: Callable[[], float],
    workers: int = 2,
    seed: int = 0,
    start: Start | None = None,
    stop: Callable[[], bool] = lambda: False,
    begin_with: Lists | None = None,
    mend: bool = True,
) -> Iterator[Progress]:
    """The first plan at once, then each better one, and the last again when the time is over or it is proven.

    start : what is frozen;  begin_with : lists to go on from (a plan that was);  stop : asked between tasks
    mend : repair neighbourhoods too
    Problem where something does not fit into the calendars at all.
    """
    if not is_chain(shop) or _plain(shop):
        yield from _whole(shop, seconds, executor, clock, workers, seed)
        return
    begun = clock()
    a = arrays(shop)
    misfit = never_fits(shop, a)
    if misfit is not None:
        raise misfit
    frozen = fresh(a) if start is None else start
    state = _State(shop, a, frozen, clock, seconds - (clock() - begun), workers, seed, begin_with, mend)
    if state.placed:
        yield state.told()
    running: Running = {}
    while not state.over() and not stop():
        state.fill(executor, running, free=start is None)
        done, _ = wait(running, timeout=max(0.02, min(0.5, state.left())), return_when=FIRST_COMPLETED)
        if any([state.take(one.result(), clock() - running.pop(one)) for one in done]) and state.placed:
            yield state.told()
    for one in running:
        one.cancel()
    if not state.placed:
        raise unplaced(shop, a)
    yield state.told()


def _plain(shop: JobShop) -> bool:
    """The classic job shop: nothing closes, nothing is set up; the whole model is then the better way."""
    timed = any(m.closed or m.maintenance for m in shop.machines)
    return not (timed or shop.setups or shop.resources) and len(shop.operations) <= PLAIN


def _whole(
    shop: JobShop, seconds: float, executor: Executor, clock: Callable[[], float], workers: int, seed: int
) -> Iterator[Progress]:
    """The whole problem at once, by the constraint solver alone."""
    begun = clock()
    hint = _dispatched(shop) if is_chain(shop) else None
    if hint is not None:
        yield replace(hint, seconds=clock() - begun)
    left = max(0.1, seconds - (clock() - begun))
    found = executor.submit(solve_exact, shop, left, workers, seed, hint.schedule if hint else None).result()
    if found.schedule is None and hint is not None:
        found = Exact(hint.schedule, hint.cost, max(found.bound, hint.bound), False)
    if found.schedule is None:
        raise _none(found, seconds)
    yield Progress(found.schedule, found.cost, found.bound, clock() - begun, 0, found.proven)


def _dispatched(shop: JobShop) -> Progress | None:
    """A first plan at once, for the constraint solver to begin from."""
    a = arrays(shop)
    best = Turns(shop, a, fresh(a), 0, None).best
    if best.cost >= WORST:
        return None
    schedule = schedule_of(shop, a, placed_of(a, fresh(a), best.lists))
    return Progress(schedule, best.cost, min(lower_bound(shop, a), best.cost), 0.0)


def _none(found: Exact, seconds: float) -> Exception:
    from ..errors import Problem

    if found.proven:
        return Problem(
            "a plan", "no schedule keeps all the rules", "lengthen the horizon or a wait, or enlarge the store"
        )
    return Problem(f"a plan in {seconds:g} s", "none was found", "give more time")


class _State:
    """What is known so far, and what is to be tried next."""

    def __init__(
        self, shop: JobShop, a: Arrays, start: Start, clock: Callable[[], float], seconds: float, workers: int,
        seed: int, begin_with: Lists | None, mend: bool,
    ) -> None:  # fmt: skip
        self.shop, self.a, self.start, self.clock, self.workers = shop, a, start, clock, workers
        self.begun, self.seconds = clock(), seconds
        self.bound = lower_bound(shop, a)
        self.turns = Turns(shop, a, start, seed, begin_with, mend)
        self.exact: Exact | None = None
        self.tried = False

    @property
    def placed(self) -> bool:
        """Is there a plan at all?"""
        return self.turns.best.cost < WORST or (self.exact is not None and self.exact.schedule is not None)

    def left(self) -> float:
        return self.seconds - (self.clock() - self.begun)

    def over(self) -> bool:
        return self.left() <= 0 or (self.exact is not None and self.exact.proven)

    def fill(self, executor: Executor, running: Running, free: bool) -> None:
        """Give every idle worker something to do; the whole problem once, where it is small and nothing is frozen."""
        count = len(self.shop.operations)
        if free and not self.tried and count <= WHOLE and self.left() < (1 - FIRST) * self.seconds:
            self.tried = True
            workers = self.workers if count <= SMALL else 1
            hint = self._schedule() if self.placed else None
            running[executor.submit(solve_exact, self.shop, self.left(), workers, 0, hint)] = self.clock()
        busy = self.workers if self.tried and self.exact is None and count <= SMALL else len(running)
        for _ in range(self.workers - busy):
            share = 1 - self.left() / self.seconds
            work, task = self.turns.next(share, self.left())
            running[executor.submit(work, task)] = self.clock()

    def take(self, found: Found | Exact, seconds: float) -> bool:
        """Is it news?"""
        if isinstance(found, Found):
            return self.turns.take(found, seconds)
        self.exact = found
        self.bound = max(self.bound, found.bound if found.schedule is not None or not found.proven else self.bound)
        return True

    def _schedule(self) -> Schedule:
        return schedule_of(self.shop, self.a, placed_of(self.a, self.start, self.turns.best.lists))

    def told(self) -> Progress:
        cost, schedule, proven = self.turns.best.cost, None, False
        if self.exact is not None and self.exact.schedule is not None and self.exact.cost <= cost:
            cost, schedule, proven = self.exact.cost, self.exact.schedule, self.exact.proven
        spent = self.clock() - self.begun
        return Progress(schedule or self._schedule(), cost, min(self.bound, cost), spent, self.turns.moves, proven)

"""Index marks: an odd window every N repeats tells what encoder and lattice cannot, whether a slip lost a whole repeat.

Between two marks lies a multiple of N repeats.  Where the count says otherwise it is put right from the step that was
doubtful on.  A mark that its neighbours, agreeing with each other, contradict was misread, and changes nothing.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, groupby, pairwise

__all__ = ["Settled", "settled"]


@dataclass(frozen=True, slots=True)
class Settled:
    """first : of each frame, put right;  doubtful : steps that no pair of marks settles;  misread : frames"""

    first: tuple[int, ...]
    doubtful: tuple[int, ...]
    misread: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class _Mark:
    """frame : that shows it;  rest : its repeat's number as counted, modulo the repeats between marks"""

    frame: int
    rest: int


def settled(
    first: Sequence[int],
    residual_mm: Sequence[float],
    slips: Sequence[int],
    doubtful: Sequence[int],
    index: Sequence[int | None],
    every: int,
) -> Settled:
    """The count put right, every : repeats between marks;  first, residual_mm, index : of each frame, see `count`

    slips, doubtful : steps that did not fit, and those that may have lost a repeat
    """
    marks = [_Mark(k, (first[k] + one) % every) for k, one in enumerate(index) if one is not None] if every else []
    good = list(_trusted(marks, slips))
    if not good:
        return Settled(tuple(first), tuple(doubtful), tuple(one.frame for one in marks))
    add = [0] * len(first)
    for a, b in pairwise(good):
        if off := (a.rest - b.rest + every // 2) % every - every // 2:
            add[_where(a, b, residual_mm, doubtful)] += off
    open_ = tuple(k for k in doubtful if k <= good[0].frame or k > good[-1].frame)
    right = tuple(number + more for number, more in zip(first, accumulate(add), strict=True))
    trusted = {one.frame for one in good}
    return Settled(right, open_, tuple(one.frame for one in marks if one.frame not in trusted))


def _between(a: _Mark, b: _Mark, steps: Sequence[int]) -> Sequence[int]:
    """Those of the steps, which rise, that lead from one mark to the next."""
    return steps[bisect_right(steps, a.frame) : bisect_right(steps, b.frame)]


def _where(a: _Mark, b: _Mark, residual_mm: Sequence[float], doubtful: Sequence[int]) -> int:
    """The step that the count is put right from: the last doubtful one, else the one that fitted worst."""
    doubts = _between(a, b, doubtful)
    return doubts[-1] if doubts else max(range(a.frame + 1, b.frame + 1), key=lambda k: abs(residual_mm[k]))


def _trusted(marks: Sequence[_Mark], slips: Sequence[int]) -> Iterator[_Mark]:
    """Without each one that stands alone against the marks on both sides, or against two at an end of the roll,
    where no slip says why."""
    runs = [list(some) for _, some in groupby(marks, key=lambda one: one.rest)]
    for n, run in enumerate(runs):
        before, after = runs[n - 1 : n] if n else [], runs[n + 1 : n + 2]
        sides = [*before, *after]
        alone = len({side[0].rest for side in sides}) == 1 and sum(map(len, sides)) > 1
        near = [_between(side[-1], run[0], slips) for side in before] + [
            _between(run[0], side[0], slips) for side in after
        ]
        if len(run) > 1 or not alone or all(near):
            yield from run

"""A first plan by dispatching: time goes forward, and whatever machine can begin first takes what suits it best.

Of what could begin, first what would else wait too long, then what needs no set-up, then what begins first, then what
is due first.  Alike batches go first in, first out.  Valid for chains of stages, as the decoder.
"""

import numba as nb
import numpy as np
from numpy.typing import NDArray

from .arrays import Arrays
from .decode import Lists, Start
from .lists import empty, lists_of
from .tables import NEVER

__all__ = ["dispatched"]

Ints = NDArray[np.int32]


def dispatched(a: Arrays, start: Start, rank: list[int], patience: float, rest: float = 0.0) -> Lists | None:
    """The lists of a dispatched plan; None where something could not be placed.

    rank : jobs, the most urgent first;  patience : share of a set-up that a machine rather waits than be set up
    rest : units of start that a unit of the way still to go is worth: long ways first
    """
    placed, order = empty(a), np.empty(len(rank), np.int32)
    order[rank] = np.arange(len(rank), dtype=np.int32)
    turn = np.zeros(placed.machine.size, np.int32)
    if not _dispatch(a, start, placed, order, patience, rest * _ways(a), turn):
        return None
    return lists_of(a, start, placed.machine, turn)


def _ways(a: Arrays) -> NDArray[np.float64]:
    """Units from the start of each step to the end of its job, nothing in the way."""
    way = np.zeros(a.batches.size)
    for k in range(a.batches.size - 1, -1, -1):
        rows = a.which[k, a.able[k][a.able[k] >= 0]]
        way[k] = (a.end[rows] - a.start[rows]).min() + (0 if a.last[k] else a.least[k + 1] + way[k + 1])
    return way


@nb.njit(cache=True, nogil=True)
def _dispatch(A, B, P, order, patience, way, turn):  # type: ignore[no-untyped-def]  # compiled
    K, T = A.batches.size, A.start.shape[1]
    done, free, family = B.done.copy(), B.free.copy(), B.family.copy()
    P.machine[:], P.begin[:], P.end[:] = B.machine, B.begin, B.end
    todo = 0
    for k in range(K):
        todo += A.batches[k] - done[k]
    for n in range(todo):
        best, on, low, s_best, e_best = -1, -1, np.inf, 0, 0
        for k in range(K):
            b = done[k]
            if b >= A.batches[k]:
                continue
            row = A.offset[k] + b
            if A.first[k]:
                t = A.release[k]
            elif done[k - 1] <= b:
                continue
            else:
                t = P.end[A.offset[k - 1] + b] + A.least[k]
            t = max(t, B.earliest[row])
            if b:
                t = max(t, P.begin[row - 1])
            for i in range(A.able.shape[1]):
                m = A.able[k, i]
                if m < 0:
                    break
                ready, units = max(free[m], 0), 0
                if family[m] >= 0 and family[m] != A.family[k]:
                    units = A.setup[family[m], A.family[k]]
                    u = A.fitted[family[m], A.family[k], m]
                    if u >= 0:
                        ready = A.end[u, ready] if ready < T else NEVER
                    else:
                        ready += units
                at = max(t, ready)
                if at >= T or A.start[A.which[k, m], at] >= NEVER:
                    continue
                s, e = A.start[A.which[k, m], at], A.end[A.which[k, m], at]
                score = s + patience * units + 1e-3 * order[A.job[k]] - 1e-6 * A.stage[k] - way[k]
                if not A.first[k] and A.most[k] < NEVER:
                    left = P.end[A.offset[k - 1] + b] + A.most[k] - s
                    if left < 2 * (e - s):  # it would soon have waited too long
                        score -= patience * units + (e - s)
                if score < low:
                    best, on, low, s_best, e_best = k, m, score, s, e
        if best < 0:
            return False
        row = A.offset[best] + done[best]
        P.machine[row], P.begin[row], P.end[row], turn[row] = on, s_best, e_best, n
        done[best] += 1
        free[on], family[on] = e_best, A.family[best]
    return True

"""Lists of campaigns into a schedule with times, compiled: the inner loop of the search.

A candidate is, for each machine, a list of campaigns (step, how many batches).  Batches of a step are taken in their
order by whichever machine is at such a campaign and can begin first; time only goes forward.  A longest wait that does
not hold raises the earliest start of the batch before it, and the whole is decoded again (a fixed point from below).

Valid for chains of stages; lists that wait for one another in a circle have no schedule and cost WORST.
"""

from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from .tables import NEVER

__all__ = ["WORST", "Lists", "Placed", "Start", "cost_of", "decode"]

Ints = NDArray[np.int32]
WORST = 1e15
ROUNDS = 16  # of the fixed point; what is still too long then is priced


class Lists(NamedTuple):
    """Campaigns by machine: step (M, P), batches (M, P), how many campaigns (M,)."""

    step: Ints
    take: Ints
    count: Ints  # type: ignore[assignment]  # a tuple has a method of that name; ours is a field


class Start(NamedTuple):
    """Where the plan begins: frozen batches.  done : (K,) batches of each step;  free, family : (M,) of the machines.

    machine, begin, end : one long row, see Arrays.offset; set for the frozen ones;  earliest : the same row, pins
    """

    done: Ints
    free: Ints
    family: Ints
    machine: Ints
    begin: Ints
    end: Ints
    earliest: Ints


class Placed(NamedTuple):
    """Room for a schedule: machine, begin, end, earliest by batch (see Arrays.offset), and for counting."""

    machine: Ints
    begin: Ints
    end: Ints
    earliest: Ints
    profile: Ints
    used: Ints


@nb.njit(cache=True, nogil=True)
def _pass(A, L, B, P, at, left, done, free, family, cs, ce, again):  # type: ignore[no-untyped-def]  # compiled
    """One decoding; units of set-up, or -1 where the lists cannot be followed.

    One long function on plain arrays: handing the tuples to a helper for each candidate made it five times as slow.
    """
    batches, offset, first, release, least = A.batches, A.offset, A.first, A.release, A.least
    step_family, which, starts, ends, setups, fitted = A.family, A.which, A.start, A.end, A.setup, A.fitted
    uses, level, is_open, able = A.uses, A.level, A.open, A.able
    steps, takes, count = L.step, L.take, L.count
    machine, begin, end, earliest, used = P.machine, P.begin, P.end, P.earliest, P.used
    M, T, R = which.shape[1], starts.shape[1], uses.shape[1]
    todo, setup = 0, 0
    done[:] = B.done
    free[:] = B.free
    family[:] = B.family
    used[:] = 0
    for k in range(batches.size):
        todo += batches[k] - done[k]
        if R:
            for b in range(done[k]):
                row = offset[k] + b
                _hold(uses, is_open, used, k, machine[row], begin[row], end[row])
    fresh = M  # machines whose next batch is to be looked at, in `again`
    for m in range(M):
        at[m] = 0
        left[m] = takes[m, 0] if count[m] else 0
        cs[m] = NEVER
        again[m] = m
    while todo:
        for i in range(fresh):
            m = again[i]
            cs[m] = NEVER
            if at[m] >= count[m]:
                continue
            k = steps[m, at[m]]
            b = done[k]
            u = which[k, m]
            if b >= batches[k] or u < 0:
                return -1
            row = offset[k] + b
            if first[k]:
                t = release[k]
            elif done[k - 1] <= b:
                continue
            else:
                t = end[offset[k - 1] + b] + least[k]
            t = max(t, earliest[row])
            if b:
                t = max(t, begin[row - 1])
            ready = max(free[m], 0)
            before, after = family[m], step_family[k]
            if before >= 0 and before != after and setups[before, after]:
                v = fitted[before, after, m]
                if v < 0:
                    ready += setups[before, after]
                else:
                    ready = ends[v, ready] if ready < T else NEVER
            t = max(t, ready)
            if t >= T or starts[u, t] >= NEVER:
                return -1
            s, e = starts[u, t], ends[u, t]
            if R:
                while not _fits(uses, level, is_open, used, k, m, s, e):
                    if s + 1 >= T or starts[u, s + 1] >= NEVER:
                        return -1
                    s, e = starts[u, s + 1], ends[u, s + 1]
            cs[m], ce[m] = s, e
        best, s_best = -1, NEVER
        for m in range(M):
            if cs[m] < s_best or (cs[m] == s_best and s_best < NEVER and ce[m] < ce[best]):
                best, s_best = m, cs[m]
        if best < 0:
            return -1
        e_best = ce[best]
        k = steps[best, at[best]]
        row = offset[k] + done[k]
        machine[row], begin[row], end[row] = best, s_best, e_best
        if family[best] >= 0 and family[best] != step_family[k]:
            setup += setups[family[best], step_family[k]]
        family[best] = step_family[k]
        free[best] = e_best
        done[k] += 1
        todo -= 1
        left[best] -= 1
        if left[best] == 0:
            at[best] += 1
            if at[best] < count[best]:
                left[best] = takes[best, at[best]]
        if R:
            _hold(uses, is_open, used, k, best, s_best, e_best)
            fresh = M
            for m in range(M):
                again[m] = m
            continue
        again[0], fresh = best, 1
        for x in range(k, min(k + 2, able.shape[0])):  # those that share the step, and those that wait for it
            for i in range(able.shape[1]):
                m = able[x, i]
                if m < 0:
                    break
                if m != best and at[m] < count[m] and steps[m, at[m]] == x:
                    again[fresh] = m
                    fresh += 1
    return setup


@nb.njit(cache=True, nogil=True)
def _fits(uses, level, is_open, used, k, m, s, e):  # type: ignore[no-untyped-def]  # compiled
    for r in range(uses.shape[1]):
        amount = uses[k, r]
        if amount:
            for t in range(s, e):
                if is_open[m, t] and used[r, t] + amount > level[r, t]:
                    return False
    return True


@nb.njit(cache=True, nogil=True)
def _hold(uses, is_open, used, k, m, s, e):  # type: ignore[no-untyped-def]  # compiled
    for r in range(uses.shape[1]):
        if uses[k, r]:
            for t in range(max(s, 0), min(e, is_open.shape[1])):
                if is_open[m, t]:
                    used[r, t] += uses[k, r]


@nb.njit(cache=True, nogil=True)
def _raise(A, B, P):  # type: ignore[no-untyped-def]  # compiled
    """Raise earliest starts where a wait is too long; (raised any, units too long in all)."""
    moved, over = False, 0
    T = A.start.shape[1]
    for k in range(1, A.batches.size):
        if A.first[k] or A.most[k] >= NEVER:
            continue
        for b in range(A.batches[k]):
            row, before = A.offset[k] + b, A.offset[k - 1] + b
            wanted = P.begin[row] - A.most[k]
            if P.end[before] >= wanted:
                continue
            over += wanted - P.end[before]
            if b < B.done[k - 1]:
                continue  # already done: it cannot be moved
            ends = A.end[A.which[k - 1, P.machine[before]]]
            low, high = P.begin[before], min(T - 1, P.begin[row])
            while low < high:  # first start whose end is late enough
                middle = (low + high) // 2
                if ends[middle] >= wanted:
                    high = middle
                else:
                    low = middle + 1
            if low > P.earliest[before]:
                P.earliest[before] = low
                moved = True
    return moved, over


@nb.njit(cache=True, nogil=True)
def cost_of(A, P, setup, over):  # type: ignore[no-untyped-def]  # compiled
    """What the placed schedule costs, breaches included."""
    late, setting, span, store, wait = A.prices
    total = setting * setup + wait * over
    latest = 0
    for k in range(A.batches.size):
        if A.last[k]:
            for b in range(A.batches[k]):
                latest = max(latest, P.end[A.offset[k] + b])
    total += span * latest
    for d in range(A.due_step.size):
        k = A.due_step[d]
        ends = np.sort(P.end[A.offset[k] : A.offset[k] + A.batches[k]])
        total += late * A.due_weight[d] * max(0, ends[A.due_batch[d]] - A.due_at[d])
    if A.places < NEVER:
        total += store * _crowd(A, P)
    return total


@nb.njit(cache=True, nogil=True)
def _crowd(A, P):  # type: ignore[no-untyped-def]  # compiled
    """Batch-units beyond the places of the store."""
    P.profile[:] = 0
    T = P.profile.size
    for k in range(A.batches.size - 1):
        if A.stored[k] and not A.last[k]:
            for b in range(A.batches[k]):
                into, out = P.end[A.offset[k] + b], P.begin[A.offset[k + 1] + b]
                if out > into:
                    P.profile[max(0, min(into, T - 1))] += 1
                    P.profile[max(0, min(out, T - 1))] -= 1
    held, over = 0, 0
    for t in range(T):
        held += P.profile[t]
        if held > A.places:
            over += held - A.places
    return over


@nb.njit(cache=True, nogil=True)
def decode(A, L, B, P, bar, rounds=ROUNDS):  # type: ignore[no-untyped-def]  # compiled
    """Fill P from the lists, frozen batches B kept; its cost, WORST where there is no schedule.

    Above `bar` it may stop early with any figure above it.
    """
    M, K = A.which.shape[1], A.batches.size
    at, left, cs, ce = np.empty(M, np.int32), np.empty(M, np.int32), np.empty(M, np.int32), np.empty(M, np.int32)
    again = np.empty(M, np.int32)
    free, family, done = np.empty(M, np.int32), np.empty(M, np.int32), np.empty(K, np.int32)
    P.earliest[:] = B.earliest
    P.machine[:] = B.machine
    P.begin[:] = B.begin
    P.end[:] = B.end
    before, over = B.earliest.copy(), 0
    for turn in range(rounds):
        setup = _pass(A, L, B, P, at, left, done, free, family, cs, ce, again)
        if setup < 0 and turn == 0:
            return WORST
        if setup < 0:  # beginning later, the rest no longer fits: the waits stay as they were, and are priced
            P.earliest[:] = before
            setup = _pass(A, L, B, P, at, left, done, free, family, cs, ce, again)
            return cost_of(A, P, setup, over)
        before[:] = P.earliest
        moved, over = _raise(A, B, P)
        if not moved or turn == rounds - 1:
            return cost_of(A, P, setup, over)
        if cost_of(A, P, setup, 0) > bar:
            return bar + 1.0
    return WORST

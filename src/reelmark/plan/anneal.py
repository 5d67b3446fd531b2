"""Simulated annealing over lists of campaigns, compiled.

    anneal(arrays, lists, start, placed, seed, moves, hot, cold)   ->   cost of the best, written back into `lists`

Moves: put a campaign, or part of one, elsewhere; swap two; shift batches between two campaigns of a step; exchange two
jobs over a stretch of their stages; move a block.  Source of the method: Kirkpatrick, Gelatt and Vecchi, Science 220
(1983) 671; the moves are our own.
"""

import numba as nb
import numpy as np

from .decode import Lists, decode

__all__ = ["anneal"]


@nb.njit(cache=True, nogil=True)
def _copy(a, b):  # type: ignore[no-untyped-def]  # compiled
    b.step[:] = a.step
    b.take[:] = a.take
    b.count[:] = a.count


@nb.njit(cache=True, nogil=True)
def _out(L, m, i):  # type: ignore[no-untyped-def]  # compiled
    for j in range(i, L.count[m] - 1):
        L.step[m, j], L.take[m, j] = L.step[m, j + 1], L.take[m, j + 1]
    L.count[m] -= 1


@nb.njit(cache=True, nogil=True)
def _put(L, m, i, step, take):  # type: ignore[no-untyped-def]  # compiled
    for j in range(L.count[m], i, -1):
        L.step[m, j], L.take[m, j] = L.step[m, j - 1], L.take[m, j - 1]
    L.step[m, i], L.take[m, i] = step, take
    L.count[m] += 1


@nb.njit(cache=True, nogil=True)
def _merge(L):  # type: ignore[no-untyped-def]  # compiled
    """Campaigns of one step side by side are one."""
    for m in range(L.count.size):
        j = 0
        for i in range(L.count[m]):
            if L.take[m, i] == 0:
                continue
            if j and L.step[m, j - 1] == L.step[m, i]:
                L.take[m, j - 1] += L.take[m, i]
            else:
                L.step[m, j], L.take[m, j] = L.step[m, i], L.take[m, i]
                j += 1
        L.count[m] = j


@nb.njit(cache=True, nogil=True)
def _pick(L):  # type: ignore[no-untyped-def]  # compiled
    """A campaign at random: (machine, place)."""
    n = np.random.randint(L.count.sum())
    for m in range(L.count.size):
        if n < L.count[m]:
            return m, n
        n -= L.count[m]
    return -1, -1


@nb.njit(cache=True, nogil=True)
def _able(A, k):  # type: ignore[no-untyped-def]  # compiled
    """A machine at random that can do step k."""
    M = A.which.shape[1]
    n = 0
    for m in range(M):
        n += A.which[k, m] >= 0
    n = np.random.randint(n)
    for m in range(M):
        if A.which[k, m] >= 0:
            if n == 0:
                return m
            n -= 1
    return -1


@nb.njit(cache=True, nogil=True)
def _elsewhere(A, L):  # type: ignore[no-untyped-def]  # compiled
    m, i = _pick(L)
    k, take = L.step[m, i], L.take[m, i]
    to = _able(A, k)
    part = take
    if take > 1 and np.random.random() < 0.3:
        part = np.random.randint(1, take)
    if L.count[to] + 1 >= L.step.shape[1]:
        return False
    if part == take:
        _out(L, m, i)
    else:
        L.take[m, i] -= part
    if to == m and np.random.random() < 0.6:
        j = i + np.random.randint(-3, 4)
    elif to != m and np.random.random() < 0.5:  # beside its like, where there is one
        j = np.random.randint(L.count[to] + 1)
        for x in range(L.count[to]):
            if L.step[to, x] == k:
                j = x
    else:
        j = np.random.randint(L.count[to] + 1)
    _put(L, to, max(0, min(j, L.count[to])), k, part)
    return True


@nb.njit(cache=True, nogil=True)
def _swap(L):  # type: ignore[no-untyped-def]  # compiled
    m, i = _pick(L)
    n = L.count[m]
    if n < 2:
        return False
    j = i + 1 if np.random.random() < 0.5 else np.random.randint(n)
    if j >= n or j == i:
        return False
    L.step[m, i], L.step[m, j] = L.step[m, j], L.step[m, i]
    L.take[m, i], L.take[m, j] = L.take[m, j], L.take[m, i]
    return True


@nb.njit(cache=True, nogil=True)
def _shift(L):  # type: ignore[no-untyped-def]  # compiled
    m, i = _pick(L)
    k = L.step[m, i]
    n = 0
    for x in range(L.count.size):
        for j in range(L.count[x]):
            n += L.step[x, j] == k and not (x == m and j == i)
    if n == 0:
        return False
    n = np.random.randint(n)
    part = np.random.randint(1, L.take[m, i] + 1)
    if np.random.random() < 0.5:
        part = 1
    for x in range(L.count.size):
        for j in range(L.count[x]):
            if L.step[x, j] == k and not (x == m and j == i):
                if n == 0:
                    L.take[m, i] -= part
                    L.take[x, j] += part
                    return True
                n -= 1
    return False


@nb.njit(cache=True, nogil=True)
def _exchange(A, L, J):  # type: ignore[no-untyped-def]  # compiled
    """Jobs a and b change places over some stages, campaign by campaign where they are as many."""
    if J < 2:
        return False
    a, b = np.random.randint(J), np.random.randint(J)
    if a == b:
        return False
    ka, kb = -1, -1
    na, nb_ = 0, 0
    for k in range(A.job.size):
        if A.job[k] == a:
            ka = k if ka < 0 else ka
            na += 1
        if A.job[k] == b:
            kb = k if kb < 0 else kb
            nb_ += 1
    n = min(na, nb_)
    low, high = np.random.randint(n), np.random.randint(n)
    if low > high:
        low, high = high, low
    whole = np.random.random()
    if whole < 0.5:
        low, high = 0, n - 1
    elif whole < 0.65:
        low = 0
    elif whole < 0.8:
        high = n - 1
    for s in range(low, high + 1):
        x, y = ka + s, kb + s
        alike = A.batches[x] == A.batches[y]
        cx, cy = 0, 0
        for m in range(L.count.size):
            for j in range(L.count[m]):
                cx += L.step[m, j] == x
                cy += L.step[m, j] == y
                if L.step[m, j] == x and A.which[y, m] < 0:
                    return False
                if L.step[m, j] == y and A.which[x, m] < 0:
                    return False
        if not alike and (cx != 1 or cy != 1):
            return False
        for m in range(L.count.size):
            for j in range(L.count[m]):
                if L.step[m, j] == x:
                    L.step[m, j] = y
                    if not alike:
                        L.take[m, j] = A.batches[y]
                elif L.step[m, j] == y:
                    L.step[m, j] = x
                    if not alike:
                        L.take[m, j] = A.batches[x]
    return True


@nb.njit(cache=True, nogil=True)
def _block(L):  # type: ignore[no-untyped-def]  # compiled
    m, i = _pick(L)
    n = L.count[m]
    size = np.random.randint(2, 5)
    if i + size > n or n <= size:
        return False
    step, take = L.step[m, i : i + size].copy(), L.take[m, i : i + size].copy()
    for _ in range(size):
        _out(L, m, i)
    j = np.random.randint(L.count[m] + 1)
    for x in range(size):
        _put(L, m, j + x, step[x], take[x])
    return True


@nb.njit(cache=True, nogil=True)
def _across(A, L):  # type: ignore[no-untyped-def]  # compiled
    """Swap two campaigns of two machines, each able to do the other's."""
    m, i = _pick(L)
    to = _able(A, L.step[m, i])
    if to == m or L.count[to] == 0:
        return False
    j = np.random.randint(L.count[to])
    if A.which[L.step[to, j], m] < 0 or L.step[to, j] == L.step[m, i]:
        return False
    L.step[m, i], L.step[to, j] = L.step[to, j], L.step[m, i]
    L.take[m, i], L.take[to, j] = L.take[to, j], L.take[m, i]
    return True


@nb.njit(cache=True, nogil=True)
def _tails(A, L):  # type: ignore[no-untyped-def]  # compiled
    """Two machines exchange all that follows a place in their lists."""
    m, i = _pick(L)
    to = _able(A, L.step[m, i])
    if to == m:
        return False
    n, other = L.count[m] - i, L.count[to]
    j = max(0, min(other, i + np.random.randint(-2, 3)))
    far = other - j
    if i + far > L.step.shape[1] - 2 or j + n > L.step.shape[1] - 2:
        return False
    for x in range(i, L.count[m]):
        if A.which[L.step[m, x], to] < 0:
            return False
    for x in range(j, other):
        if A.which[L.step[to, x], m] < 0:
            return False
    step, take = L.step[m, i : i + n].copy(), L.take[m, i : i + n].copy()
    for x in range(far):
        L.step[m, i + x], L.take[m, i + x] = L.step[to, j + x], L.take[to, j + x]
    for x in range(n):
        L.step[to, j + x], L.take[to, j + x] = step[x], take[x]
    L.count[m], L.count[to] = i + far, j + n
    return True


@nb.njit(cache=True, nogil=True)
def _neighbour(A, L, J):  # type: ignore[no-untyped-def]  # compiled
    kind = np.random.random()
    if kind < 0.3:
        return _elsewhere(A, L)
    if kind < 0.45:
        return _swap(L)
    if kind < 0.55:
        return _shift(L)
    if kind < 0.7:
        return _exchange(A, L, J)
    if kind < 0.82:
        return _across(A, L)
    if kind < 0.94:
        return _tails(A, L)
    return _block(L)


@nb.njit(cache=True, nogil=True)
def anneal(A, best, B, P, seed, moves, hot, cold, jobs, rounds):  # type: ignore[no-untyped-def]  # compiled
    """Anneal from `best` and write the best found back into it; its cost."""
    np.random.seed(seed)
    now = Lists(best.step.copy(), best.take.copy(), best.count.copy())
    new = Lists(best.step.copy(), best.take.copy(), best.count.copy())
    cost = decode(A, now, B, P, np.inf, rounds)
    least = cost
    cooling = (cold / hot) ** (1.0 / max(moves, 1))
    heat = hot
    for _ in range(moves):
        heat *= cooling
        _copy(now, new)
        if not _neighbour(A, new, jobs):
            continue
        if np.random.random() < 0.15:
            _merge(new)
            if not _neighbour(A, new, jobs):
                continue
        _merge(new)
        bar = cost - heat * np.log(1.0 - np.random.random())
        found = decode(A, new, B, P, bar, rounds)
        if found <= bar:
            _copy(new, now)
            cost = found
            if cost < least - 1e-9:
                least = cost
                _copy(now, best)
    return least

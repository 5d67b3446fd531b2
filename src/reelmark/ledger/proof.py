"""The books proved from their postings alone, without trusting the accounts.

    1  every posting takes out what it puts in: counts sum to nothing
    2  at every integer of every frame the signed sum of an account is 0 or 1: nothing twice, nothing owed
    3  at every integer that entered, exactly one account holds it: holders are a partition
    4  what an entry carried out of frames weighs what it entered in others; only film is born of nothing

2 and 3 are one sort and one running sum of end points a frame.
"""

from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..facts import Account, Posting
from ..spans import Place

__all__ = ["Fault", "faults"]

Int64 = NDArray[np.int64]


class Fault(NamedTuple):
    """A place where the books do not hold: the unit, the first integer, and what the sum is there.

    Where weights differ: the entry as unit, lane -1, and how much more was entered than carried out.
    """

    unit: str
    lane: int
    at: int
    account: Account | None
    total: int

    @property
    def text(self) -> str:
        """In words."""
        if self.lane < 0:
            return f"{self.unit}: {abs(self.total):,} {'more' if self.total > 0 else 'less'} entered than carried out"
        whose = f"account {self.account.place}:{self.account.kind}" if self.account else "all accounts together"
        return f"{self.unit}, lane {self.lane}, {self.at}: {whose} holds it {self.total} times"


def faults(postings: Sequence[Posting], weights: Mapping[str, int], born: Collection[int] = ()) -> list[Fault]:
    """Every place where laws 2 to 4 fail, at most a few a frame.

    weights : unit -> what one of it weighs; born : entries by which material came into being
    """
    ends: dict[Place, list[tuple[int, int, int, int]]] = {}
    index: dict[Account, int] = {}
    for posting in postings:
        for place, spans in posting.extent.items():
            rows = ends.setdefault(place, [])
            for account, sign in ((posting.source, -1), (posting.target, 1)):
                if account is not None:
                    i = index.setdefault(account, len(index))
                    rows += [row for a, b in spans for row in ((i, a, sign, b), (i, b, -sign, a))]
    names = {i: account for account, i in index.items()}
    found = [fault for place, rows in ends.items() for fault in _pointwise(place, np.array(rows, np.int64), names)]
    return found + _weighed(postings, weights, born)


def _pointwise(place: Place, rows: Int64, names: Mapping[int, Account]) -> list[Fault]:
    found = []
    account, at, sign = rows[:, 0], rows[:, 1], rows[:, 2]
    order = np.lexsort((at, account))
    depth = np.cumsum(sign[order])  # each account's own signs sum to 0, so one running sum serves all of them
    found += _wrong(place, account[order], at[order], depth, (0, 1), names)
    order = np.argsort(at, kind="stable")
    found += _wrong(place, np.full(len(at), -1), at[order], np.cumsum(sign[order]), (0, 1), names)
    return found


def _wrong(
    place: Place, account: Int64, at: Int64, depth: Int64, allowed: tuple[int, int], names: Mapping[int, Account]
) -> list[Fault]:
    real = np.r_[(at[1:] != at[:-1]) | (account[1:] != account[:-1]), True]
    bad = np.flatnonzero(real & ((depth < allowed[0]) | (depth > allowed[1])))[:4]
    return [Fault(*place, int(at[i]), names.get(int(account[i])), int(depth[i])) for i in bad]


def _weighed(postings: Sequence[Posting], weights: Mapping[str, int], born: Collection[int]) -> list[Fault]:
    """Law 4: for every entry but those of births, carried weight out equals entered weight in."""
    net: dict[int, int] = {}
    for posting in postings:
        weight = sum(spans.size * weights.get(place[0], 0) for place, spans in posting.extent.items())
        if posting.target.kind == "carried":
            net[posting.seq] = net.get(posting.seq, 0) - weight
        elif posting.source is None:
            net[posting.seq] = net.get(posting.seq, 0) + weight
    return [Fault(f"entry {seq}", -1, 0, None, net[seq]) for seq in sorted(net) if net[seq] and seq not in born]

"""Pulls whose windows overlap, as whole sheets flowing round a network.

    root ──> pulls ──k──> window ──> step ──> cut ──O──> cut ──O──> root        O : taken before that cut
      └───────────────────O at the first cut──────^                             k : taken by that window

A step is the stretch between two cuts, and lets through as many sheets as it is long.  All that is known is a least
and a most on single arcs, so the set of histories is a set of circulations: its corners are whole numbers, a longest
or shortest flow in one arc is exact, and a set of bounds that nothing fulfils is found by the flow that cannot rise.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from itertools import pairwise
from operator import gt

__all__ = ["FAR", "Circulation", "Cluster", "sweep"]

FAR = 1 << 60  # further than any count: stands for no bound
Stretch = tuple[int, int, int, int]  # start, stop, low, high
Link = tuple[int, int, int, int]  # i, j, low, high: low <= O at cut j - O at cut i <= high, i <= j


class Circulation:
    """Whole-number flow with a least and a most on every arc; always feasible for the bounds set so far.

    Arc e and its return e ^ 1 lie side by side; room[e] is what e can still take, room[e ^ 1] what it can give back.
    """

    def __init__(self, nodes: int) -> None:
        self.out: list[list[int]] = [[] for _ in range(nodes)]
        self.head: list[int] = []
        self.room: list[int] = []
        self.flow: list[int] = []

    def arc(self, tail: int, head: int, least: int, most: int) -> int:
        """A new arc, empty at first, so least <= 0 <= most; its key."""
        key = len(self.head)
        self.head += (head, tail)
        self.room += (most, -least)
        self.flow += (0, 0)
        self.out[tail].append(key)
        self.out[head].append(key + 1)
        return key

    def hold(self, arc: int, least: int, most: int) -> bool:
        """Narrow an arc's bounds; False if no flow fulfils them, and then the network is of no more use."""
        flow = self.flow[arc]
        self._push(arc, least - flow)
        self._push(arc ^ 1, flow - most)
        flow = self.flow[arc]
        self.room[arc], self.room[arc ^ 1] = most - flow, flow - least
        return least <= flow <= most

    def spans(self, arcs: Sequence[int]) -> list[tuple[int, int]]:
        """Least and most that can flow in each arc.

        All the mosts, then all the leasts: what fills one arc almost fills its neighbour, so little is left to push.
        """
        most = [self._extreme(arc) for arc in arcs]
        return [(-self._extreme(arc ^ 1), high) for arc, high in zip(arcs, most, strict=True)]

    def _extreme(self, arc: int) -> int:
        self._push(arc, 2 * FAR)
        return self.flow[arc]

    def _push(self, arc: int, wanted: int) -> None:
        """Raise the flow in an arc by wanted, or by as much as goes."""
        wanted = min(wanted, self.room[arc])
        while wanted > 0 and (path := self._path(arc)):
            path.append(arc)
            amount = min(wanted, min(self.room[e] for e in path))
            for e in path:
                self.room[e] -= amount
                self.room[e ^ 1] += amount
                self.flow[e] += amount
                self.flow[e ^ 1] -= amount
            wanted -= amount

    def _path(self, arc: int) -> list[int]:
        """Arcs with room, fewest first, from the head of an arc round to its tail; empty if there is no way."""
        begin, end = self.head[arc], self.head[arc ^ 1]
        out, head, room = self.out, self.head, self.room
        came = [-1] * len(out)
        came[begin] = arc
        ring = [begin]
        for node in ring:
            for e in out[node]:
                if room[e] > 0 and came[head[e]] < 0 and e >> 1 != arc >> 1:
                    came[head[e]] = e
                    ring.append(head[e])
            if came[end] >= 0:
                return self._walk_back(came, begin, end)
        return []

    def _walk_back(self, came: list[int], begin: int, end: int) -> list[int]:
        path: list[int] = []
        while end != begin:
            path.append(came[end])
            end = self.head[came[end] ^ 1]
        return path


class Cluster:
    """The windows of one overlapping group, over the cuts from the first start to the last stop.

    Towards the outside only O at its first cut, O at its last and their difference show.  Three flows that sum to
    zero at the border of a network are feasible exactly when each is within its own span (a cut leaves one of the
    three on one side), so those three spans say all there is, and the rest of the axis may be swept without it.
    Time grows with the square of the windows: ten take a millisecond, a chain of 575 about two seconds.
    """

    def __init__(self, cuts: Sequence[int], windows: Iterable[Stretch]) -> None:
        windows, steps = list(windows), len(cuts) - 1
        root, pulls = 0, 1
        step, cut = 2 + len(windows), 2 + len(windows) + steps
        self.net = net = Circulation(cut + steps)
        ring = [root, *range(cut, cut + steps), root]
        self.before = [net.arc(a, b, -FAR, FAR) for a, b in pairwise(ring)]
        self.all = net.arc(root, pulls, 0, cuts[-1] - cuts[0])
        self.taken = [net.arc(pulls, w, 0, min(s[3], s[1] - s[0])) for w, s in enumerate(windows, 2)]
        room = [b - a for a, b in pairwise(cuts)]
        for i in range(steps):
            net.arc(step + i, cut + i, 0, room[i])
        for w, (start, stop, _, _) in enumerate(windows, 2):
            for i in range(bisect_left(cuts, start), bisect_left(cuts, stop)):
                net.arc(w, step + i, 0, room[i])
        self.low = [s[2] for s in windows]

    def fits(self, low: Sequence[int], high: Sequence[int]) -> bool:
        """Ask for each window's least, and at every cut low <= O <= high; False if nothing fulfils it."""
        net = self.net
        tops = [net.flow[e] + net.room[e] for e in self.taken]
        asked = [*zip(self.taken, self.low, tops, strict=True), *zip(self.before, low, high, strict=True)]
        return all(net.hold(*ask) for ask in asked)

    def outside(self) -> list[tuple[int, int]]:
        """The three spans that show: taken in all, O at the first cut, O at the last."""
        return self.net.spans([self.all, self.before[0], self.before[-1]])


def sweep(low: list[int], high: list[int], links: Sequence[Link]) -> bool:
    """Narrow bounds at the points, in place, by sorted links until nothing moves; False if one runs empty.

    With nothing empty and nothing moving, high itself fulfils every link: no contradiction is missed.  A shortest
    path turns round only inside a window, so a few rounds do (three at most in 20,000 random histories).
    """
    before: list[int] = []
    while before != (before := low + high):
        for i, j, least, most in links:
            if high[j] > high[i] + most:
                high[j] = high[i] + most
            if low[j] < low[i] + least:
                low[j] = low[i] + least
        for i, j, least, most in reversed(links):
            if high[i] > high[j] - least:
                high[i] = high[j] - least
            if low[i] < low[j] - most:
                low[i] = low[j] - most
        if any(map(gt, low, high)):
            return False
    return True

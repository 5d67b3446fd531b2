"""Where an uncounted pull may have taken its sheets, and which two counts cannot both be true.

An axis of n sheets.  O(x), 0 <= x <= n, is how many of the first x were taken.

    Window   an unknown number of sheets, low to high, was taken from [start, stop)
    Pin      at cut x the number taken before it was counted or read: low <= O(x) <= high
    solve    the tightest bounds on O everywhere and on every window's number, or the Contradiction

Windows apart from each other give only bounds on differences of O, and the tightest bounds are shortest paths: swept
forward and back until nothing moves.  A group of overlapping windows is solved as a flow (see flow.py) and enters the
sweep as one window.
"""

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

from ..errors import BadValue, Clash, NotThere
from .flow import FAR, Cluster, sweep

__all__ = ["START", "Bounds", "Contradiction", "Pin", "Slack", "Window", "solve"]

T = TypeVar("T")


class Window(NamedTuple):
    """Between low and high sheets, not counted, taken somewhere in [start, stop)."""

    name: str
    start: int
    stop: int
    low: int
    high: int


class Pin(NamedTuple):
    """Counted or read: of the first at sheets, low to high were taken, both included."""

    name: str
    at: int
    low: int
    high: int


START = Pin("start", 0, 0, 0)  # before the first sheet nothing was taken; in a contradiction it is named like a count


@dataclass(frozen=True, slots=True)
class Slack:
    """What is known of the sheets taken from an axis of n; no sheet is taken twice."""

    n: int
    windows: tuple[Window, ...] = ()
    pins: tuple[Pin, ...] = ()

    def __post_init__(self) -> None:
        if self.n < 0:
            raise BadValue("axis", self.n, "it has fewer than 0 sheets", "give how many sheets it has")
        for window in self.windows:
            self._check_window(window)
        for pin in self.pins:
            self._check_pin(pin)
        times = Counter(window.name for window in self.windows)
        if twice := [name for name, count in times.items() if count > 1]:
            raise BadValue("pulls", twice, "more than one has this name", "give each pull a name of its own")

    def _check_window(self, window: Window) -> None:
        name, start, stop, low, high = window
        field, n = f"pull {name}", self.n
        if not 0 <= start <= stop <= n:
            raise BadValue(field, (start, stop), f"it is not within 0 to {n}", "correct where it began and ended")
        if not 0 <= low <= high:
            raise BadValue(field, (low, high), "it is not a least and a most", "give the least first, from 0")
        if low > stop - start:
            raise BadValue(field, low, f"only {stop - start} sheets were there", "correct the least or the place")

    def _check_pin(self, pin: Pin) -> None:
        name, at, low, high = pin
        field = f"count {name}"
        if not 0 <= at <= self.n:
            raise BadValue(field, at, f"it is not within 0 to {self.n}", "correct where it was counted")
        if low > high:
            raise BadValue(field, (low, high), "the least is above the most", "give the least first")


class Contradiction(Clash):
    """No history fulfils all counts and pulls.

    pins : counts that cannot all be true, in order along the axis, none to spare; mostly two, the first may be START
    windows : pulls that touch the stretch between them, and any beyond it that the contradiction needs.  Without
        pins: pulls that together ask for more sheets than their places hold, none to spare
    """

    def __init__(self, pins: Sequence[Pin], windows: Sequence[Window]) -> None:
        self.pins, self.windows = tuple(p.name for p in pins), tuple(w.name for w in windows)
        if pins:
            said = "; ".join(f"{p.name} has {_between(p.low, p.high)} taken before {p.at}" for p in pins)
            true = f"they contradict each other ({said}), with the pulls between: {', '.join(self.windows) or 'none'}"
            cure = "count one of them again, or look between them for a pull not noted or noted twice"
            super().__init__("counts", self.pins, true, cure)
        else:
            true = f"together they took {sum(w.low for w in windows)} sheets or more, and their places hold fewer"
            super().__init__("pulls", self.windows, true, "correct the least or the place of one of them")


def _between(low: int, high: int) -> str:
    return str(low) if low == high else f"{low} to {high}"


@dataclass(frozen=True, slots=True)
class Bounds:
    """Tightest bounds on O at the cuts that matter, and on each window's number."""

    cuts: tuple[int, ...]
    low: tuple[int, ...]
    high: tuple[int, ...]
    totals: Mapping[str, tuple[int, int]]

    def at(self, x: int) -> tuple[int, int]:
        """Least and most taken before cut x.

        Between neighbouring cuts a, b only 0 <= O(x) - O(a) <= x - a and 0 <= O(b) - O(x) <= b - x are asked of x, so
        with tight bounds at a and b these are tight at x; in a cluster too, where a step has three border flows again.
        """
        cuts, low, high = self.cuts, self.low, self.high
        if not 0 <= x <= cuts[-1]:
            raise NotThere("cut", x, f"the axis runs from 0 to {cuts[-1]}", "ask for a cut on it")
        i = bisect_right(cuts, x) - 1
        a = cuts[i]
        if a == x:
            return low[i], high[i]
        return max(low[i], low[i + 1] - cuts[i + 1] + x), min(high[i + 1], high[i] + x - a)

    def total(self, name: str) -> tuple[int, int]:
        """Least and most that a window took."""
        if name not in self.totals:
            raise NotThere("pull", name, "no uncounted pull has this name", "name one that was noted")
        return self.totals[name]


def solve(slack: Slack) -> Bounds:
    """Tightest bounds; Contradiction if nothing that could have happened fulfils all that was noted."""
    settled = _settle(slack.n, slack.windows, (START, *slack.pins))
    if settled is None:
        raise _contradiction(slack)
    return settled.bounds()


def _groups(windows: Sequence[Window]) -> list[list[Window]]:
    """Windows in order of place; those that overlap, or hang together by others that do, in one group."""
    groups: list[list[Window]] = []
    reach = 0
    for window in sorted(windows, key=lambda w: (w.start, w.stop)):
        if groups and window.start < reach:
            groups[-1].append(window)
        else:
            groups.append([window])
        reach = max(reach, window.stop)
    return groups


class _Group(NamedTuple):
    """A group between points i and j; a cluster only if there is more than one window."""

    windows: list[Window]
    i: int
    j: int
    cluster: Cluster | None


class _Settled(NamedTuple):
    """The axis after the sweeps: tight at every point that is not inside a cluster."""

    cuts: list[int]
    low: list[int]
    high: list[int]
    groups: list[_Group]

    def bounds(self) -> Bounds:
        """Read every total, and O at the cuts inside clusters."""
        low, high = self.low, self.high
        totals: dict[str, tuple[int, int]] = {}
        for windows, i, j, cluster in self.groups:
            if cluster is None:
                name, start, stop, least, most = windows[0]
                totals[name] = max(least, low[j] - high[i]), min(most, stop - start, high[j] - low[i])
                continue
            net, inside = cluster.net, slice(i, j + 1)
            cluster.fits(low[inside], high[inside])
            spans = net.spans(cluster.before)
            low[inside], high[inside] = [s[0] for s in spans], [s[1] for s in spans]
            totals |= zip((w.name for w in windows), net.spans(cluster.taken), strict=True)
        return Bounds(tuple(self.cuts), tuple(low), tuple(high), totals)


def _settle(n: int, windows: Sequence[Window], pins: Sequence[Pin]) -> _Settled | None:
    """Sweep the whole axis; None if that is impossible.  A cluster takes part by its three spans."""
    cuts = sorted({0, n, *(p.at for p in pins), *(w.start for w in windows), *(w.stop for w in windows)})
    point = {x: i for i, x in enumerate(cuts)}
    low, high = [-FAR] * len(cuts), [FAR] * len(cuts)
    for pin in pins:
        i = point[pin.at]
        low[i], high[i] = max(low[i], pin.low), min(high[i], pin.high)
    room, links, groups = [0] * (len(cuts) - 1), [], []
    for members in _groups(windows):
        i, j = point[members[0].start], point[max(w.stop for w in members)]
        room[i:j] = [b - a for a, b in zip(cuts[i:j], cuts[i + 1 : j + 1], strict=True)]
        least, most = members[0].low, members[0].high
        cluster = Cluster(cuts[i : j + 1], [w[1:] for w in members]) if len(members) > 1 else None
        if cluster:
            if not cluster.fits(low[i : j + 1], high[i : j + 1]):
                return None
            (least, most), (low[i], high[i]), (low[j], high[j]) = cluster.outside()
        links.append((i, j, least, most))
        groups.append(_Group(members, i, j, cluster))
    links += [(i, i + 1, 0, most) for i, most in enumerate(room)]
    return _Settled(cuts, low, high, groups) if sweep(low, high, sorted(links)) else None


def _contradiction(slack: Slack) -> Contradiction:
    """The first count along the axis that disagrees with those before it, with the nearest that it disagrees with."""
    n, windows = slack.n, slack.windows
    ties = sorted((START, *slack.pins), key=lambda pin: pin.at)
    pins = _culprits(ties, lambda some: _settle(n, windows, some) is None)
    if not pins:
        return Contradiction((), _culprits(windows, lambda some: _settle(n, some, ()) is None))
    return Contradiction(pins, _events(slack, pins))


def _events(slack: Slack, pins: Sequence[Pin]) -> list[Window]:
    """Pulls between the first and the last of these counts, and those beyond that the contradiction needs.

    Only a pull that hangs together by overlaps with one between can be needed.
    """
    first, last = pins[0].at, pins[-1].at
    near: list[Window] = []
    for group in _groups(slack.windows):
        near += group if any(w.start < last and first < w.stop for w in group) else ()
    between = {w for w in near if w.start < last and first < w.stop}

    def clash(some: list[Window]) -> bool:
        known = between.union(some)
        windows = [w if w in known else w._replace(low=0, high=w.stop - w.start) for w in near]
        return _settle(slack.n, windows, pins) is None

    known = between.union(_culprits([w for w in near if w not in between], clash))
    return [w for w in near if w in known]


def _culprits(items: Sequence[T], clash: Callable[[list[T]], bool]) -> list[T]:
    """A part of items that still clashes and would not with any one left out; about log2(len) trials for each.

    The shortest beginning that clashes ends with one that is needed; then the same among those before it, nearest
    first, with that one kept.
    """
    kept: list[int] = []
    rest = list(range(len(items)))

    def clashes(count: int) -> bool:
        return clash([items[i] for i in sorted(kept + rest[:count])])

    while not clashes(0):
        last = bisect_left(range(len(rest)), True, key=lambda i: clashes(i + 1))
        kept, rest = [*kept, rest[last]], rest[:last][::-1]
    return [items[i] for i in sorted(kept)]

"""Bounds on sheets taken uncounted, against a full listing of all that could have happened.

The listing is as dull as can be: sheet after sheet, left alone or taken by any pull that could have taken it.
"""

import time
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Iterable
from itertools import accumulate, combinations, pairwise
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from reelmark.errors import BadValue, Clash, NotThere
from reelmark.trace.flow import FAR, sweep
from reelmark.trace.slack import START, Bounds, Contradiction, Pin, Slack, Window, solve

CHUNKS, CASES = range(8), 375  # 3,000 with windows apart and 3,000 with overlaps
Range = tuple[int, int]
History = tuple[tuple[int, ...], tuple[int, ...]]  # taken before each cut; taken by each window


# Worked by hand


def test_a_pull_between_two_counts() -> None:
    # 0 to 3 sheets went from [20, 30).  None were missing before 20 and 2 before 50, so the pull took 2.
    pull = Window("proofs", 20, 30, 0, 3)
    first, second = Pin("count 1", 20, 0, 0), Pin("count 2", 50, 2, 2)
    open_end = solve(Slack(100, (pull,), (first,)))
    assert (open_end.at(20), open_end.at(30), open_end.at(100)) == ((0, 0), (0, 3), (0, 3))
    assert open_end.total("proofs") == (0, 3)
    closed = solve(Slack(100, (pull,), (first, second)))
    assert closed.total("proofs") == (2, 2)
    # One sheet past the beginning at most 1 is gone; one before the end at most 1 can still be to go.
    assert [closed.at(x) for x in (20, 21, 25, 29, 30, 99)] == [(0, 0), (0, 1), (0, 2), (1, 2), (2, 2), (2, 2)]


def test_two_counts_that_contradict_each_other_are_named_with_the_pull_between() -> None:
    pulls = Window("early", 0, 10, 0, 3), Window("proofs", 20, 30, 0, 3), Window("late", 60, 70, 0, 9)
    pins = Pin("count 1", 20, 1, 1), Pin("count 2", 50, 5, 5), Pin("count 3", 90, 6, 6)
    with pytest.raises(Contradiction) as caught:
        solve(Slack(100, pulls, pins))
    assert (caught.value.pins, caught.value.windows) == (("count 1", "count 2"), ("proofs",))
    assert isinstance(caught.value, Clash)
    assert "count 1 has 1 taken before 20; count 2 has 5 taken before 50" in str(caught.value)


def test_the_start_of_the_axis_is_named_like_a_count() -> None:
    with pytest.raises(Contradiction) as caught:
        solve(Slack(9, (Window("a", 2, 5, 0, 1),), (Pin("count", 6, 2, 4),)))
    assert (caught.value.pins, caught.value.windows) == ((START.name, "count"), ("a",))


def test_two_counts_at_one_cut_disagree_with_nothing_between() -> None:
    with pytest.raises(Contradiction) as caught:
        solve(Slack(9, (Window("a", 2, 5, 0, 3),), (Pin("by hand", 5, 1, 1), Pin("by machine", 5, 2, 2))))
    assert (caught.value.pins, caught.value.windows) == (("by hand", "by machine"), ())


def test_four_counts_of_which_any_three_agree() -> None:
    # wide took at most 1.  Both the 1 before 4 and the 1 after 8 are its own, though: narrow reaches neither.
    wide, narrow = Window("wide", 0, 10, 0, 1), Window("narrow", 4, 8, 0, 3)
    pins = Pin("p", 4, 1, 1), Pin("q", 8, 3, 3), Pin("r", 10, 4, 4)
    with pytest.raises(Contradiction) as caught:
        solve(Slack(10, (wide, narrow), pins))
    assert (caught.value.pins, caught.value.windows) == ((START.name, "p", "q", "r"), ("wide", "narrow"))
    agreed = solve(Slack(10, (wide, narrow), pins[:2]))
    assert (agreed.total("wide"), agreed.total("narrow"), agreed.at(10)) == ((1, 1), (2, 2), (3, 3))


def test_pulls_that_ask_for_more_sheets_than_there_are() -> None:
    pulls = Window("a", 0, 2, 2, 2), Window("b", 1, 3, 0, 1), Window("c", 0, 2, 1, 2)
    with pytest.raises(Contradiction) as caught:
        solve(Slack(5, pulls))
    assert (caught.value.pins, caught.value.windows) == ((), ("a", "c"))


def test_a_pull_beyond_the_counts_is_named_if_they_contradict_only_with_it() -> None:
    # full took both sheets of [10, 12), so all 3 of long are from [12, 15), where the counts leave room for 2.
    early, long = Window("early", 0, 10, 0, 4), Window("long", 10, 15, 3, 3)
    pulls = early, Window("full", 10, 12, 2, 2), Window("idle", 10, 12, 0, 1), long
    with pytest.raises(Contradiction) as caught:
        solve(Slack(20, pulls, (Pin("p", 12, 4, 4), Pin("q", 15, 4, 6))))
    assert (caught.value.pins, caught.value.windows) == (("p", "q"), ("full", "long"))


# Refused


BAD = [
    ("a", -1, 3, 0, 1),
    ("a", 3, 10, 0, 1),
    ("a", 5, 3, 0, 0),
    ("a", 0, 3, 2, 1),
    ("a", 0, 3, -1, 1),
    ("a", 0, 3, 4, 5),
]


@pytest.mark.parametrize("window", [*BAD, ("b", 0, 3, 0, 1)])
def test_a_pull_that_cannot_be_is_refused(window: tuple[str, int, int, int, int]) -> None:
    with pytest.raises(BadValue):
        Slack(9, (Window(*window), Window("b", 0, 9, 0, 1)))


@pytest.mark.parametrize("pin", [("p", 10, 0, 0), ("p", -1, 0, 0), ("p", 4, 2, 1)])
def test_a_count_that_cannot_be_is_refused(pin: tuple[str, int, int, int]) -> None:
    with pytest.raises(BadValue):
        Slack(9, (), (Pin(*pin),))


def test_what_is_not_there_is_not_answered() -> None:
    bounds = solve(Slack(9, (Window("a", 4, 4, 0, 2),)))
    assert (bounds.at(9), bounds.total("a")) == ((0, 0), (0, 0))
    for x in (-1, 10):
        with pytest.raises(NotThere):
            bounds.at(x)
    with pytest.raises(NotThere):
        bounds.total("b")
    with pytest.raises(BadValue):
        Slack(-1)
    assert solve(Slack(0)).at(0) == (0, 0)


# Against the listing


def histories(n: int, windows: tuple[Window, ...]) -> set[History]:
    """All that could have happened, counts and leasts not yet asked."""
    found: set[History] = {((0,), (0,) * len(windows))}
    for x in range(n):
        grown = {((*before, before[-1]), taken) for before, taken in found}
        for w, window in enumerate(windows):
            if window.start <= x < window.stop:
                for before, taken in found:
                    if taken[w] < window.high:
                        grown.add(((*before, before[-1] + 1), (*taken[:w], taken[w] + 1, *taken[w + 1 :])))
        found = grown
    return {h for h in found if all(k >= w.low for k, w in zip(h[1], windows, strict=True))}


def listed(slack: Slack) -> set[History]:
    return {h for h in histories(slack.n, slack.windows) if all(p.low <= h[0][p.at] <= p.high for p in slack.pins)}


def ranges(rows: Iterable[tuple[int, ...]]) -> list[Range]:
    return [(min(column), max(column)) for column in zip(*rows, strict=True)]


def random_window(rng: Random, name: str, start: int, stop: int) -> Window:
    low = max(0, rng.randint(-1, min(2, stop - start)))
    return Window(name, start, stop, low, low + rng.randint(0, 2))


def random_pins(rng: Random, n: int) -> tuple[Pin, ...]:
    """Up to three, near a count that rises along the axis, so that about half of all cases are possible."""
    at = sorted(rng.randint(0, n) for _ in range(rng.randint(0, 3)))
    rise = accumulate(rng.randint(0, 2) for _ in at)
    return tuple(
        Pin(f"p{i}", x, k, k + rng.choice((0, 0, 1, 2))) for i, (x, k) in enumerate(zip(at, rise, strict=True))
    )


def apart(rng: Random) -> Slack:
    n = rng.randint(1, 8)
    ends = sorted(rng.choices(range(n + 1), k=2 * rng.randint(0, 3)))
    windows = (random_window(rng, f"w{i}", a, b) for i, (a, b) in enumerate(zip(ends[::2], ends[1::2], strict=True)))
    return Slack(n, tuple(windows), random_pins(rng, n))


def overlapping(rng: Random) -> Slack:
    n = rng.randint(2, 8)
    while True:
        ends = [sorted(rng.sample(range(n + 1), 2)) for _ in range(rng.randint(2, 3))]
        if any(max(a, c) < min(b, d) for (a, b), (c, d) in combinations(ends, 2)):
            windows = tuple(random_window(rng, f"w{i}", a, b) for i, (a, b) in enumerate(ends))
            return Slack(n, windows, random_pins(rng, n))


def nested(rng: Random) -> Slack:
    """A short pull within a long one and counts on either side of it: where bounds on differences say too little."""
    n = rng.randint(5, 8)
    a, b, c, d = sorted(rng.sample(range(n + 1), 4))
    most = rng.randint(0, 1)
    long, short = Window("long", a, d, 0, 1 + most), Window("short", b, c, 0, min(c - b, 2 + most))
    k, m = rng.randint(0, 1), rng.randint(0, 2)
    pins = Pin("before", b, k, k + rng.randint(0, 1)), Pin("after", c, k + m, k + m), Pin("end", d, k + m, n)
    return Slack(n, (long, short), (*pins[:2], pins[2]._replace(low=k + m + rng.randint(0, 2))))


def swept_only(slack: Slack) -> list[Range] | None:
    """Sweeps with every bound on a difference that a set of whole windows gives, between all cuts 0 to n."""
    low, high, links = [-FAR] * (slack.n + 1), [FAR] * (slack.n + 1), []
    for pin in (START, *slack.pins):
        low[pin.at], high[pin.at] = max(low[pin.at], pin.low), min(high[pin.at], pin.high)
    for i, j in combinations(range(slack.n + 1), 2):
        least = sum(w.low for w in slack.windows if i <= w.start and w.stop <= j)
        most = sum(w.high for w in slack.windows if w.start < j and i < w.stop)
        if least > j - i:
            return None
        links.append((i, j, least, min(most, j - i)))
    return list(zip(low, high, strict=True)) if sweep(low, high, links) else None


def solved(slack: Slack) -> tuple[list[Range], list[Range]] | None:
    try:
        bounds = solve(slack)
    except Contradiction:
        return None
    return [bounds.at(x) for x in range(slack.n + 1)], [bounds.total(w.name) for w in slack.windows]


def compare(slack: Slack, tally: Counter[str]) -> None:
    """solve, and the sweeps alone, against the listing; what is found goes into the tally."""
    truth, found, swept = listed(slack), solved(slack), swept_only(slack)
    tally["cases"] += 1
    if not truth:
        tally["contradictions"] += 1
        tally["missed"] += found is not None
        tally["missed by sweeps"] += swept is not None
        return
    assert found is not None, f"no contradiction in {slack}"
    assert swept is not None, f"no contradiction in {slack}"
    at, totals = ranges(h[0] for h in truth), ranges(h[1] for h in truth)
    for name, true, shown in (("cut", at, found[0]), ("total", totals, found[1]), ("swept cut", at, swept)):
        tally[f"{name}s"] += len(true)
        tally[f"{name}s tight"] += sum(t == s for t, s in zip(true, shown, strict=True))
        assert all(s[0] <= t[0] and t[1] <= s[1] for t, s in zip(true, shown, strict=True)), (name, slack)


@pytest.mark.parametrize("chunk", CHUNKS)
def test_windows_apart_are_sound_tight_and_miss_nothing(chunk: int) -> None:
    rng, tally = Random(1000 + chunk), Counter[str]()
    for _ in range(CASES):
        compare(apart(rng), tally)
    print(dict(tally))
    assert tally["missed"] == tally["missed by sweeps"] == 0 < tally["contradictions"]
    assert tally["cuts tight"] == tally["swept cuts tight"] == tally["cuts"]
    assert tally["totals tight"] == tally["totals"]


@pytest.mark.parametrize("chunk", CHUNKS)
def test_overlapping_windows_are_sound_tight_and_miss_nothing_where_sweeps_do(chunk: int) -> None:
    rng, tally = Random(2000 + chunk), Counter[str]()
    for _ in range(CASES):
        compare(rng.choice((overlapping, nested))(rng), tally)
    print(dict(tally))
    assert tally["missed"] == 0 < tally["missed by sweeps"]
    assert tally["cuts tight"] == tally["cuts"] > tally["swept cuts tight"]
    assert tally["totals tight"] == tally["totals"]


def possible(n: int, windows: Iterable[Window], pins: Iterable[Pin]) -> bool:
    """As listed, but with O(0) left open unless START is among the pins."""
    pins = list(pins)
    return any(
        all(p.low <= before[p.at] + base <= p.high for p in pins)
        for before, _ in histories(n, tuple(windows))
        for base in range(-n, n + 8)
    )


@pytest.mark.parametrize("draw", [apart, overlapping, nested])
def test_the_named_counts_and_pulls_contradict_and_none_is_to_spare(draw: Callable[[Random], Slack]) -> None:
    rng, seen = Random(3), 0
    while seen < 150:
        slack = draw(rng)
        if listed(slack):
            continue
        seen += 1
        with pytest.raises(Contradiction) as caught:
            solve(slack)
        pins = [p for p in (START, *slack.pins) if p.name in caught.value.pins]
        named = [w for w in slack.windows if w.name in caught.value.windows]
        dull = [w if w in named else w._replace(low=0, high=w.stop - w.start) for w in slack.windows]
        assert not possible(slack.n, dull, pins), (slack, caught.value)
        assert all(possible(slack.n, slack.windows, set(pins) - {p}) for p in pins), (slack, caught.value)
        assert pins or all(possible(slack.n, set(named) - {w}, ()) for w in named), (slack, caught.value)


# Larger, against a linear program: sheets of every window in every step are its unknowns


def lp_span(slack: Slack, what: Window | int) -> Range | None:
    """Least and most of a window's number, or of O at a cut; None if nothing is possible."""
    cuts = sorted({0, slack.n, *(x for w in slack.windows for x in w[1:3]), *(p.at for p in slack.pins)})
    cuts = sorted({*cuts, what}) if isinstance(what, int) else cuts
    cells = [(w, a, b) for w in slack.windows for a, b in pairwise(cuts) if w.start <= a and b <= w.stop]
    before = {x: np.array([float(b <= x) for _, _, b in cells]) for x in cuts}
    by = {w: np.array([float(c[0] == w) for c in cells]) for w in slack.windows}
    rows = [(by[w], w.low, w.high) for w in slack.windows] + [(before[p.at], p.low, p.high) for p in slack.pins]
    rows += [(before[b] - before[a], 0, b - a) for a, b in pairwise(cuts)]
    A = np.concatenate([(row, -row) for row, _, _ in rows])
    limit = [value for _, low, high in rows for value in (high, -low)]
    aim = before[what] if isinstance(what, int) else by[what]
    ends = [linprog(sign * aim, A_ub=A, b_ub=limit) for sign in (1, -1)]
    least, most = (end.fun for end in ends)
    return (round(least), round(-most)) if least is not None and most is not None else None


@pytest.mark.parametrize("chunk", range(4))
def test_many_overlapping_windows_agree_with_a_linear_program(chunk: int) -> None:
    rng, tally = Random(4000 + chunk), Counter[str]()
    for _ in range(12):
        n = 80
        ends = [sorted(rng.sample(range(n + 1), 2)) for _ in range(9)]
        windows = tuple(random_window(rng, f"w{i}", a, min(b, a + 25)) for i, (a, b) in enumerate(ends))
        pins = tuple(Pin(f"p{x}", x, low, low + 5) for x in range(20, 81, 20) for low in [x // 10 + rng.randint(-2, 1)])
        slack = Slack(n, windows, pins)
        found = solved(slack)
        cut, window = rng.randrange(n + 1), rng.randrange(9)
        true = lp_span(slack, cut), lp_span(slack, windows[window])
        tally["possible" if found else "not"] += 1
        assert true == ((found[0][cut], found[1][window]) if found else (None, None)), slack
    assert tally["possible"] > 0


# Whatever happened is within the bounds


@st.composite
def noted(draw: st.DrawFn) -> tuple[Slack, list[int], dict[str, int]]:
    """What was noted of a random history, O at every cut, and what every window took."""
    n = draw(st.integers(1, 120))
    free, windows, took = set(range(n)), [], {}
    for i in range(draw(st.integers(0, 6))):
        start, stop = sorted((draw(st.integers(0, n)), draw(st.integers(0, n))))
        here = sorted(free.intersection(range(start, stop)))
        sheets = draw(st.sets(st.sampled_from(here), max_size=6)) if here else set()
        free -= sheets
        took[f"w{i}"] = len(sheets)
        low = max(0, len(sheets) - draw(st.integers(0, 2)))
        windows.append(Window(f"w{i}", start, stop, low, len(sheets) + draw(st.integers(0, 2))))
    before = [x - len(free.intersection(range(x))) for x in range(n + 1)]
    cuts = draw(st.lists(st.integers(0, n), max_size=5))
    pins = (Pin(f"p{x}", x, before[x] - draw(st.integers(0, 1)), before[x] + draw(st.integers(0, 1))) for x in cuts)
    return Slack(n, tuple(windows), tuple(pins)), before, took


@given(noted())
def test_what_happened_is_within_the_bounds(case: tuple[Slack, list[int], dict[str, int]]) -> None:
    slack, before, took = case
    bounds = solve(slack)
    for x, true in enumerate(before):
        low, high = bounds.at(x)
        assert low <= true <= high
    for name, true in took.items():
        low, high = bounds.total(name)
        assert low <= true <= high


# Scale


def big_order(width: int, counted_each: int) -> tuple[Slack, list[int]]:
    """1.15 million sheets, 0 to 3 pulled from somewhere within every 2,000 or a little more; and the sheets pulled."""
    rng, n, pulled, windows = Random(5), 1_150_000, set[int](), []
    for start in range(0, n - width + 1, 2000):
        windows.append(Window(f"w{start}", start, start + width, 0, 3))
        free = sorted(set(rng.sample(range(start, start + width), 6)) - pulled)
        pulled |= set(free[: rng.randint(0, 3)])
    sheets = sorted(pulled)
    ties = ((x, bisect_left(sheets, x)) for x in range(counted_each, n, counted_each))
    return Slack(n, tuple(windows), tuple(Pin(f"p{x}", x, k, k) for x, k in ties)), sheets


@pytest.mark.parametrize("width", [2000, 2200])
def test_a_whole_order(width: int) -> None:
    slack, sheets = big_order(width, 10_000)
    began = time.perf_counter()
    bounds: Bounds = solve(slack)
    print(f"windows of {width}: {1000 * (time.perf_counter() - began):.0f} ms for {len(bounds.cuts)} cuts")
    cuts = range(0, slack.n, 777)
    assert all(low <= bisect_left(sheets, x) <= high for x, (low, high) in zip(cuts, map(bounds.at, cuts), strict=True))
    # Rule: no wider than what the five pulls between two counts may have taken.
    assert max(high - low for low, high in map(bounds.at, cuts)) <= 15 + 3 * (width > 2000)

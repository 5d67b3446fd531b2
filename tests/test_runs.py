"""The algebra of run maps, held against tables of every integer: a dict is the dullest map there is.

Maps are drawn as a works makes them: some stretches kept, some lost, some turned round, put down in any order.
"""

from functools import cache
from itertools import pairwise
from random import Random

import numpy as np
import pytest

from reelmark.spans import EMPTY, Spans
from reelmark.trace.runs import RunMap

TRIPLES = 3_000
AXIS = 24  # integers on each of the axes between which the maps go
Table = dict[int, int]
Row = tuple[int, int, int, int]


def stretches(rng: Random, most: int) -> list[tuple[int, int]]:
    """Disjoint stretches of the axis in order, some touching, some of length 1."""
    cuts = sorted(rng.sample(range(AXIS + 1), rng.randint(2, 2 * most)))
    pairs = list(pairwise(cuts))
    return sorted(rng.sample(pairs, rng.randint(0, min(most, len(pairs)))))


def drawn(rng: Random) -> list[Row]:
    """Runs from disjoint stretches to disjoint stretches, in no order."""
    rows, at = [], rng.randint(0, 2)
    domain = stretches(rng, 5)
    rng.shuffle(domain)
    for a, b in domain:
        n = b - a
        q = rng.choice((1, -1))
        rows.append((a, n, at if q > 0 else at + n - 1, q))
        at += n + rng.choice((0, 0, 1, 2))
    return rows


def table(rows: list[Row]) -> Table:
    return {s + i: d + q * i for s, n, d, q in rows for i in range(n)}


def as_table(m: RunMap) -> Table:
    return table(list(zip(m.s.tolist(), m.n.tolist(), m.d.tolist(), m.q.tolist(), strict=True)))


def drawn_spans(rng: Random) -> Spans:
    return Spans.of(*stretches(rng, 4))


def spans(xs: set[int]) -> Spans:
    return Spans(sorted(xs), [x + 1 for x in sorted(xs)])


@cache
def triples() -> list[tuple[list[Row], list[Row], list[Row]]]:
    rng = Random(20270301)
    return [(drawn(rng), drawn(rng), drawn(rng)) for _ in range(TRIPLES)]


def composed(f: Table, g: Table) -> Table:
    return {x: g[y] for x, y in f.items() if y in g}


def flipped(f: Table) -> Table:
    return {y: x for x, y in f.items()}


# --- laws, on every triple ----------------------------------------------------------------------------------


def test_composition_is_that_of_the_tables_and_has_at_most_one_run_less_than_both() -> None:
    for f, g, _ in triples():
        made = RunMap.of(f).then(RunMap.of(g))
        assert as_table(made) == composed(table(f), table(g))
        assert len(made) <= max(0, len(f) + len(g) - 1)


def test_composition_is_associative() -> None:
    for f, g, h in triples():
        one, two, three = RunMap.of(f), RunMap.of(g), RunMap.of(h)
        assert one.then(two).then(three) == one.then(two.then(three))


def test_inverse_is_that_of_the_table_and_undoes_the_map() -> None:
    for f, _, _ in triples():
        m = RunMap.of(f)
        assert as_table(m.inverse) == flipped(table(f))
        assert m.inverse.inverse == m
        assert m.then(m.inverse) == RunMap.identity(m.domain)
        assert m.inverse.then(m) == RunMap.identity(m.codomain)


def test_the_inverse_of_two_in_turn_is_their_inverses_in_turn_from_the_other_end() -> None:
    for f, g, _ in triples():
        one, two = RunMap.of(f), RunMap.of(g)
        assert one.then(two).inverse == two.inverse.then(one.inverse)


def test_images_points_and_restrictions_are_those_of_the_table() -> None:
    rng = Random(7)
    for f, _, _ in triples():
        m, t, some = RunMap.of(f), table(f), drawn_spans(rng)
        assert m.image(some) == spans({y for x, y in t.items() if x in some})
        assert (m.domain, m.codomain) == (spans(set(t)), spans(set(t.values())))
        assert [m.at(x) for x in range(-1, AXIS + 2)] == [t.get(x) for x in range(-1, AXIS + 2)]
        assert as_table(m.on(some)) == {x: y for x, y in t.items() if x in some}
        assert as_table(m.but(some)) == {x: y for x, y in t.items() if y not in some}


def test_many_points_at_once_are_the_same_as_one_by_one() -> None:
    xs = np.arange(-2, AXIS + 2)
    for f, _, _ in triples()[:500]:
        m = RunMap.of(f)
        assert m(xs).tolist() == [-1 if (y := m.at(x)) is None else y for x in xs.tolist()]


def test_canonical_form_is_the_same_however_the_map_was_cut_up() -> None:
    rng = Random(11)
    for f, _, _ in triples():
        pieces = [row for run in f for row in cut_up(rng, run)]
        rng.shuffle(pieces)
        whole, again = RunMap.of(f).merged(), RunMap.of(pieces).merged()
        assert again == whole
        assert as_table(again) == table(f)
        assert len(again) == fewest(table(f))
        assert len(again.merged()) == len(again)


def cut_up(rng: Random, run: Row) -> list[Row]:
    """The run as several; a piece of length 1 is given any direction."""
    s, n, d, q = run
    cuts = [0, *sorted(rng.sample(range(1, n), rng.randint(0, n - 1))), n]
    return [(s + a, b - a, d + q * a, rng.choice((1, -1)) if b - a == 1 else q) for a, b in pairwise(cuts)]


def fewest(t: Table) -> int:
    """Fewest runs the table can be written in: taken greedily from the left, each as long as it can be."""
    runs, direction = 0, 0
    for x in sorted(t):
        step = t[x] - t[x - 1] if x - 1 in t else 0
        if abs(step) == 1 and direction in (0, step):
            direction = step
        else:
            runs, direction = runs + 1, 0
    return runs


def test_the_two_halves_of_a_map_joined_are_the_map() -> None:
    for f, _, _ in triples()[:500]:
        left, right = f[: len(f) // 2], f[len(f) // 2 :]
        assert RunMap.of(left) | RunMap.of(right) == RunMap.of(f)


# --- worked examples ----------------------------------------------------------------------------------------


def test_a_rewind_is_one_run_and_twice_rewound_is_as_before() -> None:
    rewind = RunMap.of([(0, 8_000, 7_999, -1)])
    assert rewind.at(0) == 7_999
    assert rewind.at(7_999) == 0
    assert rewind.at(8_000) is None
    assert rewind.then(rewind) == RunMap.identity(Spans.of((0, 8_000)))
    assert len(rewind.then(rewind)) == 1


def test_an_empty_interval_goes_nowhere() -> None:
    turn = RunMap.of([(0, 10, 9, -1), (10, 5, 20, 1)])
    for x in (0, 4, 10, 15, 99):
        assert turn.image(Spans.of((x, x))) == EMPTY
    assert turn.image(EMPTY) == EMPTY
    assert len(turn.on(EMPTY)) == 0


def test_the_map_of_nothing_goes_nowhere_and_nothing_comes_of_it() -> None:
    none, one = RunMap.of(), RunMap.of([(0, 3, 2, -1)])
    assert none == none.inverse == none.merged() == none.then(one) == one.then(none)
    assert len(one.then(none)) == 0
    assert none.image(Spans.of((0, 9))) == none.domain == none.codomain == EMPTY
    assert none.at(0) is None
    assert none(np.array([0, 1])).tolist() == [-1, -1]


@pytest.mark.parametrize("q", [1, -1])
def test_a_run_of_length_1_has_no_direction(q: int) -> None:
    single = RunMap.of([(5, 1, 9, q)])
    assert single == RunMap.of([(5, 1, 9, -q)])
    assert single.inverse == RunMap.of([(9, 1, 5, q)])


def test_a_run_of_length_1_takes_the_direction_of_the_neighbour_it_continues() -> None:
    # 4, 5, 6 go to 12, 11, 10: one run down, whichever way the first sheet was said to lie.
    assert len(RunMap.of([(4, 1, 12, 1), (5, 2, 11, -1)]).merged()) == 1
    assert len(RunMap.of([(4, 2, 12, -1), (6, 1, 10, 1)]).merged()) == 1
    assert len(RunMap.of([(4, 1, 12, 1), (5, 1, 11, 1), (6, 1, 10, 1)]).merged()) == 1


def test_runs_that_touch_but_turn_are_kept_apart() -> None:
    assert len(RunMap.of([(0, 3, 0, 1), (3, 3, 5, -1)]).merged()) == 2
    assert RunMap.of([(0, 3, 0, 1)]) != RunMap.of([(0, 3, 2, -1)])
    assert RunMap.of([(0, 1, 0, 1)]) != [(0, 1, 0, 1)]


def test_a_pull_and_a_pile_turned_make_two_runs_of_the_pile() -> None:
    # 10 sheets, the 4th and 5th pulled, the rest turned over: 9 8 7 6 5 | 2 1 0 from the top.
    pulled = RunMap.of([(0, 3, 0, 1), (5, 5, 3, 1)])
    turned = pulled.then(RunMap.of([(0, 8, 7, -1)]))
    assert [turned.inverse.at(y) for y in range(8)] == [9, 8, 7, 6, 5, 2, 1, 0]
    assert len(turned) == 2

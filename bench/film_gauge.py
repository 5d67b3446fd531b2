"""A scanning gauge of a million points: model, map, marks beside one lsqr solve of the same system; the live view.

OPENBLAS_NUM_THREADS=1 python bench/film_gauge.py      alone, on one core; `gauge(seed)` for the table of all results
"""

import tracemalloc
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from measure import Result, below, percentile, seconds, show, stated
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import lsqr

from reelmark.demo.gauge import FAULTS, Scan, scan
from reelmark.stations.film.gauge import Die, Live, Model, Records, clean, find_marks, fit, roll_map

System = tuple[Any, Any]  # matrix and right-hand side, as scipy takes them
POINTS, PASSES = 400, 2500
DIE = Die(FAULTS.die_s)
ROUNDS = 3


def gauge(seed: int) -> Iterator[Result]:
    """Ten rolls' worth in one record."""
    one = scan(replace(FAULTS, passes=PASSES, points=POINTS), seed)
    records = clean(*one[:4])
    model = fit(records, die=DIE)
    system = _system(records, model)
    ours, theirs = _side_by_side(records, system)
    note = f"{records.time_s.size:,} points, {PASSES:,} passes, die's period known; best of {ROUNDS} in turns; one core"
    yield below("gauge: model, map, marks", ours, "s", 2.0, None, note)
    what = (
        f"one lsqr of {system[0].shape[0]:,} x {system[0].shape[1]:,}, its own tolerances (1e-6), matrix already built"
    )
    yield below("gauge: the same over one lsqr", ours / theirs, "x", 3.0, None, f"{what}: {theirs:.2f} s")
    yield stated("gauge: checking and cleaning", min(seconds(lambda: clean(*one[:4])) for _ in range(3)), "s")
    yield stated("gauge: with the die's period searched", seconds(lambda: fit(records)), "s")
    yield below("gauge: most memory over the data", _memory(one), "x", 10.0, None, "tracemalloc; cleaning to marks")
    yield below(
        "gauge: live, one scan, 99 of 100 below", _live(one) / 1000, "ms", 5.0, None, f"{POINTS} points, 40 lanes"
    )


def _all(records: Records) -> object:
    model = fit(records, die=DIE)
    return roll_map(model), find_marks(model)


def _system(records: Records, model: Model) -> System:
    """A row a point: level, lane, sector, and two columns a wave."""
    n, k = records.time_s.size, records.passes
    assert model.sector is not None
    turns = [2 * np.pi * records.time_s / wave.period_s for wave in model.waves]
    waves = [f(turn) for turn in turns for f in (np.cos, np.sin)]
    first = k + model.lanes + DIE.sectors
    index = [records.sweep, k + model.lane, k + model.lanes + model.sector]
    index += [np.full(n, first + i) for i in range(len(waves))]
    value = [np.ones(n)] * 3 + waves
    columns, values = np.stack(index, axis=1).ravel(), np.stack(value, axis=1).ravel()
    rows = np.arange(n + 1) * len(index)
    matrix = csr_matrix((values, columns, rows), shape=(n, first + len(waves)))
    return matrix, records.gauge_um - records.gauge_um.mean()


def _side_by_side(records: Records, system: System) -> tuple[float, float]:
    ours, theirs = [], []
    for _ in range(ROUNDS):
        ours.append(seconds(lambda: _all(records)))
        theirs.append(seconds(lambda: lsqr(system[0], system[1])))
    return min(ours), min(theirs)


def _memory(one: Scan) -> float:
    """Peak of what Python allocates, over the four columns."""
    tracemalloc.start()
    _all(clean(*one[:4]))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / sum(column.nbytes for column in one[:4])


def _live(one: Scan) -> float:
    """us that 99 of 100 scans stay below."""
    live = Live.start(FAULTS.target_um, 0.0, FAULTS.width_mm)

    def ask(i: int) -> object:
        part = slice(i * POINTS, (i + 1) * POINTS)
        return live.step(one.time_s[part], one.across_mm[part], one.gauge_um[part])

    return percentile(ask, range(200), 0.99)


if __name__ == "__main__":
    print(show(list(gauge(1))))

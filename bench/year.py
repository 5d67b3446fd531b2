"""A year: 60 orders of their own, three billion notes, in one thread."""

from random import Random

from measure import Result, below, percentile, seconds
from order50 import UPS, make_order
from speed import trace
from storage import cache_bytes, table_bytes

from reelmark.facts import Run
from reelmark.trace.thread import Thread

ORDERS = 60


def year(seed: int, rng: Random) -> list[Result]:
    """Sixty different orders, none tiled, as one thread."""
    runs: list[Run] = []
    ticks: dict[str, int] = {}
    for i in range(ORDERS):
        shop = make_order(seed + i, f"Y{i:02}", len(runs))
        runs += shop.runs
        ticks[shop.name] = shop.ticks
    made: list[Thread] = []
    took = seconds(lambda: made.append(Thread(runs))) + seconds(lambda: made[0].straight)
    return _results(made[0], ticks, took, rng)


def _results(thread: Thread, ticks: dict[str, int], took: float, rng: Random) -> list[Result]:
    setting = {strikes.series: strikes for strikes in thread.strikes}
    asked = rng.choices(list(ticks), k=10_000)
    numbers = [setting[series].number(rng.randrange(ticks[series]), rng.randrange(UPS)) for series in asked]
    questions = dict(enumerate(zip(asked, numbers, strict=True)))

    def ask(i: int) -> object:
        return trace(thread, *questions[i])

    notes, tables = sum(ticks.values()) * UPS, table_bytes(thread)
    runs = len(thread.step) + len(thread.prints) + len(thread.cutter.s)
    note = f"{notes:,} notes, {ORDERS} different orders, {runs:,} runs; read in {took:.0f} s; composed maps beside them"
    return [
        below("a year: run tables", tables / 1e6, "MB", 100, None, f"{note} {cache_bytes(thread) / 1e6:.0f} MB"),
        below("a year: trace, middle", percentile(ask, range(10_000), 0.5), "us", 100),
        below("a year: trace, 99 of 100 below", percentile(ask, range(10_000), 0.99), "us", 100),
    ]

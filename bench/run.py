"""Measure speed and size, and whether they keep the goals: `make bench`, a quarter of an hour, 2 GB of disk meanwhile.

Everything is made from a fixed seed, and first the thread is held against the plain truth at every sheet.  Results go
to bench/results.json and, as a table, to the screen.  To look quickly:

    BENCH_ROWS=5000000 make bench      so many rows a note in the anchor; its bytes are then scaled up
"""

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from time import perf_counter

from anchor import Anchor
from demo import demo
from equal import check
from film_gauge import gauge
from measure import Result, show, stated, write
from order50 import BLOCK, UPS, make_order
from plan import plan
from plan_risk import risk
from speed import Both, first_film, recompute, speed
from storage import notes_of, storage
from truth import Truth
from web import web
from window import look as windows
from window import memory as window_memory
from window import speed as window_speed
from window_read import read as window_read
from year import year

from reelmark.trace.thread import Thread

SEED = 1
WINDOW_FRAMES = 20  # clean, and with faults; 200 of each by hand: bench/window.py
ROWS = int(os.environ.get("BENCH_ROWS", 10**9))  # at most; the order has about 50 million


def main() -> int:
    """All parts in turn; 0 if every goal is kept."""
    with TemporaryDirectory() as folder:
        results = list(_all(Path(folder)))
    write(results, Path(__file__).with_name("results.json"))
    print(show(results))
    return int(any(r.holds is False for r in results))


def _all(folder: Path) -> Iterator[Result]:
    yield demo(folder)
    _say("the desk in a browser")
    yield from web(folder / "demo-works")
    _say("the film line's gauges")
    yield from gauge(SEED)
    _say("the camera over the web")
    yield from windows(WINDOW_FRAMES)
    yield from window_speed()
    yield from window_memory()
    yield from window_read(SEED)
    _say("the plan, for nine minutes")
    yield from plan(SEED)
    yield from risk(SEED)
    yield from _order(folder)
    _say("a year")
    yield from year(SEED + 100, Random(SEED))


def _order(folder: Path) -> Iterator[Result]:
    shop = make_order(SEED)
    truth, start = Truth(shop), perf_counter()
    thread = Thread(shop.runs)
    took = 1000 * (perf_counter() - start)
    _say("is it right at every sheet?")
    sheets = check(thread, truth)
    what = f"equal to a plain permutation at every one of {sheets:,} sheets, both ways; {notes_of(shop):,} numbers"
    yield Result("exact: sheets that differ", 0, "sheets", None, None, "0", True, what)
    yield stated("order read from its runs", took, "ms", None, f"{len(shop.runs):,} runs of machines")
    yield from recompute(shop, thread)
    _say("loading the anchor, a row a note")
    anchor = Anchor(folder / "anchor.db")
    anchor.load(first_film(truth), truth.sheet_of_tick, ROWS)
    both = _both(thread, anchor, truth)
    _say("asking both in turns")
    yield from storage(shop, thread, folder, anchor.bytes * notes_of(shop) // anchor.rows, notes_of(shop))
    yield from speed(both, Random(SEED))


def _both(thread: Thread, anchor: Anchor, truth: Truth) -> Both:
    ticks = min(anchor.rows // UPS, truth.shop.ticks) // BLOCK * BLOCK
    scaled = "" if anchor.rows == notes_of(truth.shop) else " (fewer than the order: its bytes are scaled up)"
    return Both(thread, anchor, truth, ticks, f"anchor: {anchor.rows:,} rows a note in SQLite, indexed{scaled}")


def _say(what: str) -> None:
    print(f"… {what}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())

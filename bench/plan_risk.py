"""A plan of 720 operations carried out 10,000 times, beside the same shop as SimPy processes with the same draws.

python bench/plan_risk.py      alone; `risk(seed)` for the table of all results
"""

import sys
from collections.abc import Iterator
from pathlib import Path
from time import perf_counter

import numpy as np
from measure import Result, below, seconds, show, stated, times

from reelmark.plan.carried import Times, carry_out
from reelmark.plan.clock import clocks
from reelmark.plan.draws import USUAL, Drawn
from reelmark.plan.levers import levers
from reelmark.plan.network import AT_THE_START, network
from reelmark.plan.risk import blocks, simulate

sys.path.append(str(Path(__file__).parents[1] / "tests"))
from model_shop import Processes, greedy, shop

RUNS, TIMED, TURNS = 10_000, 20, 4  # SimPy is timed on TIMED runs in each of TURNS turns, and scaled


def risk(seed: int) -> Iterator[Result]:
    """Carrying out against SimPy, and what an answer costs in all."""
    one = shop(seed)
    plan, its = greedy(one), clocks(one)
    net = network(one, plan, its, AT_THE_START)
    drawn = [part for _, part in blocks(one, net, USUAL, RUNS, seed)]
    oracle = Processes(one, plan, [0.0] * len(plan.start))
    ours, theirs, apart = [], [], []
    for turn in range(TURNS):
        begin = perf_counter()
        found = [carry_out(net, its, part.work) for part in drawn]
        ours.append(perf_counter() - begin)
        took, far = _simpy(oracle, drawn[0], found[0], turn)
        theirs.append(took * RUNS)
        apart.append(far)
    note = f"{len(plan.start)} operations; best of {TURNS} in turns; SimPy {TIMED} runs a turn, scaled; no drawing"
    yield times(f"risk: a plan carried out {RUNS:,} times", min(ours), "s", min(theirs), 200, note)
    note = (
        f"start and end of every operation in {TIMED * TURNS} runs, against SimPy with the same draws; units of 30 min"
    )
    yield below("risk: furthest from SimPy", max(apart), "units", 1e-9, None, note)
    draws = min(seconds(lambda: list(blocks(one, net, USUAL, RUNS, seed))) for _ in range(3))
    yield stated("risk: drawing them", draws, "s")
    yield stated("risk: the whole answer", min(seconds(lambda: simulate(one, plan)) for _ in range(3)), "s", None, "")
    yield stated("risk: levers, 2,000 runs each", seconds(lambda: levers(one, plan)), "s", None, "12 shifts, 12 stocks")


def _simpy(oracle: Processes, drawn: Drawn, found: Times, turn: int) -> tuple[float, float]:
    """(s a run, furthest difference) over the turn's runs."""
    took = far = 0.0
    for run in range(turn * TIMED, (turn + 1) * TIMED):
        work = drawn.work[:, run].tolist()
        begin = perf_counter()
        start, end = oracle.run(work)
        took += perf_counter() - begin
        differs = np.abs(found.start[:, run] - start).max(), np.abs(found.end[:, run] - end).max()
        far = max(far, *map(float, differs))
    return took / TIMED, far


if __name__ == "__main__":
    print(show(list(risk(1))))

"""A job shop solved whole, to the proven optimum where it is small enough: one model for a constraint solver.

    exact = solve_exact(shop, seconds=60)
    exact.schedule, exact.cost      the best found (None, infinity: none found)
    exact.bound, exact.proven       no plan costs less; is it the best (or, with no schedule, is there none)?

Everything of `JobShop` is a hard rule here: alternatives, calendars, maintenance, set-ups, waits, releases, the store,
resources, stages in any order.  With calendars and set-ups some 60 operations are proven in seconds, without them a
classic 10 x 10 job shop; a plan of several hundred batches belongs to `solve`.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ..errors import BadValue
from ..jobs import JobShop, Schedule
from .exact_alike import in_order

if TYPE_CHECKING:  # the solver's library is slow to load: only who solves waits for it
    from ortools.sat.python import cp_model

    from .exact_model import Model

__all__ = ["Exact", "Tell", "solve_exact"]

Tell = Callable[[float, float, float], None]  # cost (infinity: none yet), bound, seconds since the solver began
HINTED = 0.2  # share of the time for working out the whole of a hint


@dataclass(frozen=True, slots=True)
class Exact:
    """What the solver found.  proven : `schedule` is the best there is; with none, no schedule keeps all the rules."""

    schedule: Schedule | None
    cost: float
    bound: float
    proven: bool


def solve_exact(
    shop: JobShop,
    seconds: float,
    workers: int = 2,
    seed: int = 0,
    hint: Schedule | None = None,
    tell: Tell | None = None,
    stop: Callable[[], bool] = lambda: False,
) -> Exact:
    """The best schedule within so many seconds of the solver.

    hint : a schedule to begin with; it need not be whole or right, only then does it help less
    tell : called at each better schedule or bound, on a thread of the solver;  stop : asked at the same moments

    >>> from reelmark.jobs import Job, Machine, Prices, Stage
    >>> two = Job("two", (Stage("saw", ((0, 3),), 0), Stage("plane", ((1, 2),), 0)), batches=2)
    >>> shop = JobShop(60, (Machine("S"), Machine("P")), (two,), prices=Prices(0, 0, 1))
    >>> best = solve_exact(shop, seconds=10)
    >>> best.schedule.end, best.cost, best.bound, best.proven
    ((3, 5, 6, 8), 8.0, 8.0, True)
    """
    from .exact_model import build

    if not seconds > 0:
        raise BadValue("seconds", seconds, "the solver needs time", "give more than 0")
    if not shop.operations:
        return Exact(Schedule((), (), ()), 0.0, 0.0, True)
    built = build(shop)
    spent = 0.0
    if hint is not None and len(hint.start) == len(shop.operations):
        spent = _hint(built, in_order(shop, hint), seconds * HINTED, seed)
    solver = _solver(seconds - spent, workers, seed)
    _fit(solver, workers)
    heard = _heard(built, solver, tell, stop, spent)
    return _read(built, solver, solver.solve(built.cp, heard))


def _solver(seconds: float, workers: int, seed: int) -> "cp_model.CpSolver":
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = max(0.01, seconds)
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = seed
    return solver


def _fit(solver: "cp_model.CpSolver", workers: int) -> None:
    """Search without linear programs, and with two workers let both of them search.

    Left alone, one of two workers repairs instead of proving.  Measured: ft10 proven in 4 s of work in all, against 35;
    60 operations with calendars, set-ups and a store proven in 25 s, against a gap of a tenth left after 45.
    """
    solver.parameters.linearization_level = 0
    if workers == 2:
        solver.parameters.subsolvers.extend(["no_lp", "quick_restart_no_lp"])


def _hint(built: "Model", hint: Schedule, seconds: float, seed: int) -> float:
    """Hint the schedule; where it keeps all rules, hint every variable of the model.  Seconds that it took.

    A hint of the starts alone is often lost before the solver has worked out the rest.
    """
    from ortools.sat.python import cp_model

    for var, value in built.hints(hint):
        built.cp.add_hint(var, value)
    solver = _solver(seconds, 1, seed)
    solver.parameters.fix_variables_to_their_hinted_value = True
    solver.parameters.stop_after_first_solution = True
    if solver.solve(built.cp) in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        values = list(solver.response_proto.solution)
        built.cp.clear_hints()  # type: ignore[no-untyped-call]
        for i, value in enumerate(values):
            built.cp.add_hint(built.cp.get_int_var_from_proto_index(i), value)
    return float(solver.wall_time)


def _heard(
    built: "Model", solver: "cp_model.CpSolver", tell: Tell | None, stop: Callable[[], bool], spent: float
) -> "cp_model.CpSolverSolutionCallback":
    """What listens to the solver: tells what is new, and stops it when asked to."""
    from ortools.sat.python import cp_model

    known = [math.inf, 0.0, spent]  # cost, bound, seconds

    def say() -> None:
        if tell is not None:
            tell(*known)
        if stop():
            solver.stop_search()

    class Heard(cp_model.CpSolverSolutionCallback):
        def on_solution_callback(self) -> None:
            known[:] = [self.objective_value / built.scale, self.best_objective_bound / built.scale]
            known.append(spent + self.wall_time)
            say()

    def bound(value: float) -> None:
        known[1] = max(known[1], value / built.scale)
        say()

    solver.best_bound_callback = bound
    return Heard()


def _read(built: "Model", solver: "cp_model.CpSolver", status: Any) -> Exact:
    """The solver's answer as ours."""
    from ortools.sat.python import cp_model

    if status == cp_model.MODEL_INVALID:
        raise AssertionError(f"the model is wrong: {built.cp.validate()}")
    if status == cp_model.INFEASIBLE:
        return Exact(None, math.inf, math.inf, True)
    bound = solver.best_objective_bound / built.scale
    if status == cp_model.UNKNOWN:
        return Exact(None, math.inf, max(0.0, bound), False)
    proven = status == cp_model.OPTIMAL
    cost = solver.objective_value / built.scale
    return Exact(built.schedule(solver), cost, cost if proven else min(cost, bound), proven)

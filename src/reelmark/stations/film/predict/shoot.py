"""Backward shooting of the thin-film tube: the equations of ``tube`` and the search for what meets the ring."""

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue

__all__ = ["SEARCH", "back", "misses", "newton", "ring"]

RTOL: Final = 1e-11  # a hundred times below the eight digits that the check values give
SEARCH: Final = 1e-6  # enough to see where the ring is passed
LEAST_PULL: Final = 1e-4  # of F, below which the wall counts as slack
STEEPEST, THINNEST = 50.0, 0.02  # slope, and radius in r0, beyond which a thin film hung on a ring is no picture
ROUNDS: Final = 60

Vector = NDArray[np.float64]


def back(
    pressure: float, force: float, blow_up: float, length: float, points: int, rtol: float = RTOL
) -> tuple[int, Vector]:
    """Why the run back ended (0 = at the ring), and rows r, r', ln(h/h_f) at equal steps from freeze line to ring."""
    from scipy.integrate import solve_ivp

    pull = force - pressure * blow_up**2

    def rates(_: float, y: Vector) -> list[float]:
        r, slope, _wall = y
        left, steep = pull + pressure * r * r, 1 + slope * slope
        bend = (6 * slope + r * steep * (pull - 3 * pressure * r * r)) / (2 * r * r * left)
        return [-slope, -bend, slope / (2 * r) + steep * left / 4]

    ends: list[Callable[[float, Vector], float]] = [
        lambda _, y: pull + pressure * y[0] ** 2 - LEAST_PULL * force,
        lambda _, y: STEEPEST - abs(y[1]),
        lambda _, y: y[0] - THINNEST,
    ]
    for end in ends:
        end.terminal = True  # type: ignore[attr-defined]
    at = np.linspace(0, length, points)
    run = solve_ivp(rates, (0, length), [blow_up, 0.0, 0.0], "DOP853", at, events=ends, rtol=rtol, atol=rtol / 10)
    return int(run.status), run.y


def ring(pressure: float, force: float, blow_up: float, length: float, rtol: float = RTOL) -> tuple[float, float]:
    """(radius at the ring - 1, ln of the wall there over the wall at the freeze line); NaN where the model ends."""
    ended, rows = back(pressure, force, blow_up, length, 2, rtol)
    return (float(rows[0, -1]) - 1, float(rows[2, -1])) if ended == 0 else (float("nan"), float("nan"))


def misses(pressure: float, force: float, blow_up: float, length: float, draw: float) -> Vector:
    """By how much the ring is missed, and the draw ratio, in logarithms."""
    radius, thicker = ring(pressure, force, blow_up, length)
    return np.array([np.log1p(radius), thicker - np.log(blow_up * draw)])


def newton(misses: Callable[[Vector], Vector], start: Vector, said: str) -> tuple[float, float]:
    """Both unknowns, by Newton on their logarithms with halved steps; BadValue where it does not close."""
    x, miss = start, misses(np.exp(start))
    for _ in range(ROUNDS):
        if not np.all(np.isfinite(miss)) or np.max(np.abs(miss)) < 1e-11:
            break
        x, miss = _step(misses, x, miss)
    if not np.max(np.abs(miss)) < 1e-9:
        true = "no steady tube was found from the start given"
        raise BadValue("tube", said, true, "start nearer, go there in smaller steps, or take a shape that exists")
    return float(np.exp(x[0])), float(np.exp(x[1]))


def _step(misses: Callable[[Vector], Vector], x: Vector, miss: Vector) -> tuple[Vector, Vector]:
    """One Newton step, halved until it misses by less; the old place where no step does."""
    lean = np.column_stack([(misses(np.exp(x + d)) - misses(np.exp(x - d))) / 2e-6 for d in 1e-6 * np.eye(2)])
    if not np.all(np.isfinite(lean)) or np.linalg.cond(lean) > 1e12:
        return x, miss * np.nan
    way = -np.linalg.solve(lean, miss)
    for half in 0.5 ** np.arange(8):
        tried = misses(np.exp(x + half * way))
        if np.max(np.abs(tried)) < np.max(np.abs(miss)):
            return x + half * way, tried
    return x, miss * (1 if np.max(np.abs(miss)) < 1e-9 else np.nan)

"""Register at a unit after a step of strain, steady, in time, and errors put together.

    d/dt [L / (1 + e2)] = v1 / (1 + e1) - v2 / (1 + e2)        time constant L / v
    error(t) = v2 (t - t0) - L, t0 the birth of the mark that comes by at t
    small: L d (s - 1 + exp(-s)) for s = t v / L <= 1, then L d exp(-s); peak L d / e at s = 1; in the end 0

L span, v speed of both nips, d step of the strain that comes in, one strain all along the span.  SI.  Valid between
nips that do not slip and while the step is shorter than L / v.
Source: conservation of the web; the form in d derived here and held against the transport simulation.  The subject:
Rice and Walton (ICWH 2017), Seshadri and Pagilla, abstracts only.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import e, exp, hypot

from reelmark.errors import BadValue
from reelmark.measure.given import within

__all__ = ["Budget", "Step", "budget", "simulated", "step", "transient"]


@dataclass(frozen=True, slots=True)
class Step:
    """time_constant : s, also when the error is greatest;  peak : m, with the sign of the step"""

    time_constant: float
    peak: float


def step(span: float, speed: float, change: float) -> Step:
    """After a step of the strain that comes into a span."""
    _looked(span, speed, change)
    return Step(span / speed, span * change / e)


def transient(span: float, speed: float, change: float, time: float) -> float:
    """Register error, m, so long after the step, small strains."""
    _looked(span, speed, change)
    s = within("time", time, 0.0, 1e6, "s") * speed / span
    return span * change * ((s - 1 + exp(-s)) if s <= 1 else exp(-s))


def simulated(span: float, speed: float, before: float, change: float, times: Iterable[float]) -> list[float]:
    """The same without linearising: the web followed from nip to nip.  before : strain before the step.

    The span's content L/(1+e2) and the web that has left it are integrated; a mark is born when what lay between it and
    the second nip is what leaves until it comes by.
    """
    import numpy as np
    from scipy.integrate import solve_ivp

    _looked(span, speed, change)
    wanted = [within("time", t, 0.0, 1e6, "s") for t in times]
    start = span / (1 + before)

    def runs(_: float, state: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> list[float]:
        left = speed * state[0] / span  # v / (1 + e2)
        return [speed / (1 + before + change) - left, left]

    last = max(wanted, default=0.0) + span / speed
    found = solve_ivp(runs, (0.0, last), [start, 0.0], dense_output=True, rtol=1e-12, atol=1e-14).sol
    assert found is not None  # dense_output was asked

    def state(t: float) -> tuple[float, float]:
        content, left = found(t) if t > 0 else (start, speed / (1 + before) * t)
        return float(content), float(left)

    return [speed * (t - _birth(state, t, span / speed)) - span for t in wanted]


def _birth(at: Callable[[float], tuple[float, float]], t: float, one: float) -> float:
    """When the mark that is at the second nip at t was struck at the first.  at : (content, left) by time."""
    from scipy.optimize import brentq

    gone = at(t)[1]
    return float(brentq(lambda t0: at(t0)[0] + at(t0)[1] - gone, t - 2 * one, t, xtol=1e-15, rtol=1e-14))


def _looked(span: float, speed: float, change: float) -> None:
    within("span", span, 0.1, 100.0, "m")
    within("speed", speed, 0.01, 30.0, "m/s")
    within("strain step", change, -0.02, 0.02, "as a share of 1")


@dataclass(frozen=True, slots=True)
class Budget:
    """together : root sum square of what is independent, m;  worst : all of it in one direction, m"""

    together: float
    worst: float


def budget(independent: Iterable[float], correlated: Iterable[float] = ()) -> Budget:
    """Errors at one sigma level; those that move together add up first."""
    alone, moving = [abs(one) for one in independent], sum(abs(one) for one in correlated)
    if not all(one < 1 for one in (*alone, moving)):
        raise BadValue("budget", max(*alone, moving), "a register error is below 1 m", "give it in m: 15 um is 15e-6")
    return Budget(hypot(*alone, moving), sum(alone) + moving)

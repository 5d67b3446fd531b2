"""Stages whose Betas multiply to one Beta: Beta(a, b) times Beta(a + b, c) is Beta(a, b + c).

The product of independent Betas is not a Beta in general; where each begins with the sum that another ends with, it is
(Jambunathan, Ann. Math. Stat. 25, 401, 1954, theorem on products of Beta variates; from memory).
"""

from collections.abc import Sequence
from math import isclose, prod

from ..plant import Spread

__all__ = ["chained", "constant"]

CLOSE = 1e-9  # alphas and sums that agree so far, of their size, are one


def constant(spreads: Sequence[Spread]) -> float:
    """Product of the shares that do not vary."""
    return prod(one.mean for one in spreads if one.sure)


def chained(spreads: Sequence[Spread]) -> list[tuple[float, float]]:
    """(alpha, beta) of as few Betas as have the same product; stages that do not vary left out.

    >>> chained([Spread.of(965, 30), Spread.of(950, 15)])
    [(950.0, 45.0)]
    """
    left = sorted((one.alpha, one.beta) for one in spreads if not one.sure)
    done: list[tuple[float, float]] = []
    while left:
        alpha, beta = left.pop(0)
        while (at := _next(left, alpha + beta)) is not None:
            beta += left.pop(at)[1]
        done.append((_tidy(alpha), _tidy(beta)))
    return done


def _next(left: Sequence[tuple[float, float]], total: float) -> int | None:
    """Which of them begins with that sum."""
    return next((at for at, (alpha, _) in enumerate(left) if isclose(alpha, total, rel_tol=CLOSE)), None)


def _tidy(value: float) -> float:
    """The whole number that a mean and a concentration gave back with a last digit of their own."""
    whole = float(round(value))
    return whole if whole and isclose(value, whole, rel_tol=CLOSE) else value

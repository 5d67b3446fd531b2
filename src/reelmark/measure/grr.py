"""Gauge repeatability and reproducibility: how much of what the gauge shows is the gauge.

crossed(x)         every operator reads every part: ANOVA with the interaction, pooled where not seen
nested(x)          each operator has parts of his own (a reading destroys, or changes, the part)
average_range(x)   the older method, because existing sheets print it

Parts, operators, trials may be lanes, gauges, passes: the arithmetic is one.  The three methods give different
numbers; the answer names its own.  Source: reference notes 2.2 (AIAG study).
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from reelmark.errors import BadValue
from reelmark.measure.anova import Component, Term, centred, component, ratio, residual
from reelmark.measure.constants import constants, d2_star
from reelmark.measure.series import Floats, between

__all__ = ["NDC", "Study", "average_range", "crossed", "nested"]

NDC: Final = 1.41  # distinct categories = 1.41 PV/GRR, as the AIAG manual rounds sqrt(2)


@dataclass(frozen=True, slots=True)
class Study:
    """Sigmas of a gauge study, in the readings' unit.

    repeat : EV, the gauge against itself; reproduce : AV, operators and their interaction with parts
    parts : PV; total : TV
    terms, components : the table behind it, empty for average_range
    f_interaction, p_interaction : nan where there is none; pooled : the interaction went into the repeats
    """

    method: str
    repeat: float
    reproduce: float
    parts: float
    terms: tuple[Term, ...] = ()
    components: tuple[Component, ...] = ()
    f_interaction: float = math.nan
    p_interaction: float = math.nan
    pooled: bool = False

    @property
    def gauge(self) -> float:
        """GRR: repeatability and reproducibility together."""
        return math.hypot(self.repeat, self.reproduce)

    @property
    def total(self) -> float:
        return math.hypot(self.gauge, self.parts)

    @property
    def of_total(self) -> float:
        """GRR over TV, 0 to 1 ("% GRR", "% study variation")."""
        return self.gauge / self.total if self.total > 0 else math.nan

    @property
    def categories(self) -> float:
        """ndc, not rounded: sheets truncate it, so 4.86 is printed as 4 by some and as 5 by others."""
        return NDC * self.parts / self.gauge if self.gauge > 0 else math.inf

    def of_tolerance(self, tolerance: float, sigmas: float = 6.0) -> float:
        """sigmas x GRR over the width of the tolerance, 0 upwards (6: AIAG 4th edition; 5.15 before, from memory)."""
        return sigmas * self.gauge / between("tolerance", tolerance, 0, math.inf)


def crossed(readings: ArrayLike, pool_above: float = 0.25, level: float = 0.95) -> Study:
    """Crossed study by ANOVA.

    readings : shape (parts, operators, trials), each 2 or more, finite
    pool_above : the interaction is pooled when its p is above (.25: AIAG; 1 never pools)
    Valid for balanced studies of independent normal readings, parts and operators drawn at random.
    """
    x = _cube(readings)
    p, o, r = x.shape
    part, who, both, rest = _crossed_terms(centred(x)[1])
    f, prob = ratio(both, rest)
    pooled = prob > pool_above
    error = Term("repeat", rest.sum_squares + both.sum_squares, rest.df + both.df) if pooled else rest
    below = error if pooled else both
    parts = component("part", part, below, o * r, level)
    operator = component("operator", who, below, p * r, level)
    crossing = () if pooled else (component("interaction", both, rest, r, level),)
    between_people = math.sqrt(operator.variance + sum(one.variance for one in crossing))
    found = (residual(error, level), operator, *crossing, parts)
    method = "crossed ANOVA, interaction pooled" if pooled else "crossed ANOVA with interaction"
    terms = (part, who, both, rest)
    return Study(method, math.sqrt(error.mean_square), between_people, parts.sigma, terms, found, f, prob, pooled)


def nested(readings: ArrayLike, level: float = 0.95) -> Study:
    """Nested study by ANOVA: parts within operators.

    readings : shape (operators, parts of each, trials), each 2 or more, finite; balanced
    What parts differ by is taken as equal for all operators: hand the parts out at random.
    """
    x = _cube(readings)
    o, p, r = x.shape
    d = centred(x)[1]
    cells, people = d.mean(axis=2), d.mean(axis=(1, 2))
    who = Term("operator", p * r * float(people @ people), o - 1)
    part = Term("part within operator", r * _square(cells - people[:, None]), o * (p - 1))
    rest = Term("repeat", _square(d - cells[:, :, None]), o * p * (r - 1))
    parts, operator = component("part", part, rest, r, level), component("operator", who, part, p * r, level)
    found = (residual(rest, level), operator, parts)
    return Study("nested ANOVA", math.sqrt(rest.mean_square), operator.sigma, parts.sigma, (who, part, rest), found)


def average_range(readings: ArrayLike) -> Study:
    """The average and range method, K1 = 1/d2, K2 and K3 = 1/d2* of one range, all computed.

    readings : shape (parts, operators, trials), each 2 or more, finite.  Sees no interaction.
    """
    x = _cube(readings)
    p, o, r = x.shape
    repeat = float(np.ptp(x, axis=2).mean()) / constants(r).d2
    spread = float(np.ptp(x.mean(axis=(0, 2)))) / d2_star(o, 1)
    reproduce = math.sqrt(max(0.0, spread**2 - repeat**2 / (p * r)))
    return Study("average and range", repeat, reproduce, float(np.ptp(x.mean(axis=(1, 2)))) / d2_star(p, 1))


def _cube(readings: ArrayLike) -> Floats:
    x = np.asarray(readings, dtype=np.float64)
    if x.ndim != 3 or min(x.shape) < 2:
        cure = "hand in parts x operators x trials, two or more of each"
        raise BadValue("readings", x.shape, "a gauge study has three directions of two or more", cure)
    if not np.isfinite(x).all():
        raise BadValue("readings", x.shape, "some are not finite, and the study must be balanced", "read them again")
    return x


def _square(d: Floats) -> float:
    return float(np.vdot(d, d))


def _crossed_terms(d: Floats) -> tuple[Term, Term, Term, Term]:
    p, o, r = d.shape
    cells, part, who = d.mean(axis=2), d.mean(axis=(1, 2)), d.mean(axis=(0, 2))
    return (
        Term("part", o * r * _square(part), p - 1),
        Term("operator", p * r * _square(who), o - 1),
        Term("interaction", r * _square(cells - part[:, None] - who), (p - 1) * (o - 1)),
        Term("repeat", _square(d - cells[:, :, None]), p * o * (r - 1)),
    )

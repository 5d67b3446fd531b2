"""What varies when a plan is carried out, as inputs with their sources, and draws of it.

Work of an operation, in open time:   plan x slowness + repairs
    slowness    lognormal, mean 1, one draw an operation
    breakdowns  Poisson in the time worked (a machine that stands does not break)
    repairs     lognormal; done in the machine's open time, after which the work goes on
Yield of a batch, from resin to notes: beta.  See `ready` for what a short batch does.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..errors import BadValue
from ..measure.known import Known, Sourced

__all__ = ["BLOCK", "STILL", "USUAL", "Drawn", "Spread", "draw"]

Floats = NDArray[np.float64]
BLOCK = 5000  # runs drawn together: longer vectors cost less a run, and memory bounds them; part of what a seed means


@dataclass(frozen=True, slots=True)
class Spread(Sourced):
    """How far the shop strays from its plan.

    slowness_cv : standard deviation of an operation's work over its mean, -
    mtbf_h : mean time worked between breakdowns, h, inf: none;  repair_h : median repair, h
    repair_sigma : standard deviation of the logarithm of a repair
    yield_mean, yield_sd : of a batch, from the first stage to the last; sd 0: every batch gives its plan
    overs : what a batch is planned to give beyond its share of the order, so that usual spoil is covered
    makeup_least : smallest make-up batch, as a share of a batch (a machine is not set up for less)

    >>> USUAL.over("our ledger, 2 years", mtbf_h=70.0).mtbf_h
    Known(value=70.0, unit='h', source='our ledger, 2 years')
    """

    slowness_cv: Known
    mtbf_h: Known
    repair_h: Known
    repair_sigma: Known
    yield_mean: Known
    yield_sd: Known
    overs: Known
    makeup_least: Known

    def __post_init__(self) -> None:
        for name in ("slowness_cv", "repair_h", "repair_sigma", "yield_sd", "overs"):
            _at_least(name, getattr(self, name).value, 0.0)
        if not self.mtbf_h.value > 0:
            raise BadValue("mtbf_h", self.mtbf_h.value, "it must be above 0 h", "give inf where nothing breaks")
        for name in ("yield_mean", "makeup_least"):
            if not 0 < getattr(self, name).value <= 1:
                raise BadValue(name, getattr(self, name).value, "a share lies above 0 up to 1", "write 0.88 for 88 %")
        mean, sd = self.yield_mean.value, self.yield_sd.value
        if sd and sd * sd >= mean * (1 - mean):
            most = math.sqrt(mean * (1 - mean))
            raise BadValue("yield_sd", sd, f"about a mean of {mean:g} it stays below {most:.3g}", "give a smaller one")

    @property
    def beta(self) -> tuple[float, float]:
        """(a, b) of the yield's beta distribution; yield_sd > 0."""
        mean, sd = self.yield_mean.value, self.yield_sd.value
        size = mean * (1 - mean) / sd**2 - 1
        return mean * size, (1 - mean) * size


def _at_least(name: str, value: float, least: float) -> None:
    if not (math.isfinite(value) and value >= least):
        raise BadValue(name, value, f"it must be finite and at least {least:g}", "give 0 where it does not vary")


_MEMORY = "from memory: put your ledger's in its place"
USUAL = Spread(
    slowness_cv=Known(0.06, "-", _MEMORY),
    mtbf_h=Known(90.0, "h", _MEMORY),
    repair_h=Known(3.0, "h", _MEMORY),
    repair_sigma=Known(0.7, "-", _MEMORY),
    yield_mean=Known(0.881, "-", "assumed: six stages of 96 to 99.5 %"),
    yield_sd=Known(0.021, "-", "assumed: six stages of 96 to 99.5 %, each varying from batch to batch"),
    overs=Known(0.02, "-", "assumed: what planning by a quantile of the yield leaves; give your plan's"),
    makeup_least=Known(0.1, "-", _MEMORY),
)
STILL = replace(
    USUAL.over("nothing varies", slowness_cv=0.0, yield_sd=0.0, overs=0.0),
    mtbf_h=Known(math.inf, "h", "nothing breaks"),
)


@dataclass(frozen=True, slots=True)
class Drawn:
    """What chance gave.  work : (operations, runs) units of open time;  good : (batches, runs), 1 as ordered"""

    work: Floats
    good: Floats


def draw(plan: Floats, hours: float, batches: int, spread: Spread, rng: np.random.Generator, runs: int) -> Drawn:
    """Draws for some runs.  plan : (operations,) units of open time;  hours : in a unit."""
    work = _slowness(plan, spread, rng, runs)
    if math.isfinite(spread.mtbf_h.value):
        work += _repairs(work, spread, rng, hours)
    return Drawn(work, _good(batches, spread, rng, runs))


def _slowness(plan: Floats, spread: Spread, rng: np.random.Generator, runs: int) -> Floats:
    """Lognormal with mean 1: sigma^2 = ln(1 + cv^2)."""
    variance = math.log1p(spread.slowness_cv.value**2)
    work = rng.standard_normal((plan.size, runs))
    work *= math.sqrt(variance)
    work -= variance / 2
    np.exp(work, out=work)
    work *= plan[:, None]
    return work


def _repairs(work: Floats, spread: Spread, rng: np.random.Generator, hours: float) -> Floats:
    """Units of repair: one Poisson process over all the work laid end to end, which is one for each piece of it."""
    upto = np.cumsum(work)
    many = rng.poisson(upto[-1] * hours / spread.mtbf_h.value)
    where = np.searchsorted(upto, rng.uniform(0.0, upto[-1], many), side="right")
    took = spread.repair_h.value / hours * np.exp(spread.repair_sigma.value * rng.standard_normal(many))
    units: Floats = np.bincount(where, took, minlength=upto.size)[: upto.size].astype(np.float64)
    return units.reshape(work.shape)


def _good(batches: int, spread: Spread, rng: np.random.Generator, runs: int) -> Floats:
    planned = 1 + spread.overs.value
    if not spread.yield_sd.value:
        return np.full((batches, runs), planned)
    return rng.beta(*spread.beta, (batches, runs)) * (planned / spread.yield_mean.value)

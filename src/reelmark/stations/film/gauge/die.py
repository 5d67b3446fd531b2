"""The die's angle over a place of the web: rotating die or oscillating haul-off; its period found.

    angle = 2 pi share (u - 1/2) + phi((t - dead) / period + phase)

phi runs on and on (rotating), or there and back in a triangle through `sweep` (oscillating).  A mark of the die then
wanders across the web, and a plain two-way table puts it into the residual (reference notes 1.3).
"""

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue

__all__ = ["TURN", "Die", "Form", "find_die", "polished"]

Floats = NDArray[np.float64]
Form = Literal["rotating", "oscillating"]
TURN: Final = 2 * np.pi


@dataclass(frozen=True, slots=True)
class Die:
    """How the tube turns over the web.

    period_s : of one turn (rotating; negative turns the other way) or one sweep there and back (oscillating)
    phase : share of a period at time 0;  dead_s : from the nip where it turns to the gauge, L/v, an input
    sweep : rad, whole width of the oscillation;  share : how much of the die's round lies across the swept web
    sectors : steps of angle that the profile is told in
    """

    period_s: float
    form: Form = "oscillating"
    phase: float = 0.0
    dead_s: float = 0.0
    sweep: float = TURN
    share: float = 1.0
    sectors: int = 36

    def __post_init__(self) -> None:
        if self.period_s == 0 or not 0 < self.share <= 1 or self.sweep <= 0 or self.sectors < 4:
            true = "period 0, share outside 0 to 1, no sweep or fewer than 4 sectors"
            raise BadValue("die", self, true, "correct the settings of the die")

    @property
    def sweep_s(self) -> float:
        """Seconds of one full sweep, without which lane and die cannot be told apart."""
        return abs(self.period_s) / (2 if self.form == "oscillating" else 1)

    def turned(self, time_s: Floats) -> Floats:
        """phi, rad, shape as time."""
        turns = (time_s - self.dead_s) / self.period_s + self.phase
        if self.form == "rotating":
            return TURN * turns
        return self.sweep * (np.abs(2 * (turns - np.floor(turns)) - 1) - 0.5)

    def angle(self, time_s: Floats, place: Floats) -> Floats:
        """Angle on the die, rad 0..2 pi, over a place (0..1) at a time."""
        turns = self.share * (place - 0.5) + self.turned(time_s) / TURN
        return TURN * (turns - np.floor(turns))

    def sector(self, time_s: Floats, place: Floats) -> NDArray[np.int64]:
        """Number of the sector, 0..sectors-1."""
        return np.minimum((self.angle(time_s, place) * (self.sectors / TURN)).astype(np.int64), self.sectors - 1)


@dataclass(frozen=True, slots=True)
class _Cells:
    """Residuals of scan + lane by cell: what the search looks at."""

    time: Floats
    place: Floats
    value: Floats
    count: Floats

    def explained(self, die: Die) -> float:
        """Sum of squares that sectors explain."""
        sector = die.sector(self.time, self.place)
        weight = np.bincount(sector, self.count, die.sectors)
        total = np.bincount(sector, self.count * self.value, die.sectors)
        return float(np.sum(total**2 / np.maximum(weight, 1e-9)))


def find_die(
    time: Floats, place: Floats, value: Floats, count: Floats, *, like: Die, periods: tuple[float, float] | None = None
) -> tuple[Die, float]:
    """(die of least residual, probability that chance does as well), by search over form, period and phase.

    time, place, value, count : residuals of scan + lane by cell, any shape (C,), and the points in each
    like : dead time, sweep, share, as they are known;  periods : least and most s, both forms are tried
    A full sweep must lie in the record, and a period must be eight passes at least to be told from a wave; of many
    cells a few thousand are searched, and the period is refined on more (and by `polished` on all).
    Source: reference notes 1.3 (fitted by residual search); the probability is F, times the periods tried (Bonferroni).
    """
    span = float(time.max() - time.min())
    low, high = periods or (max(span / 25, 300.0), 2.0 * span)
    cells = _Cells(time, place, value, count)
    coarse, fine = _thin(cells, 4_001), _thin(cells, 12_007)
    tried = _tries(like, low, high, span)
    scores = np.array([coarse.explained(one) for one in tried])
    best = max((_refine(coarse, tried[i], span) for i in _peaks(scores)), key=fine.explained)
    best = replace(_refine(fine, best, span), sectors=like.sectors)
    return best, _chance(cells, best, len(tried))


def polished(
    die: Die,
    time: Floats,
    place: Floats,
    residual: Floats,
    count: Floats,
    profile: Floats,
    groups: tuple[NDArray[np.int64], ...],
) -> Die:
    """The die with period and phase moved by one Gauss-Newton step: what is left is the profile's slope times a slip.

    residual : by cell (C,), of the whole model;  profile : um by sector (K,);  groups : pass and lane of each cell
    """
    harmonics = np.fft.rfft(profile) * np.exp(-0.5j * TURN / die.sectors * np.arange(die.sectors // 2 + 1))
    order = np.arange(min(9, harmonics.size))
    angle = die.angle(time, place)
    slope = sum((-2 * k * (harmonics[k] * np.exp(1j * k * angle)).imag for k in order[1:]), np.zeros(angle.size))
    slope = slope / die.sectors
    turns = (time - die.dead_s) / die.period_s + die.phase
    speed = np.where(turns % 1 < 0.5, -2.0, 2.0) * die.sweep if die.form == "oscillating" else np.full(time.size, TURN)
    middle = float(time.mean())
    sector = die.sector(time, place)
    columns = np.stack(
        [_freed(one, (*groups, sector), count) for one in (slope * speed, slope * speed * (time - middle))]
    )
    gram = (columns * count) @ columns.T
    if np.linalg.cond(gram / np.sqrt(np.outer(np.diag(gram), np.diag(gram)))) > 1e6:
        return die
    shift, rate = np.linalg.solve(gram, columns @ (count * residual))
    new = 1 / (1 / die.period_s + rate)
    at = (middle - die.dead_s) / die.period_s + die.phase + shift
    phase = (at - (middle - die.dead_s) / new) % 1.0
    return replace(die, period_s=float(new), phase=float(phase) if die.form == "oscillating" else die.phase)


def _freed(column: Floats, groups: tuple[NDArray[np.int64], ...], count: Floats) -> Floats:
    """The column less what passes, lanes and sectors take of it: means taken off in turn, which converges fast here."""
    for _ in range(4):
        for group in groups:
            mean = np.bincount(group, count * column) / np.maximum(np.bincount(group, count), 1e-9)
            column = column - mean[group]
    return column


def _thin(cells: _Cells, most: int) -> _Cells:
    """Every so-and-so-manyth cell, a stride that meets every lane."""
    step = max(1, cells.time.size // most)
    few = slice(0, None, step + (step > 1 and step % 2 == 0))
    return _Cells(cells.time[few], cells.place[few], cells.value[few], cells.count[few])


def _tries(like: Die, low: float, high: float, span: float) -> list[Die]:
    """A tenth of a turn over the record apart in frequency; a twelfth apart in phase where phase matters."""
    out = []
    rates = np.arange(1 / high, 1 / low, 0.1 / span)
    for rate in rates:
        if rate * span >= 0.9:
            out += [replace(like, form="rotating", period_s=sign / rate, phase=0.0, sectors=12) for sign in (1, -1)]
        phases = np.arange(12) / 12
        out += [replace(like, form="oscillating", period_s=1 / rate, phase=p, sectors=12) for p in phases]
    return out


def _peaks(scores: Floats) -> NDArray[np.intp]:
    return np.argsort(scores)[-6:]


def _refine(cells: _Cells, die: Die, span: float) -> Die:
    """Finer and finer steps of period and phase about the best so far."""
    die = replace(die, sectors=36)
    best, width = cells.explained(die), 1.0
    while width > 0.02:
        moves = [(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1) if (i or j) and (die.form == "oscillating" or not j)]
        near = [_moved(die, 0.05 * width * i / span, 0.04 * width * j) for i, j in moves]
        scores = [cells.explained(one) for one in near]
        if max(scores) > best:
            best, die = max(scores), near[int(np.argmax(scores))]
        else:
            width *= 0.5
    return die


def _moved(die: Die, rate: float, phase: float) -> Die:
    return replace(die, period_s=float(1 / (1 / die.period_s + rate)), phase=float((die.phase + phase) % 1.0))


def _chance(cells: _Cells, die: Die, tries: int) -> float:
    from scipy.special import fdtrc

    total, found = float(np.sum(cells.count * cells.value**2)), cells.explained(die)
    df, rest = die.sectors - 1, cells.value.size - die.sectors
    if rest < 1 or total <= found:
        return 1.0
    return min(1.0, tries * float(fdtrc(df, rest, found / df / ((total - found) / rest))))

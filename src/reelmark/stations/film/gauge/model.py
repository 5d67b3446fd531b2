"""The additive model of a roll, fitted to all points at once.

    value = level of the pass + lane + die angle + waves + residual

fit(records)   ->   Model: every part with its standard deviation, the residual of every point, what was refused

Valid for parts that add: a lane that is thick only for a while, or a die line that widens, is left in the residual,
where `marks` looks for it.  Source of the form: reference notes on statistics, 1.3; levels are eliminated (solve.py).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue
from reelmark.measure.elements import Candidate, elements
from reelmark.stations.film.gauge.die import Die, find_die
from reelmark.stations.film.gauge.passes import FEWEST, short
from reelmark.stations.film.gauge.periods import found_waves, levelled, wave_columns
from reelmark.stations.film.gauge.records import Floats, Records
from reelmark.stations.film.gauge.solve import (
    Design,
    Ints,
    Moments,
    Solution,
    gathered,
    moments,
    residual_of,
    solve,
)
from reelmark.stations.film.gauge.waves import Found, Wave

__all__ = ["CONDITION", "Cells", "Model", "fit"]

CONDITION = 10.0  # the worst contrast of lane and die is then sqrt(10) times as uncertain as the best: our own choice
_APART = 1e4  # the same of passes and lanes: beyond, the worst contrast is a hundred times as uncertain; our own choice


@dataclass(frozen=True, slots=True)
class Cells:
    """Points gathered by pass and lane, shape (S, n): how many, their mean (0 where none), their mean residual."""

    count: Floats
    value: Floats
    residual: Floats


@dataclass(frozen=True, slots=True)
class Model:
    """A fitted roll.  S passes, n lanes, K sectors, N points.

    mean_um : of the roll, lanes and sectors weighed alike
    level_um, level_sd_um : by pass less the mean (S,);  lane_um, lane_sd_um (n,);  die_um, die_sd_um (K,)
    lane, sector : of each point (N,), sector None without a die;  residual_um (N,)
    variance : of the residual, um^2;  condition : of lane and die
    """

    records: Records
    mean_um: float
    level_um: Floats
    level_sd_um: Floats
    lane_um: Floats
    lane_sd_um: Floats
    die: Die | None
    die_um: Floats
    die_sd_um: Floats
    waves: tuple[Wave, ...]
    lane: Ints
    sector: Ints | None
    residual_um: Floats
    variance: float
    condition: float
    cells: Cells
    solution: Solution
    notes: tuple[str, ...]

    @property
    def lanes(self) -> int:
        return len(self.lane_um)

    @property
    def edges_mm(self) -> Floats:
        """Edges of the lanes, shape (n+1,)."""
        return np.linspace(self.records.left_mm, self.records.right_mm, self.lanes + 1)

    @property
    def pass_time_s(self) -> Floats:
        """Mean time of each pass, shape (S,)."""
        return _by_pass(self.records, self.records.time_s)

    @property
    def pass_metre_m(self) -> Floats:
        """Mean metre of each pass, shape (S,)."""
        return _by_pass(self.records, self.records.metre_m)


def fit(
    records: Records,
    *,
    lanes: int = 40,
    die: Die | Literal["find"] | None = "find",
    like: Die | None = None,
    waves: Sequence[float] | Literal["find"] = "find",
    elements_m: Mapping[str, float] | None = None,
    alarm: float = 0.001,
    condition: float = CONDITION,
) -> Model:
    """Fit the model.

    die : its motion where the machine logs it; "find" by search; None where the die stands still
    like : dead time, sweep and share for the search;  waves : periods in s where known, or "find"
    elements_m : circumferences of rolls by name, m;  alarm : chance of one false wave or die in the roll
    condition : limit above which lane and die are refused as confounded (a die found by search is then left out)
    Refused too: passes that see too few lanes each for levels and lanes to be told apart, with the condition
    """
    known_m = _circumferences(elements_m or {})
    design = _lanes(records, lanes)
    y = records.gauge_um - float(np.mean(records.gauge_um))
    notes = list(records.notes)
    search = die == "find"
    if die == "find":
        die = _searched(records, design, residual_of(design, solve(design, y), y), like or Die(1.0), alarm, notes)
    moving = die
    design, known, solution, die = _with_die(records, design, y, die, condition, notes)
    limit = solution.condition
    if not limit <= max(_APART, condition):
        true = f"passes and lanes are confounded: condition {limit:.3g}, limit {max(_APART, condition):g}"
        raise BadValue("lanes", lanes, true, "let every pass of the head see several lanes, or read the level alone")
    residual = residual_of(design, solution, y)
    found = [Found(period, 0.0, 0.0) for period in waves] if waves != "find" else []
    columns = [column for one in found for column in wave_columns(records.time_s, one.period_s)]
    notes += short(records.passes)
    if waves == "find" and records.passes >= FEWEST["waves"] and not np.isinf(records.shortest_s):
        seen = (design, residual) if die is moving else _left_in(records, design, y, moving)
        loose = moving if search else None
        found, moving, columns = found_waves(records, seen[0], y, seen[1], moving, loose, alarm)
        die = None if die is None else moving
    if found or (die is not None and search):
        design = replace(design, waves=tuple(columns))
        if die is not None and search:
            design = replace(design, sector=die.sector(records.time_s, records.place))
            known = moments(design, y)
        solution = solve(design, y, known=known)
        residual = residual_of(design, solution, y)
    named = _waves(records, solution, found, residual, known_m)
    return _model(records, design, solution, residual, die, named, limit, notes)


def _circumferences(known: Mapping[str, float]) -> Mapping[str, float]:
    for name, metres in known.items():
        if not 0 < metres < np.inf:
            raise BadValue(f"elements_m[{name}]", metres, "a circumference is above 0 m and finite", "correct it, in m")
    return known


def _left_in(records: Records, design: Design, y: Floats, die: Die | None) -> tuple[Design, Floats]:
    """Design and residual with a die that is confounded with the lanes: their sum is known, and no wave is to pass for
    it."""
    assert die is not None
    with_it = replace(design, sector=die.sector(records.time_s, records.place), sectors=die.sectors)
    return with_it, residual_of(with_it, solve(with_it, y), y)


def _lanes(records: Records, lanes: int) -> Design:
    lane = np.minimum((records.place * lanes).astype(np.int64), lanes - 1)
    count = np.bincount(lane, minlength=lanes)
    if lanes < 2 or not count.all():
        true = f"{np.count_nonzero(count == 0)} lanes have no point; places across are {_step(records):.4g} mm apart"
        raise BadValue("lanes", lanes, true, "ask for fewer lanes, at least 2")
    return Design(records.sweep, records.passes, lane, lanes)


def _step(records: Records) -> float:
    return float(np.median(np.abs(np.diff(records.across_mm))))


def _searched(
    records: Records, design: Design, residual: Floats, like: Die, alarm: float, notes: list[str]
) -> Die | None:
    """The die's motion, if the residual shows one that chance does not."""
    cells = gathered(design, (records.time_s, records.place, levelled(records, design, residual)))
    full = cells[3] > 0
    time, place, value, count = (one[full] for one in cells)
    if float(np.ptp(time)) < 600.0:
        notes.append("too short to look for a moving die (600 s)")
        return None
    found, chance = find_die(time, place, value, count, like=like)
    if chance > alarm:
        notes.append("no motion of the die to be seen: taken as standing still")
        return None
    notes.append(f"die found by search: {found.form}")
    return found


def _with_die(
    records: Records, plain: Design, y: Floats, die: Die | None, limit: float, notes: list[str]
) -> tuple[Design, Moments, Solution, Die | None]:
    """The fit with the die; refused when lane and die are confounded, or left out when the die was only found."""
    if die is None:
        known = moments(plain, y)
        return plain, known, solve(plain, y, known=known), None
    design = replace(plain, sector=die.sector(records.time_s, records.place), sectors=die.sectors)
    known = moments(design, y)
    solution, span = solve(design, y, known=known), float(np.ptp(records.time_s)) + records.pass_s
    condition = solution.condition
    if condition <= limit and span >= 0.95 * die.sweep_s:
        return design, known, solution, die
    true = (
        f"lane and die are confounded: record {span:.0f} s, one sweep {die.sweep_s:.0f} s; "
        f"condition {condition:.3g}, limit {limit:g}"
    )
    if not any(note.startswith("die found") for note in notes):
        raise BadValue("die.period_s", die.period_s, true, "read at least one full sweep, or fit without the die")
    notes.append(f"die left out: {true}")
    return _with_die(records, plain, y, None, limit, notes)


def _waves(
    records: Records, solution: Solution, found: list[Found], residual: Floats, known: Mapping[str, float]
) -> tuple[Wave, ...]:
    first = solution.inverse.shape[0] - 2 * len(found)
    variance = float(residual @ residual) / residual.size
    out = []
    for i, one in enumerate(found):
        a, b = solution.wave[2 * i : 2 * i + 2]
        place = first + 2 * i
        sd = float(np.sqrt(variance * np.mean(np.diag(solution.inverse)[place : place + 2])))
        length = one.period_s * records.speed_m_s
        size, phase = float(np.hypot(a, b)), float(np.arctan2(b, a))
        names = tuple(_said(one) for one in elements([one.period_s], records.speed_m_s, known))
        out.append(Wave(one.period_s, one.period_sd_s, size, sd, phase, length, one.chance, names))
    return tuple(sorted(out, key=lambda wave: -wave.amplitude_um))


def _said(one: Candidate) -> str:
    return one.name if one.order == 1 else f"{one.name}, {one.order} a turn"


def _model(
    records: Records,
    design: Design,
    solution: Solution,
    residual: Floats,
    die: Die | None,
    waves: tuple[Wave, ...],
    condition: float,
    notes: list[str],
) -> Model:
    n, k = design.lanes, design.sectors
    unknowns = design.sweeps + design.size - 1 - (k > 0)
    variance = float(residual @ residual) / max(residual.size - unknowns, 1)
    sd = np.sqrt(np.maximum(variance * np.diag(solution.inverse), 0.0))
    value, left, count = gathered(design, (records.gauge_um, residual))
    shape = (design.sweeps, n)
    cells = Cells(count.reshape(shape), value.reshape(shape), left.reshape(shape))
    middle = float(solution.level.mean())
    level_sd = np.sqrt(variance * solution.level_variance())
    return Model(
        records=records,
        mean_um=float(np.mean(records.gauge_um)) + middle,
        level_um=solution.level - middle,
        level_sd_um=level_sd,
        lane_um=solution.lane,
        lane_sd_um=sd[:n],
        die=die,
        die_um=solution.die,
        die_sd_um=sd[n : n + k],
        waves=waves,
        lane=design.lane,
        sector=design.sector,
        residual_um=residual,
        variance=variance,
        condition=condition,
        cells=cells,
        solution=solution,
        notes=tuple(notes),
    )


def _by_pass(records: Records, values: NDArray[np.float64]) -> Floats:
    count = np.bincount(records.sweep, minlength=records.passes)
    return np.asarray(np.bincount(records.sweep, values, records.passes) / count, np.float64)

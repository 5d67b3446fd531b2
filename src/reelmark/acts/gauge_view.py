"""What the page of a gauge draws of one roll: small arrays, so that a roll of millions of points can be kept."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import BadValue
from ..measure.elements import alias
from ..measure.spectrum import background, spectrum, thin
from ..stations.film.gauge import Die, GaugeMark, Model, Settings, Verdict, read_roll, roll_map
from ..stations.film.gauge.reading import as_json
from ..stations.film.gauge.shares import Mirror, Share, mirror, plain
from ..stations.film.gauge.waves import Wave
from .gauge_alarms import Charts, charts_of

__all__ = ["CELLS", "Clock", "Columns", "Map", "RollView", "Waves", "roll_view"]

Floats = NDArray[np.float64]
Columns = Mapping[str, Floats]
CELLS: Final = 150  # columns of the map at most
FINE: Final = 4  # rows of the model's map behind each of its columns
DRAWN: Final = 440  # columns of the spectrum's picture
MOST_PASSES: Final = 60  # of the head's path that are drawn
READINGS: Final = 200_000  # bins of time that the spectrum is made of


@dataclass(frozen=True, slots=True)
class Map:
    """Columns x lanes.  mean_um, far_um : of each cell, its mean and what is furthest from the middle;  sd_um likewise

    path : ends of passes, (metre, mm);  every : one pass of so many is drawn;  seen : share of the area under the spot
    """

    metre_m: Floats
    edges_mm: Floats
    mean_um: Floats
    far_um: Floats
    sd_um: Floats
    path: tuple[tuple[Floats, Floats], ...]
    every: int
    seen: float


@dataclass(frozen=True, slots=True)
class Clock:
    """The die's round by sector.  degrees : middles;  time_share : of the roll that a sector lay in mid-web

    even : 1 where every sector lay there as long, 0 where one did all the time
    """

    die: Die
    degrees: Floats
    um: Floats
    sd_um: Floats
    time_share: Floats
    even: float


@dataclass(frozen=True, slots=True)
class Waves:
    """period_s : rising;  share, ground : power of the largest in each column and the noise about it

    unseen_s : periods below this the means of passes cannot show;  waves : found, each with the period that means of
    passes would show instead
    """

    period_s: Floats
    share: Floats
    ground: Floats
    unseen_s: float
    waves: tuple[tuple[Wave, float], ...]
    mirror: Mirror | None


@dataclass(frozen=True, slots=True)
class RollView:
    """One roll.  told : as the command prints it;  parts, plain : variances of the model and of the two-way table

    low_um, high_um : of each lane, all passes;  least, most : (um, metre, mm) of the thinnest and thickest cell read
    """

    roll: str
    told: Mapping[str, Any]
    verdict: Verdict
    marks: tuple[GaugeMark, ...]
    parts: tuple[Share, ...]
    plain: Mapping[str, tuple[float, float, float]]
    plain_two_sigma_um: tuple[float, float]
    charts: Charts
    pass_metre_m: Floats
    level_um: Floats
    mean_um: float
    edges_mm: Floats
    lane_um: Floats
    lane_sd_um: Floats
    low_um: Floats
    high_um: Floats
    least: tuple[float, float, float]
    most: tuple[float, float, float]
    map: Map
    clock: Clock | None
    waves: Waves | None
    speed_m_s: float
    pass_s: float
    notes: tuple[str, ...]


def roll_view(roll: str, columns: Columns, settings: Settings, spot_mm: float = 10.0) -> RollView:
    """Read a roll and keep what is drawn.  Refuses what the station refuses."""
    one = read_roll(roll, **columns, settings=settings)
    m, table = one.model, plain(one.model)
    count, value = m.cells.count, m.cells.value
    low, high = (np.where(count > 0, value, end) for end in (np.inf, -np.inf))
    return RollView(
        roll=roll, told=as_json(one), verdict=one.verdict, marks=one.marks, parts=one.shares.shares,
        plain={part.name: (part.raw, part.low, part.high) for part in table.components},
        plain_two_sigma_um=(table.two_sigma_scans, table.two_sigma_lanes),
        charts=charts_of(m, settings.false_per_week), pass_metre_m=m.pass_metre_m, level_um=m.level_um,
        mean_um=m.mean_um, edges_mm=m.edges_mm, lane_um=m.lane_um, lane_sd_um=m.lane_sd_um,
        low_um=low.min(axis=0), high_um=high.max(axis=0), least=_where(m, int(low.argmin()), low),
        most=_where(m, int(high.argmax()), high), map=_map(m, settings.noise_um, spot_mm), clock=_clock(m),
        waves=_waves(m), speed_m_s=m.records.speed_m_s, pass_s=m.records.pass_s, notes=m.notes,
    )  # fmt: skip


def _where(model: Model, cell: int, values: Floats) -> tuple[float, float, float]:
    """(um, metre, mm) of a cell of pass and lane."""
    scan, lane = divmod(cell, model.lanes)
    edges = model.edges_mm
    return float(values[scan, lane]), float(model.pass_metre_m[scan]), float(edges[lane] + edges[lane + 1]) / 2


def _map(model: Model, noise_um: float | None, spot_mm: float) -> Map:
    columns = min(CELLS, max(2, model.records.passes * 2))
    fine = roll_map(model, columns * FINE, noise_um, spot_mm)
    shape = (columns, FINE, model.lanes)
    value, sd = fine.gauge_um.reshape(shape), fine.sd_um.reshape(shape)
    furthest = np.abs(value - model.mean_um).argmax(axis=1)[:, None, :]
    path, every = _path(model)
    return Map(
        fine.metre_m.reshape(columns, FINE).mean(axis=1), fine.edges_mm, value.mean(axis=1),
        np.take_along_axis(value, furthest, axis=1)[:, 0], sd.max(axis=1), path, every, fine.seen,
    )  # fmt: skip


def _path(model: Model) -> tuple[tuple[tuple[Floats, Floats], ...], int]:
    """Ends of some passes, evenly along the roll."""
    r = model.records
    every = -(-r.passes // MOST_PASSES)
    first = np.searchsorted(r.sweep, np.arange(r.passes))
    last = np.append(first[1:], r.sweep.size) - 1
    ends = [np.array([first[n], last[n]]) for n in range(0, r.passes, every)]
    return tuple((r.metre_m[two], r.across_mm[two]) for two in ends), every


def _clock(model: Model) -> Clock | None:
    die = model.die
    if die is None:
        return None
    time = np.linspace(model.records.time_s[0], model.records.time_s[-1], 36_000)
    many = np.bincount(die.sector(time, np.full(time.size, 0.5)), minlength=die.sectors) / time.size
    even = 1 - float(np.abs(many - 1 / die.sectors).sum()) / (2 * (1 - 1 / die.sectors))
    degrees = (np.arange(die.sectors) + 0.5) * 360 / die.sectors
    return Clock(die, degrees, model.die_um, model.die_sd_um, many, even)


def _waves(model: Model) -> Waves | None:
    """The spectrum of the points, lanes and die taken off; None for a roll too short to have one."""
    r = model.records
    y = model.residual_um + model.level_um[r.sweep] + sum((wave.at(r.time_s) for wave in model.waves), np.zeros(1))
    span = float(np.ptp(r.time_s))
    width = max(span / READINGS, float(np.median(np.diff(r.time_s))))
    try:
        time, mean, count = thin(r.time_s, y, width)
        seen = spectrum(time, mean, 4 * width, span / 2, count)
    except BadValue:
        return None
    ground = background(seen) / np.log(2)
    period = seen.period[::-1]
    edge = np.geomspace(period[0] * (1 - 1e-9), period[-1] * (1 + 1e-9), DRAWN + 1)
    at = np.searchsorted(period, edge)
    full = np.flatnonzero(np.diff(at) > 0)
    power = np.array([seen.power[::-1][at[i] : at[i + 1]].max() for i in full])
    noise = np.array([ground[::-1][at[i] : at[i + 1]].mean() for i in full])
    found = tuple((wave, alias(wave.period_s, r.pass_s)) for wave in model.waves)
    return Waves(np.sqrt(edge[full] * edge[full + 1]), power, noise, 2 * r.pass_s, found, mirror(model))

"""Waves found one after the other, their periods and that of a found die moved together until they fit.

The record is gathered into rows of a pass and a lane for these steps, finer where a short wave needs it; the last fit
of all is made on every point (model.fit).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reelmark.stations.film.gauge.die import Die, polished
from reelmark.stations.film.gauge.records import Floats, Records
from reelmark.stations.film.gauge.solve import Design, gathered, moments, residual_of, solve
from reelmark.stations.film.gauge.waves import Found, find_wave

__all__ = ["found_waves", "levelled", "wave_columns"]

_MOST_WAVES = 5
_FINE = 400  # places across that are levelled before waves are searched
_WILD = 2.5  # sigmas at which residuals are clipped in the searches
_SMALL = 0.1  # a wave below this share of the residual's sigma, or of the step that readings are written in, is left:
# lines, bumps and rounding make such, and it harms nothing


def levelled(records: Records, design: Design, residual: Floats) -> Floats:
    """Residuals less their mean by place and direction: a wave in step with the head, slopes within a lane.

    Left in, its side lobes pass for other waves and for a turning die; `shares.mirror` reports it.  Narrow lines and
    bursts are clipped: crossing a line at every pass makes a comb of small waves.
    """
    fine = max(min(_FINE, records.sweep.size // records.passes), design.lanes)
    side = (records.place * fine).astype(np.int64) + records.forward[records.sweep] * (fine + 1)
    count = np.bincount(side)
    out = residual - (np.bincount(side, residual) / np.maximum(count, 1))[side]
    most = _WILD * 1.4826 * float(np.median(np.abs(out[:: max(1, out.size // 100_000)])))
    return np.asarray(np.clip(out, -most, most), np.float64)


@dataclass(frozen=True, slots=True)
class _Small:
    """The record gathered by pass and lane, for the steps that are repeated: a tenth of the rows and less."""

    time: Floats
    place: Floats
    y: Floats
    design: Design

    def with_die(self, die: Die) -> "_Small":
        return replace(self, design=replace(self.design, sector=die.sector(self.time, self.place)))

    def with_waves(self, found: Sequence[Found]) -> Design:
        columns = [column for one in found for column in wave_columns(self.time, one.period_s)]
        return replace(self.design, waves=tuple(columns))


def _small(records: Records, design: Design, y: Floats, die: Die | None, parts: int = 1) -> _Small:
    """Rows of a pass and a lane, or of one of so many parts of a lane where short waves need it."""
    fine = design.lanes * parts
    index = np.minimum((records.place * fine).astype(np.int64), fine - 1)
    time, place, value, count = gathered(replace(design, lane=index, lanes=fine), (records.time_s, records.place, y))
    full = np.flatnonzero(count)
    lane = full % fine // parts
    few = Design(full // fine, design.sweeps, lane, design.lanes, None, 0, (), count[full])
    few = few if die is None else replace(few, sector=die.sector(time[full], place[full]), sectors=die.sectors)
    return _Small(time[full], place[full], value[full], few)


def _parts(records: Records, lanes: int, period: float) -> int:
    """Parts of a lane so that a part passes in a twelfth of the period: 1 % of the wave is lost within it."""
    most = -(-records.sweep.size // records.passes // lanes)
    return int(np.clip(np.ceil(12 * _on_web(records) / lanes / period), 1, max(most, 1)))


def found_waves(
    records: Records,
    design: Design,
    y: Floats,
    first: Floats,
    die: Die | None,
    loose: Die | None,
    alarm: float,
) -> tuple[list[Found], Die | None, list[Floats]]:
    """Waves one after the other, the strongest first; (waves, die, columns), two columns a wave, of every point.

    The die is moved with them where it was only found.

    first : residual (N,) of the fit without waves
    """
    small, left, parts = _small(records, design, y, die), first, 1
    found: list[Found] = []
    columns: list[Floats] = []
    for _ in range(_MOST_WAVES):
        level = levelled(records, design, left)
        more = find_wave(records.time_s, level, _on_web(records), records.pass_s, alarm, records.shortest_s)
        if more is None:
            break
        if (need := _parts(records, design.lanes, more.period_s)) > parts:
            small, parts = _small(records, design, y, loose or die, need), need
        tried, small, moved, size = _settled(small, [*found, more], loose)
        strong = size >= max(_SMALL * float(np.std(left)), _SMALL * records.step_um)
        if not strong[-1] or _slipped(more, tried[-1], float(np.ptp(records.time_s))):
            break
        # An alias by the passes may have come first: once the true wave is in, nothing is left of it.
        found, loose = [one for one, stays in zip(tried, strong, strict=True) if stays], moved
        columns = [column for one in found for column in wave_columns(records.time_s, one.period_s)]
        left = _without(first, found, columns, design, small)
    if loose is not None and not found:
        _, _, loose, _ = _settled(small, [], loose)
    return found, loose or die, columns


def _slipped(found: Found, settled: Found, span: float) -> bool:
    """Did the fit carry the period more than one independent frequency away?  Then no wave stood where one was seen."""
    return abs(1 / found.period_s - 1 / settled.period_s) > 1 / span


def _settled(small: _Small, found: list[Found], die: Die | None) -> tuple[list[Found], _Small, Die | None, Floats]:
    """Periods of waves and of a found die (None: none, or given) moved by Gauss-Newton, all in one fit.

    A small error of a wave's period is a column t x its slope; of the die's, the slope of its profile (die.polished).
    Gives also the amplitudes, (h,).
    """
    away, h = small.time - float(small.time.mean()), len(found)
    for _ in range(2 if die is None else 3):
        design = small.with_waves(found)
        known = moments(design, small.y)
        plain = solve(design, small.y, known=known)
        loose = replace(design, waves=design.waves + _slips(away, design.waves, plain.wave))
        solution = solve(loose, small.y, known=known)
        residual = residual_of(loose, solution, small.y)
        weight = design.weight if design.weight is not None else np.ones(residual.size)
        if h:
            noise = float(weight @ residual**2) / residual.size  # of a cell, times its points: of one point
            sd = np.sqrt(np.maximum(noise * np.diag(solution.inverse)[-h:], 0.0))
            found = [_retuned(*each) for each in zip(found, solution.wave[-h:], sd, strict=True)]
        if die is not None:
            groups = (design.sweep, design.lane)
            die = polished(die, small.time, small.place, residual, weight, solution.die, groups)
            small = small.with_die(die)
    last = solve(small.with_waves(found), small.y).wave
    return found, small, die, np.hypot(last[0::2], last[1::2])


def _without(residual: Floats, found: list[Found], columns: list[Floats], design: Design, small: _Small) -> Floats:
    """Residuals of the fit without waves, less the waves and what passes, lanes and sectors had taken of them."""
    known = moments(small.design, small.y)
    with_them = solve(small.with_waves(found), small.y, known=known)
    bare = solve(small.design, small.y, known=known)
    out = residual - (with_them.level - bare.level)[design.sweep]
    out -= (with_them.lane - bare.lane)[design.lane]
    if design.sector is not None:
        out -= (with_them.die - bare.die)[design.sector]
    for column, size in zip(columns, with_them.wave, strict=True):
        out -= size * column
    return out


def _slips(away: Floats, waves: tuple[Floats, ...], size: Floats) -> tuple[Floats, ...]:
    """By wave: what a rad/s more would add."""
    pairs = range(0, len(waves), 2)
    return tuple(away * (size[i + 1] * waves[i] - size[i] * waves[i + 1]) for i in pairs)


def _retuned(one: Found, rate: float, sd: float) -> Found:
    omega = 2 * np.pi / one.period_s + rate
    return Found(float(2 * np.pi / omega), float(2 * np.pi / omega**2 * sd), one.chance)


def _on_web(records: Records) -> float:
    """Seconds a pass lasts on the web, middle value."""
    first = np.searchsorted(records.sweep, np.arange(records.passes))
    last = np.append(first[1:], records.sweep.size) - 1
    return float(np.median(records.time_s[last] - records.time_s[first])) * (1 + records.passes / records.sweep.size)


def wave_columns(time: Floats, period: float) -> tuple[Floats, Floats]:
    turn = time * (2 * np.pi / period)
    return np.cos(turn), np.sin(turn)

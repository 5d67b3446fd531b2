"""A scanning gauge with known truth: a head that zig-zags across a running web, and what stands on the web.

The surface is   target + slow + drift + wave + lane(u) + die(angle) + drop + line + local   and the gauge adds noise.
u is the place across, 0..1; t is time in s; metre = speed * t.  The defaults are the assumed figures of the project's
notes on statistics, 1.4 (40 lanes, 20 s a pass and 2 s a turn, 240 passes); 1.5 m/s makes two seconds 3 m and the
record an 8 km roll.  The same seed gives the same film.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["FAULTS", "TABLE", "Film", "Line", "Ramp", "Scan", "Truth", "die_profile", "scan"]

Floats = NDArray[np.float64]


class Ramp(NamedTuple):
    """A level that goes from 0 at from_m to size_um at to_m, and stays."""

    from_m: float
    to_m: float
    size_um: float


class Line(NamedTuple):
    """A narrow line: fixed on the die at angle (rad) or, with angle None, fixed across at mm."""

    angle: float | None
    mm: float
    wide_mm: float
    size_um: float
    from_m: float = 0.0
    to_m: float = 1e9


@dataclass(frozen=True, slots=True)
class Film:
    """What the line does.  Parts are standard deviations in um; 0 or None leaves a part out.

    die : "oscillating" (triangle of +- half a turn in die_s), "rotating" (a turn in die_s) or "" (fixed)
    drop : (at_m, long_m, size_um), the whole web for a moment; locked_um : amplitude of a wave of one pass and turn
    gaps : stretches of metre lost; stops : (at_m, s) the web stands while the gauge goes on reading
    """

    target_um: float = 75.0
    width_mm: float = 2000.0
    speed_m_s: float = 1.5
    passes: int = 240
    points: int = 40
    pass_s: float = 20.0
    turn_s: float = 2.0
    slow_um: float = 0.5
    slow_s: float = 600.0
    wave_s: float = 37.0
    wave_um: float = 0.449
    lane_um: float = 0.491
    die: str = "oscillating"
    die_s: float = 3000.0
    die_um: float = 0.407
    die_angle: float = 2.0
    dead_s: float = 0.0
    local_um: float = 0.15
    noise_um: float = 0.10
    drift: Ramp | None = None
    drop: tuple[float, float, float] | None = None
    line: Line | None = None
    locked_um: float = 0.0
    gaps: tuple[tuple[float, float], ...] = ()
    stops: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Truth:
    """The film without its local part: what a perfect map would show."""

    film: Film
    slow: Floats  # amplitudes of cosines and sines, by whole waves in the record
    lane: Floats
    length_s: float

    def surface(self, t: Floats, u: Floats) -> Floats:
        """um at time t (s) and place u across (0..1)."""
        film = self.film
        wave = film.wave_um * np.sin(2 * np.pi * t / film.wave_s)
        locked = film.locked_um * np.cos(2 * np.pi * t / (film.pass_s + film.turn_s) + 1.0)
        return film.target_um + self.level(t) + wave + locked + self.across(u) + self.die(t, u) + self.faults(t, u)

    def level(self, t: Floats) -> Floats:
        """The slow wander and the drift, um."""
        return self._series(self.slow, t / self.length_s) + _ramp(self.film, t)

    def across(self, u: Floats) -> Floats:
        """The fixed lanes, um."""
        return self._series(self.lane, u / 2)

    def angle(self, t: Floats, u: Floats) -> Floats:
        """Angle on the die, rad, that lies at place u at time t."""
        return 2 * np.pi * u + _turned(self.film, t - self.film.dead_s)

    def die(self, t: Floats, u: Floats) -> Floats:
        """What the die brings, um: a broad hump at its mark."""
        return die_profile(self.film, self.angle(t, u)) if self.film.die else np.zeros(np.shape(t))

    def faults(self, t: Floats, u: Floats) -> Floats:
        """The drop and the line, um."""
        film, metre, out = self.film, t * self.film.speed_m_s, np.zeros(np.shape(t))
        if film.drop:
            at, long, size = film.drop
            out = out + size * ((metre >= at) & (metre < at + long))
        if film.line:
            out = out + self._line(film.line, t, u)
        return out

    def _line(self, line: Line, t: Floats, u: Floats) -> Floats:
        if line.angle is None:
            away = (u - line.mm / self.film.width_mm) * self.film.width_mm
        else:
            away = _turn(self.angle(t, u) - line.angle) / (2 * np.pi) * self.film.width_mm
        metre = t * self.film.speed_m_s
        here = (abs(away) < line.wide_mm / 2) & (metre >= line.from_m) & (metre < line.to_m)
        return np.where(here, line.size_um, 0.0)

    @staticmethod
    def _series(waves: Floats, x: Floats) -> Floats:
        out = np.zeros(np.shape(x))
        for k, (a, b) in enumerate(waves.T, 1):
            out = out + a * np.cos(2 * np.pi * k * x) + b * np.sin(2 * np.pi * k * x)
        return out


class Scan(NamedTuple):
    """The record, a value a point, and the truth behind it."""

    time_s: Floats
    metre_m: Floats
    across_mm: Floats
    gauge_um: Floats
    truth: Truth


def die_profile(film: Film, angle: Floats) -> Floats:
    """The die's hump round its mark, um; mean 0, standard deviation die_um: exp(2 cos), of which both are known."""
    hump = np.exp(2 * np.cos(angle - film.die_angle))
    mean, square = np.i0(2.0), np.i0(4.0)
    return np.asarray(film.die_um * (hump - mean) / np.sqrt(square - mean**2), np.float64)


def scan(film: Film, seed: int) -> Scan:
    """What the gauge wrote."""
    rng = np.random.Generator(np.random.PCG64(seed))
    t, u = _path(film)
    truth = _truth(film, rng, t, u)
    local, noise = film.local_um * rng.standard_normal(t.size), film.noise_um * rng.standard_normal(t.size)
    metre, clock, keep = t * film.speed_m_s, t, np.ones(t.size, bool)
    for start, stop in film.gaps:
        keep &= (metre < start) | (metre >= stop)
    out = np.array([clock, metre, u * film.width_mm, truth.surface(t, u) + local + noise])[:, keep]
    for at, lasts in film.stops:
        out = _stopped(film, out, at, lasts, rng)
    time, metre, across, gauge = out
    return Scan(time, metre, across, gauge, truth)


def _path(film: Film) -> tuple[Floats, Floats]:
    inside = (np.arange(film.points) + 0.5) / film.points
    start = np.arange(film.passes)[:, None] * (film.pass_s + film.turn_s)
    u = np.where(np.arange(film.passes)[:, None] % 2 == 0, inside, 1 - inside)
    return (start + inside * film.pass_s).ravel(), u.ravel()


def _truth(film: Film, rng: np.random.Generator, t: Floats, u: Floats) -> Truth:
    """The wander and the lanes, drawn, and scaled to have just their standard deviations."""
    length = film.passes * (film.pass_s + film.turn_s)
    slow = rng.standard_normal((2, max(int(length / film.slow_s), 1)))
    lane = rng.standard_normal((2, 8)) / np.sqrt(np.arange(1, 9))
    raw = Truth(film, slow, lane, length)
    still = Truth(replace(film, drift=None), slow, lane, length)
    slow = slow * (film.slow_um / (np.std(still.level(t)) or 1.0))
    across = raw.across(np.linspace(0, 1, 4001))
    return Truth(film, slow, lane * (film.lane_um / np.std(across)), length)


def _ramp(film: Film, t: Floats) -> Floats:
    if not film.drift:
        return np.zeros(np.shape(t))
    start, stop, size = film.drift
    return size * np.clip((t * film.speed_m_s - start) / (stop - start), 0, 1)


def _turned(film: Film, t: Floats) -> Floats:
    turns = t / film.die_s
    if film.die == "oscillating":
        return 2 * np.pi * (abs(2 * (turns % 1) - 1) - 0.5)
    return 2 * np.pi * turns if film.die == "rotating" else np.zeros(np.shape(t))


def _turn(angle: Floats) -> Floats:
    return (angle + np.pi) % (2 * np.pi) - np.pi


def _stopped(film: Film, out: Floats, at: float, lasts: float, rng: np.random.Generator) -> Floats:
    """Readings of a web that stands: one place, gauge noise only, and the clock runs on."""
    i = int(np.searchsorted(out[1], at))
    step = film.pass_s / film.points
    many = int(lasts / step)
    still = np.repeat(out[:, i : i + 1], many, axis=1)
    still[0] += np.arange(many) * step
    still[3] += film.noise_um * rng.standard_normal(many)
    later = out[:, i:] + np.array([[many * step], [0], [0], [0]])
    return np.concatenate([out[:, :i], still, later], axis=1)


TABLE = Film()  # the table of the notes, 1.4
FAULTS = Film(
    points=400,
    slow_um=0.2,
    lane_um=0.3,
    die_um=0.2,
    wave_um=0.35,
    drift=Ramp(4500.0, 7000.0, 2.0),
    drop=(2390.0, 3.0, 1.5),
    line=Line(4.0, 0.0, 12.0, -0.9, 1000.0, 7000.0),
)

"""The demo's film line: what its scanning gauge wrote of every roll, and the faults planted in it.

Every long roll has one sort of fault, but one, which has none; the short roll has two at once.  Rolls that fewer than
`FEWEST` passes of the head cross hold no plan: too short for a fault to be told from the film's own unevenness.

Assumed throughout, common practice, no source: 25 m/min, 2.8 m lay-flat, a pass of 20 s and a turn of 2 s, 60 values a
pass, a haul-off that swings in 3,000 s.  The film is drawn from a chance of its own, so the shop's records stay as
they are, and the same seed gives the same gauge records.
"""

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .chance import Chance
from .gauge import Film, Line, Ramp, scan
from .size import Size
from .troubles import FILM, Trouble

__all__ = ["FEWEST", "METRES_A_MINUTE", "SPEED", "FilmRoll", "film_rolls", "gauge_records", "passes"]

FEWEST: Final = 20  # passes from which marks are looked for; with 8 and fewer our own study found false ones
LONG: Final = 5000.0  # m from which a roll can hold any fault: a swing of the haul-off and more, many slow waves
METRES_A_MINUTE: Final = 25  # of the line, its gauge and the shop's record of the roll
SPEED: Final = METRES_A_MINUTE / 60  # m/s
WIDE: Final = 2800.0  # mm
DROP_S: Final = 2.0
FORMING: Final = 13 / 6  # m of the bubble in which the film still gives way, assumed: all of it feels the drop
DROP_M: Final = FORMING + DROP_S * SPEED  # 3 m, which take 7.2 s to pass the gauge

QUIET = Film(speed_m_s=SPEED, points=60, width_mm=WIDE, slow_um=0.2, lane_um=0.3, die_um=0.2, wave_um=0.0)
PASS_M: Final = (QUIET.pass_s + QUIET.turn_s) * SPEED

Fault = dict[str, Any]


@dataclass(frozen=True, slots=True)
class FilmRoll:
    """A roll as the line made it.  film : what the simulator is to do; seed : of its film; planted : to be found."""

    name: str
    length_m: float
    film: Film
    seed: int
    planted: tuple[Trouble, ...]


def film_rolls(size: Size, seed: int) -> tuple[FilmRoll, ...]:
    """Plans of all rolls of the order, in the order of winding.  Same size and seed: same plans."""
    chance = Chance(2 * seed + 1)
    lengths = [um / 1e6 for um in size.rolls]
    long = chance.shuffled([i for i, length in enumerate(lengths) if length >= LONG])
    sorts: dict[int, tuple[str, ...]] = dict(zip(long, [(name,) for name in FILM], strict=False))
    short = [i for i, length in enumerate(lengths) if length < LONG and passes(length) >= 4 * FEWEST]
    sorts |= {i: ("wave", "pressure drop") for i in short}
    return tuple(_roll(f"F{i + 1:02d}", length, sorts.get(i, ()), chance) for i, length in enumerate(lengths))


def passes(length_m: float) -> int:
    """Whole passes of the head over so much film."""
    return int(length_m / PASS_M)


def gauge_records(roll: FilmRoll) -> dict[str, NDArray[np.float64]]:
    """What the gauge wrote: time_s, metre_m, across_mm, gauge_um, a value a point, as many decimals as gauges write."""
    told = scan(roll.film, roll.seed)
    here = told.metre_m < roll.length_m
    digits = {"time_s": 2, "metre_m": 3, "across_mm": 1, "gauge_um": 3}
    return {name: np.round(getattr(told, name)[here], many) for name, many in digits.items()}


def _roll(name: str, length: float, sorts: tuple[str, ...], chance: Chance) -> FilmRoll:
    film, planted = replace(QUIET, passes=passes(length) + 1), []
    for sort in sorts:
        film, fault = _PLANT[sort](film, length, chance)
        planted.append(Trouble(sort, {"roll": name, **fault}))
    return FilmRoll(name, length, film, chance.whole(0, 2**31), tuple(planted))


def _wave(film: Film, length: float, chance: Chance) -> tuple[Film, Fault]:
    size = chance.whole(25, 45) / 100
    fault = {"from_m": 0.0, "to_m": length, "from_mm": 0.0, "to_mm": WIDE, "size_um": size, "period_s": film.wave_s}
    return replace(film, wave_um=size), fault


def _die_line(film: Film, length: float, chance: Chance) -> tuple[Film, Fault]:
    """A scratch in the lip: thin film, carried over the whole width by the haul-off as it swings."""
    start, stop = _stretch(length, chance, (10, 25), (70, 90))
    wide, size = 30.0, -chance.whole(80, 120) / 100
    line = Line(2 * np.pi * chance.whole(0, 359) / 360, 0.0, wide, size, start, stop)
    fault = {"from_m": start, "to_m": stop, "from_mm": 0.0, "to_mm": WIDE, "size_um": size, "wide_mm": wide}
    return replace(film, line=line), fault


def _drift(film: Film, length: float, chance: Chance) -> tuple[Film, Fault]:
    start, stop = _stretch(length, chance, (20, 40), (60, 80))
    size = chance.pick((-1, 1)) * chance.whole(12, 18) / 10
    fault = {"from_m": start, "to_m": stop, "from_mm": 0.0, "to_mm": WIDE, "size_um": size}
    return replace(film, drift=Ramp(start, stop, size)), fault


def _pressure_drop(film: Film, length: float, chance: Chance) -> tuple[Film, Fault]:
    """Two seconds of low pressure touch all the film that is forming: thicker, and 3 m of it.

    1.2 to 1.8 um is about 2 %, which the strain-hardening model makes of 4 to 6 % of pressure (d ln h / d ln p =
    -0.39, our own computation in the notes on film, 1.6; its sign there is that of a lasting change).  It is put while
    the head is on the web: what passes while the head turns is on no record, and cannot be found.
    """
    head = chance.whole(20, 80) * passes(length) // 100
    seconds = DROP_M / SPEED
    late = chance.whole(200, int(100 * (film.pass_s - seconds)) - 200) / 100
    start, size = round(head * PASS_M + SPEED * late, 3), chance.whole(12, 18) / 10
    fault = {"from_m": start, "to_m": start + DROP_M, "from_mm": 0.0, "to_mm": WIDE, "size_um": size}
    return replace(film, drop=(start, DROP_M, size)), fault | {"seconds": round(seconds, 3), "pressure_s": DROP_S}


_PLANT: Final = {"wave": _wave, "die line": _die_line, "drift": _drift, "pressure drop": _pressure_drop}


def _stretch(length: float, chance: Chance, first: tuple[int, int], last: tuple[int, int]) -> tuple[float, float]:
    """Metres from one share of the roll to another, in percent."""
    start, stop = (length * chance.whole(*share) / 100 for share in (first, last))
    return round(start, 1), round(stop, 1)

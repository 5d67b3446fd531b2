"""What is believed of film, web and head before a record is read; and columns written in another unit told by it.

A unit shows where a number leaves the range that any line has.  Within the range it cannot be told: 2.8 m written as
280 is a narrow web as well; only the head, ten times slower than heads are, speaks against it, and a note says so.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from reelmark.errors import BadValue
from reelmark.stations.film.gauge.passes import usual, visits

__all__ = ["Believed", "Span", "unit_notes"]

_Floats = np.ndarray[tuple[int, ...], np.dtype[np.float64]]
_Others = tuple[tuple[float, str], ...]

TRADE: Final = "common practice, no source"
GAUGES: Final[_Others] = (
    (1e3, "millimetres"), (1e6, "metres"), (1e-3, "nanometres"), (25.4, "mil (25.4 um)"), (25_400.0, "inches"),
)  # fmt: skip
WIDTHS: Final[_Others] = ((1e3, "metres"), (10.0, "centimetres"), (1e-3, "micrometres"), (25.4, "inches"))
TIMES: Final[_Others] = (
    (1e-3, "milliseconds"), (60.0, "minutes"), (3600.0, "hours"), (86_400.0, "days"), (1e-6, "microseconds"),
)  # fmt: skip
METRES: Final[_Others] = ((1e-3, "millimetres"), (1e3, "kilometres"), (1e-2, "centimetres"), (1e-6, "micrometres"))


@dataclass(frozen=True, slots=True)
class Span:
    """least and most of a quantity, in `unit`, above 0;  source : where the two come from."""

    least: float
    most: float
    unit: str
    source: str = TRADE

    def __post_init__(self) -> None:
        if not 0 < self.least < self.most < float("inf"):
            true = f"{self.least:g} to {self.most:g} {self.unit} is no range above 0"
            raise BadValue("believed", (self.least, self.most), true, "give least and most, least first")

    def __contains__(self, value: float) -> bool:
        return self.least <= value <= self.most

    def __str__(self) -> str:
        return f"{self.least:g} to {self.most:g} {self.unit}"


@dataclass(frozen=True, slots=True)
class Believed:
    """Ranges that any record of the line lies in; inputs, to be narrowed or widened for a line that is known.

    gauge : of the film;  width : swept by the head;  speed : of the web;  turn : of the head, one way and its turn
    head : speed of the head across, by width over turn: outside it a note is written, not a refusal
    """

    gauge: Span = Span(5.0, 1000.0, "um")
    width: Span = Span(50.0, 20_000.0, "mm")
    speed: Span = Span(0.005, 20.0, "m/s")
    turn: Span = Span(1.5, 900.0, "s")
    head: Span = Span(25.0, 2000.0, "mm/s")


def unit_notes(time: _Floats, metre: _Floats, across: _Floats, gauge: _Floats, believed: Believed) -> list[str]:
    """Refuses medians that no film, web or head has, naming the unit they look like; what is only odd is noted."""
    _unit("gauge_um", usual(gauge), believed.gauge, GAUGES)
    width = _width(across, believed)
    took, ran = float(np.ptp(time)), float(np.ptp(metre))
    if took <= 0:
        raise BadValue("time_s", float(time[0]), "every row has the same time", "write the time of every point")
    if ran <= 0:
        true = f"the metre stays at {metre[0]:g} m for {took:.6g} s: the web stands"
        raise BadValue("metre_m", float(metre[0]), true, "read a roll that runs, or mend the length counter")
    turns = visits(across)
    turn = took / turns if turns > 1 else None
    _clock(turn, ran / took, believed)
    _metres(ran, took, turn, believed)
    return [] if turn is None else _head(width, turn, believed)


def _width(across: _Floats, believed: Believed) -> float:
    width = float(np.ptp(across))
    step = usual(np.abs(np.diff(across)))
    if width <= 1e-3 * max(1.0, abs(float(across[0]))) or (width < believed.width.least and step > 0.1 * width):
        true = f"the head stands at {usual(across):g} mm (within {width:.3g} mm): one lane only says nothing across"
        raise BadValue("across_mm", float(across[0]), true, "let the head sweep; or read the level alone by charts")
    _unit("across_mm", width, believed.width, WIDTHS)
    return width


def _unit(field: str, value: float, span: Span, others: _Others) -> None:
    if value in span:
        return
    like = [name for factor, name in others if value * factor in span]
    guess = f"; it looks like {' or '.join(like)}" if like else ""
    true = f"outside {span.least:g} to {span.most:g}, which is believed{guess}"
    raise BadValue(field, float(f"{value:.6g}"), true, "write it in the unit the column's name says")


def _clock(turn: float | None, speed: float, believed: Believed) -> None:
    """The head's turns know nothing of the metre: a clock in another unit shows by them."""
    if turn is None or turn in believed.turn:
        return
    like = [name for factor, name in TIMES if turn * factor in believed.turn and speed / factor in believed.speed]
    like = like or [name for factor, name in TIMES if turn * factor in believed.turn]
    guess = f"; time_s looks like {' or '.join(like)}" if like else ""
    true = f"a pass of the head would take that long, outside {believed.turn}{guess}"
    raise BadValue("time_s", f"{turn:.4g} a pass", true, "write seconds, and the place of the head in mm")


def _metres(ran: float, took: float, turn: float | None, believed: Believed) -> None:
    speed = ran / took
    if speed in believed.speed:
        return
    like = [f"metre_m in {name}" for factor, name in METRES if speed * factor in believed.speed]
    like += [f"time_s in {name}" for factor, name in TIMES if turn is None and speed / factor in believed.speed]
    guess = f": {' or '.join(like)}?" if like else ""
    true = f"that is {speed:.4g} m/s, no speed of a web ({believed.speed}){guess}"
    raise BadValue("metre_m", f"{ran:.6g} m in {took:.6g} s", true, "write seconds and metres")


def _head(width: float, turn: float, believed: Believed) -> list[str]:
    speed = width / turn
    if speed in believed.head:
        return []
    slow = speed < believed.head.least
    unit = "cm or inches" if slow else "another unit"
    odd = f"{speed:.3g} mm/s, {'slower' if slow else 'faster'} than heads are believed to go ({believed.head})"
    return [
        f"the head goes {width:.4g} mm in {turn:.3g} s, {odd}: is across_mm in {unit}? marks across stand as written"
    ]

"""What a scanning gauge says of rolls, for machines and for the journal.

    film_read({"F05": {"time_s": ..., "metre_m": ..., "across_mm": ..., "gauge_um": ...}})  ->  {"rolls": [...]}
    gauge_marks(reading, "F05", marks)      marks of the gauge as `mark` records, ready to be posted

Where a metre of the gauge lies on the roll: the gauge sits before the winder, so what it reads first is wound first, at
the core.  Metre as wound = metre of the gauge - `core_m`, core_m being what the gauge's counter says of the web that
lies at the core: 0 where the counter is set to 0 as a roll begins (the default).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, floor
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import BadValue, NotThere, Problem
from ..reading import Reading
from ..stations.film.gauge import GaugeMark, Limits, Settings, read_roll
from ..stations.film.gauge.reading import as_json
from ..units import in_metres

__all__ = [
    "CAUTIONS",
    "TOLERANCE",
    "Across",
    "assumed_limits",
    "fault_of",
    "film_read",
    "gauge_marks",
    "limits_of",
    "strip_place",
]

Columns = Mapping[str, NDArray[np.float64]]

CAUTIONS: Final = (
    "The head of an infrared gauge holds a hot, bright source, and other heads a radioactive one: only trained people "
    "open it, by the maker's rules.",
    "The bubble's pressure is low but its area large; the melt is hot. Heads, nips and winders are touched locked off.",
    "Rolls weigh a tonne and more: rated gear, nobody in line with a roll or under one. Film carries static: earth it.",
    "Estimates for engineers: they replace neither local codes nor the maker's limits.",
)
TOLERANCE: Final = 3.0  # um, where none is asked: assumed, 4 % of 75 um
STEP: Final = 100_000  # um: a mark's ends are written in decimetres
MODEL: Final = ("mean_um", "cpk", "shares", "variances_um2", "plain_anova_um2", "forward_reverse", "die")


def film_read(rolls: Mapping[str, Columns], settings: Settings | None = None) -> dict[str, Any]:
    """{"rolls": [one for each roll, in order], "cautions"}; a roll that cannot be read has `refused` and no figures."""
    told = [_one(roll, columns, settings) for roll, columns in rolls.items()]
    answer = {"rolls": told, "cautions": list(CAUTIONS)}
    if all("refused" in one for one in told):
        first = told[0]["refused"]
        answer["error"] = (
            f"no roll could be read; {told[0]['roll']}: {first['asked']}: {first['true']}; {first['cure']}"
        )
    return answer


def _one(roll: str, columns: Columns, settings: Settings | None) -> dict[str, Any]:
    asked = settings or Settings()
    try:
        limits = asked.limits or assumed_limits(columns["gauge_um"])
        told = as_json(read_roll(roll, **columns, settings=replace(asked, limits=limits)))
    except Problem as problem:
        said = {"asked": problem.asked, "true": problem.true, "cure": problem.cure}
        return {"roll": roll, "refused": said, **dict.fromkeys(MODEL), "waves": [], "marks": []}
    ends = [limits.target_um - limits.tolerance_um, limits.target_um + limits.tolerance_um] if limits else None
    return {**told, "limits_um": ends, "limits_assumed": asked.limits is None}


def assumed_limits(
    gauge_um: NDArray[np.float64], target_um: float | None = None, tolerance_um: float | None = None
) -> Limits | None:
    """Limits where none were given: about the middle of the readings, 3 um or 4 % of it, whichever is less.

    Assumed, so every answer says that they were; None where there is no reading to stand on.
    """
    middle = float(np.nanmedian(gauge_um)) if np.isfinite(gauge_um).any() else 0.0
    target = round(middle, 2) if target_um is None else target_um
    if not target > 1:  # no film is thinner: the station says what is wrong with such readings
        return None
    return Limits(target, min(TOLERANCE, round(0.04 * target, 1) or 0.1) if tolerance_um is None else tolerance_um)


def limits_of(target_um: float | None, tolerance_um: float | None) -> Limits | None:
    """Target and tolerance as the verdict wants them: both, or none."""
    if target_um is None and tolerance_um is None:
        return None
    if target_um is None or tolerance_um is None:
        missing = "target" if target_um is None else "tolerance"
        given = tolerance_um if target_um is None else target_um
        raise BadValue(missing, None, f"the other one is given, {given:g} um", "give both, or neither")
    return Limits(target_um, tolerance_um)


# ---- marks on the strips


@dataclass(frozen=True, slots=True)
class Across:
    """How the order's lanes lie under the gauge: lanes 1.. of one width from left_mm to right_mm of the head's path."""

    left_mm: float
    right_mm: float

    def lanes(self, on: Sequence[int], from_mm: float, to_mm: float) -> list[int]:
        """The lanes that from_mm..to_mm touches; all of them where it lies beside the web."""
        if self.right_mm <= self.left_mm:
            true = f"from {self.left_mm:g} to {self.right_mm:g} mm is no width"
            raise BadValue("width", (self.left_mm, self.right_mm), true, "give the web's edges, left first")
        one = (self.right_mm - self.left_mm) / len(on)
        edges = [self.left_mm + n * one for n in range(len(on) + 1)]
        touched = [lane for lane, a, b in zip(on, edges[:-1], edges[1:], strict=True) if from_mm < b and to_mm > a]
        return touched or list(on)


Marked = GaugeMark | Mapping[str, Any]


def _of(mark: Marked, name: str) -> Any:
    return mark[name] if isinstance(mark, Mapping) else getattr(mark, name)


def fault_of(mark: Marked) -> str:
    """What is written in the journal: the kind, and how far off."""
    return f"{_of(mark, 'kind')} {_of(mark, 'size_um'):+.2f} um"


def _wound(reading: Reading, roll: str, mark: Marked, across: Across, core_m: float) -> tuple[int, int, list[int]]:
    """(start, end, lanes) on the roll as wound, um, out to whole decimetres; what lies beyond its ends is cut off."""
    if roll not in reading.shop.rolls:
        raise NotThere("roll", roll, "the journal holds no roll of that name", "record the roll, or correct its name")
    length = reading.shop.web_length[roll]
    start, end = (_of(mark, name) - core_m for name in ("from_m", "to_m"))
    if end - start < 1.0:
        start, end = (start + end - 1.0) / 2, (start + end + 1.0) / 2
    start, end = floor(start * 10 + 1e-6) * STEP, ceil(end * 10 - 1e-6) * STEP
    a, b = max(0, start), min(length, end)
    if a >= b:
        true = f"{roll} runs from 0 to {length / 1e6:,.1f} m as wound, the mark from {start / 1e6:,.1f}"
        raise NotThere("from_m", _of(mark, "from_m"), true, "give core_m, the gauge's metre that lies at the core")
    on = reading.shop.rolls[roll]
    return a, b, across.lanes(on, _of(mark, "from_mm"), _of(mark, "to_mm"))


def gauge_marks(
    reading: Reading, roll: str, marks: Sequence[Marked], across: Across, core_m: float = 0.0
) -> list[dict[str, Any]]:
    """Bodies of `mark` records, metres as wound; NotThere where the journal has no such roll or no such metres.

    A mark shorter than a metre is written as the metre about it: the length counters of two machines agree no better.
    """
    return [_body(roll, mark, *_wound(reading, roll, mark, across, core_m)) for mark in marks]


def _body(roll: str, mark: Marked, start: int, end: int, lanes: list[int]) -> dict[str, Any]:
    return {"kind": "mark", "unit": roll, "lanes": lanes, "start": f"{in_metres(start)} m",
            "end": f"{in_metres(end)} m", "fault": fault_of(mark), "grade": str(_of(mark, "grade")),
            "seen_by": "gauge"}  # fmt: skip


def strip_place(reading: Reading, roll: str, mark: Marked, across: Across, core_m: float = 0.0) -> str:
    """The mark as the strips' address names a place: F05@2402.5-2405.5m@1,2."""
    start, end, lanes = _wound(reading, roll, mark, across, core_m)
    named = "" if set(lanes) == set(reading.shop.rolls[roll]) else "@" + ",".join(map(str, lanes))
    return f"{roll}@{in_metres(start)}-{in_metres(end)}m{named}"

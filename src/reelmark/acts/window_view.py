"""A reading of the windows as a page shows it, and as it is kept: the answer, trends by lane, limits, layout.

kept_answer(roll_seen, layout, notes)     what `io.windowkept.keep_reading` writes
camera_of(told, reading, roll)            where the camera's metres and lanes lie on the roll
counted(answer)                           the count that must close, in a sentence
limits_of(answer, own)                    limits of the trends: the engineer's, else assumed from the roll itself
beyond(trends, limits)                    which lanes run out of them, and where
health(told)                              lamp and focus in words
"""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import Any, Final

from ..errors import NotThere
from ..frames import WindowLayout
from ..reading import Reading
from ..stations.window.inspect.settings import LookSettings
from ..stations.window.roll import RollSeen
from .window import column_over, core_of, window_answer

__all__ = [
    "AXES",
    "QUANTITIES",
    "Beyond",
    "Limit",
    "beyond",
    "camera_of",
    "counted",
    "health",
    "kept_answer",
    "limits_of",
]

Told = Mapping[str, Any]
QUANTITIES: Final = ("offset", "size", "edge")
AXES: Final = ("across", "along")
JUDGED: Final = LookSettings()
DIM, SATURATED, SOFT = 0.85, 250, 1.5  # of the median lamp; grey; worst edge over the median: our own choice


@dataclass(frozen=True, slots=True)
class Limit:
    """low, high : mm, None where there is none on that side;  usual : mm;  assumed : no engineer gave it"""

    low: float | None
    high: float | None
    usual: float
    assumed: bool

    def broken(self, value: float) -> bool:
        """Does it lie beyond?"""
        return (self.low is not None and value < self.low) or (self.high is not None and value > self.high)


@dataclass(frozen=True, slots=True)
class Beyond:
    """How a lane fares in one quantity, mm.  out : stretches beyond the limit of `of`;  first_m : where they begin"""

    name: str
    lane: int
    middle: float
    least: float
    most: float
    out: int
    of: int
    first_m: float | None


def kept_answer(
    roll: RollSeen,
    layout: WindowLayout,
    notes: Sequence[str] = (),
    rollers_mm: Mapping[str, float] | None = None,
    core_m: float | None = None,
    first_column: int | None = None,
    over_lane: int = 0,
) -> dict[str, Any]:
    """All that a page needs, of plain values; NaN is None.

    rollers_mm : circumferences that were looked at;  core_m, first_column : of the camera, see `window_marks`; None:
    not known here;  over_lane : of the web, that the camera looks at alone; 0: not said
    """
    trends = roll.figures.trends
    value = {name: [[_plain(one) for one in row] for row in table.tolist()] for name, table in trends.value.items()}
    answer = window_answer(roll, notes, layout)
    return {
        "answer": answer,
        "trends": {"metre_m": [round(one, 3) for one in trends.metre_m.tolist()], "value": value},
        "limits": {name: asdict(one) for name, one in limits_of(answer, {}).items()},
        "layout": asdict(layout),
        "rollers_mm": dict(rollers_mm or {}),
        "camera": {"core_m": core_m, "first_column": first_column, "over_lane": over_lane},
    }


def _plain(value: float) -> float | None:
    return round(value, 5) if value == value and abs(value) != float("inf") else None


def camera_of(told: Told, reading: Reading, roll: str) -> tuple[float, int]:
    """(core_m, first_column) of a kept reading: as it was kept, else as the journal has roll and lane, else (0, 1)."""
    camera = told.get("camera", {})
    core, column, lane = camera.get("core_m"), camera.get("first_column"), camera.get("over_lane") or 0
    with suppress(NotThere):
        core = core_of(reading, roll) if core is None else core
    with suppress(NotThere, KeyError):
        column = column_over(reading, roll, lane) if column is None and lane else column
    return core or 0.0, column or 1


# ---- the count


def counted(answer: Told) -> list[str]:
    """The count in plain sentences, the gravest first."""
    parts = " + ".join(f"{answer[what]:,} {what.replace('_', ' ')}" for what in ("seen", "missing", "not_seen"))
    total = answer["seen"] + answer["missing"] + answer["not_seen"]
    closes = f"{answer['expected']:,} windows expected = {parts}. The count closes: every window is accounted for."
    open_ = (
        f"The count DOES NOT CLOSE: {answer['expected']:,} windows expected, {parts} = {total:,}; "
        f"{answer['expected'] - total:+,} are accounted for nowhere. Do not use this reading; read the frames again."
    )
    return [closes if answer["closes"] and total == answer["expected"] else open_, *_doubt(answer)]


def _doubt(answer: Told) -> list[str]:
    """Where the count may be a repeat off."""
    where = answer["phase_doubtful_m"]
    if not where:
        return []
    at = ", ".join(f"{one:,.1f}" for one in where[:5]) + (f" and {len(where) - 5:,} more" if len(where) > 5 else "")
    return [f"PHASE DOUBTFUL at {at} m: the count may be a repeat off from there on, and so may the metres of its "
            "marks. Look for an index mark, or count the repeats by hand."]  # fmt: skip


# ---- trends and their limits


def limits_of(answer: Told, own_mm: Mapping[str, float | None]) -> dict[str, Limit]:
    """By name of the trend.  own_mm : {"offset": ±, "size": ± about the usual, "edge": at most}; None: assumed

    Assumed is as far as a single window is judged: robust sd of this roll's windows times the detector's limit, and not
    less than its floor.  No mark is made by an offset alone.
    """
    found = {}
    for quantity in QUANTITIES:
        for axis in AXES:
            found[f"{quantity}_{axis}_mm"] = _limit(quantity, axis, answer["windows"], own_mm.get(quantity))
    return found


def _limit(quantity: str, axis: str, windows: Told, own: float | None) -> Limit:
    sd = (windows.get(f"{'centre' if quantity == 'offset' else quantity}_{axis}_sd_um") or 0.0) / 1e3
    if quantity == "edge":
        usual = (windows.get(f"edge_{axis}_um") or 0.0) / 1e3
        high = max(usual + JUDGED.edge_sd * sd, usual * (1 + JUDGED.edge_floor)) if own is None else own
        return Limit(None, high, usual, own is None)
    usual = 0.0 if quantity == "offset" else windows.get(f"size_{axis}_mm") or 0.0
    width = max(JUDGED.size_sd * sd, JUDGED.size_floor_mm) if own is None else own
    return Limit(usual - width, usual + width, usual, own is None)


def beyond(trends: Told, limits: Mapping[str, Limit]) -> list[Beyond]:
    """Every quantity and lane that was measured."""
    return [
        told
        for name, table in trends["value"].items() if name in limits
        for lane in range(len(table[0]) if table else 0)
        if (told := _beyond(name, lane, trends["metre_m"], table, limits[name])) is not None
    ]  # fmt: skip


def _beyond(name: str, lane: int, metre: Sequence[float], table: Sequence[Any], limit: Limit) -> Beyond | None:
    there = [(at, row[lane]) for at, row in zip(metre, table, strict=True) if row[lane] is not None]
    if not there:
        return None
    values = sorted(value for _, value in there)
    out = [at for at, value in there if limit.broken(value)]
    middle = values[len(values) // 2]
    return Beyond(name, lane + 1, middle, values[0], values[-1], len(out), len(there), out[0] if out else None)


# ---- lamp and focus


def health(told: Told) -> list[tuple[str, str, str, str]]:
    """(what, figure, unit, what it means) of lamp and focus."""
    lamp, focus, layout = told["answer"]["lamp"], told["answer"]["focus"], told["layout"]
    return [*_lamp(lamp), *_focus(focus, layout)]


def _lamp(lamp: Told) -> list[tuple[str, str, str, str]]:
    window, darkest, coat = lamp.get("window_grey"), lamp.get("darkest_grey"), lamp.get("coat_grey")
    if window is None:
        return [("lamp", "–", "", "not measured: no frame was read")]
    steady = "steady" if darkest is None or darkest >= DIM * window else (
        f"it dims: the darkest frame has {darkest / window:.0%} of the median; see to the lamp")  # fmt: skip
    bright = "near white: turn it down, or edges lie" if window > SATURATED else "within the camera's range"
    rows = [("windows, median of frames", f"{window:,.0f}", "grey of 255", bright)]
    if darkest is not None:
        rows.append(("windows, darkest frame", f"{darkest:,.0f}", "grey of 255", steady))
    if coat is not None:
        far = abs(window - coat)
        said = "enough" if far >= 2 * JUDGED.contrast else f"little: frames below {JUDGED.contrast:g} are refused"
        rows += [("coat", f"{coat:,.0f}", "grey of 255", f"contrast to the windows {far:,.0f}: {said}")]
    return rows


def _focus(focus: Told, layout: Told) -> list[tuple[str, str, str, str]]:
    edge, worst, pixel = focus.get("edge_sd_um"), focus.get("worst_um"), layout["mm_per_pixel"] * 1e3
    if edge is None:
        return [("focus", "–", "", "not measured: no frame was read")]
    least = min(min(one["across_mm"], one["along_mm"]) for one in layout["windows"]) * 1e3
    rows = [("width of edges, median of frames", f"{edge:,.0f}", "um",
             f"{edge / pixel:.2f} pixels; frames above {JUDGED.blurred * least:,.0f} um are refused")]  # fmt: skip
    if worst is not None:
        said = "sharp throughout" if worst < SOFT * edge else "some frames are soft: see to focus, or to vibration"
        rows.append(("width of edges, softest frame", f"{worst:,.0f}", "um", said))
    return rows

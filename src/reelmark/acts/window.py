"""What a camera over the windows says of a roll, for machines and for the journal.

    window_answer(roll_seen)                    the verdict as `reelmark window read` prints it
    window_marks(reading, "F05", marks)         marks of the camera as `mark` records, ready to be posted
    strobe_answer(layout, speed, ...)           flash rate, blur, data, and what an encoder's error does

Lanes of the camera are columns of notes, counted 1.. from the left of the picture; lanes of the journal are what the
web is slit into.  Where a roll's lane holds several columns, as the order's layout says, a mark goes to the lane that
holds its column; the column within the lane stays in the mark's words.  The picture's left is the side of lane 1.

A mark is put on the roll that the camera's machine wound, in metres as wound: what the camera sees first is wound
first, at the core.  Metre as wound = the encoder's - `core_m`; `core_of` gives it where the encoder was set to 0 at the
beginning of the web, and `column_over` the column that a camera over one lane begins at.
"""

from collections import Counter as Many
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from math import ceil, floor
from typing import Any, Final

from ..errors import BadValue, NotThere
from ..frames import WindowLayout
from ..reading import Reading
from ..stations.window.count_marks import WindowMark
from ..stations.window.count_part import PartSeen
from ..stations.window.roll import Booked, RollSeen
from ..stations.window.strobe import strobe
from ..units import in_metres

__all__ = [
    "CAUTIONS",
    "SEEN_BY",
    "SHORTEST_M",
    "Marked",
    "column_over",
    "core_of",
    "lane_and_column",
    "strobe_answer",
    "value_of",
    "window_answer",
    "window_marks",
]

CAUTIONS: Final = (
    "Strobe light can bring on seizures in photosensitive people: shield it, say so at the door, and never look into "
    "it; a machine that turns can seem to stand still in its light.",
    "The web moves and its nips draw in: no hand, cloth or lens paper near them while it runs; clean the camera locked "
    "off.",
    "Figures are readings of pictures, not a release: whoever releases the roll looks at the marks.",
)
SEEN_BY: Final = "window camera"  # as the journal has it
STEP: Final = 100_000  # um: a mark's ends are written in decimetres, as the gauge's are
SHORTEST_M: Final = 1.0  # the length counters of two machines agree no better: see acts/gauge
MOST_BOOKED: Final = 1000  # frames that are named one by one; all are counted
Marked = WindowMark | Mapping[str, Any]


def window_answer(roll: RollSeen, notes: Sequence[str] = (), layout: WindowLayout | None = None) -> dict[str, Any]:
    """The verdict.  expected = seen + missing + not_seen; `closes` says that it holds, counted each by itself.

    layout : where a repeat holds several notes, marks say by it which one (`row`, from 1), and `window` is the note's
    """
    figures = roll.figures
    return {
        **{what: roll.total(what) for what in ("expected", "seen", "not_seen", "missing")},
        "closes": roll.closes,
        "marks": [_mark(one, layout) for one in roll.marks],
        "windows": figures.windows,
        "frames": _frames(roll),
        "booked": [_booked(one) for one in roll.booked[:MOST_BOOKED]],
        "gaps": [gap for part in roll.parts for gap in _gaps(part)],
        "slips": [{"metre_m": metre, "slip_mm": mm} for part in roll.parts for metre, mm in part.slips[:200]],
        "phase_doubtful_m": [metre for part in roll.parts for metre in part.doubtful_m],
        "parts": [_part(part) for part in roll.parts],
        "rollers": [asdict(one) for one in roll.rollers],
        "repeat_ppm": figures.repeat_ppm,
        "encoder_ppm": figures.encoder_ppm,
        "focus": figures.focus,
        "lamp": figures.lamp,
        "notes": [*notes, *roll.notes],
        "cautions": list(CAUTIONS),
    }


def _mark(one: WindowMark, layout: WindowLayout | None) -> dict[str, Any]:
    """Keys that are empty are left out, but for what a reader counts on."""
    told = asdict(one)
    if layout and layout.notes_per_repeat > 1 and one.window >= 0:
        row, told["window"] = layout.row_of(one.window)
        told["row"] = row + 1
    always = {"kind", "metre_m", "lane", "offset_mm"}
    coat = {"repeat", "window"} if one.window < 0 else set()
    same = {"to_m"} if one.to_m == one.metre_m else set()
    return {k: v for k, v in told.items() if k in always or (v not in ("", None) and k not in coat | same)}


def _frames(roll: RollSeen) -> dict[str, Any]:
    return {
        "given": roll.used + len(roll.booked), "used": roll.used, "booked": len(roll.booked),
        "lost_flashes": sum(part.lost for part in roll.parts),
        "why": dict(Many(one.sort for one in roll.booked).most_common(20)),
    }  # fmt: skip


def _finite(value: float) -> float | None:
    return value if value == value and abs(value) != float("inf") else None


def _booked(one: Booked) -> dict[str, Any]:
    return {"file": one.name, "flash": one.place.flash, "encoder_mm": _finite(one.place.encoder_mm),
            "why": str(one.why)}  # fmt: skip


def _gaps(part: PartSeen) -> list[dict[str, Any]]:
    """Stretches not seen, with the reasons."""
    return [
        {"part": part.part.number, "from_m": a, "to_m": b, "repeats": gap.stop - gap.start, "windows": gap.windows,
         "why": dict(gap.why)}
        for gap, (a, b) in zip(part.gaps, part.gaps_m, strict=True)
    ]  # fmt: skip


def _part(part: PartSeen) -> dict[str, Any]:
    tally, places = part.tally, part.part.places
    return {
        "part": part.part.number, "from_m": places[0].encoder_mm / 1e3 if places else None,
        "to_m": places[-1].encoder_mm / 1e3 if places else None, "frames": len(places),
        "expected": tally.expected, "seen": tally.seen, "missing": tally.missing, "not_seen": tally.not_seen,
    }  # fmt: skip


def strobe_answer(layout: WindowLayout, speed_m_min: float, **more: Any) -> dict[str, Any]:
    """Settings of the strobe, see `strobe`; what is without end is None."""
    told = asdict(strobe(layout, speed_m_min, **more))
    told = {key: _finite(one) if isinstance(one, float) else one for key, one in told.items()}
    return told | {"cautions": [*told["cautions"], *CAUTIONS]}


# ---- marks into the thread


def value_of(mark: Marked, name: str, default: Any = None) -> Any:
    """A value of a mark, whether it comes as an object or as an answer's table."""
    return mark.get(name, default) if isinstance(mark, Mapping) else getattr(mark, name, default)


def window_marks(
    reading: Reading, roll: str, marks: Sequence[Marked], core_m: float = 0.0, first_column: int = 1
) -> list[dict[str, Any]]:
    """Bodies of `mark` records, metres as wound; NotThere where the journal has no such roll, metres or lane.

    core_m : what the encoder says of the web that lies at the core;  first_column : of the web that the camera's lane
    1 is, where it does not see the whole width
    """
    return [_body(reading, roll, mark, core_m, first_column) for mark in marks]


def _body(reading: Reading, roll: str, mark: Marked, core_m: float, first_column: int) -> dict[str, Any]:
    start, end = _wound(reading, roll, mark, core_m)
    lane, column = lane_and_column(reading, roll, mark, first_column)
    return {"kind": "mark", "unit": roll, "lanes": [lane], "start": f"{in_metres(start)} m",
            "end": f"{in_metres(end)} m", "fault": _fault(mark, column), "grade": "note", "seen_by": SEEN_BY,
            }  # fmt: skip


def _fault(mark: Marked, column: int) -> str:
    """What is written in the journal: kind, column in the lane, how far off, the picture's checksum."""
    window = value_of(mark, "window", -1)
    named = f"{value_of(mark, 'kind')} window" if window is not None and window >= 0 else str(value_of(mark, "kind"))
    off, row = value_of(mark, "offset_mm"), value_of(mark, "row")
    said = [named, f"column {column}", *([f"row {row}"] if row else [])]
    said += [f"off {off:.3f} mm"] if off is not None else []
    return "; ".join([*said, *([f"picture sha256 {value_of(mark, 'sha256')}"] if value_of(mark, "sha256") else [])])


def _wound(reading: Reading, roll: str, mark: Marked, core_m: float) -> tuple[int, int]:
    """(start, end) on the roll as wound, um: a metre or more, out to decimetres; what lies beyond its ends is cut."""
    if roll not in reading.shop.rolls:
        raise NotThere("roll", roll, "the journal holds no roll of that name", "record the roll, or correct its name")
    length = reading.shop.web_length[roll]
    low = value_of(mark, "metre_m") - core_m
    high = value_of(mark, "to_m", value_of(mark, "metre_m")) - core_m
    if high - low < SHORTEST_M:
        low, high = (low + high - SHORTEST_M) / 2, (low + high + SHORTEST_M) / 2
    start, end = floor(low * 10 + 1e-6) * STEP, ceil(high * 10 - 1e-6) * STEP
    a, b = max(0, start), min(length, end)
    if a >= b:
        true = f"{roll} runs from 0 to {length / 1e6:,.1f} m as wound, the mark from {start / 1e6:,.1f}"
        raise NotThere(
            "metre_m", value_of(mark, "metre_m"), true, "give core_m, the encoder's metre that lies at the core"
        )
    return a, b


def core_of(reading: Reading, roll: str) -> float:
    """What the encoder says of the web at a roll's core, m, where it was set to 0 as the web began to run.

    It is what the pass that wound the roll left off before the first metre kept.  Where web was cut out of that pass
    further on, metres behind the cut lie nearer to the core by as much.  NotThere where no pass wound the roll.
    """
    run = reading.thread.maker.get(roll)
    if roll not in reading.shop.rolls or run is None or not run.pieces:
        raise NotThere("roll", roll, "no pass of the journal wound a roll of that name", "name one that a pass wound")
    first = min((one for one in run.pieces if one.to_unit == roll), key=lambda one: one.at - one.many)
    return (reading.shop.web_length[first.unit] - first.start - first.many) / 1e6


def column_over(reading: Reading, roll: str, lane: int) -> int:
    """The web's column that a camera over one lane of a roll has as its own lane 1."""
    on = sorted(reading.shop.rolls[roll])
    if lane not in on:
        raise NotThere("lane", lane, f"{roll} has lanes {on}", "name one of them")
    return on.index(lane) * reading.order.layout.columns + 1


def lane_and_column(reading: Reading, roll: str, mark: Marked, first_column: int) -> tuple[int, int]:
    """(lane of the roll, column within it, 1..) of a lane of the camera."""
    on, columns = sorted(reading.shop.rolls[roll]), reading.order.layout.columns
    across = value_of(mark, "lane") - 1 + first_column - 1
    if not isinstance(across, int) or not 0 <= across < len(on) * columns:
        true = f"{roll} has {len(on)} lanes of {columns} columns"
        raise BadValue(
            "lane", value_of(mark, "lane"), true, "give first_column, the web's column that the camera begins at"
        )
    return on[across // columns], across % columns + 1

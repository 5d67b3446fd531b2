"""The windows' faults: found from the camera's folders alone, then planted against found."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from ..acts.window import core_of
from ..acts.window_view import kept_answer
from ..io.frames import Folder
from ..reading import Reading
from ..seeing import kept, learnt, look_at
from ..stations.window.inspect.detector import Detector
from ..stations.window.roll import read_roll
from .windowline import counts
from .windowplan import WindowRoll

__all__ = ["Read", "windows_found", "windows_judged"]

Found = dict[str, Any]

# How far off a finding may lie.  Metres: the encoder's slip, and half a picture for what is told by picture.
NEAR_M: Final = 0.06
PICTURE_M: Final = 0.9
SLIP_MM: Final = 4.0  # the flash comes at the web's own stretch; the count reads slips to a millimetre or two
OFFSET: Final = 0.45  # share by which a shifted pass may be read wrong: a third or so from the width of an edge


@dataclass(frozen=True, slots=True)
class Read:
    """A folder read.  roll : its name;  lane : of the web, under the camera;  rows : notes in a repeat

    told : as `io.windowkept.keep_reading` wants it
    """

    roll: str
    lane: int
    rows: int
    told: dict[str, Any]

    @property
    def answer(self) -> dict[str, Any]:
        """As `reelmark window read` gives it."""
        return self.told["answer"]  # type: ignore[no-any-return]


def windows_found(folders: Iterable[Path], keep: Path) -> list[Read]:
    """Every folder of frames read; pictures of what was found are kept in keep/ROLL."""
    return [_read(folder, keep / folder.name) for folder in folders]


def _read(path: Path, keep: Path) -> Read:
    source = Folder.open(path)
    told = source.told
    detector, notes = learnt(source, Detector(told.layout))
    keep.mkdir(parents=True, exist_ok=True)
    seen = kept(look_at(source, detector, 0, crops=True), keep)
    roll = read_roll(seen, told.layout, told.index_every, dict(told.rollers_mm))
    kept_ = kept_answer(roll, told.layout, [*told.notes, *notes], dict(told.rollers_mm), over_lane=told.over_lane)
    return Read(path.name, told.over_lane, told.layout.notes_per_repeat, kept_)


def windows_judged(rolls: Iterable[WindowRoll], found: Iterable[Read], reading: Reading) -> list[Found]:
    """Each planted fault with the finding that agrees, or None; what was found beside them, and the count, after.

    reading : of the journal, which says of each roll what the encoder said of the web at its core
    """
    judged: list[Found] = []
    by_roll = {one.roll: one for one in found}
    for roll in rolls:
        if roll.name not in by_roll:
            judged += [_said(one.name, one.planted, None) for one in roll.planted]
            continue
        read = by_roll.pop(roll.name)
        left = list(_findings(read, core_of(reading, roll.name)))
        for one in roll.planted:
            fits = [f for f in left if f["name"] == one.name and _agree(one.planted, f["what"])]
            left = [f for f in left if not fits or f is not fits[0]]
            judged.append(_said(one.name, one.planted, fits[0]["what"] if fits else None))
        judged += [_said(f["name"], None, f["what"]) for f in left]
        judged.append(_count(roll, read.answer))
    return judged + [_said("frames of a roll", None, {"roll": name}) for name in by_roll]


def _said(name: str, planted: Found | None, found: Found | None) -> Found:
    return {"name": name, "planted": planted, "found": found, "agrees": planted is not None and found is not None}


def _count(roll: WindowRoll, answer: Found) -> Found:
    """The windows of the stretch, counted."""
    true = counts(roll)
    told = {name: answer[name] for name in true}
    agrees = told == true and answer["closes"]
    return {"name": "windows counted", "planted": {"roll": roll.name, **true}, "found": {"roll": roll.name, **told},
            "agrees": bool(agrees)}  # fmt: skip


def _findings(read: Read, core_m: float) -> Iterable[Found]:
    """What the answer says is wrong, in the words of the plan, metres as wound on the roll."""
    base, answer = {"roll": read.roll, "lane": read.lane}, read.answer
    suspects = {one["roller"]: one for one in answer["rollers"]}
    holes: dict[int, list[float]] = {}
    for mark in answer["marks"]:
        at = {"metre_m": round(float(mark["metre_m"]) - core_m, 4), "column": mark["lane"]}
        if mark["kind"] == "pinhole":
            holes.setdefault(mark["lane"], []).append(at["metre_m"])
        elif mark["kind"] == "streak":
            ends = {"from_m": at["metre_m"], "to_m": round(float(mark.get("to_m", mark["metre_m"])) - core_m, 4)}
            yield {"name": "coat streak", "what": base | ends | {"column": mark["lane"], "wide_mm": mark["size_mm"]}}
        else:
            more = {"row": mark.get("row"), "offset_mm": mark["offset_mm"]}
            yield {"name": f"window {mark['kind']}", "what": base | at | more}
    yield from _holes(base, holes, suspects)
    for gap in answer["gaps"]:
        what = base | {"metre_m": round((gap["from_m"] + gap["to_m"]) / 2 - core_m, 4), "windows": gap["windows"]}
        yield {"name": "flash lost" if "flash without a frame" in gap["why"] else "frame dark", "what": what}
    for slip in answer["slips"]:
        what = {"metre_m": round(slip["metre_m"] - core_m, 4), "slip_mm": round(abs(slip["slip_mm"]), 1)}
        yield {"name": "encoder slip", "what": base | what}


def _holes(base: Found, holes: dict[int, list[float]], suspects: Found) -> Iterable[Found]:
    """Holes of one column that a roller explains are one finding; others are a finding each."""
    left = dict(suspects)
    for column, metres in sorted(holes.items()):
        if len(metres) < 3 or not left:
            yield from ({"name": "pinhole", "what": base | {"metre_m": m, "column": column}} for m in metres)
            continue
        name = next(iter(left))
        what = {"roller": name, "circumference_mm": round(left.pop(name)["circumference_mm"], 2), "column": column,
                "from_m": min(metres), "to_m": max(metres), "holes": len(metres)}  # fmt: skip
        yield {"name": "roller marks", "what": base | what}
    yield from ({"name": "roller suspected", "what": base | {"roller": name}} for name in left)


def _agree(planted: Found, found: Found) -> bool:
    """The same place, and what both say of it within what the head of this file allows."""
    same = all(planted[key] == found[key] for key in ("roll", "lane", "column", "row", "roller") if key in planted)
    if "row" in planted:
        off = planted.get("offset_mm")
        like = off is None or abs(found["offset_mm"] - off) <= OFFSET * off
        return bool(same and like and abs(planted["metre_m"] - found["metre_m"]) <= NEAR_M)
    near = all(abs(planted[key] - found[key]) <= PICTURE_M for key in ("metre_m", "from_m", "to_m") if key in planted)
    if "slip_mm" in planted:
        near &= abs(planted["slip_mm"] - found["slip_mm"]) <= SLIP_MM
    return bool(same and near)

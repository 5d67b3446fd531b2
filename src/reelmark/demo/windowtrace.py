"""The camera's marks posted and followed to the notes, and the law that what was truly printed there lies in MAY."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import numpy as np

from ..acts.life import number_of
from ..acts.window import window_marks
from ..acts.window_notes import Camera, touched
from ..acts.window_view import camera_of as stands
from ..io.windowkept import keep_reading
from .boxes import written
from .simulate import Simulated
from .windowjudge import NEAR_M, Read
from .windowplan import WindowRoll

__all__ = ["camera_of", "followed", "keep", "law", "mark_bodies"]

Told = dict[str, Any]
Place = tuple[int, int, int]  # repeat, column, row as the camera sees it, from 0
SHARED: Final = ("lane", "column", "row", "sheets", "notes", "numbers", "unnumbered", "waste")


def camera_of(reading: Any, read: Read) -> Camera:
    """How the camera stood over the roll, by the journal and its own layout."""
    return Camera(*stands(read.told, reading, read.roll), read.rows)


def mark_bodies(reading: Any, read: Read) -> list[Told]:
    """Bodies of the records that put the camera's marks into the journal."""
    camera = camera_of(reading, read)
    return window_marks(reading, read.roll, read.answer["marks"], camera.core_m, camera.first_column)


def keep(reading: Any, read: Read, folder: Path, at: datetime) -> None:
    """The reading kept in folder/ROLL, for the page, with how its camera stood over the roll."""
    camera = camera_of(reading, read)
    stood = read.told["camera"] | {"core_m": camera.core_m, "first_column": camera.first_column}
    keep_reading(folder / read.roll, read.roll, read.told | {"camera": stood}, at)


def followed(reading: Any, read: Read, entries: Iterable[int]) -> list[Told]:
    """Each mark with its metre on the roll, its entry in the journal, and the sheets and numbers it touches."""
    camera = camera_of(reading, read)
    return [_followed(reading, read, mark, entry, camera)
            for mark, entry in zip(read.answer["marks"], entries, strict=True)]  # fmt: skip


def _followed(reading: Any, read: Read, mark: Told, entry: int, camera: Camera) -> Told:
    told = {"kind": mark["kind"], "roll": read.roll, "entry": entry, "sha256": mark.get("sha256")}
    for name in ("metre_m", "to_m"):
        told[name] = round(float(mark[name if name in mark else "metre_m"]) - camera.core_m, 4)
    got = touched(reading, read.roll, mark, camera)
    return told | {"offset_mm": mark["offset_mm"]} | {name: got[name] for name in SHARED}


# ---- the law


def law(sim: Simulated, reading: Any, marks: list[Told]) -> Told:
    """MUST in truth in MAY of every fault planted in the frames and found, note by note.

    The truth is the simulator's: which sheet was cut over the place, and what stood in that row and column of it.  A
    box that had gone wrong is a trouble of its own: of its notes the number that was due is asked for.
    """
    held = asked = notes = odd = 0
    for roll in sim.windows:
        for kind, at, places, near in _planted(roll):
            mine = [one for one in marks if one["roll"] == roll.name and _there(one, kind, at, roll)]
            if not mine and kind == "pinhole":
                continue  # what no frame showed has no mark: the count books it as not seen
            printed = [_printed(sim, roll, *place) for place in places]
            numbers = [one for one, _ in printed if one]
            odd += sum(wrong for _, wrong in printed)
            asked, notes = asked + 1, notes + len(numbers)
            about = {one for one, _ in (_printed(sim, roll, *place) for place in near)}
            held += bool(mine) and all(_within(reading, numbers, about, one) for one in mine)
    checked = f"{held} of {asked} faults on {notes} numbered notes"
    return {"law": "6 a window's notes lie in MAY", "held": held == asked > 0,
            "checked": checked + (f", {odd} of them at a box gone wrong" if odd else "")}  # fmt: skip


def _planted(roll: WindowRoll) -> Iterator[tuple[str, tuple[float, float], list[Place], list[Place]]]:
    """(kind of mark, metres on the roll, notes that it surely touches, all that it touches) of each fault."""
    pitch = roll.layout.pitch_along_mm
    for one in roll.faults:
        at = roll.metre(one.repeat * pitch + (roll.layout.windows[one.window].at_along_mm or 0.0))
        own = [(one.repeat, one.column, one.window)]
        yield one.kind, (at, at), own, own
    for along in roll.holes_mm:
        own = _notes(roll, roll.hole_mm, along, along)
        yield "pinhole", (roll.metre(along),) * 2, own, own
    across, _, _, first, last = roll.streak
    a, b = roll.starts(first), roll.starts(last) + roll.each * pitch
    yield "streak", (roll.metre(a), roll.metre(b)), _notes(roll, across, a, b), _notes(roll, across, a - 100, b + 100)


def _notes(roll: WindowRoll, across_mm: float, from_mm: float, to_mm: float) -> list[Place]:
    """Notes of one column from one place along to another."""
    column = roll.column(across_mm) - 1
    along = np.append(np.arange(from_mm, to_mm, 20.0), to_mm)
    return [(i, column, row) for i, row in sorted({_note(roll, float(at)) for at in along})]


def _note(roll: WindowRoll, along_mm: float) -> tuple[int, int]:
    """(repeat, row) of the note at a place along; of a margin, of the note beside it."""
    repeat, inside = divmod(along_mm, roll.layout.pitch_along_mm)
    middles = [one.at_along_mm or 0.0 for one in roll.layout.windows]
    first = middles[0] - roll.window_mm
    return int(repeat), int(np.clip((inside - first) // roll.note_mm, 0, len(middles) - 1))


def _there(mark: Told, kind: str, at: tuple[float, float], roll: WindowRoll) -> bool:
    far = NEAR_M if kind != "streak" else roll.layout.pitch_along_mm * (roll.each + 1) / 1e3
    return bool(mark["kind"] == kind and abs(mark["metre_m"] - at[0]) <= far and abs(mark["to_m"] - at[1]) <= far)


def _printed(sim: Simulated, roll: WindowRoll, repeat: int, column: int, row: int) -> tuple[str, bool]:
    """(number printed on the note, or due there; whether it was another than due); no text: never numbered."""
    truth, layout, sheet = sim.truth, sim.order.layout, int(roll.sheets[repeat])
    if truth.tick[sheet] < 0:
        return "", False
    cut = layout.rows - 1 - row if roll.ahead else row  # from the lead edge
    rows, columns = truth.flip[sheet]
    lies = (layout.rows - 1 - cut if rows else cut), (layout.columns - 1 - column if columns else column)
    position = lies[0] * layout.columns + lies[1]
    printed = int(truth.numbers(np.array([sheet]))[0, position])
    due = truth.boxes.planned(int(truth.tick[sheet]), position)
    return written(sim.order.series[int(truth.series[sheet])], due), printed != due


def _within(reading: Any, numbers: list[str], about: set[str], mark: Told) -> bool:
    """Every number of the fault in MAY, and every number of MUST one of the notes that it touches."""
    may, must = (_all(reading, mark["notes"][name]["ranges"]) for name in ("may", "must"))
    touched_ = {number_of(reading, one) for one in about if one}
    return {number_of(reading, one) for one in numbers} <= may and must <= touched_


def _all(reading: Any, ranges: list[list[str]]) -> set[tuple[str, int]]:
    """(series, place in it) of every number."""
    ends = [(number_of(reading, a), number_of(reading, b)[1]) for a, b in ranges]
    return {(series, n) for (series, a), b in ends for n in range(a, b + 1)}

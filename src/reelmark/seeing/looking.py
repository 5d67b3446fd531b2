"""One frame looked at, here or in a process of its own: what the detector says of it, and pictures of what it found.

look_at_one(task, picture, detector)        whatever goes wrong is told of this frame, and stops nothing
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, Protocol

import cv2
import numpy as np

from ..errors import Problem
from ..frames import Picture
from ..io.frames_picture import read_picture
from ..stations.window.count_order import Place
from ..stations.window.inspect.looked import Found, Looked
from ..stations.window.roll import Crop, Seen

__all__ = ["Looks", "Task", "failed", "look_at_one", "refused"]

CROPS: Final = 8  # of a frame, the gravest
MARGIN, LARGEST, THUMB = 24, 512, 96  # pixels about what was found; sides at most
MOST_LIT: Final = 6.0  # times: more shows nothing but noise where a window is missing


class Looks(Protocol):
    """What looks at a picture; it must be picklable to go to other processes."""

    def look(self, picture: Picture) -> Looked: ...


@dataclass(frozen=True, slots=True)
class Task:
    """A frame to be looked at: a file, a picture in a ring's buffer from byte `start` on, or the picture itself."""

    name: str
    place: Place
    path: str = ""
    start: int = -1
    shape: tuple[int, int] = (0, 0)
    picture: Picture | None = None
    bits: int = 16
    crops: bool = False
    index: int | None = None


def refused(task: Task, problem: Problem) -> Seen:
    """The frame booked, with the reason."""
    return Seen(task.name, task.place, task.shape, refused=problem)


def failed(task: Task, error: BaseException) -> Seen:
    """The frame booked for a fault of ours, or for want of memory."""
    true = f"{type(error).__name__}: {str(error)[:120]}"
    return refused(task, Problem("frame failed", true, "keep the picture, and report it"))


def look_at_one(task: Task, picture: Picture | None, detector: Looks) -> Seen:
    """The frame looked at, or booked; picture None: its file is read."""
    try:
        return _look(task, picture, detector)
    except Problem as problem:
        return refused(task, problem)
    except Exception as error:
        return failed(task, error)


def _look(task: Task, picture: Picture | None, detector: Looks) -> Seen:
    notes: tuple[str, ...] = ()
    if picture is None:
        picture, notes = read_picture(Path(task.path), task.bits)
    shape = (picture.shape[0], picture.shape[1])
    looked = detector.look(picture)
    if looked.refused is not None:
        return replace(refused(task, looked.refused), shape=shape, notes=notes)
    thin = replace(looked, rows=looked.rows.astype(np.float32)) if looked.rows.size else looked
    crops = tuple(_crops(picture, looked)) if task.crops else ()
    return Seen(task.name, task.place, shape, thin, None, notes, crops, task.index)


def _crops(picture: Picture, looked: Looked) -> Iterator[Crop]:
    """PNGs of the gravest things found."""
    gravest = sorted(range(len(looked.found)), key=lambda n: -looked.found[n].severity)[:CROPS]
    for n in sorted(gravest):
        crop = _cut(picture, looked.found[n])
        if crop.size:
            yield Crop(n, _png(crop), _png(_lit(_small(crop))))


def _cut(picture: Picture, one: Found) -> Picture:
    """What was found, with a margin; of a long streak the middle."""
    x, y, wide, high = one.box
    if high > LARGEST:
        y, high = y + (high - LARGEST) // 2 + MARGIN, LARGEST - 2 * MARGIN
    if wide > LARGEST:
        x, wide = x + (wide - LARGEST) // 2 + MARGIN, LARGEST - 2 * MARGIN
    return picture[max(0, y - MARGIN) : y + high + MARGIN, max(0, x - MARGIN) : x + wide + MARGIN]


def _small(crop: Picture) -> Picture:
    scale = THUMB / max(crop.shape)
    size = (max(1, round(crop.shape[1] * scale)), max(1, round(crop.shape[0] * scale)))
    return np.asarray(cv2.resize(crop, size, interpolation=cv2.INTER_AREA), np.uint8) if scale < 1 else crop


def _lit(small: Picture) -> Picture:
    """With its greys spread out, so that a faint hole is seen in a thumbnail; the crop itself stays as it was."""
    low, high = int(small.min()), int(small.max())
    gain = min(255 / max(high - low, 1), MOST_LIT)
    return np.asarray((small - low) * gain, np.uint8)  # never negative, and at most 255


def _png(picture: Picture) -> bytes:
    return cv2.imencode(".png", picture)[1].tobytes()

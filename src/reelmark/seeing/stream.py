"""Frames through the detector, in processes of their own where that pays, and back in order.

    for seen in look_at(folder, detector, workers=2): ...        a folder: waits, loses nothing
    for seen in look_at(frames, detector, workers=2): ...        any iterable of Frame
    for seen in look_live(frames, detector, workers=2): ...      a camera: a frame that finds no free buffer is booked

The source is not asked for more than the workers can hold.  A frame comes out as `Seen`, looked at or refused with the
reason; none is left out, also where a worker dies or does not answer.
"""

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import chain, islice
from pathlib import Path
from typing import Any, Final

import cv2
import numpy as np

from ..errors import Problem
from ..frames import Frame
from ..io.frames import Folder, Row
from ..io.frames_kept import keep_picture
from ..stations.window.count_order import Place
from ..stations.window.roll import Crop, Seen
from .crew import Crew
from .looking import Looks, Task, look_at_one, refused

__all__ = ["Looks", "kept", "learnt", "learnt_ahead", "look_at", "look_live", "workers_for"]

FEW: Final = 1000  # frames below which two processes, 4 s each to start, save nothing at 12 ms a frame
LEARN_FROM: Final = 15

Source = Folder | Iterable[Frame | Row]


def workers_for(many: int | None, asked: int | None = None) -> int:
    """Processes worth starting for so many frames (None: not known); 0: look here."""
    if asked is not None:
        return asked
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return 0 if cores == 1 or (many is not None and many < FEW) else cores


def learnt(source: Folder, detector: Any) -> tuple[Any, tuple[str, ...]]:
    """The detector, having learnt from frames spread over the folder; as it is, with a note, where none can be read."""
    if not hasattr(detector, "learn"):
        return detector, ()
    fit = [row for row in source.rows if row.wrong is None]
    some = [fit[k] for k in np.unique(np.linspace(0, len(fit) - 1, min(LEARN_FROM, len(fit))).astype(int))]
    return _learnt([one for one in map(source.frame, some) if isinstance(one, Frame)], detector)


def learnt_ahead(source: Iterable[Frame | Row], detector: Any) -> tuple[Any, Iterator[Frame | Row], tuple[str, ...]]:
    """The detector, having learnt from a stream's first frames, the whole stream, and notes."""
    rest = iter(source)
    first = list(islice(rest, LEARN_FROM))
    return (made := _learnt([one for one in first if isinstance(one, Frame)], detector))[0], chain(first, rest), made[1]


def _learnt(frames: Sequence[Frame], detector: Any) -> tuple[Any, tuple[str, ...]]:
    shapes = [one.picture.shape for one in frames]
    usual = [one for one in frames if one.picture.shape == max(shapes, key=shapes.count)]
    try:
        return detector.learn(usual), ()
    except Problem as problem:
        return detector, (f"nothing was learnt: {problem}",)


def look_at(source: Source, detector: Looks, workers: int = 0, *, crops: bool = False) -> Iterator[Seen]:
    """Every frame of the source looked at, in the source's order; the source is read as fast as frames are done.

    crops : pictures are kept of what is found
    """
    tasks = (_task(one, source, crops) for one in (source.rows if isinstance(source, Folder) else source))
    if workers < 1:
        cv2.setNumThreads(1)  # a second thread did not help one frame (the project's notes on vision, 2/3)
        yield from (one if isinstance(one, Seen) else look_at_one(one, one.picture, detector) for one in tasks)
        return
    with Crew(detector, workers) as crew:
        for task in tasks:
            while crew.full:
                yield crew.next()
            crew.give(task)
            yield from crew.ready()
        yield from crew.rest()


def look_live(
    source: Iterable[Frame | Row], detector: Looks, workers: int = 1, *, crops: bool = False
) -> Iterator[Seen]:
    """A camera's frames: one that finds all buffers full is not looked at and is booked, as no camera waits."""
    with Crew(detector, max(workers, 1)) as crew:
        for one in source:
            task = _task(one, source, crops)
            crew.give(_lost(task) if crew.full and isinstance(task, Task) else task)
            yield from crew.ready()
        yield from crew.rest()


def _lost(task: Task) -> Seen:
    true = "the workers were behind and no buffer was free"
    return refused(task, Problem("no free buffer", true, "take more workers, or fewer flashes"))


def kept(seen: Iterable[Seen], folder: Path) -> Iterator[Seen]:
    """The same, their crops written into the folder and known by name and checksum.

    Named by the row of the source: a flash may be there twice, and a file's name may be any
    """
    for row, one in enumerate(seen, 1):
        crops = []
        for crop in one.crops:
            assert one.looked is not None
            name = f"{row:06d}-{crop.found}-{one.looked.found[crop.found].kind}"
            made = keep_picture(folder, name, crop.png, crop.thumb)
            crops.append(Crop(crop.found, b"", b"", made.file, made.thumb, made.sha256))
        yield replace(one, crops=tuple(crops))


def _task(one: Frame | Row, source: object, crops: bool) -> Task | Seen:
    """What is to be looked at, or a row that cannot be."""
    if isinstance(one, Frame):
        return _frame(one, crops)
    place = Place(one.encoder_mm, one.flash, one.time_s)
    if one.wrong is not None or not isinstance(source, Folder):
        wrong = one.wrong or Problem(f"frame {one.file}", "its folder is not known", "read it by its folder")
        return Seen(one.file, place, refused=wrong)
    return Task(one.file, place, str(source.path / one.file), bits=source.bits, crops=crops, index=one.index)


def _frame(one: Frame, crops: bool) -> Task:
    place = Place(one.encoder_mm, one.flash, one.time_s)
    shape = (one.picture.shape[0], one.picture.shape[1]) if one.picture.ndim == 2 else (0, 0)
    name = one.name or f"flash {one.flash}"
    return Task(name, place, shape=shape, picture=one.picture, crops=crops, index=one.index)

"""Frames through the detector, in processes of their own where that pays, and back in order.

    for seen in look_at(folder, detector, workers=2): ...        a folder: waits, loses nothing
    for seen in look_at(frames, detector, workers=2): ...        any iterable of Frame
    for seen in look_live(frames, detector, workers=2): ...      a camera: a frame that finds no free buffer is booked

Pictures of a stream go through a ring of buffers in shared memory; files are read where they are looked at.  Buffers
are bounded: the source is not asked for more than the workers can hold.  A frame comes out as `Seen`, looked at or
refused with the reason; none is left out, also where a worker dies.
"""

import multiprocessing as mp
import os
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from multiprocessing.shared_memory import SharedMemory
from pathlib import Path
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from .errors import Problem
from .frames import Frame, Picture
from .io.frames import Folder, Row
from .io.frames_kept import keep_picture
from .io.frames_picture import read_picture
from .stations.window.count_order import Place
from .stations.window.inspect.looked import Found, Looked
from .stations.window.roll import Crop, Seen

__all__ = ["Looks", "kept", "learnt", "look_at", "look_live", "workers_for"]

DEEP: Final = 3  # frames that a worker holds: one it looks at, and what it goes on with
AHEAD: Final = 16  # frames that may be done before one that is not yet
RESTARTS: Final = 5  # workers that may die before looking on makes no sense
FEW: Final = 24  # frames for which starting a process takes longer than looking
LEARN_FROM: Final = 15
CROPS: Final = 8  # of a frame, the gravest
MARGIN, LARGEST, THUMB = 24, 512, 96  # pixels about what was found; sides at most

Source = Folder | Iterable[Frame | Row]


class Looks(Protocol):
    """What looks at a picture; it must be picklable to go to workers."""

    def look(self, picture: Picture) -> Looked: ...


@dataclass(frozen=True, slots=True)
class _Task:
    """One frame for a worker: a file, a buffer of the ring, or the picture itself."""

    order: int
    name: str
    place: Place
    path: str = ""
    slot: int = -1
    shape: tuple[int, int] = (0, 0)
    picture: Picture | None = None
    bits: int = 16
    crops: bool = False
    index: int | None = None


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
    frames = [one for one in map(source.frame, some) if isinstance(one, Frame)]
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
    tasks = (_task(n, one, source, crops) for n, one in enumerate(_rows(source)))
    if workers < 1:
        _one_thread()
        yield from (one if isinstance(one, Seen) else _look(one, one.picture, detector) for one in tasks)
        return
    with _Room(detector, workers) as room:
        for n, task in enumerate(tasks):
            room.give(n, task)
            yield from room.ready()
        yield from room.rest()


def look_live(source: Iterable[Frame], detector: Looks, workers: int = 1, *, crops: bool = False) -> Iterator[Seen]:
    """A camera's frames: one that finds all buffers full is not looked at and is booked, as no camera waits."""
    with _Room(detector, max(workers, 1)) as room:
        for n, frame in enumerate(source):
            task = _task(n, frame, source, crops)
            assert isinstance(task, _Task)
            if not room.offer(n, task):
                true = "the workers were behind and no buffer was free"
                room.done[n] = _refused(task, Problem("no free buffer", true, "take more workers, or fewer flashes"))
            yield from room.ready()
        yield from room.rest()


def kept(seen: Iterable[Seen], folder: Path) -> Iterator[Seen]:
    """The same, their crops written into the folder and known by name and checksum."""
    for one in seen:
        crops = []
        for crop in one.crops:
            assert one.looked is not None
            kind = one.looked.found[crop.found].kind
            name = f"{one.place.flash}-{Path(one.name).stem}-{crop.found}-{kind}"
            made = keep_picture(folder, name, crop.png, crop.thumb)
            crops.append(Crop(crop.found, b"", b"", made.file, made.thumb, made.sha256))
        yield replace(one, crops=tuple(crops))


def _rows(source: Source) -> Iterable[Frame | Row]:
    return source.rows if isinstance(source, Folder) else source


def _task(order: int, one: Frame | Row, source: object, crops: bool) -> "_Task | Seen":
    """What is to be looked at, or a row that cannot be."""
    if isinstance(one, Frame):
        place = Place(one.encoder_mm, one.flash, one.time_s)
        shape = (one.picture.shape[0], one.picture.shape[1]) if one.picture.ndim == 2 else (0, 0)
        return _Task(order, one.name or f"flash {one.flash}", place, shape=shape, picture=one.picture, crops=crops)
    place = Place(one.encoder_mm, one.flash, one.time_s)
    if one.wrong is not None or not isinstance(source, Folder):
        wrong = one.wrong or Problem(f"frame {one.file}", "its folder is not known", "read it by its folder")
        return Seen(one.file, place, refused=wrong)
    return _Task(order, one.file, place, str(source.path / one.file), bits=source.bits, crops=crops, index=one.index)


def _refused(task: _Task, problem: Problem) -> Seen:
    return Seen(task.name, task.place, task.shape, refused=problem)


# ---- looking at one frame, here or in a worker


def _look(task: _Task, picture: Picture | None, detector: Looks) -> Seen:
    """One frame looked at.  Whatever goes wrong is told of this frame and stops nothing."""
    notes: tuple[str, ...] = ()
    try:
        if picture is None:
            picture, notes = read_picture(Path(task.path), task.bits)
        looked = detector.look(picture)
        crops = tuple(_crops(picture, looked)) if task.crops else ()
    except Problem as problem:
        return _refused(task, problem)
    except Exception as error:  # a fault of ours, or memory: booked as such
        true = f"{type(error).__name__}: {str(error)[:120]}"
        return _refused(task, Problem("frame failed", true, "keep the picture, and report it"))
    if looked.refused is not None:
        return replace(_refused(task, looked.refused), shape=(picture.shape[0], picture.shape[1]), notes=notes)
    thin = replace(looked, rows=looked.rows.astype(np.float32)) if looked.rows.size else looked
    return Seen(task.name, task.place, (picture.shape[0], picture.shape[1]), thin, None, notes, crops, task.index)


def _crops(picture: Picture, looked: Looked) -> Iterator[Crop]:
    """PNGs of the gravest things found."""
    gravest = sorted(range(len(looked.found)), key=lambda n: -looked.found[n].severity)[:CROPS]
    for n in sorted(gravest):
        crop = _cut(picture, looked.found[n])
        if crop.size:
            yield Crop(n, _png(crop), _png(_small(crop)))


def _cut(picture: Picture, one: Found) -> Picture:
    """What was found, with a margin; of a long streak the middle."""
    x, y, wide, high = one.box
    if high > LARGEST:
        y, high = y + (high - LARGEST) // 2 + MARGIN, LARGEST - 2 * MARGIN
    if wide > LARGEST:
        x, wide = x + (wide - LARGEST) // 2 + MARGIN, LARGEST - 2 * MARGIN
    return picture[max(0, y - MARGIN) : y + high + MARGIN, max(0, x - MARGIN) : x + wide + MARGIN]


def _small(crop: Picture) -> Picture:
    import cv2

    scale = THUMB / max(crop.shape)
    size = (max(1, round(crop.shape[1] * scale)), max(1, round(crop.shape[0] * scale)))
    return np.asarray(cv2.resize(crop, size, interpolation=cv2.INTER_AREA), np.uint8) if scale < 1 else crop


def _png(picture: Picture) -> bytes:
    import cv2

    return cv2.imencode(".png", picture)[1].tobytes()


def _buffer(ring: SharedMemory, start: int, shape: tuple[int, ...]) -> Picture:
    """A picture of the ring, not copied."""
    made: NDArray[np.uint8] = np.ndarray(shape, np.uint8, ring.buf, start)
    return made


def _one_thread() -> None:
    """A second thread of OpenCV did not help one frame (project's notes on vision, 2/3); a second process does."""
    import cv2

    cv2.setNumThreads(1)


def _work(conn: Connection, detector: Looks, ring: str, slot_bytes: int) -> None:
    """A worker: tasks in, Seen out, until the pipe closes."""
    _one_thread()
    shared = SharedMemory(ring) if ring else None
    with suppress(EOFError, OSError, KeyboardInterrupt):
        while True:
            task: _Task = conn.recv()
            picture = task.picture
            if task.slot >= 0 and shared is not None:
                picture = _buffer(shared, task.slot * slot_bytes, task.shape)
            seen = _look(task, picture, detector)
            del picture  # the ring cannot close while a view of it lives
            conn.send((task.order, replace(seen, refused=None), _words(seen.refused)))
    if shared is not None:
        with suppress(BufferError):
            shared.close()


def _words(problem: Problem | None) -> tuple[str, str, str] | None:
    """A problem as it goes through a pipe: exceptions with arguments of their own do not."""
    return (problem.asked, problem.true, problem.cure) if problem else None


# ---- the workers, and what they hold


@dataclass(slots=True)
class _Hand:
    """A worker, and the tasks it holds."""

    process: BaseProcess
    conn: Connection
    tasks: dict[int, _Task] = field(default_factory=dict)


class _Room:
    """Workers with a ring of buffers between; what is done waits here until its turn comes."""

    def __init__(self, detector: Looks, workers: int) -> None:
        self.detector, self.workers = detector, workers
        self.done: dict[int, Seen] = {}
        self.hands: list[_Hand] = []
        self.ring: SharedMemory | None = None
        self.slot_bytes = 0
        self.free: list[int] = []
        self.next = 0
        self.died = 0

    def __enter__(self) -> "_Room":
        return self

    def __exit__(self, *_: object) -> None:
        for hand in self.hands:
            hand.conn.close()
        for hand in self.hands:
            hand.process.join(1.0)
            if hand.process.is_alive():
                hand.process.kill()
                hand.process.join(5.0)
        if self.ring is not None:
            self.ring.close()
            self.ring.unlink()

    def _start(self) -> None:
        context = mp.get_context("spawn")
        while len(self.hands) < self.workers:
            ours, theirs = context.Pipe()
            name = self.ring.name if self.ring else ""
            process = context.Process(target=_work, args=(theirs, self.detector, name, self.slot_bytes), daemon=True)
            process.start()
            theirs.close()
            self.hands.append(_Hand(process, ours))

    def give(self, order: int, task: "_Task | Seen") -> None:
        """Take it on; waits while there is no room."""
        if isinstance(task, Seen):
            self.done[order] = task
            return
        while order - self.next > AHEAD * self.workers or not self._send(task):
            self._collect(None)

    def offer(self, order: int, task: _Task) -> bool:
        """Take it on if there is room now."""
        self._collect(0.0)
        return self._send(task)

    def _send(self, task: _Task) -> bool:
        """To the worker that holds least; False where all are full or no buffer is free."""
        if task.picture is not None and self.ring is None and not self.hands:
            self._ring(task.picture.nbytes)
        self._start()
        hand = min(self.hands, key=lambda one: len(one.tasks))
        if len(hand.tasks) >= DEEP:
            return False
        sent = self._in_ring(task)
        if sent is None:
            return False
        hand.tasks[task.order] = sent
        try:
            hand.conn.send(sent)
        except OSError:
            self._lost(hand)
        return True

    def _ring(self, nbytes: int) -> None:
        """Buffers for pictures of that size, one for each task that workers hold."""
        slots = self.workers * DEEP
        self.slot_bytes = max(nbytes, 1)
        self.ring = SharedMemory(create=True, size=self.slot_bytes * slots)
        self.free = list(range(slots))

    def _in_ring(self, task: _Task) -> _Task | None:
        """The task with its picture in a buffer; None where none is free.  A larger picture goes by the pipe."""
        picture = task.picture
        if picture is None or self.ring is None or picture.nbytes > self.slot_bytes:
            return task
        if picture.dtype != np.uint8 or picture.ndim != 2:
            return task
        if not self.free:
            return None
        slot = self.free.pop()
        _buffer(self.ring, slot * self.slot_bytes, picture.shape)[:] = picture
        return replace(task, slot=slot, picture=None)

    def _collect(self, timeout: float | None) -> None:
        """Take what workers have done."""
        hands: dict[Any, _Hand] = {one.conn: one for one in self.hands}
        for conn in wait(list(hands), timeout) if hands else ():
            hand = hands[conn]
            try:
                order, seen, why = hand.conn.recv()
            except (EOFError, OSError):
                self._lost(hand)
                continue
            self._back(hand.tasks.pop(order))
            self.done[order] = replace(seen, refused=Problem(*why)) if why else seen

    def _back(self, task: _Task) -> None:
        if task.slot >= 0:
            self.free.append(task.slot)

    def _lost(self, hand: _Hand) -> None:
        """A worker is gone: what it held is booked, and another takes its place."""
        self.hands.remove(hand)
        hand.conn.close()
        hand.process.join(1.0)
        true = f"the worker that held it ended (exit {hand.process.exitcode})"
        for order, task in hand.tasks.items():
            self._back(task)
            self.done[order] = _refused(task, Problem("worker ended", true, "look at memory; read the folder again"))
        self.died += 1
        if self.died > RESTARTS:
            raise Problem("look at frames", f"{self.died} workers ended, one after the other", "give --workers 0")

    def ready(self) -> Iterator[Seen]:
        """What is done and whose turn it is."""
        if self.hands:
            self._collect(0.0)
        while self.next in self.done:
            yield self.done.pop(self.next)
            self.next += 1

    def rest(self) -> Iterator[Seen]:
        """All that is still held."""
        yield from self.ready()
        while any(one.tasks for one in self.hands):
            self._collect(None)
            yield from self.ready()

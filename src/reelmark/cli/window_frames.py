"""The frames that `reelmark window read` is to look at: a folder's, or a stream's."""

import sys
from collections.abc import Iterable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import BadValue

__all__ = ["Looks", "looks_at"]


@dataclass(frozen=True, slots=True)
class Looks:
    """Frames being looked at.  many : None where that is not known;  name : of the source"""

    seen: Iterable[Any]
    told: Any
    many: int | None
    notes: list[str]
    name: str


def looks_at(path: Path, layout: Path | None, workers: int | None, crops: bool, live: bool, open_: ExitStack) -> Looks:
    """The frames of a folder, or of a stream, which is a pipe, a file, or - for standard input, closed with `open_`.

    crops : pictures are kept of what is found;  live : the stream does not wait
    """
    if str(path) == "-" or path.is_fifo() or path.is_file():
        return _stream(path, layout, workers, crops, live, open_)
    return _folder(path, layout, workers, crops, live)


def _folder(path: Path, layout: Path | None, workers: int | None, crops: bool, live: bool) -> Looks:
    from ..io.frames import Folder
    from ..seeing import learnt, look_at, workers_for
    from ..stations.window.inspect.detector import Detector

    if live:
        raise BadValue("--live", str(path), "a folder waits, and loses nothing", "leave --live out, or give a stream")
    folder = Folder.open(path, layout)
    detector, notes = learnt(folder, Detector(folder.told.layout))
    unlisted = [f"{len(folder.unlisted):,} pictures are in the folder that frames.csv does not name, as "
                f"{folder.unlisted[0]}: not read"] if folder.unlisted else []  # fmt: skip
    seen = look_at(folder, detector, workers_for(len(folder), workers), crops=crops)
    return Looks(seen, folder.told, len(folder), [*folder.told.notes, *notes, *unlisted], path.resolve().name)


def _stream(path: Path, layout: Path | None, workers: int | None, crops: bool, live: bool, open_: ExitStack) -> Looks:
    from ..io.frames_stream import read_stream
    from ..io.layout import read_layout
    from ..seeing import learnt_ahead, look_at, look_live, workers_for
    from ..stations.window.inspect.detector import Detector

    if layout is None:
        raise BadValue("--layout", None, "a stream does not say how the windows lie", "give the file layout.toml")
    told = read_layout(layout)
    opened = sys.stdin.buffer if str(path) == "-" else open_.enter_context(path.open("rb"))
    detector, frames, notes = learnt_ahead(read_stream(opened), Detector(told.layout))
    many = workers_for(None, workers)
    seen = look_live(frames, detector, many, crops=crops) if live else look_at(frames, detector, many, crops=crops)
    return Looks(seen, told, None, [*told.notes, *notes], "stream" if str(path) == "-" else path.stem)

"""A folder of frames read to a verdict, beside the detector alone: what reading, ordering and counting cost.

python bench/window_read.py            by itself; `read(seed)` for the table of all results
"""

import csv
import os
import resource
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

import cv2
import tifffile
from measure import Result, below, seconds, show, stated, times

from reelmark.demo.frames import PLAIN, Drawn, roll
from reelmark.frames import Frame
from reelmark.io.frames import Folder
from reelmark.seeing import learnt, look_at
from reelmark.stations.window.inspect.detector import Detector
from reelmark.stations.window.roll import read_roll

FRAMES = 300
DRAWN = 20  # pictures that are drawn; the folder holds copies of them, each a file of its own
ROLL = 10_400  # frames of 8 km at eleven repeats of 70 mm
LONG = 2_400  # frames of the longer folder that two processes read
CORES = 2


def read(seed: int) -> Iterator[Result]:
    """5 Mpx frames of one lane set, raw TIFF, in a folder on this machine's disk."""
    with TemporaryDirectory() as where:
        at = Path(where)
        _write(at, list(roll(PLAIN, seed, DRAWN, repeats=11)))
        source = Folder.open(at)
        detector, _ = learnt(source, Detector(source.told.layout))
        yield from _rates(source, detector)


def _write(at: Path, drawn: list[tuple[Frame, Drawn]]) -> None:
    step = 11 * PLAIN.layout.pitch_along_mm
    with (at / "frames.csv").open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["file", "encoder_mm", "flash", "time_s"])
        for n in range(FRAMES):
            one = drawn[n % DRAWN][0]
            tifffile.imwrite(at / f"{n}.tif", one.picture)
            rows.writerow([f"{n}.tif", one.encoder_mm + n // DRAWN * DRAWN * step, n, n * 0.3])
    (at / "layout.toml").write_text(
        "pitch_across_mm = 150\npitch_along_mm = 70\nmm_per_pixel = 0.4\nlanes = 6\nwindows_per_note = 1\n"
        "[[windows]]\nacross_mm = 20\nalong_mm = 14\ncorner_mm = 3\nat_across_mm = 75\nat_along_mm = 35\n"
    )


def _rates(source: Folder, detector: Any) -> Iterator[Result]:
    """The ways take turns chunk by chunk, so that what else the machine does falls on both."""
    cv2.setNumThreads(1)
    pictures = [one.picture for one in map(source.frame, source.rows[:DRAWN]) if isinstance(one, Frame)]
    alone, folder = [], []
    for n in range(0, FRAMES, DRAWN):
        part = Folder(source.path, source.rows[n : n + DRAWN], source.told)
        alone.append(seconds(lambda: [detector.look(one) for one in pictures]))
        folder.append(seconds(lambda part=part: read_roll(look_at(part, detector), part.told.layout)))  # type: ignore[misc]
    one, whole = (median(times_) / DRAWN * 1e3 for times_ in (alone, folder))
    note = f"{FRAMES} frames of 5 Mpx, raw TIFF, chunks of {DRAWN} in turns, median; one process; count and marks in it"
    yield stated("window: the detector alone", one, "ms/frame")
    yield times("window: a folder of raw TIFF", whole, "ms/frame", one, 0.7, note)
    yield from _two(source, detector)


def _two(source: Folder, detector: Any) -> Iterator[Result]:
    """With worker processes: by the clock, and by what it took of the cores.

    They take seconds to start, once a roll; so a short and a long folder are read, and what a frame adds is scaled up.
    """
    few, many = _read_by_two(source, detector, FRAMES), _read_by_two(source, detector, LONG)
    took, cores = ((b - a) / (LONG - FRAMES) * (ROLL - FRAMES) + a for a, b in zip(few, many, strict=True))
    load = f"others' load on the machine in it: {os.getloadavg()[0]:.1f}"
    note = f"{CORES} processes; {FRAMES} frames took {few[0]:.1f} s, {LONG:,} {many[0]:.1f} s: on to {ROLL:,}; {load}"
    yield below("window: 8 km, two cores", took, "s", 240.0, None, note)
    yield below(
        "window: 8 km, processor time over two", cores / CORES, "s", 240.0, None, "what two idle cores would take"
    )


def _read_by_two(source: Folder, detector: Any, frames: int) -> tuple[float, float]:
    """(seconds, seconds of processor) of so many frames; the folder's pictures again under other names, as links."""
    step = FRAMES * 11 * PLAIN.layout.pitch_along_mm
    rows = []
    for n in range(frames):
        row, turn = source.rows[n % FRAMES], n // FRAMES
        name = f"{turn}-{row.file}" if turn else row.file
        if turn and not (source.path / name).exists():
            os.link(source.path / row.file, source.path / name)
        rows.append(replace(row, file=name, flash=n, encoder_mm=row.encoder_mm + turn * step, time_s=n * 0.3))
    part = Folder(source.path, tuple(rows), source.told)
    before = _cpu()
    took = seconds(lambda: read_roll(look_at(part, detector, CORES), part.told.layout))
    return took, _cpu() - before


def _cpu() -> float:
    """s of processor that this process and its ended children took."""
    mine, theirs = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
    return mine.ru_utime + mine.ru_stime + theirs.ru_utime + theirs.ru_stime


if __name__ == "__main__":
    print(show(list(read(int(sys.argv[1]) if len(sys.argv) > 1 else 1))))

"""Frames through processes and shared memory: order restored, buffers bounded, every frame looked at or booked."""

import multiprocessing as mp
import os
import signal
import time
from collections.abc import Iterator
from dataclasses import replace
from multiprocessing.shared_memory import SharedMemory
from pathlib import Path

import numpy as np
import pytest
import tifffile

from reelmark.demo.frames import Scene, roll
from reelmark.errors import Problem
from reelmark.frames import Frame, Window, WindowLayout
from reelmark.io.frames import Folder
from reelmark.io.frames_kept import keep_picture
from reelmark.seeing import _Room, look_at, look_live, workers_for
from reelmark.stations.window.inspect.detector import Detector
from reelmark.stations.window.roll import Seen, read_roll

LAYOUT = WindowLayout(150.0, 70.0, (Window(20.0, 14.0, 3.0, 75.0, 35.0),), 0.5, 2)
SCENE = Scene(LAYOUT, rows=760, columns=680, k1=0.0)
MANY = 40


@pytest.fixture(scope="module")
def frames() -> list[Frame]:
    """A roll, of which one frame is dark."""
    some = [frame for frame, _ in roll(SCENE, 21, 10, repeats=5)]
    made = [replace(some[n % 10], encoder_mm=n * 350.0, flash=n, name=f"n{n}") for n in range(MANY)]
    made[7] = replace(made[7], picture=np.zeros_like(made[7].picture))
    return made


@pytest.fixture(scope="module")
def detector(frames: list[Frame]) -> Detector:
    return Detector(LAYOUT).learn(frames[:6])


def plain(seen: list[Seen]) -> list[tuple[object, ...]]:
    """What two ways of looking must agree on."""
    return [(one.name, one.place, one.shape, one.looked.phase_mm if one.looked else None,
             tuple(one.looked.nodes.dx_mm) if one.looked else None, str(one.refused)) for one in seen]  # fmt: skip


def test_workers_see_what_one_process_sees_and_in_order(frames, detector):
    alone, two = list(look_at(frames, detector)), list(look_at(frames, detector, 2))
    assert [one.name for one in two] == [one.name for one in frames]
    assert plain(two) == plain(alone)
    assert "dark" in str(two[7].refused)
    assert not mp.active_children()


def test_a_folder_is_looked_at_by_workers_that_read_it(frames, detector, tmp_path):
    rows = ["file,encoder_mm,flash,time_s"]
    for one in frames[:12]:
        tifffile.imwrite(tmp_path / f"{one.name}.tif", one.picture, compression="zstd")
        rows.append(f"{one.name}.tif,{one.encoder_mm},{one.flash},{one.time_s}")
    (tmp_path / f"{frames[3].name}.tif").write_bytes(b"no picture")
    (tmp_path / "frames.csv").write_text("\n".join([*rows, "gone.tif,4200,12,9", "bad.tif,nan,13,9"]))
    (tmp_path / "layout.toml").write_text(
        "pitch_across_mm=150\npitch_along_mm=70\nmm_per_pixel=0.5\nlanes=2\nwindow_size=[20,14]\n"
    )
    source = Folder.open(tmp_path)
    alone, two = list(look_at(source, detector)), list(look_at(source, detector, 2, crops=True))
    assert plain(two) == plain(alone)
    assert [n for n, one in enumerate(two) if one.refused] == [3, 7, 12, 13]
    assert len(two) == len(source) == 14


def test_the_source_is_not_asked_for_more_than_the_workers_hold(frames, detector):
    asked, most = 0, 0

    def source() -> Iterator[Frame]:
        nonlocal asked
        for frame in frames:
            asked += 1
            yield frame

    for done, _ in enumerate(look_at(source(), detector, 1)):
        most = max(most, asked - done)
    assert asked == MANY
    assert most <= 8  # three that the worker holds, one in hand, and what became ready in between


def test_a_camera_faster_than_the_workers_loses_frames_and_books_each(frames, detector):
    # the source never waits: 400 frames at once are more than one worker and three buffers can take
    fast = [replace(frames[n % 7], flash=n, encoder_mm=350.0 * n, name=f"f{n}") for n in range(400)]
    seen = list(look_live(fast, detector, 1))
    assert [one.name for one in seen] == [one.name for one in fast]
    lost = [one for one in seen if one.refused]
    assert lost
    assert all("no buffer was free" in str(one.refused) for one in lost)
    assert len(lost) < 400  # and some were looked at
    verdict = read_roll(seen, LAYOUT)
    assert verdict.closes
    assert len(verdict.booked) + verdict.used == 400


class Slow:
    """A detector that takes its time, and one that dies of a certain grey."""

    def __init__(self, inner: Detector) -> None:
        self.inner = inner

    def look(self, picture):
        if picture[0, 0] == 77:
            os.kill(os.getpid(), signal.SIGKILL)
        if picture[0, 0] == 78:
            raise ValueError("a fault of ours")
        return self.inner.look(picture)


def test_a_fault_of_the_detector_is_booked_with_its_frame(frames, detector):
    odd = frames[2].picture.copy()
    odd[0, 0] = 78
    seen = list(look_at([frames[0], replace(frames[2], picture=odd), frames[4]], Slow(detector)))
    assert [one.refused is None for one in seen] == [True, False, True]
    assert "a fault of ours" in str(seen[1].refused)


def test_a_worker_that_dies_takes_no_frame_with_it_unsaid(frames, detector):
    odd = frames[5].picture.copy()
    odd[0, 0] = 77
    given = [*frames[:5], replace(frames[5], picture=odd), *frames[8:30]]
    seen = list(look_at(given, Killer(detector.layout), 2))
    assert [one.name for one in seen] == [one.name for one in given]
    gone = [one for one in seen if one.refused]
    assert 1 <= len(gone) <= 3  # the frame, and what else its worker held
    assert all("ended" in str(one.refused) for one in gone)


class Killer(Slow):
    """By its layout only, so that it can be sent before it has learnt."""

    def __init__(self, layout: WindowLayout) -> None:
        super().__init__(Detector(layout))


def test_the_ring_is_gone_when_the_reader_stops_half_way(frames, detector):
    looking = look_at(frames, detector, 1)
    next(looking)
    looking.close()  # type: ignore[attr-defined]
    deadline = time.monotonic() + 10
    while mp.active_children() and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not mp.active_children()


def test_a_room_unlinks_its_memory(frames, detector):
    with _Room(detector, 1) as room:
        assert room.offer(0, _first(frames[0]))
        assert room.ring is not None
        name = room.ring.name
        list(room.rest())
    with pytest.raises(FileNotFoundError):
        SharedMemory(name)


def _first(frame: Frame):
    from reelmark.seeing import _task

    return _task(0, frame, (), False)


def test_few_frames_start_no_processes():
    assert workers_for(10) == 0
    assert workers_for(10, 3) == 3


def test_a_picture_kept_is_not_written_over_by_another(tmp_path: Path):
    kept = keep_picture(tmp_path, "7 a/b", b"one", b"small")
    assert kept.file == "7_a_b.png"
    assert keep_picture(tmp_path, "7 a/b", b"one", b"small") == kept
    with pytest.raises(Problem, match="another picture"):
        keep_picture(tmp_path, "7 a/b", b"two", b"small")

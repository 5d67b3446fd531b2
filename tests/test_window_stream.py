"""Frames through processes and shared memory: order restored, buffers bounded, every frame looked at or booked."""

import multiprocessing as mp
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from multiprocessing.shared_memory import SharedMemory
from pathlib import Path

import numpy as np
import pytest
import tifffile

from odd_looks import DIES, FAILS, SLEEPS, Odd
from reelmark.demo.frames import Scene, roll
from reelmark.errors import Problem
from reelmark.frames import Frame, Window, WindowLayout
from reelmark.io.frames import Folder
from reelmark.io.frames_kept import keep_picture
from reelmark.seeing import look_at, look_live, workers_for
from reelmark.seeing.crew import AHEAD, Crew
from reelmark.seeing.ring import Ring, attached
from reelmark.seeing.stream import _frame
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


def none_left() -> bool:
    """No process of ours is left: those that were killed may take a moment to be gone."""
    for _ in range(200):
        if not mp.active_children():
            return True
        time.sleep(0.05)
    return False


def plain(seen: list[Seen]) -> list[tuple[object, ...]]:
    """What two ways of looking must agree on."""
    return [(one.name, one.place, one.shape, one.looked.phase_mm if one.looked else None,
             tuple(one.looked.nodes.dx_mm) if one.looked else None, str(one.refused)) for one in seen]  # fmt: skip


def test_workers_see_what_one_process_sees_and_in_order(frames, detector):
    alone, two = list(look_at(frames, detector)), list(look_at(frames, detector, 2))
    assert [one.name for one in two] == [one.name for one in frames]
    assert plain(two) == plain(alone)
    assert "dark" in str(two[7].refused)
    assert none_left()


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


def test_the_source_is_not_asked_for_more_than_the_workers_hold():
    asked, most = 0, 0

    def source() -> Iterator[Frame]:
        nonlocal asked
        for n in range(MANY):
            asked += 1
            yield small(n)

    for done, _ in enumerate(look_at(source(), Odd(), 1)):
        most = max(most, asked - done)
    assert asked == MANY
    assert most <= AHEAD + 1  # those in the line and the one in hand


def test_a_camera_faster_than_the_workers_loses_frames_and_books_each(frames, detector):
    # the source never waits: 400 frames at once are more than one worker and its buffers can take
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


def small(n: int, grey: int = 10) -> Frame:
    """A frame of a few points, known by its number."""
    picture = np.full((6, 8), n, np.uint8)
    picture[0, 0] = grey
    return Frame(picture, 350.0 * n, n, float(n), f"n{n}")


def odd(many: int, at: int, grey: int) -> list[Frame]:
    """So many frames, of which one makes its worker do something odd."""
    return [small(n, grey if n == at else 10) for n in range(many)]


def gone(seen: list[Seen]) -> dict[str, str]:
    return {one.name: str(one.refused) for one in seen if one.refused}


def test_a_fault_of_the_detector_is_booked_with_its_frame():
    lost = gone(list(look_at(odd(3, 1, FAILS), Odd())))
    assert list(lost) == ["n1"]
    assert "a fault of ours" in lost["n1"]


def test_only_the_frame_that_its_worker_dies_of_is_lost():
    given = odd(30, 5, DIES)
    seen = list(look_at(given, Odd(), 2))
    assert [one.name for one in seen] == [one.name for one in given]
    lost = gone(seen)
    assert list(lost) == ["n5"]
    assert "its worker ended" in lost["n5"]
    true = [one.picture.mean() for one in given]
    assert all(one.looked is None or one.looked.phase_mm == true[n] for n, one in enumerate(seen))
    assert none_left()


def test_a_frame_that_is_never_done_is_booked_and_the_rest_goes_on():
    seen = []
    with Crew(Odd(), 1, patience=8.0) as crew:
        for frame in odd(14, 5, SLEEPS):
            while crew.full:
                seen.append(crew.next())
            crew.give(_frame(frame, False))
        seen += crew.rest()
    assert [one.name for one in seen] == [f"n{n}" for n in range(14)]
    lost = gone(seen)
    assert list(lost) == ["n5"]
    assert "had not answered after 8 s" in lost["n5"]


def test_workers_that_always_die_end_the_looking_with_the_way_out():
    with pytest.raises(Problem, match="--workers 0"):
        list(look_at([small(n, DIES) for n in range(12)], Odd(), 1))
    assert none_left()


def test_a_picture_larger_than_the_first_goes_another_way():
    large = Frame(np.full((60, 80), 7, np.uint8), 9.0, 3, 9.0, "large")
    deep = Frame(np.full((6, 8), 900, np.uint16), 10.0, 4, 10.0, "deep")
    seen = list(look_at([small(1), large, deep, small(2)], Odd(), 1))
    assert [one.looked and one.looked.phase_mm for one in seen[1:3]] == [7.0, 900.0]


def test_nothing_is_left_when_the_reader_stops_half_way():
    looking = look_at(odd(12, -1, 0), Odd(), 1)
    next(looking)
    looking.close()  # type: ignore[attr-defined]
    assert none_left()


def test_a_crew_leaves_no_memory_behind():
    with Crew(Odd(), 1) as crew:
        crew.give(_frame(small(1), False))
        assert crew._ring is not None
        name = crew._ring.name
        list(crew.rest())
    with pytest.raises(FileNotFoundError):
        SharedMemory(name)


def test_the_workers_end_with_the_process_that_started_them(tmp_path):
    code = (
        "import os, time; from reelmark.pool import processes\n"
        "if __name__ == '__main__':\n"
        "    with processes(2) as pool:\n"
        "        print(*(pool.submit(os.getpid).result() for _ in range(1)), flush=True); os._exit(1)\n"
    )
    (tmp_path / "one.py").write_text(code)
    told = subprocess.run([sys.executable, tmp_path / "one.py"], capture_output=True, text=True, timeout=60)
    (pid,) = map(int, told.stdout.split())
    for _ in range(200):  # ten seconds, as a rule none
        if not Path(f"/proc/{pid}").exists():
            break
        time.sleep(0.05)
    assert not Path(f"/proc/{pid}").exists()


def test_a_ring_takes_what_fits_and_says_what_is_free():
    ring = Ring(2, 12)
    picture = np.arange(12, dtype=np.uint8).reshape(3, 4)
    start = ring.put(picture)
    assert (attached(ring.name).picture(start, (3, 4)) == picture).all()
    assert ring.free == 1
    assert not ring.fits(np.zeros((4, 4), np.uint8))
    assert not ring.fits(picture.astype(np.uint16))
    ring.back(start)
    assert ring.free == 2
    attached.cache_clear()
    ring.close()


def test_few_frames_start_no_processes():
    assert workers_for(10) == 0
    assert workers_for(10, 3) == 3


def test_a_picture_kept_is_not_written_over_by_another(tmp_path: Path):
    kept = keep_picture(tmp_path, "7 a/b", b"one", b"small")
    assert kept.file == "7_a_b.png"
    assert keep_picture(tmp_path, "7 a/b", b"one", b"small") == kept
    with pytest.raises(Problem, match="another picture"):
        keep_picture(tmp_path, "7 a/b", b"two", b"small")

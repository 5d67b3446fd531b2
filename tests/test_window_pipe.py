"""Frames that come through a pipe: what was written is what is read, and what breaks is booked."""

import io
import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from threading import Thread

import numpy as np
import pytest

from reelmark.demo.frames import Scene, roll
from reelmark.errors import BadValue
from reelmark.frames import Frame, Window, WindowLayout
from reelmark.io.frames_rows import Row
from reelmark.io.frames_stream import read_stream, write_frame

LAYOUT = WindowLayout(150.0, 70.0, (Window(20.0, 14.0, 3.0, 75.0, 35.0),), 0.5, 2)
TOML = (
    "pitch_across_mm = 150\npitch_along_mm = 70\nmm_per_pixel = 0.5\nlanes = 2\n"
    "[[windows]]\nacross_mm = 20\nalong_mm = 14\ncorner_mm = 3\nat_across_mm = 75\nat_along_mm = 35\n"
)


def small(n: int) -> Frame:
    return Frame(np.arange(12, dtype=np.uint8).reshape(3, 4) + n, 70.0 * n, n, 0.1 * n, f"f{n}", 0 if n == 2 else None)


def written(*frames: Frame) -> bytes:
    stream = io.BytesIO()
    for one in frames:
        write_frame(stream, one)
    return stream.getvalue()


def read(data: bytes) -> list[Frame | Row]:
    return list(read_stream(io.BytesIO(data)))


def test_what_is_written_is_read():
    got = read(written(small(1), small(2)))
    for one, true in zip(got, (small(1), small(2)), strict=True):
        assert isinstance(one, Frame)
        assert replace(one, picture=true.picture) == true
        assert (one.picture == true.picture).all()


def test_an_empty_stream_has_no_frame():
    assert read(b"") == []
    assert read(b"\n \n") == []


def test_a_stream_cut_in_a_picture_gives_the_frames_before_and_says_where_it_ends():
    first, last = read(written(small(1), small(2))[:-5])
    assert isinstance(first, Frame)
    assert isinstance(last, Row)
    assert "the stream ends after 7 of 12 values" in str(last.wrong)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (b"no json\n", "does not say what follows"),
        (b'{"rows": 3}\n', "columns"),
        (b'{"rows": -3, "columns": 4}\n', "rows is -3"),
        (b'{"rows": 3.5, "columns": 4}\n', "rows is 3.5"),
        (b'{"rows": true, "columns": 4}\n', "rows is True"),
        (b"[]\n", "does not say what follows"),
        (b"[" * 5000 + b"\n", "does not say what follows"),
        (b'{"rows": 1000000, "columns": 1000000}\n', "1,000,000 by 1,000,000"),
        (b"\x80\x81\n", "does not say what follows"),
    ],
)
def test_a_line_that_says_nothing_ends_the_stream_and_is_booked(line, said):
    first, last = read(written(small(1)) + line + written(small(2)))
    assert isinstance(first, Frame)
    assert isinstance(last, Row)
    assert said in str(last.wrong)


@pytest.mark.parametrize(
    ("key", "value"), [("flash", 1.5), ("flash", None), ("encoder_mm", "x"), ("encoder_mm", 1e300)]
)
def test_a_frame_without_its_number_is_booked_and_the_next_one_read(key, value):
    line, picture = written(small(1)).split(b"\n", 1)
    odd = json.dumps(json.loads(line) | {key: value}).encode() + b"\n" + picture
    first, second = read(odd + written(small(2)))
    assert isinstance(first, Row)
    assert key in str(first.wrong)
    assert isinstance(second, Frame)


def test_colour_and_deep_pictures_are_not_written():
    for picture in (np.zeros((3, 4, 3), np.uint8), np.zeros((3, 4), np.uint16)):
        with pytest.raises(BadValue, match="grey of 8 bits"):
            write_frame(io.BytesIO(), replace(small(1), picture=picture))  # type: ignore[arg-type]


# ---- the command


@pytest.fixture(scope="module")
def stream() -> bytes:
    return written(*(frame for frame, _ in roll(Scene(LAYOUT, rows=760, columns=680, k1=0.0), 21, 10, repeats=4)))


def reads(*words: str, **more: object) -> dict[str, object]:
    command = [sys.executable, "-m", "reelmark", "window", "read", *words, "--json"]
    told = subprocess.run(command, capture_output=True, timeout=300, **more)  # type: ignore[call-overload]
    assert told.returncode == 0, told.stderr
    answer: dict[str, object] = json.loads(told.stdout)
    return answer


def test_the_command_reads_standard_input_a_file_and_a_pipe_alike(stream, tmp_path):
    layout = tmp_path / "layout.toml"
    layout.write_text(TOML)
    (tmp_path / "roll.frames").write_bytes(stream)
    os.mkfifo(tmp_path / "pipe")
    writer = Thread(target=lambda: (tmp_path / "pipe").write_bytes(stream))
    writer.start()
    more = ("--layout", str(layout), "--workers", "0")
    answers = [
        reads("-", *more, input=stream),
        reads(str(tmp_path / "roll.frames"), *more),
        reads(str(tmp_path / "pipe"), *more),
    ]
    writer.join(60)
    assert answers[0] == answers[1] == answers[2]
    # ten frames, a step of 280 mm and fields of 380 mm: nine steps of four repeats, and the repeats of the last field
    assert answers[0]["closes"] is True
    assert answers[0]["not_seen"] == answers[0]["missing"] == 0
    assert answers[0]["frames"]["used"] == 10  # type: ignore[index]
    assert 2 * 4 * 10 <= answers[0]["expected"] <= 2 * 4 * 10 + 4  # type: ignore[operator]


def test_a_live_stream_books_what_is_not_looked_at_in_time(stream, tmp_path):
    (tmp_path / "layout.toml").write_text(TOML)
    answer = reads("-", "--layout", str(tmp_path / "layout.toml"), "--live", "--workers", "1", input=stream)
    frames = answer["frames"]
    assert frames["used"] + frames["booked"] == frames["given"] == 10  # type: ignore[index]
    assert answer["closes"] is True


@pytest.mark.parametrize(
    ("words", "said"),
    [(("-",), "--layout"), (("FOLDER", "--live"), "a folder waits"), (("nowhere",), "there is no such folder")],
)
def test_what_cannot_be_read_is_told(words, said, tmp_path):
    some = [str(tmp_path) if one == "FOLDER" else one for one in words]
    told = subprocess.run(
        [sys.executable, "-m", "reelmark", "window", "read", *some], capture_output=True, text=True, timeout=120,
        cwd=tmp_path, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    assert told.returncode != 0
    assert said in told.stderr
    assert not list(Path(tmp_path).iterdir())

"""Frames as a stream of bytes, from a pipe or a file: each a line of JSON, then its grey values row by row.

    {"encoder_mm": 770.2, "flash": 1, "time_s": 0.308, "rows": 2048, "columns": 2448}     then 5,013,504 bytes

    for frame in read_stream(sys.stdin.buffer): ...         a Frame, or a Row that says what is wrong with it
    write_frame(pipe, frame)                                for whoever drives the camera

Eight bits a value, 255 is light.  `file` may name the frame, `index` say which repeat bears the index mark.  A line
that cannot be read ends the stream, as nothing says where the next begins: it is handed on as a row that is wrong.
"""

import json
import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, BinaryIO, Final

import numpy as np

from reelmark.errors import BadValue, Problem
from reelmark.frames import Frame
from reelmark.io.frames_rows import Row

__all__ = ["read_stream", "write_frame"]

LONGEST_LINE: Final = 4096
MOST_PIXELS: Final = 400_000_000
CURE: Final = "write each frame as the manual shows: a line of JSON, then rows x columns bytes"


def write_frame(stream: BinaryIO, frame: Frame) -> None:
    """The frame's line and picture; BadValue for a picture that is not grey of eight bits."""
    picture = frame.picture
    if picture.ndim != 2 or picture.dtype != np.uint8:
        raise BadValue("picture", f"{picture.dtype} {picture.shape}", "a stream holds grey of 8 bits", "convert it")
    rows, columns = picture.shape
    told = {"file": frame.name, "encoder_mm": frame.encoder_mm, "flash": frame.flash, "time_s": frame.time_s,
            "rows": rows, "columns": columns, "index": frame.index}  # fmt: skip
    stream.write(json.dumps(told).encode() + b"\n")
    stream.write(np.ascontiguousarray(picture).tobytes())


def read_stream(stream: BinaryIO) -> Iterator[Frame | Row]:
    """Every frame of the stream, in its order; ends with it, or with a row that says why it cannot be read on."""
    number = 0
    while line := stream.readline(LONGEST_LINE + 1):
        number += 1
        if not line.strip():
            continue
        got = _frame(line, stream, number)
        yield got
        if isinstance(got, Row) and isinstance(got.wrong, _Lost):
            return


class _Lost(Problem):
    """The stream cannot be read on."""


def _frame(line: bytes, stream: BinaryIO, number: int) -> Frame | Row:
    row = Row(f"frame {number} of the stream", math.nan, None, math.nan, number)
    try:
        told = json.loads(line)
        rows, columns = _side(told, "rows"), _side(told, "columns")
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        return replace(
            row, wrong=_Lost("stream broken", f"line {number} does not say what follows: {_short(error)}", CURE)
        )
    if rows * columns > MOST_PIXELS:
        return replace(row, wrong=_Lost("stream broken", f"line {number} says {rows:,} by {columns:,} values", CURE))
    row = Row(str(told.get("file") or f"flash {told.get('flash')}"), _number(told, "encoder_mm"), _whole(told, "flash"),
              _number(told, "time_s"), number, None, _whole(told, "index"))  # fmt: skip
    data = _all(stream, rows * columns)
    if len(data) < rows * columns:
        true = f"the stream ends after {len(data):,} of {rows * columns:,} values"
        return replace(row, wrong=_Lost("truncated picture", true, "let the writer end with a whole frame"))
    return _placed(row, np.frombuffer(data, np.uint8).reshape(rows, columns))


def _placed(row: Row, picture: Any) -> Frame | Row:
    if row.flash is None or not math.isfinite(row.encoder_mm):
        name = "flash" if row.flash is None else "encoder_mm"
        value = row.flash if row.flash is None else row.encoder_mm
        return replace(row, wrong=BadValue(name, value, f"frame {row.line} of the stream gives no such number", CURE))
    return Frame(picture, row.encoder_mm, row.flash, row.time_s, row.file, row.index)


def _all(stream: BinaryIO, many: int) -> bytearray:
    """So many bytes, or all that are left: a pipe gives them in pieces."""
    data = bytearray()
    while len(data) < many and (more := stream.read(many - len(data))):
        data += more
    return data


def _side(told: dict[str, Any], name: str) -> int:
    value = told[name]
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise ValueError(f"{name} is {str(value)[:40]}, not a whole number above 0")
    return value


def _number(told: dict[str, Any], name: str) -> float:
    value = told.get(name)
    return (
        float(value)
        if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15
        else math.nan
    )


def _whole(told: dict[str, Any], name: str) -> int | None:
    value = told.get(name)
    return value if isinstance(value, int) and not isinstance(value, bool) and abs(value) < 2**62 else None


def _short(error: Exception) -> str:
    return f"{error}"[:100] or type(error).__name__

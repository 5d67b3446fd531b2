"""The lines of frames.csv: file, encoder_mm, flash, time_s, and, where there is one, index.

Read as people and spreadsheets write it: a mark at its beginning, any line ends, semicolons or tabs for commas, a comma
for the point where columns are parted by something else, other spellings of the columns.  A line that cannot be used
is handed on with the reason and never left out.
"""

import csv
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from reelmark.errors import BadValue, Problem

__all__ = ["COLUMNS", "Row", "read_rows"]

COLUMNS: Final = ("file", "encoder_mm", "flash", "time_s")
SPELT: Final = {
    "file": ("name", "picture", "filename", "file_name", "image"),
    "encoder_mm": ("encoder", "encoder_m", "metre_m", "position_mm"),
    "flash": ("flash_no", "flash_number", "flashes", "strobe"),
    "time_s": ("time", "t", "t_s", "seconds"),
    "index": ("index_mark", "index_repeat"),
}
MOST_ROWS: Final = 5_000_000
CURE: Final = "correct the line"


@dataclass(frozen=True, slots=True)
class Row:
    """A line of frames.csv.  encoder_mm, time_s : NaN, and flash : None, where the line gives no such number

    wrong : why the row cannot be used, or its picture not be read
    index : which repeat of the picture bears the index mark, 0 the first that begins in it; None: none is seen
    """

    file: str
    encoder_mm: float
    flash: int | None
    time_s: float
    line: int
    wrong: Problem | None = None
    index: int | None = None


def read_rows(path: Path) -> tuple[Row, ...]:
    """The rows of frames.csv; Problem or BadValue where the file as a whole is none."""
    lines = _text(path).splitlines()
    mark = max(",;\t", key=lines[0].count) if lines else ","
    head = next(_cells(lines[:1], mark, path), [])
    read = _reader([one.strip().lower() for one in head], mark, path)
    if len(lines) > MOST_ROWS:
        raise BadValue("rows", len(lines), f"{path.name} holds too many", "give it roll by roll")
    rows = [read(cells, n) for n, cells in enumerate(_cells(lines[1:], mark, path), 2) if any(map(str.strip, cells))]
    if not rows:
        raise BadValue("rows", 0, f"{path.name} holds a head and no rows", "give a line for every flash")
    return tuple(_one_flash_a_file(rows))


def _text(path: Path) -> str:
    if not path.is_file():
        raise Problem(f"frames {path}", "there is no such file", f"write it with the columns {', '.join(COLUMNS)}")
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (UnicodeDecodeError, OSError) as error:
        raise Problem(f"frames {path}", f"it is no text: {str(error)[:100]}", "write CSV in UTF-8") from error
    if "\x00" in text:
        raise Problem(f"frames {path}", "it is no text: it holds zero bytes", "write CSV in UTF-8")
    return text


def _cells(lines: Sequence[str], mark: str, path: Path) -> Iterator[list[str]]:
    """Each line's cells.  A quote that is not closed ends with its line, or it would swallow all that follow."""
    try:
        if any('"' in one for one in lines):
            yield from (next(csv.reader([one], delimiter=mark), []) for one in lines)
        else:
            yield from csv.reader(lines, delimiter=mark)
    except csv.Error as error:
        raise Problem(f"frames {path}", f"it does not read: {error}", "write plain CSV") from error


def _columns(head: Sequence[str], path: Path) -> dict[str, tuple[int, float]]:
    """Where each column stands, and what its unit is in the column's own."""
    place = {}
    for name in (*COLUMNS, "index"):
        found = [i for i, one in enumerate(head) if one == name] or [
            i for i, one in enumerate(head) if one in SPELT[name]
        ]
        if len(found) > 1:
            raise BadValue("columns", head[found[0]], f"{path.name} has {name} twice", "name every column once")
        if found:
            place[name] = (found[0], 1e3 if head[found[0]].endswith("_m") else 1.0)
    missing = [name for name in COLUMNS if name not in place]
    if missing:
        true = f"{path.name} has the columns {', '.join(head[:8]) or 'none'}"
        raise BadValue("columns", ", ".join(missing), true, f"write the columns {', '.join(COLUMNS)}")
    return place


def _reader(head: Sequence[str], mark: str, path: Path) -> Callable[[Sequence[str], int], Row]:
    """What makes a row of a line's cells and its number."""
    place = _columns(head, path)
    (file, _), (encoder, times), (flash, _), (time, seconds) = (place[name] for name in COLUMNS)
    index, _ = place.get("index", (-1, 1.0))
    last, many = max(one for one, _ in place.values()), len(head)

    def row(cells: Sequence[str], line: int) -> Row:
        some = cells if len(cells) > last else [*cells, *[""] * (last + 1 - len(cells))]
        number = _whole(_number(some[flash], mark))
        made = Row(some[file].strip(), _number(some[encoder], mark) * times, number,
                   _number(some[time], mark) * seconds, line, None,
                   _whole(_number(some[index], mark)) if index >= 0 else None)  # fmt: skip
        wrong = _wrong(made, some[encoder].strip(), some[flash].strip()) or _longer(cells, many, line)
        return replace(made, wrong=wrong) if wrong else made

    return row


def _number(text: str, mark: str) -> float:
    """The number, NaN for what is none; a comma is a point where the columns are parted by something else."""
    try:
        return float(text.replace(",", ".") if mark != "," else text)
    except ValueError:
        return math.nan


def _whole(value: float) -> int | None:
    """A count; None for what is none."""
    return int(value) if math.isfinite(value) and value % 1 == 0 and abs(value) < 2**53 else None


def _wrong(row: Row, encoder: str, flash: str) -> Problem | None:
    """Why the row cannot be used.  A time that is none is no reason: nothing is counted by it."""
    at = f"line {row.line} of frames.csv"
    if not _inside(row.file):
        return BadValue("file", row.file, f"{at} names no file of this folder", CURE)
    if not math.isfinite(row.encoder_mm) or abs(row.encoder_mm) > 1e12:
        return BadValue("encoder_mm", encoder, f"{at} says not where the frame lies", CURE)
    if row.flash is None:
        return BadValue("flash", flash, f"{at} gives no whole number", CURE)
    return None


def _inside(file: str) -> bool:
    """Whether the name stays in the folder; a plain one, as nearly all are, is told at once."""
    if "/" not in file and "\\" not in file:
        return bool(file) and file not in {".", ".."}
    name = Path(file.replace("\\", "/"))
    return not name.is_absolute() and ".." not in name.parts and ":" not in file[:3]


def _longer(cells: Sequence[str], many: int, line: int) -> Problem | None:
    """A line of more cells than the head: a comma for the point, most likely, which moves all numbers by one."""
    if not any(map(str.strip, cells[many:])):
        return None
    true = f"line {line} of frames.csv has {len(cells)} cells, the head {many}: which is which is not known"
    return BadValue("cells", len(cells), true, "write points in numbers, or semicolons between cells")


def _one_flash_a_file(rows: Sequence[Row]) -> Iterator[Row]:
    """A picture that two lines give to two flashes is the first's: the second's was written over, or misnamed."""
    first: dict[str, Row] = {}
    for row in rows:
        one = first.setdefault(row.file, row) if row.wrong is None else row
        if one.flash == row.flash:
            yield row
        else:
            true = f"line {row.line} of frames.csv names it as line {one.line} does, for another flash"
            yield replace(row, wrong=BadValue("file", row.file, true, "look for the flash's own picture"))

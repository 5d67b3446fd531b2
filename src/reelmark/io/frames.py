"""Frames of a folder: `frames.csv` (file, encoder_mm, flash, time_s), its pictures, and layout.toml.

    folder = Folder.open(path)         folder.layout, folder.rows, folder.unlisted
    for frame in folder: ...           every row as a Frame, or as a Row that says what is wrong with it

A row that cannot be used, or a picture that cannot be read, is handed on as such and never left out.
"""

import csv
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from reelmark.errors import BadValue, Problem
from reelmark.frames import Frame
from reelmark.io.frames_picture import ENDINGS, bits_of, read_picture
from reelmark.io.layout import LayoutFile, read_layout

__all__ = ["COLUMNS", "Folder", "Row", "read_rows"]

COLUMNS: Final = ("file", "encoder_mm", "flash", "time_s")
SPELT: Final = {
    "file": ("name", "picture", "filename", "file_name", "image"),
    "encoder_mm": ("encoder", "encoder_m", "metre_m", "position_mm"),
    "flash": ("flash_no", "flash_number", "flashes", "strobe"),
    "time_s": ("time", "t", "t_s", "seconds"),
    "index": ("index_mark", "index_repeat"),
}
MOST_ROWS: Final = 5_000_000
PROBED: Final = 8  # pictures that are looked at for how many bits a camera of more than eight gives


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


@dataclass(frozen=True, slots=True)
class Folder:
    """A folder of frames.  bits : of a 16-bit picture that the camera uses;  unlisted : pictures that no row names"""

    path: Path
    rows: tuple[Row, ...]
    told: LayoutFile
    unlisted: tuple[str, ...] = ()
    bits: int = 16

    @classmethod
    def open(cls, path: Path, layout: Path | None = None) -> "Folder":
        """The folder, its rows read and its pictures not yet; Problem where nothing of it can be read."""
        if not path.is_dir():
            cure = "give the folder that holds frames.csv, layout.toml and the pictures"
            raise Problem(f"frames in {path}", "it is no folder" if path.exists() else "there is no such folder", cure)
        rows = read_rows(path / "frames.csv")
        told = read_layout(layout or path / "layout.toml")
        named = {row.file for row in rows}
        there = sorted(one.name for one in path.iterdir() if one.suffix.lower() in ENDINGS)
        first = [path / row.file for row in rows if row.wrong is None][:PROBED]
        return cls(path, rows, told, tuple(one for one in there if one not in named), bits_of(first))

    def __iter__(self) -> Iterator[Frame | Row]:
        return (self.frame(row) for row in self.rows)

    def __len__(self) -> int:
        return len(self.rows)

    def frame(self, row: Row) -> Frame | Row:
        """The row with its picture, or with what is wrong."""
        if row.wrong is not None or row.flash is None:
            return row
        try:
            picture, _ = read_picture(self.path / row.file, self.bits)
        except Problem as problem:
            return replace(row, wrong=problem)
        return Frame(picture, row.encoder_mm, row.flash, row.time_s, row.file)


def read_rows(path: Path) -> tuple[Row, ...]:
    """The rows of frames.csv; Problem or BadValue where the file as a whole is none."""
    if not path.is_file():
        raise Problem(f"frames {path}", "there is no such file", f"write it with the columns {', '.join(COLUMNS)}")
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (UnicodeDecodeError, OSError) as error:
        raise Problem(f"frames {path}", f"it is no text: {str(error)[:100]}", "write CSV in UTF-8") from error
    if "\x00" in text:
        raise Problem(f"frames {path}", "it is no text: it holds zero bytes", "write CSV in UTF-8")
    return _rows(text, path)


def _rows(text: str, path: Path) -> tuple[Row, ...]:
    head = text.split("\n", 1)[0]
    mark = max(",;\t", key=head.count)
    try:
        lines = list(csv.reader(io.StringIO(text), delimiter=mark))
    except csv.Error as error:
        raise Problem(f"frames {path}", f"it does not read: {error}", "write plain CSV") from error
    place = _columns([one.strip().lower() for one in lines[0]] if lines else [], path)
    rows = [_row(cells, place, n, mark) for n, cells in enumerate(lines[1:], 2) if any(one.strip() for one in cells)]
    if not rows or len(rows) > MOST_ROWS:
        cure = "give a line for every flash" if not rows else "give it roll by roll"
        raise BadValue("rows", len(rows), f"{path.name} holds {'a head and no rows' if not rows else 'too many'}", cure)
    return tuple(rows)


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


def _row(cells: Sequence[str], place: dict[str, tuple[int, float]], line: int, mark: str) -> Row:
    """A line as a row; what cannot be used stands in `wrong`."""
    got = {name: (cells[i].strip() if i < len(cells) else "", times) for name, (i, times) in place.items()}
    encoder, time, flash = (_number(*got[name], mark) for name in ("encoder_mm", "time_s", "flash"))
    whole = int(flash) if math.isfinite(flash) and flash % 1 == 0 and abs(flash) < 2**62 else None
    odd = _number(*got["index"], mark) if "index" in got else math.nan
    index = int(odd) if math.isfinite(odd) and odd % 1 == 0 and abs(odd) < 1e6 else None
    row = Row(got["file"][0], encoder, whole, time, line, None, index)
    return replace(row, wrong=_wrong(row, {name: text for name, (text, _) in got.items()}))


def _number(text: str, times: float, mark: str) -> float:
    """The number, NaN for what is none; a comma is a point where the columns are parted by something else."""
    try:
        return float(text.replace(",", ".") if mark != "," else text) * times
    except ValueError:
        return math.nan


def _wrong(row: Row, text: dict[str, str]) -> Problem | None:
    """Why the row cannot be used.  A time that is none is no reason: nothing is counted by it."""
    at, cure = f"line {row.line} of frames.csv", "correct the line"
    name = Path(row.file.replace("\\", "/"))
    if not row.file or name.is_absolute() or ".." in name.parts or "\x00" in row.file:
        return BadValue("file", row.file, f"{at} names no file of this folder", cure)
    if not math.isfinite(row.encoder_mm) or abs(row.encoder_mm) > 1e12:
        return BadValue("encoder_mm", text["encoder_mm"], f"{at} says not where the frame lies", cure)
    if row.flash is None:
        return BadValue("flash", text["flash"], f"{at} gives no whole number", cure)
    return None

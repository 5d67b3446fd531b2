"""Frames of a folder: `frames.csv` (file, encoder_mm, flash, time_s), its pictures, and layout.toml.

    folder = Folder.open(path)         folder.layout, folder.rows, folder.unlisted
    for frame in folder: ...           every row as a Frame, or as a Row that says what is wrong with it

A row that cannot be used, or a picture that cannot be read, is handed on as such and never left out.
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from reelmark.errors import Problem
from reelmark.frames import Frame
from reelmark.io.frames_picture import ENDINGS, bits_of, no_file, read_picture
from reelmark.io.frames_rows import COLUMNS, Row, read_rows
from reelmark.io.layout import LayoutFile, read_layout

__all__ = ["COLUMNS", "Folder", "Row", "read_rows"]

PROBED: Final = 8  # pictures that are looked at for how many bits a camera of more than eight gives


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
        there = set(os.listdir(path))
        rows = tuple(_with_file(row, there) for row in read_rows(path / "frames.csv"))
        told = read_layout(layout or path / "layout.toml")
        named = {row.file for row in rows}
        unlisted = sorted(one for one in there - named if Path(one).suffix.lower() in ENDINGS)
        first = [path / row.file for row in rows if row.wrong is None][:PROBED]
        return cls(path, rows, told, tuple(unlisted), bits_of(first))

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


def _with_file(row: Row, there: set[str]) -> Row:
    """The row, told at once if the folder has no such file: a look at a disk for each of a million takes long."""
    if row.wrong is not None or row.file in there or "/" in row.file or "\\" in row.file:
        return row
    return replace(row, wrong=no_file())

"""A file, line by line, in memory that does not grow with it, whatever the file turns out to be."""

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Final

from reelmark.io.words import Refusal, Unreadable, shown

__all__ = ["LONGEST", "lines", "refusal"]

LONGEST: Final = 2**20  # bytes of a line
PASSED_OVER: Final = 8  # times LONGEST: so much of an over-long line is passed over to find the next one
MOST_BLANK: Final = 1_000  # empty lines in a row
OWN_LINE: Final = "write each record on a line of its own"
BOM: Final = b"\xef\xbb\xbf"  # spreadsheets put it before UTF-8


def refusal(number: int, error: Unreadable) -> Refusal:
    """What could not be read, as the refusal of a line."""
    field, value, true, cure = error.finding
    return Refusal(number, field, shown(value), f"{true}; {cure}")


def lines(path: Path) -> Iterator[tuple[int, str | Refusal]]:
    """(number from 1, text without its end) of each line that is not empty, or why it cannot be read.

    Number 0 stands for the file as a whole.  After a refusal of field 'file' nothing follows.
    """
    try:
        if not path.is_file():
            yield 0, Refusal(0, "file", shown(str(path)), f"{_instead(path)}; give a file of records")
            return
        with path.open("rb") as file:
            yield from _texts(file)
    except OSError as error:
        yield 0, Refusal(0, "file", shown(str(path)), f"it cannot be read; {error.strerror}")


def _instead(path: Path) -> str:
    if path.is_dir():
        return "it is a folder"
    return "it is not a file" if path.exists() else "there is no such file"


def _texts(file: BinaryIO) -> Iterator[tuple[int, str | Refusal]]:
    """As lines; stops in a line that has no end in sight, and in a desert of empty lines."""
    blank = 0
    for number, raw in enumerate(_raw(file), 1):
        if isinstance(raw, Refusal):
            yield number, raw._replace(line=number)
            continue
        raw = raw.removeprefix(BOM) if number == 1 else raw
        blank = 0 if raw.strip() else blank + 1
        if blank == MOST_BLANK:
            true = f"{MOST_BLANK:,} lines in a row are empty: reading stopped"
            yield number, Refusal(number, "file", "", f"{true}; {OWN_LINE}")
            return
        if not blank:
            yield number, _text(number, raw)


def _raw(file: BinaryIO) -> Iterator[bytes | Refusal]:
    """Bytes of each line, without its end; a refusal for one that is over-long."""
    true = f"it is longer than {LONGEST:,} bytes"
    while raw := file.readline(LONGEST + 1):
        if len(raw) <= LONGEST or raw.endswith(b"\n"):
            yield raw.rstrip(b"\r\n")
            continue
        if not _passed(file):
            yield Refusal(0, "file", "", f"{true}, and no end in sight: reading stopped; {OWN_LINE}")
            return
        yield Refusal(0, "line", "", f"{true}; {OWN_LINE}")


def _passed(file: BinaryIO) -> bool:
    """Pass over the rest of a line; False if its end does not come soon."""
    for _ in range(PASSED_OVER):
        rest = file.readline(LONGEST)
        if not rest or rest.endswith(b"\n"):
            return True
    return False


def _text(number: int, raw: bytes) -> str | Refusal:
    try:
        return decoded(raw)
    except Unreadable as error:
        return refusal(number, error)


def decoded(raw: bytes) -> str:
    """The text of a line; Unreadable if it has null bytes or is not UTF-8."""
    if b"\0" in raw:
        excerpt = raw[:40].decode("ascii", "backslashreplace")
        raise Unreadable("line", excerpt, f"there is a null byte at place {raw.index(0) + 1}", "write it as UTF-8 text")
    try:
        return raw.decode()
    except UnicodeDecodeError as error:
        excerpt = raw[error.start : error.start + 8].hex(" ")
        raise Unreadable("line", excerpt, f"byte {error.start + 1} is not UTF-8", "save the file as UTF-8") from error

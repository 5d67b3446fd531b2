"""Refused lines into a file beside theirs, as they were written, to be corrected and sent again."""

from collections.abc import Sequence
from pathlib import Path

__all__ = ["write_refused"]


def write_refused(path: Path, lines: Sequence[int]) -> Path:
    """Copy the lines of these numbers to name.refused.ending (a CSV's header first); the new file's path."""
    beside = path.with_name(f"{path.stem}.refused{path.suffix}")
    wanted = set(lines) | ({1} if path.suffix.lower() == ".csv" else set())
    last = max(wanted, default=0)
    with path.open("rb") as source, beside.open("wb") as kept:
        for number, line in enumerate(source, 1):
            if number in wanted:
                kept.write(line)
            if number >= last:
                break
    return beside

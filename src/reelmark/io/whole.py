"""A file written whole or not at all: whoever reads sees the old one or the new one."""

import os
from contextlib import suppress
from pathlib import Path
from tempfile import NamedTemporaryFile

from reelmark.errors import Problem

__all__ = ["write_whole"]


def write_whole(path: Path, text: str, asked: str, cure: str) -> None:
    """Write it beside and then in its place; Problem where that cannot be.  asked, cure : words of the Problem"""
    name = ""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with NamedTemporaryFile("w", dir=path.parent, delete=False, encoding="utf-8") as file:
            name = file.name
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, path)
    except OSError as error:
        if name:
            with suppress(OSError):
                os.unlink(name)
        raise Problem(asked, f"{error.strerror}", cure) from error

"""A job shop from a file, in the form that the file has: the form is told by its content.

    shop = read_shop(Path("shop-1.json"))

JSON         orders of alike batches, stages on pools of machines, calendars, waits, set-ups, dues, a store
job shop     "n m", then a line a job: machine (from 0) and duration, m times
flexible     "n m [average]", then a line a job: how many operations; each: how many machines, then machine (from 1)
             and duration of every one
project      sections of a resource-constrained project, one mode a job (the .sm form)

In the text forms a line that begins with # is a comment; they have one unit of an hour, and cost what they last.  An
error names the file, and the key or line.
"""

from pathlib import Path
from typing import Final

from reelmark.errors import BadValue, Problem
from reelmark.io.shopjson import shop_of_json
from reelmark.io.shopproject import shop_of_project
from reelmark.io.shopsize import sized
from reelmark.io.shoptext import shop_of_text
from reelmark.jobs import JobShop

__all__ = ["read_shop"]

MOST_BYTES: Final = 64 * 2**20


def read_shop(path: Path) -> JobShop:
    """The shop in the file.  Problem where there is none; BadValue, Clash name the file and the place in it."""
    if path.is_dir():
        raise Problem(f"shop {path}", "it is a folder", "give the file in it that describes a job shop")
    if not path.is_file():
        raise Problem(f"shop {path}", "there is no such file", "give a file that describes a job shop")
    if path.stat().st_size > MOST_BYTES:
        raise Problem(f"shop {path}", f"it is larger than {MOST_BYTES >> 20} MiB", "give a job shop, not its records")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise Problem(f"shop {path}", "it is not text in UTF-8", "save it as UTF-8") from error
    if not text.strip():
        raise BadValue(path.name, "", "the file is empty", "give a file that describes a job shop")
    if text.lstrip()[0] in "{[" or path.suffix.lower() == ".json":
        return shop_of_json(text, path.name)
    if "PRECEDENCE RELATIONS" in text:
        return sized(shop_of_project(text, path.name), path.name)
    return sized(shop_of_text(text, path.name), path.name)

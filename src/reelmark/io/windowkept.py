"""A reading of the windows at rest: `reading.json` beside the pictures that were kept of it.

    keep_reading(folder, "F05", told)      told : as ``acts.window_view.kept_answer`` gives it
    kept = read_kept(folder)               checked; Problem where there is none, or it is damaged
    kept.state("7-a-0-missing.png")        GOOD, CHANGED or GONE, by the checksum it had when it was kept
    kept.picture("7-a-0-missing.png")      its bytes, where they are the bytes that were kept
    readings(works)                        of all rolls of a works, newest first

A works' readings lie in `windows/ROLL/` of its folder.  They are copies of what a camera said, not records: what of
them shall count is posted to the journal, with the picture's checksum.
"""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from reelmark.errors import BadValue, Broken, NotThere, Problem
from reelmark.io.whole import write_whole

__all__ = ["CHANGED", "FOLDER", "GONE", "GOOD", "Kept", "Listed", "keep_reading", "listed_as", "read_kept", "readings"]

FOLDER: Final = "windows"  # of a works
FILE: Final = "reading.json"
VERSION: Final = 1
LARGEST: Final = 128 * 2**20  # bytes; 8 km with ten thousand marks take five million
LARGEST_PICTURE: Final = 16 * 2**20
GOOD, CHANGED, GONE = "good", "changed", "gone"
AGAIN: Final = "read the frames again with --keep, into an empty folder"
PLAIN: Final = re.compile(r"(thumbs/)?[A-Za-z0-9_][A-Za-z0-9._-]{0,200}\.png")

Whole = Annotated[int, Field(ge=0)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Sha = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Row = list[Number | None]


class _Table(BaseModel):
    model_config = ConfigDict(extra="allow")


class _Mark(_Table):
    kind: str
    metre_m: Number
    lane: Whole
    offset_mm: Number | None
    severity: Number = 0.0
    crop: str = ""
    thumb: str = ""
    sha256: str = ""


class _Gap(_Table):
    from_m: Number
    to_m: Number
    windows: Whole
    why: dict[str, int]


class _Answer(_Table):
    """What a page counts on; whatever else the answer says stays with it."""

    expected: Whole
    seen: Whole
    missing: Whole
    not_seen: Whole
    closes: bool
    marks: list[_Mark]
    gaps: list[_Gap]
    booked: list[dict[str, Any]]
    frames: dict[str, Any]
    windows: dict[str, Number | None]
    focus: dict[str, Number | None]
    lamp: dict[str, Number | None]
    rollers: list[dict[str, Any]]
    parts: list[dict[str, Any]]
    phase_doubtful_m: list[Number]
    slips: list[dict[str, Any]]
    repeat_ppm: Number | None
    encoder_ppm: Number | None
    notes: list[str]
    cautions: list[str]


class _Trends(_Table):
    metre_m: list[Number]
    value: dict[str, list[Row]]


class _Told(_Table):
    answer: _Answer
    trends: _Trends
    limits: dict[str, dict[str, Any]]
    layout: dict[str, Any]


class _Kept(_Table):
    version: Literal[1]
    roll: str
    at: datetime
    told: _Told
    pictures: dict[str, Sha]


@dataclass(frozen=True, slots=True)
class Listed:
    """A kept reading as a list shows it.  name : of its folder;  stamp : what changes when its file does"""

    name: str
    stamp: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Kept:
    """A reading as it was kept.  roll : as the journal names it;  told : `acts.window_view.kept_answer`

    pictures : name in the folder -> SHA-256 of its bytes as they were kept, hex
    """

    folder: Path
    roll: str
    at: datetime
    told: dict[str, Any]
    pictures: Mapping[str, str]

    @property
    def answer(self) -> dict[str, Any]:
        """The verdict, as the command printed it."""
        return self.told["answer"]  # type: ignore[no-any-return]

    def state(self, name: str) -> str:
        """GOOD; CHANGED where its bytes are no longer those kept; GONE where no such file can be read."""
        try:
            stat = (self.folder / name).stat()
            if name not in self.pictures or not PLAIN.fullmatch(name):
                return GONE
            same = _sum(self.folder / name, stat.st_mtime_ns, stat.st_size) == self.pictures[name]
        except OSError:
            return GONE
        return GOOD if same else CHANGED

    def picture(self, name: str) -> bytes:
        """The bytes that were kept; NotThere for a name that the reading has not, Broken where they have changed."""
        if name not in self.pictures or not PLAIN.fullmatch(name):
            true = f"the reading of {self.roll} keeps {len(self.pictures):,} pictures, and none of that name"
            raise NotThere("picture", name, true, "follow a link on the page")
        data = _bytes(self.folder / name, name)
        if sha256(data).hexdigest() != self.pictures[name]:
            raise Broken(f"picture {name}", "it has changed since it was kept: its SHA-256 is another", AGAIN)
        return data


def keep_reading(folder: Path, roll: str, told: Mapping[str, Any], at: datetime | None = None) -> Path:
    """Write reading.json; its path.  at : when it was read; now, where it is not said

    told : {"answer", "trends", "limits", "layout"} of plain values; the pictures that its marks name lie in the folder
    """
    marks = told["answer"]["marks"]
    names = sorted({one[what] for one in marks for what in ("crop", "thumb") if one.get(what)})
    sums = {name: sha256(_bytes(folder / name, name)).hexdigest() for name in names}
    kept = {"version": VERSION, "roll": roll, "at": (at or datetime.now(UTC)).isoformat(timespec="seconds"),
            "told": told, "pictures": sums}  # fmt: skip
    text = json.dumps(kept, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    write_whole(folder / FILE, text, f"keeping the reading of {roll}", "see that the folder may be written")
    return folder / FILE


def read_kept(folder: Path) -> Kept:
    """The reading in a folder, checked; Problem where there is none, it is of another version, or damaged."""
    asked = f"kept reading {folder.name}"
    try:
        with (folder / FILE).open("rb") as file:
            raw = file.read(LARGEST + 1)
    except FileNotFoundError as error:
        raise Problem(asked, f"there is no {FILE}", AGAIN) from error
    except OSError as error:
        raise Problem(asked, f"{error.strerror}", "see that the file may be read") from error
    if len(raw) > LARGEST:
        raise Problem(asked, f"it is larger than {LARGEST >> 20} MiB", AGAIN)
    kept = _checked(asked, raw)
    at = kept.at if kept.at.tzinfo else kept.at.replace(tzinfo=UTC)
    return Kept(folder, kept.roll, at, kept.told.model_dump(), kept.pictures)


def _checked(asked: str, raw: bytes) -> _Kept:
    try:
        return _Kept.model_validate_json(raw)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        if first["loc"][:1] == ("version",):
            true = f"its version is {str(first['input'])[:20]}; this program reads version {VERSION}"
            raise Problem(asked, true, AGAIN) from error
        where = ".".join(map(str, first["loc"])) or "the whole"
        raise Problem(asked, f"it is damaged at {where}: {first['msg'].lower()}", AGAIN) from error


def readings(works: Path) -> list[Listed]:
    """What lies in the works' folder for readings, newest first; whether each can be read is not asked."""
    return sorted(_listed(works / FOLDER), key=lambda one: (-one.stamp[0], one.name))


def _listed(folder: Path) -> Iterator[Listed]:
    for path in folder.glob(f"*/{FILE}"):
        try:
            stat = path.stat()
        except OSError:
            continue
        yield Listed(path.parent.name, (stat.st_mtime_ns, stat.st_size))


def listed_as(works: Path, name: str) -> Listed:
    """The reading of that name among those of a works; NotThere for a name that is none of them."""
    there = {one.name: one for one in readings(works)}
    if name not in there:
        true = f"{FOLDER}/ holds {', '.join(list(there)[:8]) or 'no reading'}"
        raise NotThere("reading", name, true, "choose one of them")
    return there[name]


@lru_cache(maxsize=20_000)
def _sum(path: Path, mtime_ns: int, size: int) -> str:
    """Of a file as it stands; asked anew when it changes."""
    return sha256(_bytes(path, path.name)).hexdigest()


def _bytes(path: Path, name: str) -> bytes:
    if not PLAIN.fullmatch(name):
        raise BadValue("picture", name, "it is no plain name of a PNG", AGAIN)
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_PICTURE + 1)
    except OSError as error:
        raise NotThere("picture", name, f"{error.strerror}", AGAIN) from error
    if len(data) > LARGEST_PICTURE:
        raise Problem(f"picture {name}", f"it is larger than {LARGEST_PICTURE >> 20} MiB", AGAIN)
    return data

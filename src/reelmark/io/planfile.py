"""A plan at rest: `plans/NAME.json` in the works' folder, written whole or not at all, checked when it is read.

    write_plan(folder, "current", kept)          kept : as ``acts.plan_kept.to_dict`` gives it, and what else is told
    read_plan(folder, "current")                 None where there is none

The file is a copy of what was worked out, not a record: it can be deleted, and the works be planned again.
"""

import json
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from reelmark.errors import BadValue, Problem
from reelmark.io.whole import write_whole

__all__ = ["FOLDER", "read_plan", "stamp_of", "write_plan"]

FOLDER: Final = "plans"
LARGEST: Final = 64 * 2**20  # bytes; a year of 60 orders takes a tenth
AGAIN: Final = "plan again, or delete the file"

Whole = Annotated[int, Field(ge=0, le=2**31)]
Index = Annotated[int, Field(ge=-1, le=2**31)]
Pairs = list[tuple[Index, Whole]]
Money = Annotated[float, Field(allow_inf_nan=False)]


class _Table(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid")


class _Machine(_Table):
    name: str
    closed: Pairs
    maintenance: Pairs
    family: Whole | None


class _Stage(_Table):
    name: str
    on: Annotated[Pairs, Field(min_length=1)]
    family: Whole
    least_wait: Whole
    most_wait: Whole | None
    stored: bool
    uses: Pairs
    after: list[Whole] | None


class _Job(_Table):
    name: str
    stages: Annotated[list[_Stage], Field(min_length=1)]
    batches: Annotated[int, Field(ge=1, le=10**6)]
    release: Whole


class _Due(_Table):
    job: Whole
    batches: Whole
    at: Whole
    weight: Money


class _Level(_Table):
    begins: Whole
    amount: Whole


class _Resource(_Table):
    name: str
    levels: list[_Level]


class _Shop(_Table):
    unit_min: Annotated[int, Field(ge=1, le=1440)]
    machines: list[_Machine]
    jobs: list[_Job]
    dues: list[_Due]
    setups: list[tuple[Whole, Whole, Whole]]
    places: Whole | None
    resources: list[_Resource]
    prices: dict[str, Money]
    horizon: Whole
    setups_open: bool
    families: list[str]
    begins: str


class _Plan(_Table):
    format: Literal[1]
    shop: _Shop
    machine: list[Index]
    start: list[Whole]
    end: list[Whole]
    begins: str
    cost: Money
    bound: Money
    frozen: list[Whole]
    pinned: list[tuple[Whole, Index, Whole]]
    says: list[str]
    told: dict[str, Any] = {}


def _path(folder: Path, name: str) -> Path:
    if not name.isidentifier():
        raise BadValue("plan", name, "a plan's name is letters, digits and _", "name it so")
    return folder / FOLDER / f"{name}.json"


def write_plan(folder: Path, name: str, kept: dict[str, Any]) -> None:
    """Write it beside the journal; whoever reads sees the old one or the new one.  Problem where it cannot be."""
    path = _path(folder, name)
    text = json.dumps(kept, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    write_whole(path, text, f"writing plan {name}", "see that the works' folder may be written")


def stamp_of(folder: Path, name: str) -> tuple[int, int] | None:
    """What changes when the file does; None where there is none."""
    try:
        state = _path(folder, name).stat()
    except OSError:
        return None
    return state.st_mtime_ns, state.st_size


def read_plan(folder: Path, name: str) -> dict[str, Any] | None:
    """The plan of that name, checked field by field; Problem for a file that is none of ours, or is damaged."""
    path, asked = _path(folder, name), f"plan {name} in {FOLDER}/"
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST + 1)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise Problem(asked, f"{error.strerror}", "see that the file may be read") from error
    if len(raw) > LARGEST:
        raise Problem(asked, f"it is larger than {LARGEST >> 20} MiB", AGAIN)
    return _checked(asked, raw)


def _checked(asked: str, raw: bytes) -> dict[str, Any]:
    try:
        return _Plan.model_validate_json(raw).model_dump()
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        if first["loc"][:1] == ("format",):
            true = f"its format is {str(first['input'])[:20]}; this program reads format 1"
            raise Problem(asked, true, AGAIN) from error
        where = ".".join(map(str, first["loc"])) or "the whole"
        raise Problem(asked, f"it is damaged at {where}: {first['msg'].lower()}", AGAIN) from error

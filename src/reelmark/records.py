"""Shop records: the lines a works' machines and hands write, as the intake accepts them.

Every record says who wrote it: machine, that machine's own running number `seq`, the time with its zone, the person.
Lengths carry their unit ("5214.25 m"); sheets and notes are whole numbers; sheets of a pile count from the top, 0
first; metres of a pass count as that machine unwound them, 0 at the outside of the roll.
"""

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints, TypeAdapter

from .facts import SERIES
from .fields import Micrometres

__all__ = ["KINDS", "TWO_PERSONS", "AnyRecord", "Record", "adapter"]


def _not_a_series(name: str) -> str:
    if name.startswith(SERIES):
        raise ValueError(f"names that begin with {SERIES!r} are kept for series; give the unit another name")
    return name


Name = Annotated[
    str,
    StringConstraints(min_length=1, max_length=64, pattern=r"^[\w][\w .:/+#-]*$", strict=True),
    AfterValidator(_not_a_series),
]
Text = Annotated[str, StringConstraints(min_length=1, max_length=200, strict=True)]
Number = Annotated[str, StringConstraints(min_length=1, max_length=24, pattern=r"^[0-9A-Z]+$", strict=True)]
Sheets = Annotated[int, Field(ge=0, le=2**31, strict=True)]
Some = Annotated[int, Field(ge=1, le=2**31, strict=True)]
PullKind = Literal["spoiled", "sample", "held"]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Stretch(_Part):
    """Metres of a unit that were kept, by the counter of the machine that unwound it."""

    unit: Name
    start: Micrometres
    end: Micrometres


class Taken(_Part):
    """Sheets pulled at a known place: `sheets` of them from feed count `start` on."""

    start: Sheets
    sheets: Some
    kind: PullKind = "spoiled"
    why: Text = "spoil"


class Uncounted(_Part):
    """Sheets pulled somewhere from feed count `start` up to, not with, `end`; nobody counted, low to high of them."""

    start: Sheets
    end: Some
    low: Sheets = 0
    high: Some
    kind: PullKind = "spoiled"
    why: Text = "uncounted pull"


class LaneUnit(_Part):
    """The roll that one lane went to."""

    lane: Annotated[int, Field(ge=1, le=99, strict=True)]
    unit: Name


class Part(_Part):
    """A pile made by splitting; sheets left out on the last part = all that is left."""

    unit: Name
    sheets: Some | None = None


class Read(_Part):
    """What was read at one position of a sheet."""

    position: Sheets
    text: Annotated[str, StringConstraints(max_length=24, strict=True)]


class Record(_Part):
    """What every record carries."""

    machine: Name
    seq: Some
    at: AwareDatetime
    by: Name
    by2: Name | None = None


class Roll(Record):
    """The film line wound a roll."""

    kind: Literal["roll"]
    unit: Name
    length: Micrometres
    lanes: Annotated[int, Field(ge=1, le=99, strict=True)]


class Pass(Record):
    """Web unwound, worked on or only rewound, and wound again: stretches kept, in the order unwound."""

    kind: Literal["pass"]
    kept: Annotated[list[Stretch], Field(min_length=1)]
    to: Name
    why: Text = "waste"


class Slit(Record):
    """A pass in which each lane is wound on a roll of its own."""

    kind: Literal["slit"]
    kept: Annotated[list[Stretch], Field(min_length=1)]
    to: Annotated[list[LaneUnit], Field(min_length=1)]
    why: Text = "waste"


class Sheet(Record):
    """`sheets` sheets cut one after another from a lane's roll, first cut at the machine's metre `first_cut`."""

    kind: Literal["sheet"]
    unit: Name
    to: Name
    first_cut: Micrometres
    sheets: Some


class Print(Record):
    """A press pass: fed from the top, delivered from the bottom up.  counted_in, counted_out: the press's counters."""

    kind: Literal["print"]
    unit: Name
    to: Name
    work: Text
    pulls: list[Taken] = []
    uncounted: list[Uncounted] = []
    counted_in: Sheets | None = None
    counted_out: Sheets | None = None


class Turn(Record):
    """A pile turned, by a turner or by hand.  turn: over, lead edge kept.  tumble: over, side edge kept."""

    kind: Literal["turn"]
    unit: Name
    to: Name
    how: Literal["same", "turn", "tumble", "half-turn"]


class PullOut(Record):
    """Sheets pulled from a pile that stands; the rest keeps its order."""

    kind: Literal["pull"]
    unit: Name
    to: Name
    pulls: list[Taken] = []
    uncounted: list[Uncounted] = []
    counted_out: Sheets | None = None


class Split(Record):
    """A pile split, the top part first."""

    kind: Literal["split"]
    unit: Name
    to: Annotated[list[Part], Field(min_length=1)]


class Join(Record):
    """Piles set on one another; the first named is the top."""

    kind: Literal["join"]
    units: Annotated[list[Name], Field(min_length=1)]
    to: Name


class NumberPass(Record):
    """A pile numbered.  first: first number of the run's allocation; first_tick, ticks: by the press's counter."""

    kind: Literal["number"]
    unit: Name
    to: Name
    series: Name
    first: Number
    first_tick: Sheets
    ticks: Some
    block: Some
    descending: bool
    pulls: list[Taken] = []
    uncounted: list[Uncounted] = []
    counted_out: Sheets | None = None


class Cut(Record):
    """A numbered pile cut to notes."""

    kind: Literal["cut"]
    unit: Name
    counted_in: Sheets | None = None


class Replaced(_Part):
    """A number that is not in its pack, and the replacement note that lies there instead."""

    number: Number
    by: Number


class Pack(Record):
    """Notes first to last (whole packs of 100), less those replaced, banded."""

    kind: Literal["pack"]
    series: Name
    first: Number
    last: Number
    replaced: list[Replaced] = []


class Count(Record):
    """Sheets of a unit, or notes from first to last, counted.  blind: the counter did not see the book."""

    kind: Literal["count"]
    unit: Name | None = None
    series: Name | None = None
    first: Number | None = None
    last: Number | None = None
    counted: Sheets
    blind: bool = True


class Reading(Record):
    """Numbers read on one sheet of a numbered pile."""

    kind: Literal["read"]
    unit: Name
    sheet: Sheets
    reads: Annotated[list[Read], Field(min_length=1)]


class Sighting(Record):
    """A sheet known again: sheet `sheet` of `unit` is sheet `as_sheet` of `as_unit`."""

    kind: Literal["sight"]
    unit: Name
    sheet: Sheets
    as_unit: Name
    as_sheet: Sheets


class MarkSeen(Record):
    """Something seen on a roll, in metres as wound, on some lanes."""

    kind: Literal["mark"]
    unit: Name
    lanes: Annotated[list[int], Field(min_length=1)]
    start: Micrometres
    end: Micrometres
    fault: Text
    grade: Text = "note"
    seen_by: Text


class Allocate(Record):
    """A range of a series given to the order, by two persons."""

    kind: Literal["allocate"]
    series: Name
    first: Number
    last: Number
    purpose: Literal["order", "replacement"]


class Move(Record):
    """Sheets of a unit, or notes of a series, from one state to another; from held to good by two persons."""

    kind: Literal["move"]
    unit: Name | None = None
    start: Sheets | None = None
    sheets: Some | None = None
    series: Name | None = None
    first: Number | None = None
    last: Number | None = None
    source: Literal["good", "held", "sample", "spoiled"]
    target: Literal["good", "held", "sample", "spoiled"]
    why: Text


class Destroy(Record):
    """Spoil destroyed before two persons: a whole lot, or notes of a series."""

    kind: Literal["destroy"]
    unit: Name | None = None
    series: Name | None = None
    first: Number | None = None
    last: Number | None = None
    why: Text = "spoil destroyed"


class Correct(Record):
    """A later fact that takes the place of an earlier one, named by its machine and running number.

    record : the record as it should have been, without who and when; left out = the earlier one never happened
    """

    kind: Literal["correct"]
    of_machine: Name
    of_seq: Some
    record: dict[str, Any] | None = None
    why: Text


_ALL = (
    Roll, Pass, Slit, Sheet, Print, Turn, PullOut, Split, Join, NumberPass, Cut, Pack, Count, Reading, Sighting,
    MarkSeen, Allocate, Move, Destroy, Correct,
)  # fmt: skip
KINDS: dict[str, type[Record]] = {one.model_fields["kind"].annotation.__args__[0]: one for one in _ALL}  # type: ignore[union-attr]
TWO_PERSONS = frozenset({"allocate", "destroy", "correct"})
AnyRecord = Annotated[
    Roll | Pass | Slit | Sheet | Print | Turn | PullOut | Split | Join | NumberPass | Cut | Pack | Count | Reading
    | Sighting | MarkSeen | Allocate | Move | Destroy | Correct,
    Field(discriminator="kind"),
]  # fmt: skip


def adapter() -> TypeAdapter[Any]:
    """The validator of any record, by its kind."""
    return TypeAdapter(AnyRecord)

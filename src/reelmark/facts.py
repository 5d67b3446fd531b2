"""What happened, as values: every handling of web, sheets and numbers, whatever the machine.

    Piece      one stretch of one unit became one stretch of another      (exact, whole numbers)
    PileRun    piles fed from the top, pulled from, delivered             (pulls known or only bounded)
    Imprint    a number at every position of every sheet of a pile        (closed form, nothing stored a note)
    Run        a pass that was: who, when, on what, and its pieces
    Tie        what was counted, read or sighted: pins an unknown down
    Mark       what was seen, and where
    Posting    an extent out of one account into another, and why

Axes.  A roll's lane counts micrometres as wound, 0 at the core.  A pile counts sheets from the top, 0 the sheet the
next machine takes first.  A series counts notes from its first number.
"""

from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from .spans import Extent

__all__ = [
    "BLANK",
    "SERIES",
    "Account",
    "Imprint",
    "Kind",
    "Mark",
    "Piece",
    "PileRun",
    "Posting",
    "Pull",
    "Run",
    "Tie",
    "Unknown",
]

Kind = Literal["good", "spoiled", "sample", "held", "destroyed", "difference", "carried"]

BLANK = "no number"  # what a sheet is known as when it was looked at and bore none
SERIES = "series "  # a series is a unit whose name begins so; pile and roll names may not


class Piece(NamedTuple):
    """On (unit, lane) the stretch of width integers beginning at start + k*period became at + sign*k, k = 0..many-1.

    Rewind and pile turn: sign -1.  Trim, splice, slit: two pieces.  Sheet cutter: width = period = cut-off in um.
    """

    unit: str
    lane: int
    start: int
    many: int
    to_unit: str
    to_lane: int
    at: int
    sign: int = 1
    width: int = 1
    period: int = 1


class Pull(NamedTuple):
    """Sheets taken out at a known place: [start, start+sheets) of the feed, into a lot of their own."""

    start: int
    sheets: int
    lot: str
    kind: Kind
    why: str


class Unknown(NamedTuple):
    """A named unknown: between low and high sheets, taken somewhere in [start, stop) of the feed, uncounted."""

    name: str
    start: int
    stop: int
    low: int
    high: int
    lot: str
    kind: Kind
    why: str


@dataclass(frozen=True, slots=True)
class PileRun:
    """Piles laid end to end as they were fed, less what was pulled, delivered into one pile or several.

    outputs : (pile, sheets) in the order delivered; sheets None = all that is left
    reverses : True when each output is built from the bottom, so that its last sheet lies on top
    flip : (rows reversed, columns reversed) by which the sheets lie turned afterwards
    """

    inputs: tuple[str, ...]
    outputs: tuple[tuple[str, int | None], ...]
    reverses: bool
    pulls: tuple[Pull, ...] = ()
    unknowns: tuple[Unknown, ...] = ()
    flip: tuple[bool, bool] = (False, False)


@dataclass(frozen=True, slots=True)
class Imprint:
    """Numbers on a delivered pile.  Sheet printed t-th (t from 0 at base) bears at position p

        base + (t // block) * ups * block + p * block + (t % block, or block-1 - t % block when descending)

    ticks : how often the boxes struck, by the press's own counter; fewer than sheets = some went through unnumbered
    """

    unit: str
    series: str
    base: int
    block: int
    ups: int
    descending: bool
    first_tick: int
    ticks: int

    @property
    def frame(self) -> str:
        """The series as a unit."""
        return SERIES + self.series


@dataclass(frozen=True, slots=True)
class Run:
    """A pass that was.  seq : its place in the journal.  what : the record's kind.

    born : (unit, lanes, um) that came into being here, as film does at the film line
    """

    seq: int
    station: str
    machine: str
    at: str
    by: str
    what: str
    pieces: tuple[Piece, ...] = ()
    pile: PileRun | None = None
    imprint: Imprint | None = None
    born: tuple[tuple[str, int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Tie:
    """Something that pins positions down.

    counted : the unit holds so many sheets.  blind : whoever counted did not see the book; a count that is not blind
        is held against the book but pins nothing down
    sighted : sheet `sheet` of `unit` is sheet `as_sheet` of `as_unit`, further up the way;
        or bears strike `as_sheet` of the strike axis `as_unit`; or was seen to bear no number (as_unit = BLANK)
    """

    seq: int
    unit: str
    counted: int | None = None
    sheet: int = 0
    as_unit: str = ""
    as_sheet: int = 0
    by: str = ""
    at: str = ""
    blind: bool = True

    @property
    def name(self) -> str:
        """In words, for the report of a difference."""
        if self.counted is not None:
            return f"count of {self.unit}: {self.counted:,} (entry {self.seq})"
        return f"sheet {self.sheet:,} of {self.unit} known as {self.as_sheet:,} of {self.as_unit} (entry {self.seq})"


@dataclass(frozen=True, slots=True)
class Mark:
    """What was seen on the material: kind of fault, extent, grade, and who or what saw it."""

    seq: int
    fault: str
    extent: Extent
    grade: str
    seen_by: str


class Account(NamedTuple):
    """Whose hands, and in what state.  place : station, store or run; kind : see Kind."""

    place: str
    kind: Kind


@dataclass(frozen=True, slots=True)
class Posting:
    """An extent out of one account into another.  source None = it came into being here; target None never."""

    seq: int
    extent: Extent
    source: Account | None
    target: Account
    why: str
    by: tuple[str, ...] = field(default=())

"""The windows: a kept reading of a roll, its count that must close, what is wrong where, and the way to the journal."""

from dataclasses import dataclass, replace
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from fastapi import Query
from pydantic import BeforeValidator, Field

from ...acts.window import CAUTIONS
from ...acts.window_posted import Placed
from ...acts.window_view import camera_of, counted, limits_of
from ...errors import Problem
from ...figures.window_signs import rank
from ...io.windowkept import FOLDER, Kept, Listed
from ...reading import Reading
from ..content import Action, Content, Form, Part
from ..content import Field as Question
from ..page import Asked, AskedNow, Page
from ..words import moment
from .film_line import ask
from .windows_kept import KEPT, stamp_text
from .windows_marks import mark_forms, marks_table, pictures_of
from .windows_parts import figures_of, health_of, left_out, roll_strip, trends_of

__all__ = ["PAGE"]

_blank = BeforeValidator(lambda value: None if value == "" else value)
Name = Annotated[str, Query(max_length=128)]
Mm = Annotated[Annotated[float, Field(ge=0.001, le=100, allow_inf_nan=False)] | None, _blank, Query()]
Metre = Annotated[Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)] | None, _blank, Query()]
Many = Annotated[Annotated[int, Field(ge=1, le=1000)] | None, _blank, Query()]
Index = Annotated[Annotated[int, Field(ge=1, le=10**7)] | None, _blank, Query()]


@dataclass(frozen=True, slots=True)
class Asks:
    """What is asked, as it was asked; None: not.  offset, size : ± mm;  edge : mm at most"""

    reading: str = ""
    kind: str = ""
    offset: float | None = None
    size: float | None = None
    edge: float | None = None
    core_m: float | None = None
    column: int | None = None
    mark: int | None = None

    def query(self, **other: object) -> str:
        """As it stands in an address, with some of it another."""
        given = {name: getattr(self, name) for name in Asks.__dataclass_fields__} | other
        return urlencode({name: f"{v:g}" if isinstance(v, float) else str(v) for name, v in given.items()
                          if v not in ("", None)})  # fmt: skip


def build(
    asked: AskedNow,
    reading: Name = "",
    kind: Annotated[str, Query(max_length=40)] = "",
    offset: Mm = None,
    size: Mm = None,
    edge: Mm = None,
    core_m: Metre = None,
    column: Many = None,
    mark: Index = None,
    posted: Annotated[int | None, Query(ge=0, le=10**7)] = None,
) -> Content:
    """One kept reading; the newest, where none is asked for."""
    asks = Asks(reading, kind, offset, size, edge, core_m, column, mark)
    listed = KEPT.listed(asked.live.folder)
    if not listed and not reading:
        return Content("Windows", (NOTHING,), _cautions(CAUTIONS))
    name = reading or listed[0].name
    try:
        one, kept = KEPT.of(asked.live.folder, name)
    except Problem as problem:
        if reading and reading not in {each.name for each in listed}:
            raise
        return Content("Windows", (f"{problem}.",), (_form(asks, asked, name, listed, ()), *_cautions(CAUTIONS)))
    return _of_reading(asked, asks, one, kept, listed, posted)


NOTHING: Final = (
    "No reading is kept yet. Read a roll's frames with `reelmark window read FOLDER --keep WORKS/"
    f"{FOLDER}/ROLL --roll ROLL`, WORKS being the folder of this works: the reading and its pictures are shown here, "
    "and where ROLL is a roll of the journal its marks lie on the strips."
)


def _cautions(cautions: Any) -> tuple[str, ...]:
    return (f"Caution: {' '.join(cautions)}",)


def _of_reading(asked: Asked, asks: Asks, one: Listed, kept: Kept, listed: list[Listed], posted: int | None) -> Content:
    given, asks = asks, _whole(asks, kept, asked.now.reading)
    marks = KEPT.placed(kept, asked.now.reading, asks.core_m or 0.0, asks.column or 1)
    limits = limits_of(kept.answer, {"offset": asks.offset, "size": asks.size, "edge": asks.edge})
    kinds = tuple(sorted({each.mark["kind"] for each in marks}, key=rank))
    chosen = [each for each in marks if asks.kind in ("", each.mark["kind"])]
    parts: tuple[Part, ...] = (
        roll_strip(kept), pictures_of(asked, asks, kept, one.name, chosen), marks_table(asked, asks, one.name, chosen),
        *mark_forms(asked, asks, kept, (one.name, stamp_text(one)), marks), *trends_of(kept, limits),
        *figures_of(kept), *health_of(kept), *left_out(kept),
        _form(given, asked, one.name, listed, kinds), *_cautions(kept.answer["cautions"]),
    )  # fmt: skip
    actions = (Action("Another reading, other limits", "#q-reading-and-limits"),)
    return Content(f"Windows of {kept.roll}{_doubt(kept)}", _lead(asked, kept, marks, posted), parts, actions)


def _whole(asks: Asks, kept: Kept, reading: Reading) -> Asks:
    """With the camera's place, where none was asked."""
    core_m, column = camera_of(kept.told, reading, kept.roll)
    return replace(asks, core_m=core_m if asks.core_m is None else asks.core_m, column=asks.column or column)


def _doubt(kept: Kept) -> str:
    """What is said beside the title, where the figures below are not to be trusted."""
    if not counted(kept.answer)[0].endswith("for."):
        return ": the count does not close"
    return ": phase doubtful" if kept.answer["phase_doubtful_m"] else ""


def _lead(asked: Asked, kept: Kept, marks: list[Placed], posted: int | None) -> tuple[str, ...]:
    written = sum(each.entry is not None for each in marks)
    frames = kept.answer["frames"]
    lost = frames["lost_flashes"]
    said = (
        f"Read {moment(kept.at.isoformat(), asked.live.works.zone)}: {frames['used']:,} of {frames['given']:,} frames "
        f"used, {lost:,} {'flash' if lost == 1 else 'flashes'} without a frame. {len(marks):,} "
        f"{'mark' if len(marks) == 1 else 'marks'}, {written:,} of them in the journal."
    )
    done = f"{posted:,} {'mark was' if posted == 1 else 'marks were'} written into the journal." if posted else ""
    roll = kept.roll in asked.now.reading.shop.rolls
    nowhere = "" if roll else f"The journal holds no roll {kept.roll}: its marks lie on no strip and cannot be written."
    notes = (f"{note[:1].upper()}{note[1:]}." for note in kept.answer["notes"] if not note.startswith("phase doubtful"))
    return tuple(line for line in (done, *counted(kept.answer), said, nowhere, *notes) if line)


def _form(asks: Asks, asked: Asked, name: str, listed: list[Listed], kinds: tuple[str, ...]) -> Form:
    assumed = "empty: as far as single windows are judged, assumed"
    fields = (
        Question("reading", "Reading", "select", name, f"in the folder {FOLDER}/, newest first",
                 tuple((one.name, one.name) for one in listed)),
        Question("kind", "Kind of mark", "select", asks.kind, "of the pictures and the table",
                 (("", "all"), *((one, one) for one in kinds))),
        ask("offset", "Limit of the offset, ± mm", asks.offset, assumed),
        ask("size", "Limit of the size, ± mm", asks.size, f"about the usual of this roll; {assumed}"),
        ask("edge", "Limit of the edge width, mm", asks.edge, assumed),
        ask("core_m", "Encoder's metre at the core", asks.core_m,
            "empty: as kept, else what the roll's pass left off first, the encoder set to 0 as the web began to run"),
        ask("column", "Column of the web at the camera's lane 1", asks.column,
            "empty: as kept, else the first of the lane it looks at, else 1"),
    )  # fmt: skip
    return Form("Reading and limits", f"{asked.base}/windows", fields, "Show")


PAGE = Page("/orders/{order}/windows", "Windows", build, menu="order")

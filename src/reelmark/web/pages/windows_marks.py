"""Marks of a kept reading: their pictures by severity, the table that leads to the strips, forms for the journal."""

from collections.abc import Mapping, Sequence
from typing import Any, Final, Protocol
from urllib.parse import quote

from ...acts.follow import choose, follow
from ...acts.told import number_ranges
from ...acts.window_posted import Placed
from ...io.windowkept import CHANGED, GOOD, Kept
from ..content import Cell, Column, Field, Form, Link, Picture, Pictures, Table
from ..page import Asked
from ..roles import Role
from .film_figures import fig
from .windows_post import MOST_POSTED

__all__ = ["MOST_PICTURES", "mark_forms", "marks_table", "pictures_of"]

MOST_PICTURES: Final = 24  # the gravest
MOST_FOLLOWED: Final = 24  # marks that are followed to their numbers on the page


class Asks(Protocol):
    """What the page was asked."""

    @property
    def core_m(self) -> float | None: ...
    @property
    def column(self) -> int | None: ...
    @property
    def mark(self) -> int | None: ...
    def query(self, **other: object) -> str: ...


def gravest(marks: Sequence[Placed]) -> list[Placed]:
    """Windows that are missing first, as their measure ends where all is gone; then by how far over the limit."""
    return sorted(marks, key=lambda one: (one.mark["kind"] != "missing", -one.mark["severity"], one.number))


# ---- pictures


def pictures_of(asked: Asked, asks: Asks, kept: Kept, name: str, marks: Sequence[Placed]) -> Pictures:
    """The gravest that have one, each leading to the whole picture."""
    pictured = [one for one in gravest(marks) if one.mark.get("crop")]
    some = tuple(_picture(asked, asks, kept, name, one) for one in pictured[:MOST_PICTURES])
    more = len(pictured) - len(some)
    note = (
        "Missing windows first, then by how far over the limit. Thumbnails have their greys spread out; each leads to "
        "the picture as it was taken." + (f" {more:,} more are in the table." if more else "")
    )
    empty = "No mark of that kind has a picture." if marks else "Nothing wrong was found: there is nothing to picture."
    return Pictures("marks", "What is wrong, the gravest first", some, empty, note if some else "")


def _picture(asked: Asked, asks: Asks, kept: Kept, name: str, one: Placed) -> Picture:
    crop, thumb = one.mark["crop"], one.mark.get("thumb") or one.mark["crop"]
    where = f"{one.mark['kind']} at {one.mark['metre_m']:,.3f} m, lane {one.mark['lane']}"
    says = (one.mark["kind"] + _over(one.mark),
            f"{one.mark['metre_m']:,.3f} m, lane {one.mark['lane']}")  # fmt: skip
    states = {kept.state(crop), kept.state(thumb)}
    links = tuple(link for link in (_written(asked, one) or _offer(asked, asks, name, one),) if link)
    if states != {GOOD}:
        why = "changed since it was kept" if CHANGED in states else "no longer in its folder"
        return Picture("", "", f"picture {why}: not shown", says, links)
    at = f"{asked.base}/windows/picture/{quote(name, safe='')}"
    return Picture(f"{at}/{quote(crop)}", f"{at}/{quote(thumb)}", f"Picture of {where}", says, links)


def _over(mark: Mapping[str, Any]) -> str:
    """How far over its limit, where that says anything: of a window that is missing nothing more can be gone."""
    return "" if mark["kind"] == "missing" else f", {mark['severity']:.1f} × its limit"


def _written(asked: Asked, one: Placed) -> Link | None:
    return None if one.entry is None else Link(f"mark {one.number:,}: entry {one.entry:,}",
                                               f"{asked.base}/entry/{one.entry}")  # fmt: skip


def _offer(asked: Asked, asks: Asks, name: str, one: Placed) -> Link | None:
    """The way to the form that writes it."""
    if one.body is None or not asked.may(Role.WRITE):
        return None
    return Link(f"write mark {one.number:,}", f"{asked.base}/windows?{asks.query(reading=name, mark=one.number)}"
                "#q-write-this-mark")  # fmt: skip


# ---- the table


def marks_table(asked: Asked, asks: Asks, name: str, marks: Sequence[Placed]) -> Table:
    """All of them, the gravest first; the page shows as many as a table does and counts the rest."""

    def rows() -> list[list[Cell]]:
        return [_row(asked, asks, name, one, n < MOST_FOLLOWED) for n, one in enumerate(gravest(marks))]

    columns = (fig("Mark"), Column("Kind"), fig("Metre", "m", 3), fig("Lane"), fig("Offset", "mm", 3),
               fig("Size", "mm", 2), fig("Over its limit", "times", 1), Column("Picture"), Column("On the strips"),
               fig("May touch", "numbers"), Column("In the journal"))  # fmt: skip
    note = (
        f"The gravest first. Metres by the encoder. Numbers are worked out for the first {MOST_FOLLOWED}; the strips "
        "show for each which sheets and numbers it may touch."
    )
    empty = "No mark: nothing wrong was found with windows or coat."
    return Table("marks", "Marks, and where they lie on the strips", columns, rows, empty, note, most=100)


def _row(asked: Asked, asks: Asks, name: str, one: Placed, followed: bool) -> list[Cell]:
    mark: Any = one.mark
    crop = mark.get("crop")
    picture = Link(f"picture {one.number}", f"{asked.base}/windows/picture/{quote(name, safe='')}/{quote(crop)}")
    there: Cell = Link(one.place, f"{asked.base}?of={quote(one.place)}") if one.place else None
    if one.nowhere is not None:
        there = f"nowhere: {one.nowhere.true}"
    many = _concerned(asked, one.place) if one.place and followed else None
    return [one.number, mark["kind"], mark["metre_m"], mark["lane"], mark["offset_mm"], mark.get("size_mm"),
            mark["severity"], picture if crop else None, there, many,
            _written(asked, one) or _offer(asked, asks, name, one)]  # fmt: skip


def _concerned(asked: Asked, place: str) -> int:
    """Notes whose numbers the place may touch."""

    def count(reading: Any) -> int:
        return sum(many for *_, many in number_ranges(reading, follow(reading, choose(reading, [place])).may))

    return asked.now.recent(("window place", place), count)


# ---- into the journal


def mark_forms(asked: Asked, asks: Asks, kept: Kept, reading: tuple[str, str], marks: Sequence[Placed]) -> list[Form]:
    """Write the mark chosen; write all that are not there yet.  reading : its name and stamp"""
    left = [one for one in marks if one.body is not None and one.entry is None]
    if not asked.may(Role.WRITE) or not left:
        return []
    chosen = [one for one in left if one.number == asks.mark]
    return [*(_one_form(asked, asks, reading, one) for one in chosen), _all_form(asked, asks, kept, reading, left)]


def _fields(asks: Asks, reading: tuple[str, str], number: int) -> tuple[Field, ...]:
    given = {"reading": reading[0], "stamp": reading[1], "number": str(number)}
    given |= {"core_m": repr(asks.core_m or 0.0), "column": str(asks.column or 1)}
    return tuple(Field(name, "", "hidden", value) for name, value in given.items())


def _one_form(asked: Asked, asks: Asks, reading: tuple[str, str], one: Placed) -> Form:
    assert one.body is not None
    says = (
        f"Mark {one.number:,}: {one.body['fault']}, on {one.place}. Once written, the strips carry it to every sheet."
    )
    return Form("Write this mark", f"{asked.base}/windows/mark", _fields(asks, reading, one.number),
                "Write it into the journal", "post", says)  # fmt: skip


def _all_form(asked: Asked, asks: Asks, kept: Kept, reading: tuple[str, str], left: Sequence[Placed]) -> Form:
    many = min(len(left), MOST_POSTED)
    kinds = sorted({one.mark["kind"] for one in left})
    more = f" The first {many:,}; ask again for the rest." if len(left) > many else ""
    doubt = "" if kept.answer["closes"] else "The count of this reading does not close: its metres may be wrong."
    doubt = doubt or ("Phase doubtful: metres may be a repeat off." if kept.answer["phase_doubtful_m"] else "")
    says = f"{len(left):,} marks of this reading are not in the journal: {', '.join(kinds)}. An entry for each.{more}"
    words = f"Write {'it' if many == 1 else f'these {many:,}'} into the journal"
    return Form("Write all marks", f"{asked.base}/windows/mark", _fields(asks, reading, 0), words, "post", says, doubt)

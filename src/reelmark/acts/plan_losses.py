"""What is held, in words and notes: marks whose grade takes material out, and what the books hold."""

from collections import defaultdict
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from math import ceil

from ..facts import SERIES, Mark
from ..reading import Reading
from ..spans import EMPTY, Place, Spans
from .plan_facts import touched

__all__ = ["Loss", "held_in_books", "mark_loss", "marks_held"]


@dataclass(frozen=True, slots=True)
class Loss:
    """What one mark or one hold takes out.  entry : of the journal;  metres : of film, None where it is no film
    sheets : at most, on `lanes` lanes;  notes : that are good still, or would be"""

    why: str
    entry: int
    metres: float | None
    lanes: int
    sheets: int
    notes: int

    @property
    def words(self) -> str:
        """As a person says it."""
        if self.metres is None:
            return f"{self.notes:,} notes held: {self.why} (entry {self.entry})"
        each, rest = divmod(self.sheets, self.lanes)
        where = f"{self.sheets:,} sheets on {self.lanes} lanes" if rest else f"{each:,} sheets a lane"
        held = f"{self.metres:g} m of film held: {where}, {self.notes:,} notes"
        return f"{held} ({self.why}, entry {self.entry})"


def marks_held(reading: Reading, grades: Collection[str]) -> list[Mark]:
    """Marks of a grade that takes material out."""
    return [one for one in reading.shop.marks if one.grade in grades]


def mark_loss(reading: Reading, mark: Mark) -> Loss:
    """What of the mark's material is good still, wherever it lies now, in whole sheets."""
    lost, books, ups = touched(reading, mark.extent), reading.accounting.books, reading.order.layout.ups
    sheets, notes = 0.0, 0
    for place, spans in lost.items():
        good = EMPTY
        for some in books.of_kind(place, "good").values():
            good = good | (some & spans)
        if place[0].startswith(SERIES):
            notes += good.size
        else:
            cut = reading.order.layout.cut_off if place[0] in reading.shop.web_length else 1
            sheets += good.size / cut
    whole = ceil(round(sheets, 6))
    lanes = {lane for _, lane in mark.extent}
    metres = max(spans.size for spans in mark.extent.values()) / 1e6
    many = whole + -(-notes // ups)
    return Loss(mark.fault, mark.seq, metres, len(lanes), many, notes + whole * ups)


def held_in_books(reading: Reading) -> Iterator[Loss]:
    """What the books hold, by the entry that held it last."""
    books, cut, ups = reading.accounting.books, reading.order.layout.cut_off, reading.order.layout.ups
    found: dict[tuple[int, str], float] = defaultdict(float)
    left: dict[Place, Spans] = {}
    for posting in reversed(books.postings):
        for place, spans in posting.extent.items() if posting.target.kind == "held" else ():
            held = left[place] if place in left else _held(reading, place)
            left[place] = held - spans
            weight = {"notes": 1.0, "sheets": float(ups), "um": ups / cut}[books.measures[place[0]]]
            found[posting.seq, posting.why] += (held & spans).size * weight
    for (entry, why), notes in sorted(found.items()):
        if notes:
            yield Loss(why, entry, None, 1, ceil(notes / ups), round(notes))


def _held(reading: Reading, place: Place) -> Spans:
    held = EMPTY
    for some in reading.accounting.books.of_kind(place, "held").values():
        held = held | some
    return held

"""Marks of a camera's reading against the journal: where each lies on the strips, and which are written already.

for one in placed(reading, "F05", marks): ...      one.place "F05@12.3-13.3m@1", one.entry 31 or None
to_post(reading, "F05", marks)                     bodies of those that are not there yet
"""

from collections import defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..errors import Problem
from ..reading import Reading
from ..units import in_metres
from .window import SEEN_BY, window_marks

__all__ = ["Placed", "placed", "to_post"]

Told = Mapping[str, Any]
Key = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Placed:
    """A mark of the reading.  number : 1.. in the reading;  place : as the strips' address names it

    body : the record that it makes;  nowhere : why it lies on no web of the journal, then place is "" and body None
    entry : the journal's entry that says it; None: it is not written
    """

    number: int
    mark: Told
    place: str = ""
    body: dict[str, Any] | None = None
    nowhere: Problem | None = None
    entry: int | None = None


def placed(
    reading: Reading, roll: str, marks: Sequence[Told], core_m: float = 0.0, first_column: int = 1
) -> list[Placed]:
    """Every mark, in the reading's order.  Each entry of the journal answers for one mark."""
    there = _Journal(reading, roll)
    return [_placed(reading, roll, n, one, core_m, first_column, there) for n, one in enumerate(marks, 1)]


def to_post(placed_: Iterable[Placed], numbers: Sequence[int] | None = None) -> list[dict[str, Any]]:
    """Bodies of those marks that are not in the journal and lie on its web.  numbers : of the marks; None: all"""
    wanted = None if numbers is None else set(numbers)
    return [one.body for one in placed_
            if one.body is not None and one.entry is None and (wanted is None or one.number in wanted)]  # fmt: skip


def _placed(
    reading: Reading, roll: str, number: int, mark: Told, core_m: float, column: int, there: "_Journal"
) -> Placed:
    try:
        (body,) = window_marks(reading, roll, [mark], core_m, column)
    except Problem as problem:
        return Placed(number, mark, nowhere=problem)
    return Placed(number, mark, _place(body), body, entry=there.take(body, mark))


def _place(body: Told) -> str:
    start, end = (body[name].removesuffix(" m") for name in ("start", "end"))
    return f"{body['unit']}@{start}-{end}m@{','.join(map(str, body['lanes']))}"


class _Journal:
    """The camera's marks on a roll, each to be taken once: by the picture's checksum, else by place and words."""

    def __init__(self, reading: Reading, roll: str) -> None:
        self.by_words: dict[Key, deque[int]] = defaultdict(deque)
        self.by_picture: dict[Key, deque[int]] = defaultdict(deque)
        self.taken: set[int] = set()
        for mark in reading.shop.marks:
            if mark.seen_by != SEEN_BY:
                continue
            for (unit, lane), spans in mark.extent.items():
                for a, b in spans if unit == roll else ():
                    place = (lane, in_metres(a), in_metres(b))
                    self.by_words[(*place, mark.fault)].append(mark.seq)
                    if sum_ := _sum(mark.fault):
                        self.by_picture[lane, mark.fault.partition(" ")[0], sum_].append(mark.seq)

    def take(self, body: Told, mark: Told) -> int | None:
        """The entry that says this mark; None where none is left."""
        lane, fault = body["lanes"][0], body["fault"]
        ends = [body[name].removesuffix(" m") for name in ("start", "end")]
        keys = [(self.by_picture, (lane, fault.partition(" ")[0], mark["sha256"]))] if mark.get("sha256") else []
        for index, key in [*keys, (self.by_words, (lane, *ends, fault))]:
            left = index[key] if key in index else deque()
            while left:
                seq = left.popleft()
                if seq not in self.taken:
                    self.taken.add(seq)
                    return seq
        return None


def _sum(fault: str) -> str:
    """The picture's checksum in a fault's words; nothing where it has none."""
    return fault.partition("sha256 ")[2].partition(";")[0].strip()

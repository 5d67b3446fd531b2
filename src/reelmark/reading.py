"""One record, three readings: from the records of the journal to where, how many, and what is wrong.

    reading = Reading.of(order, works, records)        records in journal order, corrections among them

All of it is a pure function of (order, works, records): read again, or up to an earlier entry, it says the same.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from pydantic import ValidationError

from . import records as rec
from .errors import BadValue, NotThere
from .fields import refusal
from .order import Order
from .posting import Accounting, PostingRefused
from .shop import Shop
from .striking import strikes_seen
from .trace.thread import Thread
from .works import Works

__all__ = ["Reading", "Refused", "effective"]


class Refused(Exception):
    """A record that cannot be true beside the others.  seq : its entry."""

    def __init__(self, seq: int, problem: BadValue) -> None:
        super().__init__(f"entry {seq}: {problem}")
        self.seq, self.problem = seq, problem


def effective(records: Sequence[rec.Record]) -> list[rec.Record | None]:
    """The records as later corrections left them; None where the earlier one never happened."""
    place = {(one.machine, one.seq): seq for seq, one in enumerate(records)}
    result: list[rec.Record | None] = list(records)
    for seq, one in enumerate(records):
        if isinstance(one, rec.Correct):
            at = place.get((one.of_machine, one.of_seq))
            if at is None or at >= seq:
                key = f"{one.of_machine} {one.of_seq}"
                true = "no earlier record has that machine and number"
                raise Refused(seq, NotThere("of_seq", key, true, "name the machine and seq of the wrong record"))
            result[at] = _corrected(seq, records[at], one)
    return result


def _corrected(seq: int, old: rec.Record, correction: rec.Correct) -> rec.Record | None:
    """The record that now stands in the old one's place: who and when stay, the rest is as corrected."""
    if isinstance(old, rec.Correct):
        true = "that record is itself a correction"
        raise Refused(seq, BadValue("of_seq", correction.of_seq, true, "correct the record it was about once more"))
    if isinstance(old, rec.Allocate) or (correction.record or {}).get("kind") == "allocate":
        true = "an allocation stands as two persons signed it, so that no range is ever given twice"
        raise Refused(
            seq, BadValue("of_seq", correction.of_seq, true, "allocate a further range; leave numbers unused")
        )
    if correction.record is None:
        return None
    kept = {name: getattr(old, name) for name in rec.Record.model_fields}
    given: dict[str, Any] = {**correction.record, **kept}
    given.setdefault("kind", old.kind)  # type: ignore[attr-defined]
    try:
        return rec.adapter().validate_python(given)  # type: ignore[no-any-return]
    except ValidationError as error:
        raise Refused(seq, refusal(error)) from error


@dataclass
class Reading:
    """The three readings of a journal of `size` entries."""

    order: Order
    works: Works
    records: tuple[rec.Record, ...]
    shop: Shop = field(repr=False)

    @classmethod
    def of(cls, order: Order, works: Works, records: Iterable[rec.Record]) -> "Reading":
        """Every record taken in; Refused names the first that cannot be."""
        every = tuple(records)
        shop = Shop(order, works)
        for seq, one in enumerate(effective(every)):
            if one is not None:
                try:
                    shop.take(seq, one)
                except BadValue as problem:
                    raise Refused(seq, problem) from problem
        return cls(order, works, every, shop)

    @staticmethod
    def sift(order: Order, works: Works, records: Sequence[rec.Record], start: int) -> list[tuple[int, BadValue]]:
        """Entries from `start` on that cannot be taken in beside the others, each passed over to see the next."""
        shop, bad = Shop(order, works), []
        for seq, one in enumerate(effective(records)):
            try:
                if one is not None:
                    shop.take(seq, one)
            except BadValue as problem:
                if seq < start:
                    raise Refused(seq, problem) from problem
                bad.append((seq, problem))
        return bad

    def upto(self, size: int) -> "Reading":
        """The reading as it was known when the journal held `size` entries."""
        return Reading.of(self.order, self.works, self.records[:size])

    @property
    def size(self) -> int:
        """Entries read."""
        return len(self.records)

    @cached_property
    def thread(self) -> Thread:
        """Where."""
        return Thread(self.shop.runs, [*self.shop.ties, *strikes_seen(self.shop)])

    @cached_property
    def accounting(self) -> Accounting:
        """How many, in whose hands."""
        try:
            return Accounting(self.shop, self.thread)
        except PostingRefused as refused:
            raise Refused(refused.seq, refused.problem) from refused

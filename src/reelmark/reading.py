"""One record, three readings: from the records of the journal to where, how many, and what is wrong.

    reading = Reading.of(order, works, records)        records in journal order, corrections among them

All of it is a pure function of (order, works, records): read again, or up to an earlier entry, it says the same.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
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

__all__ = ["Reading", "Refused", "Tell", "effective"]

Tell = Callable[[str, int, int], None]  # told what is being done, how much of it is done, of how much


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
    _before: Thread | None = field(default=None, repr=False, compare=False)  # let go of once the thread is made

    @classmethod
    def of(
        cls,
        order: Order,
        works: Works,
        records: Iterable[rec.Record],
        earlier: "Reading | None" = None,
        tell: Tell | None = None,
    ) -> "Reading":
        """Every record taken in; Refused names the first that cannot be.

        earlier : a reading of the same order a little while ago; what its thread worked out is taken over
        tell : told of every record; what it raises ends the reading
        """
        every = tuple(records)
        shop = Shop(order, works)
        for seq, one in enumerate(effective(every)):
            if tell:
                tell("judging", seq, len(every))
            if one is not None:
                try:
                    shop.take(seq, one)
                except BadValue as problem:
                    raise Refused(seq, problem) from problem
        return cls(order, works, every, shop, earlier.__dict__.get("thread") if earlier else None)

    @staticmethod
    def sift(
        order: Order, works: Works, records: Sequence[rec.Record], start: int, tell: Tell | None = None
    ) -> list[tuple[int, BadValue]]:
        """Entries from `start` on that cannot be taken in beside the others, each passed over to see the next."""
        shop, bad = Shop(order, works), []
        for seq, one in enumerate(effective(records)):
            if tell:
                tell("judging", seq, len(records))
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
        before, self._before = self._before, None
        return Thread(self.shop.runs, [*self.shop.ties, *strikes_seen(self.shop)], before)

    @cached_property
    def accounting(self) -> Accounting:
        """How many, in whose hands."""
        return self._posted(None)

    def posted(self, tell: Tell | None) -> Accounting:
        """The accounting, worked out now.  tell : told of every posting; what it raises ends the work."""
        if "accounting" not in self.__dict__:
            self.__dict__["accounting"] = self._posted(tell)
        return self.accounting

    def _posted(self, tell: Tell | None) -> Accounting:
        try:
            return Accounting(self.shop, self.thread, partial(tell, "posting") if tell else None)
        except PostingRefused as refused:
            raise Refused(refused.seq, refused.problem) from refused

"""What the shop records say, as facts: one record after another, each checked against all before it.

    shop = Shop(order, works)
    shop.take(seq, record)     a BadValue, and nothing changed, if the record cannot be true beside the earlier ones

``ground`` holds the facts and the rules all records share; ``web``, ``piles``, ``numbers`` and ``seen`` have a method
for each kind of record.  What is only posted (moves, packs, cuts) is kept as `due`; the books check it when made.
"""

from collections.abc import Callable
from functools import partial

from .. import records as rec
from ..facts import Run
from .piles import PileRecords
from .seen import SeenRecords
from .web import WebRecords

__all__ = ["Shop"]


class Shop(WebRecords, PileRecords, SeenRecords):
    """The facts of an order, as far as its records were taken."""

    def take(self, seq: int, record: rec.Record) -> None:
        """One record in; raises BadValue and changes nothing if it cannot be."""
        machine = self.works.machine(record.machine)
        self._in_time(record)
        handler: Callable[..., None] = getattr(self, f"_{record.kind}")  # type: ignore[attr-defined]
        handler(seq, record, partial(Run, seq, machine.station, machine.name, record.at.isoformat(), record.by))
        self._last[record.machine] = record.seq, record.at

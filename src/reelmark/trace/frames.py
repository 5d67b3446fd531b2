"""Every axis on one big axis: each (unit, lane) gets a block of 2**34 whole numbers, so one sorted array serves all."""

import itertools
import threading
from collections.abc import Iterator

import numpy as np

from ..errors import BadValue
from ..spans import Extent, Place, Spans

__all__ = ["BLOCK", "Frames"]

_BITS = 34  # 17.2 km in um, 1.7e10 sheets or notes
BLOCK = 1 << _BITS


class Frames:
    """Numbers the places in the order in which they are first named.

    Threads of one order share it, and may be asked at the same time; only the naming of a new place waits.
    """

    def __init__(self) -> None:
        self._number: dict[Place, int] = {}
        self._place: list[Place] = []
        self._naming = threading.Lock()

    def __contains__(self, place: Place) -> bool:
        return place in self._number

    def start(self, place: Place) -> int:
        """Where the place's block begins, making one when it is new."""
        number = self._number.get(place)
        return (self._named(place) if number is None else number) << _BITS

    def _named(self, place: Place) -> int:
        """A number for a place that was new a moment ago; known by number before it is known by name."""
        with self._naming:
            number = self._number.get(place)
            if number is None:
                number = len(self._place)
                self._place.append(place)
                self._number[place] = number
            return number

    def locate(self, x: int) -> tuple[Place, int]:
        """The place and the number within it."""
        return self._place[x >> _BITS], x & (BLOCK - 1)

    def globally(self, place: Place, spans: Spans) -> Spans:
        """Spans of a place on the big axis."""
        self._check(place, spans)
        return spans.shifted(self.start(place))

    def along(self, place: Place, spans: Spans) -> Iterator[tuple[int, int]]:
        """The same, one (start, stop) after another: the quicker way for few."""
        self._check(place, spans)
        shift = self.start(place)
        return ((start + shift, stop + shift) for start, stop in spans)

    def _check(self, place: Place, spans: Spans) -> None:
        if spans and (spans.first < 0 or spans.stop > BLOCK):
            raise BadValue(
                place[0], f"{spans.first}..{spans.stop}", f"places run from 0 to {BLOCK}", "correct the range"
            )

    def locally(self, spans: Spans) -> Extent:
        """Spans of the big axis by place."""
        if not spans:
            return Extent()
        block = spans.starts >> _BITS
        edges = np.flatnonzero(np.r_[True, block[1:] != block[:-1], True])
        parts = {}
        for a, b in itertools.pairwise(edges):
            shift = int(block[a]) << _BITS
            parts[self._place[int(block[a])]] = Spans(spans.starts[a:b] - shift, spans.stops[a:b] - shift)
        return Extent(parts)

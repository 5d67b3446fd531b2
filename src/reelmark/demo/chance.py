"""Chance, seeded: the same seed gives the same works, the same day and the same slips."""

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

__all__ = ["Chance"]

T = TypeVar("T")


class Chance:
    """Draws of whole numbers; nothing else in the demo is left to chance."""

    def __init__(self, seed: int) -> None:
        self._rng = np.random.Generator(np.random.PCG64(seed))

    def whole(self, low: int, high: int) -> int:
        """A whole number from low to high, both included."""
        return int(self._rng.integers(low, high + 1))

    def yes(self, percent: int) -> bool:
        """True so many times in a hundred."""
        return self.whole(0, 99) < percent

    def pick(self, some: Sequence[T]) -> T:
        """One of them."""
        return some[self.whole(0, len(some) - 1)]

    def several(self, start: int, stop: int, count: int) -> list[int]:
        """Different whole numbers of [start, stop), in order."""
        return sorted(int(x) + start for x in self._rng.permutation(stop - start)[:count])

    def shuffled(self, some: Sequence[T]) -> list[T]:
        """All of them, in another order."""
        return [some[int(i)] for i in self._rng.permutation(len(some))]

"""How often somebody failed to sign in: after some failures there is a wait, and it doubles with each more."""

from collections.abc import Callable
from math import ceil
from threading import Lock
from time import monotonic

__all__ = ["Tries"]

FREE = {"name": 5, "address": 20}  # failures without a wait; many desks may share an address
FIRST, MOST = 10.0, 900.0  # s, the first wait and the longest
FORGOTTEN = 3600.0  # s after the last failure
KEPT = 10_000  # names and addresses remembered

Key = tuple[str, str]  # ("name", "a. moss") or ("address", "10.0.0.7")


class Tries:
    """Failures since the last success; forgotten when the server starts anew."""

    def __init__(self, clock: Callable[[], float] = monotonic) -> None:
        self._clock, self._turn = clock, Lock()
        self._failed: dict[Key, tuple[int, float]] = {}  # how often, last when

    def begin(self, *keys: Key) -> int:
        """Count a try as failed before it is judged, so that many at once gain nothing; or seconds to wait first."""
        with self._turn:
            if left := max(map(self._left, keys)):
                return ceil(left)
            for key in keys:
                self._failed[key] = self._many(key) + 1, self._clock()
            while len(self._failed) > KEPT:
                self._failed.pop(min(self._failed, key=lambda one: self._failed[one][1]))
        return 0

    def held(self, name: Key, address: Key) -> None:
        """That try was right: the name begins anew, the address had one failure less."""
        with self._turn:
            self._failed.pop(name, None)
            many, last = self._failed.get(address, (1, 0.0))
            self._failed[address] = max(0, many - 1), last

    def _many(self, key: Key) -> int:
        many, last = self._failed.get(key, (0, 0.0))
        return many if self._clock() - last < FORGOTTEN else 0

    def _left(self, key: Key) -> float:
        over = self._many(key) - FREE[key[0]]
        if over < 0:
            return 0.0
        wait = min(MOST, FIRST * 2.0 ** min(over, 20))
        return max(0.0, self._failed[key][1] + wait - self._clock())

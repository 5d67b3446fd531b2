"""Numbers that say where they come from, each open to change.

Nothing the stations rest on is a hidden constant: each is a ``Known`` with unit and source, and ``over`` puts the
works' own in its place.  A source that begins with one of ``UNREAD`` was not read anywhere; answers list such by name.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from itertools import pairwise
from numbers import Real
from typing import Any, Final, Self

from reelmark.errors import BadValue

__all__ = ["UNREAD", "Known", "Sourced", "Table", "Unread", "unread"]

UNREAD: Final = ("from memory", "assumed", "common practice")


@dataclass(frozen=True, slots=True)
class Known:
    """One number, its SI unit, and its source in words.  least, most of what is believable belong to the field."""

    value: float
    unit: str
    source: str

    @property
    def read(self) -> bool:
        """It was read in a source or given by the user, not taken from memory or assumed."""
        return not self.source.startswith(UNREAD)


@dataclass(frozen=True, slots=True)
class Table:
    """A property against temperature: (temperature in K, value) in rising order, straight between the points."""

    points: tuple[tuple[float, float], ...]
    unit: str
    source: str

    def __post_init__(self) -> None:
        heats = [t for t, _ in self.points]
        good = all(math.isfinite(x) and x > 0 for point in self.points for x in point)
        if len(heats) < 2 or not good or any(b <= a for a, b in pairwise(heats)):
            raise BadValue("points", self.points, "temperatures in K must rise and all be positive", "sort the table")

    @property
    def read(self) -> bool:
        """As of ``Known``."""
        return not self.source.startswith(UNREAD)

    def mean(self, low: float, high: float) -> float:
        """Over low < high, K, along the lines between the points; held at the ends beyond them."""
        at = [low, *(t for t, _ in self.points if low < t < high), high]
        values = [self._at(one) for one in at]
        return sum((b - a) * (u + v) / 2 for (a, u), (b, v) in pairwise(zip(at, values, strict=True))) / (high - low)

    def _at(self, heat: float) -> float:
        points = self.points
        if not points[0][0] < heat < points[-1][0]:
            return points[0][1] if heat <= points[0][0] else points[-1][1]
        (a, u), (b, v) = next(pair for pair in pairwise(points) if pair[0][0] <= heat <= pair[1][0])
        return u + (v - u) * (heat - a) / (b - a)


class Sourced:
    """A dataclass whose fields are Known or Table."""

    __slots__ = ()

    def over(self, source: str, **values: float | tuple[tuple[float, float], ...]) -> Self:
        """The same with some values put in their place, in the same SI units, under this source."""
        known = {f.name: getattr(self, f.name) for f in fields(self)}  # type: ignore[arg-type]
        for name in values:
            if name not in known:
                raise BadValue("property", name, "there is none of that name", f"take one of {', '.join(known)}")
        return replace(self, **{n: _put(known[n], v, source, n) for n, v in values.items()})  # type: ignore[type-var]

    def items(self) -> tuple[tuple[str, "Known | Table"], ...]:
        """(name, what is known) of every property."""
        return tuple((f.name, getattr(self, f.name)) for f in fields(self))  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Unread:
    """A value that an answer rests on and that was read nowhere: from memory, assumed, or common practice."""

    name: str
    value: Any
    unit: str
    source: str


def unread(parts: Mapping[str, Sourced]) -> tuple[Unread, ...]:
    """Of the parts by their names, every property whose source was not read, as `part.property`."""
    return tuple(
        Unread(f"{part}.{name}", known.value if isinstance(known, Known) else known.points, known.unit, known.source)
        for part, held in parts.items()
        for name, known in held.items()
        if not known.read
    )


def _put(old: Known | Table, new: Any, source: str, name: str) -> Known | Table:
    if isinstance(old, Table):
        return Table(tuple(new), old.unit, source)
    if isinstance(new, bool) or not isinstance(new, Real) or not math.isfinite(new):
        raise BadValue(name, new, "that is no finite number", f"give one in {old.unit}")
    return Known(float(new), old.unit, source)

"""Places that hang on named unknowns: whole number + sum of coefficient * unknown.

Keeping the names is what lets doubt cancel.  Three uncounted sheets shift a place by -k; the pile's length is N - k;
seen from the other end the place is N - k - 1 - (x - k) = N - 1 - x, exact again.  Intervals would have doubled it.
"""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

__all__ = ["Bounds", "Doubt", "Form"]

Bounds = tuple[int, int]


class Form(NamedTuple):
    """constant + sum(coefficient * unknown), terms sorted by name, no zero coefficient."""

    constant: int
    terms: tuple[tuple[str, int], ...] = ()

    def __add__(self, other: "Form | int") -> "Form":  # type: ignore[override]
        if isinstance(other, int):
            return Form(self.constant + other, self.terms)
        if not other.terms:
            return Form(self.constant + other.constant, self.terms)
        summed = dict(self.terms)
        for name, many in other.terms:
            summed[name] = summed.get(name, 0) + many
        return Form(self.constant + other.constant, tuple(sorted((n, c) for n, c in summed.items() if c)))

    def __neg__(self) -> "Form":
        return Form(-self.constant, tuple((name, -many) for name, many in self.terms))

    def __sub__(self, other: "Form | int") -> "Form":
        return self + (-other)

    def __rsub__(self, other: int) -> "Form":
        return -self + other

    @property
    def unknowns(self) -> frozenset[str]:
        """The names it hangs on."""
        return frozenset(name for name, _ in self.terms)


class Doubt:
    """What is known of each unknown: low to high, both included.  A query adds its own on top with `fresh`."""

    __slots__ = ("_base", "_own")

    def __init__(self, base: Mapping[str, Bounds]) -> None:
        self._base, self._own = base, dict[str, Bounds]()

    def __getitem__(self, name: str) -> Bounds:
        return self._own.get(name) or self._base[name]

    def fresh(self, low: int, high: int) -> Form:
        """A place known only to lie in low..high; exact when they meet."""
        if low >= high:
            return Form(low)
        name = f"~{len(self._own)}"  # "~" sorts behind every unit name and is not allowed in one
        self._own[name] = (low, high)
        return Form(0, ((name, 1),))

    def learn(self, other: "Doubt", names: Iterable[str]) -> None:
        """Take over what another knows of some unknowns."""
        for name in names:
            self._own[name] = other[name]

    def bounds(self, form: Form) -> Bounds:
        """Lowest and highest value the form can take."""
        low = high = form.constant
        for name, many in form.terms:
            a, b = self[name]
            low += many * (a if many > 0 else b)
            high += many * (b if many > 0 else a)
        return low, high

    def settled(self, form: Form) -> Form:
        """The form with every unknown that is pinned to one value put in."""
        fixed = form.constant
        left = []
        for name, many in form.terms:
            a, b = self[name]
            if a == b:
                fixed += many * a
            else:
                left.append((name, many))
        return Form(fixed, tuple(left))

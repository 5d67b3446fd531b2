"""Serial text <-> place in the series.  The only module that knows how a number is written.

A number is written in places, each with an alphabet of its own, the most significant first: a mixed radix.
Some texts are never printed: the all-zero digits (0000000) and texts kept back, such as specimens.
The *index* of a number counts printed numbers only, from 0.  So with 0000000 skipped

    AA0000001 -> 0    AA9999999 -> 9_999_998    AB0000001 -> 9_999_999

and all arithmetic elsewhere (plan, ledger, trace) is on whole numbers without holes.
"""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field
from math import prod
from typing import Self

from reelmark.errors import BadValue, NotThere

__all__ = ["DIGITS", "LETTERS", "Format"]

DIGITS = "0123456789"
# I and O are left out because they are read as 1 and 0: common practice, no source.
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


@dataclass(frozen=True, slots=True)
class Format:
    """How the numbers of one series are written.

    places : the alphabet of each place, most significant first; a fixed letter is an alphabet of one
    zero_tail : this many last places, all at the first letter of their alphabets, are never printed; 0 = no such rule
    reserved : whole texts never printed, such as specimens

    >>> money = Format.of(prefix_places=2, digits=7)
    >>> money.text(0), money.text(9_999_999), money.index("AB0000001")
    ('AA0000001', 'AB0000001', 9999999)
    """

    places: tuple[str, ...]
    zero_tail: int = 0
    reserved: tuple[str, ...] = ()
    _tail: int = field(init=False, repr=False, compare=False)  # texts in the zero tail, so one in _tail is skipped
    _kept: tuple[int, ...] = field(init=False, repr=False, compare=False)  # reserved, as counts of non-zero texts below

    def __post_init__(self) -> None:
        _check(self)
        object.__setattr__(self, "_tail", prod(len(a) for a in self.places[len(self.places) - self.zero_tail :]))
        object.__setattr__(self, "_kept", ())
        raws = (self._raw(text) for text in self.reserved)
        object.__setattr__(self, "_kept", tuple(sorted(self._above_zero(r) for r in raws if not self._is_zero(r))))
        if self.size < 1:
            raise BadValue("reserved", self.reserved, "no printable number is left", "reserve fewer texts")

    @classmethod
    def of(
        cls,
        prefix_places: int = 2,
        digits: int = 7,
        letters: str = LETTERS,
        skip_zero: bool = True,
        fixed_prefix: str = "",
        reserved: tuple[str, ...] = (),
    ) -> Self:
        """Fixed letters, then letters that count, then digits."""
        places = (*fixed_prefix, *[letters] * prefix_places, *[DIGITS] * digits)
        return cls(places, digits if skip_zero else 0, reserved)

    @property
    def size(self) -> int:
        """Numbers that can be printed."""
        return self._rank(prod(len(a) for a in self.places))

    def text(self, index: int) -> str:
        """What stands on the note of this index."""
        if not 0 <= index < self.size:
            true = f"the series has the indices 0 to {self.size - 1}"
            raise NotThere("index", index, true, "take an index inside, or open the next series")
        raw, written = self._raw_at(index), ""
        for alphabet in reversed(self.places):
            raw, letter = divmod(raw, len(alphabet))
            written = alphabet[letter] + written
        return written

    def index(self, text: str) -> int:
        """The index of what stands on a note."""
        raw = self._raw(text)
        if self._is_zero(raw):
            true = f"the last {self.zero_tail} places are all zero, which is never printed"
            raise NotThere("number", text, true, f"the number after it is {self.text(self._rank(raw))!r}")
        if text in self.reserved:
            raise NotThere("number", text, "it is reserved and never printed", "look for it among the specimens")
        return self._rank(raw)

    def read(self, text: str) -> int | None:
        """The index of what a camera read, or None where that is no printed number of this series."""
        try:
            return self.index(text)
        except BadValue:
            return None

    def jumps(self, first: int, last: int) -> list[int]:
        """The indices in first+1..last that do not follow their forerunner by one step of the wheels.

        A wheel would print the skipped text; the box must be set anew here.
        """
        low, high = self._raw_at(first), self._raw_at(last)
        zeros = range(-(-low // self._tail) * self._tail, high, self._tail) if self.zero_tail else range(0)
        kept = (self._raw(text) for text in self.reserved)
        return sorted({self._rank(raw) for raw in (*zeros, *(k for k in kept if low < k < high))})

    def _raw(self, text: str) -> int:
        """Texts below this one, printed or not."""
        if len(text) != len(self.places):
            true = f"it has {len(text)} places and the format {len(self.places)}"
            raise BadValue("number", text, true, f"write it like {self.text(0)!r}")
        raw = 0
        for place, (letter, alphabet) in enumerate(zip(text, self.places, strict=True), 1):
            if letter not in alphabet:
                true = f"place {place} holds {letter!r}, which is not in its alphabet {alphabet!r}"
                raise BadValue("number", text, true, f"correct place {place}")
            raw = raw * len(alphabet) + alphabet.index(letter)
        return raw

    def _is_zero(self, raw: int) -> bool:
        return self.zero_tail > 0 and raw % self._tail == 0

    def _above_zero(self, raw: int) -> int:
        """Texts below raw that the zero rule lets stand."""
        return raw - (-(-raw // self._tail) if self.zero_tail else 0)

    def _rank(self, raw: int) -> int:
        """Printed texts below raw."""
        above = self._above_zero(raw)
        return above - bisect_left(self._kept, above)

    def _raw_at(self, index: int) -> int:
        """The inverse of _rank on printed texts."""
        above = index + bisect_right(range(len(self._kept)), index, key=lambda n: self._kept[n] - n)
        return above + above // (self._tail - 1) + 1 if self.zero_tail else above


def _check(form: Format) -> None:
    for place, alphabet in enumerate(form.places, 1):
        if not alphabet or len(set(alphabet)) < len(alphabet):
            raise BadValue(f"places[{place}]", alphabet, "empty, or a letter stands twice", "give each letter once")
    if not form.places or not 0 <= form.zero_tail <= len(form.places):
        true = f"the format has {len(form.places)} places"
        raise BadValue("zero_tail", form.zero_tail, true, "take 1 or more places, and a zero tail not longer")
    if form.zero_tail and all(len(a) == 1 for a in form.places[-form.zero_tail :]):
        raise BadValue("zero_tail", form.zero_tail, "every text would be skipped", "give the tail digits that count")
    if len(set(form.reserved)) < len(form.reserved):
        raise BadValue("reserved", form.reserved, "a text stands twice", "name each reserved text once")

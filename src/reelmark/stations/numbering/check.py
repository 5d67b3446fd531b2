"""Check characters after ISO/IEC 7064, for labels and documents.

A check character jumps from number to number, so a stepping wheel cannot print it on notes; a servo, inkjet or
laser head can, and so can the label of a pack and the paper of a delivery.  Take MOD 37,36 on labels (one
character, never '*') and MOD 97-10 on documents (two digits; missed no single error and no swap of neighbours in
our own count over 400 random numbers of two letters and seven digits, no outside check).

Pure systems    fold  c = (c + value) * radix  (mod modulus); the check character makes the total 1.
Hybrid systems  fold  c = (c + value mod m, or m) * 2  (mod m + 1); the same end.
ISO/IEC 7064, as restated on wiki.freepascal.org, ISO_7064; proved in the tests against python-stdnum 2.2.
"""

from collections.abc import Callable
from dataclasses import dataclass
from string import ascii_uppercase, digits

from reelmark.errors import BadValue

__all__ = ["DOCUMENTS", "LABELS", "MOD_11_2", "MOD_11_10", "MOD_37_2", "MOD_37_36", "MOD_97_10", "System"]


def _pure(modulus: int, radix: int) -> Callable[[list[int]], int]:
    def check(values: list[int]) -> int:
        total = 0
        for value in values:
            total = (total + value) * radix % modulus
        return (1 - total) % modulus

    return check


def _hybrid(size: int) -> Callable[[list[int]], int]:
    def check(values: list[int]) -> int:
        total = size
        for value in values:
            total = ((total + value) % size or size) * 2 % (size + 1)
        return (1 - total) % size

    return check


def _two_digits(values: list[int]) -> int:
    """MOD 97-10; a letter counts as the two digits 10..35.  02..98, as python-stdnum 2.2 writes it."""
    return 98 - int("".join(map(str, values))) * 100 % 97


@dataclass(frozen=True, slots=True)
class System:
    """One check system.

    letters : what may be checked, in the order of its values
    checks : what the check characters are written in
    width : number of check characters
    value : values of the text -> value of the check

    >>> LABELS.check_characters("AB1234567"), LABELS.valid("AB12345677")
    ('7', True)
    """

    name: str
    letters: str
    checks: str
    width: int
    value: Callable[[list[int]], int]

    def check_characters(self, text: str) -> str:
        """What to write behind text."""
        for place, letter in enumerate(text, 1):
            if letter not in self.letters:
                true = f"{self.name} has no value for {letter!r} at place {place}"
                raise BadValue("text", text, true, f"write it in {self.letters!r}")
        if not text:
            raise BadValue("text", text, "nothing to check", "give at least one character")
        tens, ones = divmod(self.value([self.letters.index(letter) for letter in text]), len(self.checks))
        return (self.checks[tens] if self.width == 2 else "") + self.checks[ones]

    def valid(self, text: str) -> bool:
        """Does text end in the check characters of the rest?"""
        rest, check = text[: -self.width], text[-self.width :]
        return rest != "" and all(c in self.letters for c in rest) and self.check_characters(rest) == check


_ALL = digits + ascii_uppercase
MOD_11_2 = System("MOD 11-2", digits, digits + "X", 1, _pure(11, 2))
MOD_37_2 = System("MOD 37-2", _ALL, _ALL + "*", 1, _pure(37, 2))
MOD_97_10 = System("MOD 97-10", _ALL, digits, 2, _two_digits)
MOD_11_10 = System("MOD 11,10", digits, digits, 1, _hybrid(10))
MOD_37_36 = System("MOD 37,36", _ALL, _ALL, 1, _hybrid(36))

LABELS, DOCUMENTS = MOD_37_36, MOD_97_10

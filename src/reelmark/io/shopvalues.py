"""A value of a JSON file with its place in it, and what it must be."""

from collections.abc import Sequence
from typing import Any, Final, NamedTuple

from reelmark.errors import BadValue, Clash

__all__ = ["LARGEST", "Value", "cut_short", "whole_text"]

LARGEST: Final = 10**9
SHOWN: Final = 40  # characters of a value that is too long to show


def whole_text(where: str, text: str) -> str:
    """The text, if it can be written again; JSON lets half of a pair of characters stand alone."""
    try:
        text.encode()
    except UnicodeEncodeError as error:
        true = f"character {error.start + 1} is half of a pair, no character of its own"
        raise BadValue(where, ascii(text)[1:-1], true, "write the character itself, in UTF-8") from error
    return text


def cut_short(value: object) -> object:
    """A value as an error shows it: what is longer than a line is cut."""
    text = str(value)
    return value if len(text) <= SHOWN else f"{text[:SHOWN]}... ({len(text):,} characters)"


class Value(NamedTuple):
    """What stood there.  where : 'shop.json: due[3].at'"""

    where: str
    value: Any

    def _below(self, key: str | int, value: Any) -> "Value":
        step = f"[{key}]" if isinstance(key, int) else key if self.where.endswith(": ") else f".{key}"
        return Value(self.where + step, value)

    def _bad(self, true: str, cure: str) -> BadValue:
        shown = cut_short(self.value) if isinstance(self.value, int) else self.value
        return BadValue(self.where.removesuffix(": "), shown, true, cure)

    def whole(self, least: int, most: int | None = None) -> int:
        """A whole number in its range."""
        if isinstance(self.value, bool) or not isinstance(self.value, int):
            raise self._bad("it is not a whole number", "write digits alone, without point, quotes or unit")
        self._within(least, most)
        return self.value

    def number(self, least: float) -> float:
        """A number."""
        if isinstance(self.value, bool) or not isinstance(self.value, int | float) or self.value != self.value:
            raise self._bad("it is not a number", "write a number, without quotes or unit")
        self._within(least, None)
        return float(self.value)

    def _within(self, least: float, most: float | None) -> None:
        if self.value < least or (most is not None and self.value > most) or self.value > LARGEST:
            raise self._bad(f"it must be {least:g} to {LARGEST if most is None else most:g}", "correct the number")

    def text(self) -> str:
        """Text."""
        if not isinstance(self.value, str):
            raise self._bad("it is not text", "write it in quotes")
        return whole_text(self.where, self.value)

    def flag(self) -> bool:
        """true or false."""
        if not isinstance(self.value, bool):
            raise self._bad("it is neither true nor false", "write true or false, without quotes")
        return self.value

    def one_of(self, known: Sequence[str], many: str) -> str:
        """A name that is known."""
        from reelmark.io.words import nearest

        if self.text() not in known:
            raise self._bad(f"there is no such name among the {many}", nearest(self.value, known, many))
        return str(self.value)

    def list(self) -> list["Value"]:
        """The values of a list."""
        if not isinstance(self.value, list):
            raise self._bad("it is not a list", "write [ ... ]")
        return [self._below(n, one) for n, one in enumerate(self.value)]

    def names(self, known: Sequence[str] | None = None, many: str = "", least: int = 1) -> tuple[str, ...]:
        """Names, each once, of those that are known."""
        out: dict[str, None] = {}
        for one in self.list():
            name = one.text() if known is None else one.one_of(known, many)
            if not name.strip():
                raise one._bad("it is empty", "write the name")
            if name in out:
                raise Clash(one.where, name, "the name stands twice in the list", "keep one of them")
            out[name] = None
        if len(out) < least:
            raise self._bad("no name stands there", "give one at least")
        return tuple(out)

    def named(self, known: Sequence[str] | None = None, many: str = "") -> dict[str, "Value"]:
        """The values of an object by its names, of those that are known."""
        if not isinstance(self.value, dict):
            raise self._bad("it is not an object", "write { ... }")
        for name in self.value if known is not None else ():
            Value(self.where, name).one_of(known or (), many)
        return {name: self._below(name, one) for name, one in self.value.items()}

    def table(self, must: Sequence[str], may: Sequence[str] = ()) -> dict[str, "Value"]:
        """The values of an object that has these fields."""
        if not isinstance(self.value, dict):
            raise self._bad("it is not an object", "write { ... } with its fields")
        for key in must:
            if key not in self.value:
                raise BadValue(self._below(key, None).where, "", "it is missing", "add the field")
        return self.named((*must, *may), "fields")

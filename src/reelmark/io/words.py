"""Findings about what people and machines wrote, in our own words: where, what stood there, what is true, the cure.

pydantic finds; ``WORDS`` says it.  A kind of finding that is not in the table gets the last line, never its own text.
"""

import json
from collections.abc import Iterable, Iterator
from difflib import get_close_matches
from typing import Any, Final, NamedTuple, get_args

from pydantic import BaseModel, ValidationError

__all__ = ["Finding", "Refusal", "Unreadable", "findings", "nearest", "shown"]

MOST_FINDINGS: Final = 20  # of one record; whoever has more has sent something else
LONGEST_SHOWN: Final = 80


class Finding(NamedTuple):
    """One thing wrong.  field : path in the record, as 'kept[0].start'; value : what stood there."""

    field: str
    value: object
    true: str
    cure: str


class Refusal(NamedTuple):
    """One reason why a line is not taken.  line : 0 for the file as a whole."""

    line: int
    field: str
    value: str
    cure: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.field}{f' = {self.value}' if self.value else ''}: {self.cure}"


class Unreadable(Exception):
    """A line that cannot be read so far as to be judged; carries the Finding."""

    def __init__(self, field: str, value: object, true: str, cure: str) -> None:
        super().__init__(field)
        self.finding = Finding(field, value, true, cure)


ABSENT: Final = object()


def shown(value: object) -> str:
    """A value as it stood, cut short; '' for one that was not there.

    >>> shown("5214"), shown(True), shown([1, 2]), shown(ABSENT)
    ('"5214"', 'true', 'a list of 2', '')
    """
    if value is ABSENT:
        return ""
    if isinstance(value, list | dict):
        return f"{'a list' if isinstance(value, list) else 'an object'} of {len(value)}"
    short = value[:LONGEST_SHOWN] if isinstance(value, str) else value
    text = json.dumps(short, ensure_ascii=False, default=str).encode(errors="backslashreplace").decode()
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 3] + "..."


def nearest(name: str, known: Iterable[str], many: str) -> str:
    """The cure for a name that is not known: the nearest one, or all there are.

    >>> nearest("lenght", ["length", "lanes"], "fields")
    "write 'length' if that is meant; the fields are lanes, length"
    """
    names = sorted(known)
    near = get_close_matches(name[:64], names, 1)
    listed = f"the {many} are {', '.join(names)}"
    return f"write '{near[0]}' if that is meant; {listed}" if near else listed


# (what is true, the cure), with pydantic's own figures by name.
WORDS: Final[dict[str, tuple[str, str]]] = {
    "missing": ("it is missing", "add the field"),
    "int_type": ("it is not a whole number", "write digits alone, without point, quotes or unit"),
    "int_from_float": ("it is not a whole number", "write digits alone, without point, quotes or unit"),
    "int_parsing_size": ("it is too large", "correct the number"),
    "greater_than_equal": ("it is below {ge}, the least that can be", "correct the number"),
    "less_than_equal": ("it is above {le}, the most that can be", "correct the number"),
    "float_type": ("it is not a number", "write digits, without quotes or unit"),
    "float_parsing": ("it is not a number", "write digits, without quotes or unit"),
    "finite_number": ("it is not a finite number", "write a number such as 0.5"),
    "string_type": ("it is not text", "write it in quotes"),
    "string_too_short": ("it is empty", "write it out, or leave the field away where it may be left away"),
    "string_too_long": ("it is longer than {max_length} characters", "shorten it"),
    "string_unicode": ("it is not Unicode text", "write it as UTF-8"),
    "bool_type": ("it is neither true nor false", "write true or false, without quotes"),
    "list_type": ("it is not a list", "write [ ... ], with one part or more"),
    "too_short": ("the list has fewer than {min_length}", "add what belongs there"),
    "dict_type": ("it is not an object", "write {{ ... }}"),
    "model_type": ("it is not an object", "write {{ ... }} with its fields"),
    "literal_error": ("it is none of those allowed", "write {expected}"),
    "datetime_type": ("it is not a time in quotes", "write date, time and zone, as '2027-03-01T06:30:00+01:00'"),
    "datetime_parsing": ("it is not a time", "write date, time and zone, as '2027-03-01T06:30:00+01:00'"),
    "datetime_from_date_parsing": ("it is not a time", "write date, time and zone, as '2027-03-01T06:30:00+01:00'"),
    "datetime_object_invalid": ("it is not a time", "write date, time and zone, as '2027-03-01T06:30:00+01:00'"),
    "timezone_aware": ("it has no zone", "add the zone to it, as +01:00, or Z for UTC"),
    "date_type": ("it is not a day", "write year, month and day, as 2027-03-01"),
    "date_parsing": ("it is not a day", "write year, month and day, as 2027-03-01"),
    "date_from_datetime_parsing": ("it is not a day", "write year, month and day, as 2027-03-01"),
    "date_from_datetime_inexact": ("it is a time, a day is wanted", "write year, month and day, as 2027-03-01"),
}
PATTERNS: Final = {
    r"^[A-Z]+$": ("only A to Z stand in an alphabet", "write capitals without spaces"),
    r"^[0-9A-Z]*$": ("only A to Z and 0 to 9 stand in a prefix", "write it as it is printed, without spaces"),
    r"^[0-9A-Z]+$": ("only A to Z and 0 to 9 stand in a number", "write it as it is printed, without spaces"),
    r"^[\w][\w .:/+#-]*$": (
        "a name begins with a letter or digit, and has only these, spaces and . : / + # - _ in it",
        "take the other characters out",
    ),
}
ELSE: Final = ("it does not belong there", "compare it with the schema of the record")


def findings(error: ValidationError, model: type[BaseModel], under: str = "") -> list[Finding]:
    """What pydantic found in a model, at most MOST_FINDINGS.  under : where the model stands in the whole."""
    raw = error.errors(include_url=False)[:MOST_FINDINGS]
    return [_finding(one, model, under) for one in raw]


def _finding(one: Any, model: type[BaseModel], under: str) -> Finding:
    loc, kind = one["loc"], one["type"]
    value = ABSENT if kind == "missing" else one["input"]
    return Finding(_path(loc, under), value, *_said(kind, one.get("ctx", {}), loc, model))


def _said(kind: str, ctx: dict[str, Any], loc: tuple[int | str, ...], model: type[BaseModel]) -> tuple[str, str]:
    """(what is true, the cure) of one finding."""
    if kind == "extra_forbidden":
        return "there is no such field", nearest(str(loc[-1]), _fields(model, loc[:-1]), "fields")
    if kind == "string_pattern_mismatch":
        return PATTERNS.get(ctx["pattern"], ELSE)
    if kind == "value_error":  # raised by a validator of ours as 'true; cure'
        true, _, cure = str(ctx["error"]).partition("; ")
        return true, cure or "correct the field"
    if "cure" in ctx:  # a quantity, which brings its own words
        return str(ctx["true"]), str(ctx["cure"])
    true, cure = WORDS.get(kind, ELSE)
    return true.format(**ctx), cure.format(**ctx)


def _path(loc: tuple[int | str, ...], under: str) -> str:
    """
    >>> _path(("kept", 0, "start"), "record")
    'record.kept[0].start'
    """
    steps = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in loc)
    return (under + steps).lstrip(".")


def _fields(model: type[BaseModel], loc: tuple[int | str, ...]) -> list[str]:
    """Field names of the model that stands at loc in the whole."""
    for step in loc:
        if isinstance(step, str) and step in model.model_fields:
            model = next(_models(model.model_fields[step].annotation), model)
    return list(model.model_fields)


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    """Models named in an annotation, such as Part in list[Part]."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _models(inner)

"""Records in: a file of JSON Lines or CSV, each line judged, with its bytes as the journal will keep them.

    for line in read_records(path):
        line.refused or keep(line.record, line.body)

A line is taken or refused for reasons; a reason names line, field, value and cure.  The bytes are those of the record
as it was written, not as it was understood: the same record sent again, in either form of file, is the same bytes.
Reading stops early where a file is plainly not one of records, and says so in a last refusal of field 'file' or
'header'.
"""

import json
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel, ValidationError

from reelmark.io.csvrow import header, row_object
from reelmark.io.jsonl import parse_object
from reelmark.io.lines import lines, refusal
from reelmark.io.words import ABSENT, Finding, Refusal, Unreadable, findings, nearest, shown
from reelmark.journal import canonical
from reelmark.records import KINDS, TWO_PERSONS, Record

__all__ = ["Line", "Refusal", "read_records"]

MOST_REFUSED: Final = 50  # lines, after which reading stops
ALL_REFUSED: Final = 1_000  # first lines, after which reading stops even where bad ones are passed over
WHO_AND_WHEN: Final = frozenset(Record.model_fields)
DAY: Final = re.compile(r"\d{4}-\d\d-\d\d")

Reader = Callable[[str], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Line:
    """One line: its record and canonical bytes, or why it is refused.  number : from 1; 0 for the file as a whole."""

    number: int
    record: Record | None
    body: bytes
    refused: tuple[Refusal, ...] = ()


def read_records(path: Path, skip_bad: bool = False) -> Iterator[Line]:
    """Every line of the file that is not empty, judged.

    path : .jsonl, .ndjson or .json with a record on each line, or .csv with the field names in its first
    skip_bad : read on behind any number of bad lines, unless all that came so far are bad
    """
    return _until_hopeless(_judged(Path(path)), skip_bad)


def _until_hopeless(judged: Iterable[Line], skip_bad: bool) -> Iterator[Line]:
    seen = bad = last = 0
    for line in judged:
        yield line
        seen, bad, last = seen + 1, bad + bool(line.refused), line.number
        if skip_bad and bad == seen == ALL_REFUSED:
            true = f"the first {ALL_REFUSED:,} lines are all refused: reading stopped"
            yield _stopped(last, true, "give a file of records")
            return
        if not skip_bad and bad == MOST_REFUSED:
            cure = "correct these first, or let bad lines be skipped"
            yield _stopped(last, f"{MOST_REFUSED} lines are refused: reading stopped", cure)
            return
    if not seen:
        yield _stopped(0, "there is no record in it", "give a file of records")


def _stopped(number: int, true: str, cure: str) -> Line:
    return Line(number, None, b"", (Refusal(number, "file", "", f"{true}; {cure}"),))


def _judged(path: Path) -> Iterator[Line]:
    suffix = path.suffix.lower()
    if suffix == ".csv":
        yield from _judged_csv(lines(path))
    elif suffix in {".jsonl", ".ndjson", ".json"} or not path.is_file():
        yield from (_line(number, text, parse_object) for number, text in lines(path))
    else:
        cure = "name it .jsonl or .csv, after what is in it"
        yield Line(0, None, b"", (Refusal(0, "file", shown(path.name), f"its ending says neither; {cure}"),))


def _judged_csv(texts: Iterator[tuple[int, str | Refusal]]) -> Iterator[Line]:
    """The first line is the header; if it cannot be read, nothing below can."""
    number, first = next(texts, (0, ""))
    names = _header(number, first) if first else []
    if isinstance(names, Refusal):
        yield Line(number, None, b"", (names,))
        return
    yield from (_line(number, text, lambda one: row_object(names, one)) for number, text in texts)


def _header(number: int, text: str | Refusal) -> list[str] | Refusal:
    try:
        return text if isinstance(text, Refusal) else header(text)
    except Unreadable as error:
        return refusal(number, error)


def _line(number: int, text: str | Refusal, read: Reader) -> Line:
    if isinstance(text, Refusal):
        return Line(number, None, b"", (text,))
    try:
        record, body, found = _judge(read(text))
    except Unreadable as error:
        return Line(number, None, b"", (refusal(number, error),))
    refused = tuple(Refusal(number, one.field, shown(one.value), f"{one.true}; {one.cure}") for one in found)
    return Line(number, None if refused else record, b"" if refused else body, refused)


def _judge(given: dict[str, Any]) -> tuple[Record | None, bytes, list[Finding]]:
    record, found = _model(given)
    found = found or _rules(given, record)
    return record, b"" if found else canonical(given), found


def _model(given: dict[str, Any], under: str = "") -> tuple[Record | None, list[Finding]]:
    """The record as its kind's model reads it, or what is wrong.  under : where the record stands in the line."""
    kind, field = given.get("kind", ABSENT), f"{under}.kind".lstrip(".")
    if kind is ABSENT:
        return None, [Finding(field, kind, "it is missing", f"add it; the kinds are {', '.join(sorted(KINDS))}")]
    if not isinstance(kind, str) or kind not in KINDS:
        return None, [Finding(field, kind, "there is no such kind", nearest(str(kind), KINDS, "kinds"))]
    try:
        return KINDS[kind].model_validate_json(json.dumps(given), strict=True), []
    except ValidationError as error:
        return None, findings(error, KINDS[kind], under)


def _rules(given: dict[str, Any], record: Record | None) -> list[Finding]:
    """What the models let pass and the intake does not."""
    found = list(_negative(record, given, ""))
    if not DAY.match(given["at"]):  # seconds since 1970 in quotes would pass for a time
        found.append(Finding("at", given["at"], "it is not a time", "write date, time and zone"))
    if given["kind"] in TWO_PERSONS and given.get("by2") in (None, given["by"]):
        value = given.get("by2", ABSENT)
        found.append(Finding("by2", value, f"{given['kind']} needs two persons", "name a second, different person"))
    if given["kind"] == "correct" and given.get("record") is not None:
        found += _corrected(given, given["record"])
    return found


def _negative(model: BaseModel | None, given: dict[str, Any], under: str) -> Iterator[Finding]:
    """Lengths below 0, of the record and of its parts.  given : the model as it was written."""
    for name, value in model or ():
        if isinstance(value, int) and value < 0:
            yield Finding(under + name, given[name], "it is below 0", "lengths and places count from 0; correct it")
        for index, part in enumerate(value if isinstance(value, list) else ()):
            if isinstance(part, BaseModel):
                yield from _negative(part, given[name][index], f"{under}{name}[{index}].")


def _corrected(given: dict[str, Any], inner: dict[str, Any]) -> list[Finding]:
    """What is wrong with a record that takes another's place, who and when being those of the correction."""
    if twice := sorted(WHO_AND_WHEN & inner.keys()):
        value = inner[twice[0]]
        return [Finding(f"record.{twice[0]}", value, "a corrected record has no who and when", "leave it out")]
    if inner.get("kind") == "correct":
        return [Finding("record.kind", "correct", "it is a correction again", "correct the earlier record itself")]
    whole = {**inner, **{name: given[name] for name in WHO_AND_WHEN & given.keys()}}
    record, found = _model(whole, "record")
    return found or list(_negative(record, whole, "record."))

"""One line of JSON as an object, more strictly than JSON itself: no key twice, no NaN, no control characters."""

import json
import math
from collections import Counter
from collections.abc import Iterator
from typing import Any, Final

from reelmark.io.words import ABSENT, Unreadable

__all__ = ["check_text", "parse", "parse_object"]

MOST_DIGITS: Final = 20  # more than any count, place or number has
MOST_DEPTH: Final = 8  # a corrected record with its parts needs 4


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        key = Counter(key for key, _ in pairs).most_common(1)[0][0]
        raise Unreadable(key, found[key], "the key stands there twice", "leave one of the two out")
    return found


def _whole(text: str) -> int:
    if len(text) > MOST_DIGITS:
        raise Unreadable("line", text[:40], f"a number has more than {MOST_DIGITS} digits", "correct the number")
    return int(text)


def parse(text: str, field: str = "line") -> Any:
    """The value that the text writes; Unreadable if it is not JSON.  field : where the text stood."""
    try:
        return json.loads(text, object_pairs_hook=_once, parse_int=_whole)
    except json.JSONDecodeError as error:
        excerpt = text[max(0, error.pos - 10) : error.pos + 30]
        raise Unreadable(field, excerpt, f"it is not JSON at place {error.pos + 1}", _cure(text)) from error
    except RecursionError as error:
        raise _too_deep(field) from error


def _too_deep(field: str) -> Unreadable:
    return Unreadable(field, ABSENT, "lists or objects lie too deep in one another", "write one flat record")


def _cure(text: str) -> str:
    if text.strip() in {"[", "{", "]", "}"} or text.strip().endswith(("},", "{", "[")):
        return "write each whole record on one line, without a list around them"
    return "write one JSON object on the line, with its keys and texts in double quotes"


def parse_object(text: str) -> dict[str, Any]:
    """The object that a line writes; Unreadable if it is anything else."""
    found = parse(text)
    if not isinstance(found, dict):
        raise Unreadable("line", found, "it is not an object", "write one record on the line, { ... }")
    check_text(found)
    return found


def check_text(found: dict[str, Any]) -> None:
    """Unreadable at the first value, however deep, that no record may hold."""
    for field, value in _leaves(found, ""):
        if isinstance(value, float) and not math.isfinite(value):
            raise Unreadable(field, str(value), "it is not a finite number", "write the number, or leave it away")
        if isinstance(value, str) and any(c < " " or c == "\x7f" for c in value):
            raise Unreadable(field, value, "it has a control character in it", "take tabs and line ends out")
        if isinstance(value, str) and any("\ud800" <= c <= "\udfff" for c in value):
            raise Unreadable(field, ascii(value), "it has half of a character pair", "write the whole character")


def _leaves(value: Any, at: str, depth: int = 0) -> Iterator[tuple[str, Any]]:
    """(path, value) of everything in a JSON value that is no list or object; keys stand for themselves."""
    if depth > MOST_DEPTH:
        raise _too_deep(at[:40])
    if isinstance(value, dict):
        for key, inner in value.items():
            yield f"key in {at or 'record'}", key
            yield from _leaves(inner, f"{at}.{key}".lstrip("."), depth + 1)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _leaves(inner, f"{at}[{index}]", depth + 1)
    else:
        yield at, value

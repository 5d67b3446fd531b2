"""Calendars as other programs read them: iCalendar text (RFC 5545), times in UTC.

    calendar([Event("relief-front.TM-20-1@pellwick.example", begins, ends, "TM-20-1 relief front", stamp=now)])

The same uid with a higher sequence moves an entry where the text is imported again; it does not double it.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from reelmark.errors import BadValue

__all__ = ["Event", "calendar"]

WIDEST: Final = 75  # octets of a line, its end apart: RFC 5545, 3.1
ESCAPED: Final = str.maketrans({"\\": "\\\\", ";": "\\;", ",": "\\,", "\n": "\\n"})  # RFC 5545, 3.3.11
CONTROLS: Final = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")  # not allowed in a text, RFC 5545, 3.1


@dataclass(frozen=True, slots=True)
class Event:
    """An entry.

    uid : the same for the same thing in every version;  sequence : of the version, from 0;  stamp : when it was made
    begins, ends : aware moments, ends after begins or the same;  busy : it takes up the time of whoever imports it
    """

    uid: str
    begins: datetime
    ends: datetime
    summary: str
    stamp: datetime
    description: str = ""
    location: str = ""
    categories: tuple[str, ...] = ()
    sequence: int = 0
    busy: bool = False


def calendar(events: Iterable[Event], name: str = "", maker: str = "-//reelmark//plan//EN") -> str:
    """The text of a calendar; BadValue for an entry without a zone, that ends before it begins, or whose uid doubles.

    name : by which programs list it (X-WR-CALNAME, no part of the standard but widely read)
    """
    lines, seen = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{_text(maker)}", "CALSCALE:GREGORIAN"], set[str]()
    if name:
        lines.append(f"X-WR-CALNAME:{_text(name)}")
    for event in events:
        _check(event, seen)
        seen.add(event.uid)
        lines += _event(event)
    lines.append("END:VCALENDAR")
    return "".join(f"{part}\r\n" for line in lines for part in _folded(line))


def _check(event: Event, seen: set[str]) -> None:
    for field, at in (("begins", event.begins), ("ends", event.ends), ("stamp", event.stamp)):
        if at.tzinfo is None:
            raise BadValue(f"{event.uid}: {field}", at.isoformat(), "it has no zone", "give an aware moment")
    if event.ends < event.begins:
        true = f"it begins at {event.begins.isoformat()}"
        raise BadValue(f"{event.uid}: ends", event.ends.isoformat(), true, "put the two in order")
    if event.uid in seen or not event.uid.strip():
        raise BadValue("uid", event.uid, "each entry has its own", "name it otherwise")
    if event.sequence < 0:
        raise BadValue(f"{event.uid}: sequence", event.sequence, "versions count from 0", "give 0 or more")


def _event(event: Event) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{_text(event.uid)}"
    yield f"SEQUENCE:{event.sequence}"
    yield f"DTSTAMP:{_utc(event.stamp)}"
    yield f"DTSTART:{_utc(event.begins)}"
    if event.ends > event.begins:  # without it the entry ends as it begins
        yield f"DTEND:{_utc(event.ends)}"
    yield f"SUMMARY:{_text(event.summary)}"
    for word, text in (("DESCRIPTION", event.description), ("LOCATION", event.location)):
        if text:
            yield f"{word}:{_text(text)}"
    if event.categories:
        yield f"CATEGORIES:{','.join(map(_text, event.categories))}"
    yield f"TRANSP:{'OPAQUE' if event.busy else 'TRANSPARENT'}"
    yield "END:VEVENT"


def _utc(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")


def _text(text: str) -> str:
    """As RFC 5545 writes a text.

    >>> print(_text("waits; then, runs"))
    waits\\; then\\, runs
    """
    return CONTROLS.sub(" ", text.replace("\r\n", "\n").replace("\r", "\n")).translate(ESCAPED)


def _folded(line: str) -> Iterator[str]:
    """Lines of at most 75 octets, each but the first begun with a space; no character is cut in two."""
    part, wide = "", 0
    for letter in line:
        size = len(letter.encode())
        if wide + size > WIDEST:
            yield part
            part, wide = " ", 1
        part, wide = part + letter, wide + size
    yield part

"""Calendars of a plan, read back by the icalendar package, which shares no code with ours, and by RFC 5545 itself."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelmark.errors import BadValue
from reelmark.io.ical import Event, calendar

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def event(uid: str = "1@works", **more: object) -> Event:
    given_ = {"begins": NOON, "ends": NOON + HOUR, "summary": "print", "stamp": NOON} | more
    return Event(uid, **given_)  # type: ignore[arg-type]


def read(text: str) -> list[object]:
    icalendar = pytest.importorskip("icalendar", reason="missing component: icalendar")
    return list(icalendar.Calendar.from_ical(text).walk("VEVENT"))


def test_another_program_reads_what_was_written():
    berlin = ZoneInfo("Europe/Berlin")
    one = event(
        begins=datetime(2026, 3, 29, 1, tzinfo=berlin), ends=datetime(2026, 3, 29, 4, tzinfo=berlin), sequence=7,
        summary="relief press: X; batches 1, 2", description="line one\nline two \\ end", location="hall 2, east",
        categories=("TM-20-1", "a,b"),
    )  # fmt: skip
    (got,) = read(calendar([one], "Plan"))
    assert str(got["UID"]) == "1@works"  # type: ignore[index]
    assert int(got["SEQUENCE"]) == 7  # type: ignore[index]
    assert got["DTSTART"].dt == one.begins == datetime(2026, 3, 29, 0, tzinfo=UTC)  # type: ignore[index]
    assert got["DTEND"].dt - got["DTSTART"].dt == 2 * HOUR  # type: ignore[index]  # summer time begins that night
    assert got["DTSTAMP"].dt == NOON  # type: ignore[index]
    assert str(got["SUMMARY"]) == one.summary  # type: ignore[index]
    assert str(got["DESCRIPTION"]) == one.description  # type: ignore[index]
    assert str(got["LOCATION"]) == one.location  # type: ignore[index]
    assert list(map(str, got["CATEGORIES"].cats)) == list(one.categories)  # type: ignore[index]


PLAIN = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=200)


@given(PLAIN.filter(str.strip), PLAIN)
def test_any_words_come_back(summary, description):
    text = calendar([event(summary=summary, description=description)])
    (got,) = read(text)
    assert str(got["SUMMARY"]) == summary  # type: ignore[index]
    assert str(got.get("DESCRIPTION", "")) == description  # type: ignore[attr-defined]


@given(st.text(max_size=300))
def test_lines_end_and_fold_as_the_standard_says(words):
    """RFC 5545, 3.1: lines end in CRLF, none is longer than 75 octets without it, a fold begins with a space; and
    there are no control characters."""
    text = calendar([event(summary=words.encode("utf-8", "replace").decode())])
    assert text.endswith("END:VCALENDAR\r\n")
    lines = text.split("\r\n")[:-1]
    assert all(len(line.encode()) <= 75 for line in lines)
    assert not any(ord(letter) < 32 and letter != "\t" for line in lines for letter in line)
    unfolded = text.replace("\r\n ", "").split("\r\n")
    assert sum(line.startswith("SUMMARY:") for line in unfolded) == 1
    assert unfolded[0] == "BEGIN:VCALENDAR"


def test_a_text_is_written_as_in_the_standards_example():
    """RFC 5545, 3.3.11: "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared." from three lines."""
    text = calendar([event(description="Project XYZ Final Review\nConference Room - 3B\nCome Prepared.")])
    assert "DESCRIPTION:Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared." in text.replace("\r\n ", "")


def test_what_every_entry_must_have():
    """RFC 5545, 3.6.1: UID and DTSTAMP once each; 3.6: PRODID and VERSION of the calendar."""
    text = calendar([event("a"), event("b", begins=NOON, ends=NOON)])
    assert [text.count(word) for word in ("UID:", "DTSTAMP:20260302T120000Z", "SEQUENCE:0", "DTEND:")] == [2, 2, 2, 1]
    assert "VERSION:2.0\r\n" in text
    assert "PRODID:" in text
    assert calendar([]).count("\r\n") == 5


@pytest.mark.parametrize(("wrong", "words"), [
    ({"begins": datetime(2026, 3, 2, 12)}, "no zone"), ({"stamp": datetime(2026, 3, 2)}, "no zone"),
    ({"ends": NOON - HOUR}, "begins at"), ({"sequence": -1}, "from 0"), ({"uid": " "}, "its own"),
])  # fmt: skip
def test_an_entry_that_no_program_would_read_is_refused(wrong, words):
    with pytest.raises(BadValue, match=words):
        calendar([event(**wrong)])


def test_two_entries_of_one_name_are_refused():
    with pytest.raises(BadValue, match="its own"):
        calendar([event(), event()])

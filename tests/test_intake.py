"""The intake: what is taken, byte for byte; and every kind of bad input with its line, field, value and cure."""

import csv
import io
import json
import os
import re
import time
import tracemalloc
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reelmark.io import Line, Refusal, read_records, schema, write_schemas
from reelmark.io.schemas import FOLDER
from reelmark.io.tables import OrderTable, WorksTable
from reelmark.io.words import ELSE, PATTERNS, WORDS
from reelmark.journal import canonical
from reelmark.records import KINDS

WHO = {"machine": "film line", "seq": 1, "at": "2027-03-01T06:30:00+01:00", "by": "A. Moss"}
ROLL = {**WHO, "kind": "roll", "unit": "M1", "length": "5214.25 m", "lanes": 4}
PASS = {**WHO, "kind": "pass", "kept": [{"unit": "M1", "start": "0 m", "end": "9 m"}], "to": "W1"}
NUMBER = {
    **WHO, "kind": "number", "unit": "P1", "to": "N1", "series": "TM20", "first": "AA0000001", "first_tick": 0,
    "ticks": 10, "block": 100, "descending": True,
}  # fmt: skip
PRINT = {**WHO, "kind": "print", "unit": "P1", "to": "P2", "work": "relief", "pulls": [{"start": 5, "sheets": 2}]}
CORRECT = {**WHO, "kind": "correct", "of_machine": "press", "of_seq": 3, "why": "miscount", "by2": "B. Reed"}
ALLOCATE = {
    **WHO, "kind": "allocate", "series": "TM20", "first": "AA0000001", "last": "AA0000100", "purpose": "order",
    "by2": "B. Reed",
}  # fmt: skip


def read(tmp_path: Path, data: str | bytes, name: str = "shift.jsonl", skip_bad: bool = False) -> list[Line]:
    path = tmp_path / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return list(read_records(path, skip_bad))


def only(tmp_path: Path, data: str | bytes, name: str = "shift.jsonl") -> Refusal:
    """The one refusal of the one line."""
    (line,) = read(tmp_path, data, name)
    assert line.record is None
    assert line.body == b""
    (refusal,) = line.refused
    return refusal


def changed(given: dict[str, Any], /, **fields: Any) -> str:
    """A record as a line, some fields changed, those that are None left away."""
    return json.dumps({name: value for name, value in {**given, **fields}.items() if value is not None})


def row(*records: dict[str, Any]) -> str:
    """The records as a file of CSV."""
    names = list(dict.fromkeys(name for one in records for name in one))
    out = io.StringIO()
    writer = csv.DictWriter(out, names, lineterminator="\n")
    writer.writeheader()
    for one in records:
        writer.writerow({k: v if isinstance(v, str) else json.dumps(v) for k, v in one.items()})
    return out.getvalue()


# Good input.


def test_a_line_gives_its_record_and_its_canonical_bytes(tmp_path):
    (line,) = read(tmp_path, changed(ROLL))
    assert not line.refused
    assert line.number == 1
    assert line.record
    assert line.record.model_dump()["length"] == 5_214_250_000
    assert line.body == canonical(ROLL)  # as written: the unit is kept


@pytest.mark.parametrize("record", [ROLL, PASS, NUMBER, PRINT, CORRECT, ALLOCATE])
def test_csv_gives_the_bytes_of_json(tmp_path, record):
    (from_json,) = read(tmp_path, changed(record))
    (from_csv,) = read(tmp_path, row(record), "shift.csv")
    assert not from_json.refused + from_csv.refused
    assert from_csv.body == from_json.body
    assert from_csv.number == 2


def test_kinds_stand_together_in_one_csv_file(tmp_path):
    lines = read(tmp_path, row(ROLL, PASS, NUMBER), "shift.csv")
    assert [line.body for line in lines] == [canonical(one) for one in (ROLL, PASS, NUMBER)]


def test_text_of_digits_stays_text_in_csv(tmp_path):
    record = {**NUMBER, "first": "0000001", "unit": "007"}
    (line,) = read(tmp_path, row(record), "shift.csv")
    assert line.body == canonical(record)


def test_order_of_keys_spaces_and_line_ends_change_nothing(tmp_path):
    turned = dict(reversed(list(ROLL.items())))
    text = "\ufeff" + json.dumps(ROLL) + "\r\n\r\n" + json.dumps(turned, indent=None, separators=(" , ", " : "))
    lines = read(tmp_path, text)
    assert [line.number for line in lines] == [1, 3]
    assert {line.body for line in lines} == {canonical(ROLL)}


def test_a_corrected_record_is_judged_too(tmp_path):
    inner = {"kind": "count", "unit": "P1", "counted": 9_998}
    (line,) = read(tmp_path, changed(CORRECT, record=inner))
    assert not line.refused


names = st.text(
    st.characters(min_codepoint=32, max_codepoint=0x2FFF, exclude_characters="\x7f"), min_size=1, max_size=9
)


@given(names, st.integers(1, 2**31), st.integers(0, 10**12))
@settings(max_examples=60, deadline=None)
def test_every_record_comes_the_same_from_both_forms(tmp_path_factory, why, seq, length):
    folder = tmp_path_factory.mktemp("both")
    record = {**PASS, "why": why, "seq": seq, "kept": [{"unit": "M1", "start": "0 m", "end": f"{length} um"}]}
    (one,), (two,) = read(folder, changed(record)), read(folder, row(record), "shift.csv")
    assert not one.refused
    assert one.body == two.body == canonical(record)


# Bad input, a line of JSON each: (the line, field, value, what the cure says).
BAD_LINES = {
    "not JSON": ("{nonsense}", "line", '"{nonsense}"', "not JSON at place 2"),
    "cut off": (changed(ROLL)[:-9], "line", None, "not JSON at place"),
    "two objects": (changed(ROLL) * 2, "line", None, "not JSON"),
    "pretty": ("{", "line", '"{"', "on one line"),
    "list around": (f"[{changed(ROLL)}]", "line", "a list of 1", "not an object"),
    "a number": ("12", "line", "12", "not an object"),
    "twice": (changed(ROLL)[:-1] + ', "lanes": 5}', "lanes", "5", "there twice"),
    "twice inside": (changed(PASS).replace('"start"', '"end"'), "end", '"9 m"', "there twice"),
    "NaN": (changed(ROLL).replace(": 4", ": NaN"), "lanes", '"nan"', "not a finite number"),
    "Infinity": (changed(ROLL).replace(": 4", ": -Infinity"), "lanes", '"-inf"', "not a finite number"),
    "too large": (changed(ROLL).replace(": 4", ": 1e999"), "lanes", '"inf"', "not a finite number"),
    "many digits": (changed(ROLL).replace(": 4", ": " + "4" * 5000), "line", None, "more than 20 digits"),
    "deep": ("[" * 100_000, "line", "", "too deep"),
    "deeper than a record": (changed(CORRECT, record={"a": [[[[[[[[[1]]]]]]]]]}), None, "", "too deep"),
    "null byte": ('{"machine": "\0"}', "line", None, "null byte at place 14"),
    "escaped null": (changed(ROLL, unit="M\0"), "unit", '"M\\u0000"', "control character"),
    "line end in text": (changed(PASS, why="a\nb"), "why", '"a\\nb"', "control character"),
    "half a pair": (changed(PASS, why="\ud800"), "why", None, "half of a character pair"),
    "float": (changed(ROLL, lanes=4.0), "lanes", "4.0", "digits alone"),
    "whole number in quotes": (changed(ROLL, lanes="4"), "lanes", '"4"', "digits alone"),
    "true for a number": (changed(ROLL, lanes=True), "lanes", "true", "digits alone"),
    "below the least": (changed(ROLL, seq=0), "seq", "0", "below 1, the least"),
    "above the most": (changed(ROLL, lanes=100), "lanes", "100", "above 99, the most"),
    "negative length": (changed(ROLL, length="-5 m"), "length", '"-5 m"', "below 0"),
    "negative inside": (
        changed(PASS, kept=[{"unit": "M1", "start": "-1 mm", "end": "9 m"}]), "kept[0].start", '"-1 mm"', "below 0",
    ),
    "no kind": (changed(ROLL, kind=None), "kind", "", "the kinds are allocate, correct, count"),
    "unknown kind": (changed(ROLL, kind="role"), "kind", '"role"', "write 'roll' if that is meant; the kinds are"),
    "kind is no text": (changed(ROLL, kind=[1]), "kind", "a list of 1", "no such kind"),
    "unknown field": (changed(ROLL, lenght="5 m"), "lenght", '"5 m"', "write 'length' if that is meant"),
    "unknown inside": (
        changed(PRINT, pulls=[{"start": 1, "sheets": 2, "sheet": 1}]), "pulls[0].sheet", "1", "write 'sheets'",
    ),
    "missing": (changed(ROLL, length=None), "length", "", "add the field"),
    "missing inside": (changed(PASS, kept=[{"unit": "M1", "start": "0 m"}]), "kept[0].end", "", "add the field"),
    "no unit": (changed(ROLL, length="5214.25"), "length", '"5214.25"', "no unit; write '5214.25 m'"),
    "bare number": (changed(ROLL, length=5214.25), "length", "5214.25", "no unit; write '5214.25 m'"),
    "wrong dimension": (changed(ROLL, length="5 kg"), "length", '"5 kg"', "that is a mass; a length is wanted"),
    "finer than um": (changed(ROLL, length="0.5 nm"), "length", '"0.5 nm"', "finer than 1 um"),
    "no zone": (changed(ROLL, at="2027-03-01T06:30:00"), "at", '"2027-03-01T06:30:00"', "no zone; add the zone"),
    "a day": (changed(ROLL, at="2027-03-01"), "at", '"2027-03-01"', "date, time and zone"),
    "no time": (changed(ROLL, at="this morning"), "at", '"this morning"', "date, time and zone"),
    "no such day": (changed(ROLL, at="2027-02-30T00:00:00Z"), "at", '"2027-02-30T00:00:00Z"', "date, time and zone"),
    "seconds": (changed(ROLL, at=1_700_000_000), "at", "1700000000", "not a time in quotes"),
    "seconds in quotes": (changed(ROLL, at="1700000000"), "at", '"1700000000"', "date, time and zone"),
    "small letters": (changed(NUMBER, first="aa0000001"), "first", '"aa0000001"', "A to Z and 0 to 9"),
    "letters that look alike": (changed(NUMBER, first="\u0410A0000001"), "first", None, "A to Z and 0 to 9"),
    "number too long": (changed(NUMBER, first="A" * 25), "first", None, "longer than 24 characters"),
    "name": (changed(ROLL, unit="*1"), "unit", '"*1"', "a name begins with"),
    "empty name": (changed(ROLL, unit=""), "unit", '""', "it is empty"),
    "kept for series": (changed(ROLL, unit="series 1"), "unit", '"series 1"', "give the unit another name"),
    "no text": (changed(ROLL, unit=5), "unit", "5", "write it in quotes"),
    "yes for true": (changed(NUMBER, descending="yes"), "descending", '"yes"', "write true or false"),
    "none of those": (
        changed(ALLOCATE, purpose="gift"), "purpose", '"gift"', "write 'order' or 'replacement'",
    ),
    "no list": (changed(PASS, kept={}), "kept", "an object of 0", "not a list"),
    "empty list": (changed(PASS, kept=[]), "kept", "a list of 0", "fewer than 1"),
    "no object": (changed(PASS, kept=[3]), "kept[0]", "3", "not an object"),
    "one person": (changed(ALLOCATE, by2=None), "by2", "", "allocate needs two persons"),
    "same person": (changed(ALLOCATE, by2="A. Moss"), "by2", '"A. Moss"', "allocate needs two persons"),
    "corrected: no object": (changed(CORRECT, record=[1]), "record", "a list of 1", "not an object"),
    "corrected: no kind": (changed(CORRECT, record={"unit": "A"}), "record.kind", "", "the kinds are"),
    "corrected: field": (
        changed(CORRECT, record={"kind": "cut", "unt": "A", "unit": "A"}), "record.unt", '"A"', "write 'unit'",
    ),
    "corrected: float": (changed(CORRECT, record={"kind": "cut", "unit": 1.5}), "record.unit", "1.5", "in quotes"),
    "corrected: who": (changed(CORRECT, record={"kind": "cut", "unit": "A", "by": "C"}), "record.by", '"C"', "leave"),
    "corrected twice": (changed(CORRECT, record={"kind": "correct"}), "record.kind", '"correct"', "earlier record"),
    "corrected: length": (
        changed(CORRECT, record={"kind": "roll", "unit": "M", "length": "-1 m", "lanes": 1}),
        "record.length", '"-1 m"', "below 0",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("text", "field", "value", "cure"), BAD_LINES.values(), ids=BAD_LINES)
def test_a_bad_line_names_field_value_and_cure(tmp_path, text, field, value, cure):
    (good, bad) = read(tmp_path, changed(ROLL) + "\n" + text)
    assert not good.refused
    (refusal,) = bad.refused
    assert (bad.record, bad.body, refusal.line) == (None, b"", 2)
    assert field is None or refusal.field == field
    assert value is None or refusal.value == value
    assert cure in refusal.cure
    assert len(refusal.value) <= 80
    assert "; " in refusal.cure


def test_all_that_is_wrong_with_a_line_is_said_at_once(tmp_path):
    (line,) = read(tmp_path, changed(ROLL, lanes=0, length="5", lenght=1, unit=None))
    assert {one.field for one in line.refused} == {"lanes", "length", "lenght", "unit"}


def test_a_refusal_reads_as_one_line():
    assert str(Refusal(3, "length", '"5214"', "that has no unit; write '5214 m'")) == (
        "line 3: length = \"5214\": that has no unit; write '5214 m'"
    )
    assert str(Refusal(0, "file", "", "there is no record in it; give a file of records")).startswith("line 0: file: ")


def test_pydantic_never_speaks_itself():
    said = [*WORDS.values(), *PATTERNS.values(), ELSE]
    assert not [one for one in said if "Input should" in one[0] or "Field required" in one[0]]


def test_every_form_that_text_must_have_is_put_into_words():
    texts = [json.dumps(schema(kind)) for kind in KINDS]
    texts += [json.dumps(one.model_json_schema()) for one in (OrderTable, WorksTable)]
    wanted = {json.loads(form) for text in texts for form in re.findall(r'"pattern": ("[^"]*")', text)}
    assert wanted == set(PATTERNS)


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)


@given(st.sampled_from([ROLL, PASS, NUMBER, PRINT, CORRECT, ALLOCATE]), st.data())
@settings(max_examples=200, deadline=None)
def test_whatever_stands_in_a_field_is_taken_or_refused_in_our_words(tmp_path_factory, record, data):
    field = data.draw(st.sampled_from([*record, "odd"]))
    text = json.dumps({**record, field: data.draw(anything)})
    (line,) = read(tmp_path_factory.mktemp("any"), text)
    for one in line.refused:
        assert ELSE[0] not in one.cure, f"a finding of pydantic is missing in WORDS: {text} {one}"
        assert "Input should" not in one.cure
    assert bool(line.refused) == (line.record is None)


@given(st.binary(max_size=60))
@settings(max_examples=150, deadline=None)
def test_bytes_of_any_kind_are_refused_and_raise_nothing(tmp_path_factory, data):
    for name in ("a.jsonl", "a.csv"):
        lines = read(tmp_path_factory.mktemp("bytes"), data, name)
        assert lines
        assert all(line.refused for line in lines)


# Bad files.


@pytest.mark.parametrize("name", ["a.jsonl", "a.csv"])
@pytest.mark.parametrize("data", ["", "\n\n  \n", "\ufeff"])
def test_an_empty_file(tmp_path, name, data):
    assert only(tmp_path, data, name) == Refusal(0, "file", "", "there is no record in it; give a file of records")


def test_a_header_alone_is_an_empty_file(tmp_path):
    assert only(tmp_path, "machine,kind\n", "a.csv").line == 0


@pytest.mark.parametrize(
    ("data", "cure"),
    [
        ('{"by": "M\u00fcller"}'.encode("latin-1"), "byte 10 is not UTF-8; save the file as UTF-8"),
        (changed(ROLL).encode("utf-16"), "UTF-8"),
        (b"\x1f\x8b\x08\x00 packed", "null byte"),
    ],
)
def test_not_utf8(tmp_path, data, cure):
    refusal = only(tmp_path, data)
    assert (refusal.line, refusal.field) == (1, "line")
    assert cure in refusal.cure


@pytest.mark.parametrize("name", ["none.jsonl", "none.csv", "none"])
def test_no_such_file(tmp_path, name):
    (line,) = read_records(tmp_path / name)
    assert line.refused[0].field == "file"
    assert "no such file" in line.refused[0].cure


def test_a_folder_a_pipe_and_a_strange_ending(tmp_path):
    (tmp_path / "a.jsonl").mkdir()
    os.mkfifo(tmp_path / "b.jsonl")
    (tmp_path / "c.xlsx").write_bytes(b"PK")
    found = [next(read_records(tmp_path / name)).refused[0] for name in ("a.jsonl", "b.jsonl", "c.xlsx")]
    assert [one.line for one in found] == [0, 0, 0]
    assert [one.cure.partition(";")[0] for one in found] == [
        "it is a folder",
        "it is not a file",
        "its ending says neither",
    ]


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    (tmp_path / "a.jsonl").write_text(changed(ROLL))
    monkeypatch.setattr(Path, "open", refuse)
    (line,) = read_records(tmp_path / "a.jsonl")
    assert line.refused[0].cure == "it cannot be read; Permission denied"


# Bad CSV: (the file, line, field, what the cure says).
HEAD = "machine,seq,at,by,kind,unit,length,lanes\n"
GOOD = 'film line,1,2027-03-01T06:30:00Z,A. Moss,roll,M1,"5 m",4\n'
BAD_CSV = {
    "semicolons": (HEAD.replace(",", ";"), 1, "header", "separate the fields by commas"),
    "unknown field": (HEAD.replace("length", "lenght"), 1, "header", "write 'length'"),
    "field twice": (HEAD.replace("lanes", "unit"), 1, "header", "there twice"),
    "no kind": (HEAD.replace(",kind", ""), 1, "header", "add the column kind"),
    "open quote in header": ('"machine,kind\n', 1, "header", "quotes"),
    "open quote": (HEAD + GOOD.replace('5 m"', "5 m"), 2, "line", "quotes do not pair"),
    "few cells": (HEAD + GOOD.replace(",4", ""), 2, "line", "it has 7 cells, the header 8"),
    "many cells": (HEAD + GOOD.replace("5 m", '5 m","6'), 2, "line", "it has 9 cells, the header 8"),
    "float": (HEAD + GOOD.replace(",4", ",4.0"), 2, "lanes", "digits alone"),
    "leading zero": (HEAD + GOOD.replace(",4", ",04"), 2, "lanes", "digits alone"),
    "mark between thousands": (HEAD + GOOD.replace(",4", ',"4,000"'), 2, "lanes", "digits alone"),
    "no unit": (HEAD + GOOD.replace("5 m", "5"), 2, "length", "write '5 m'"),
    "empty cell": (HEAD + GOOD.replace('"5 m"', ""), 2, "length", "add the field"),
    "unknown kind": (HEAD + GOOD.replace("roll", "rol"), 2, "kind", "write 'roll'"),
    "field of another kind": (HEAD + GOOD.replace("roll", "cut"), 2, "length", "no such field"),
    "cell that is no JSON": (
        "machine,seq,at,by,kind,to,kept\nm,1,2027-03-01T06:30:00Z,A,pass,W1,[{]\n", 2, "kept", "not JSON",
    ),
    "long cell": (HEAD + GOOD.replace("A. Moss", "A" * 200_000), 2, "line", "send the record as JSON Lines"),
}  # fmt: skip


@pytest.mark.parametrize(("text", "number", "field", "cure"), BAD_CSV.values(), ids=BAD_CSV)
def test_bad_csv_names_line_field_and_cure(tmp_path, text, number, field, cure):
    first = read(tmp_path, text, "a.csv")[0].refused[0]
    assert (first.line, "header" if number == 1 else first.field) == (number, field)
    assert cure in first.cure


# Files that are too much.


def timed(path: Path, skip_bad: bool = False) -> tuple[list[Line], float, int]:
    """(lines, seconds, most bytes of memory)."""
    tracemalloc.start()
    start = time.perf_counter()
    lines = list(read_records(path, skip_bad))
    seconds, most = time.perf_counter() - start, tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return lines, seconds, most


@pytest.mark.parametrize("name", ["a.jsonl", "a.csv"])
def test_one_line_of_ten_gigabytes_is_given_up_soon(tmp_path, name):
    with (tmp_path / name).open("wb") as file:
        file.truncate(10 * 2**30)  # nulls that take no room on the disk
    lines, seconds, most = timed(tmp_path / name)
    assert [line.refused[0].field for line in lines] == ["file"]
    assert "no end in sight: reading stopped" in lines[0].refused[0].cure
    assert seconds < 2
    assert most < 20 * 2**20


@pytest.mark.parametrize(("skip_bad", "bad"), [(False, 50), (True, 1000)])
def test_lines_of_garbage_without_end_are_given_up_soon(tmp_path, skip_bad, bad):
    with (tmp_path / "a.jsonl").open("wb") as file:
        file.write(b"garbage\n" * 200_000)
        file.truncate(10 * 2**30)
    lines, seconds, most = timed(tmp_path / "a.jsonl", skip_bad)
    assert len(lines) == bad + 1
    assert lines[-1].number == bad
    assert lines[-1].refused[0].field == "file"
    assert "reading stopped" in lines[-1].refused[0].cure
    assert seconds < 2
    assert most < 20 * 2**20


def test_good_lines_behind_bad_ones_are_read_when_bad_ones_are_skipped(tmp_path):
    text = "bad\n" * 60 + changed(ROLL) + "\nbad" * 1000
    assert len(read(tmp_path, text)) == 51
    lines = read(tmp_path, text, skip_bad=True)
    assert len(lines) == 1061
    assert [line.number for line in lines if not line.refused] == [61]


def test_empty_lines_without_end_are_given_up(tmp_path):
    lines = read(tmp_path, changed(ROLL) + "\n" * 5000 + changed(ROLL), skip_bad=True)
    assert [bool(line.refused) for line in lines] == [False, True]
    assert lines[1].refused[0].field == "file"
    assert "1,000 lines in a row are empty" in lines[1].refused[0].cure


def test_a_long_line_is_refused_and_the_next_is_read(tmp_path):
    longest = changed(ROLL) + " " * (2**20 - len(changed(ROLL)))
    lines = read(tmp_path, longest + "\n" + longest + " \n" + "x" * 3 * 2**20 + "\n" + changed(ROLL))
    assert [bool(line.refused) for line in lines] == [False, True, True, False]
    assert lines[2].refused[0].cure == "it is longer than 1,048,576 bytes; write each record on a line of its own"


def test_a_line_of_nothing_but_unknown_fields_takes_no_time(tmp_path):
    text = json.dumps({**ROLL, **{f"f{k}": 1 for k in range(60_000)}})
    start = time.perf_counter()
    (line,) = read(tmp_path, text)
    assert time.perf_counter() - start < 5
    assert len(line.refused) == 20


# Schemas.


def test_the_schemas_in_the_package_are_current(tmp_path):
    for fresh in write_schemas(tmp_path):
        kept = FOLDER / fresh.name
        assert kept.exists(), "call reelmark.io.write_schemas()"
        assert kept.read_text(encoding="utf-8") == fresh.read_text(encoding="utf-8"), "call reelmark.io.write_schemas()"
    assert {one.stem for one in FOLDER.glob("*.json")} == set(KINDS)


def test_a_schema_says_which_unit_a_length_is_kept_in():
    assert schema("roll")["properties"]["length"]["x-unit"] == "um"

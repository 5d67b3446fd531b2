"""A record in words, as it was written: field by field, its lists of parts as tables, and all of it in one line."""

from collections.abc import Iterator, Sequence
from typing import Any, Final, NamedTuple

from pydantic import BaseModel

from .. import records as rec
from ..fields import Whole
from ..units import metres

__all__ = ["FieldRow", "fields", "flat", "in_short", "kind_of", "lists"]

WHO: Final = tuple(rec.Record.model_fields)
UNITS: Final = {  # field -> what its whole number counts; lengths carry their own unit
    "sheets": "sheets", "low": "sheets", "high": "sheets", "counted_in": "sheets", "counted_out": "sheets",
    "sheet": "sheets from the top", "as_sheet": "sheets from the top", "start": "sheets from the top",
    "end": "sheets from the top", "ticks": "ticks", "first_tick": "ticks", "block": "numbers",
}  # fmt: skip


class FieldRow(NamedTuple):
    """One field of a record as written: its name, its value in words, and the unit where it has one."""

    name: str
    value: str
    unit: str = ""


def kind_of(record: rec.Record) -> str:
    """What sort of record."""
    return str(getattr(record, "kind", ""))


def fields(record: rec.Record) -> list[FieldRow]:
    """Fields that are one value each; lists of parts are told apart, see lists.  Left out: what was left empty."""
    written = [(key, getattr(record, key)) for key in type(record).model_fields if key not in {*WHO, "kind"}]
    told = [(key, value) for key, value in written if key in record.model_fields_set or value not in (None, [])]
    return [row for key, value in told if not _is_list(value) for row in _told(record, key, value)]


def _is_list(value: object) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], BaseModel)


def _told(of: BaseModel, key: str, value: Any) -> list[FieldRow]:
    """A field in words.  A corrected record is written out field by field, as it stands in the correction."""
    if isinstance(value, dict):
        return [FieldRow(f"{key}.{inner}", _plain(one)) for inner, one in value.items()]
    if any(isinstance(mark, Whole) for mark in type(of).model_fields[key].metadata):
        return [FieldRow(key, metres(value).removesuffix(" m"), "m")]
    if isinstance(value, bool) or not isinstance(value, int):
        return [FieldRow(key, _plain(value))]
    return [FieldRow(key, f"{value:,}", _unit(of, key))]


def _unit(of: BaseModel, key: str) -> str:
    """What a whole number counts."""
    if isinstance(of, rec.Count):
        return "sheets" if of.unit else "notes"
    return UNITS.get(key, "")


def _plain(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key} {_plain(one)}" for key, one in value.items())
    if isinstance(value, list):
        return "; ".join(map(_plain, value)) or "none"
    if value is None or isinstance(value, bool):
        return {None: "not given", True: "yes", False: "no"}[value]
    return f"{value:,}" if isinstance(value, int) else str(value)


def lists(record: rec.Record) -> list[dict[str, Any]]:
    """Lists of parts as tables: kept, pulls, reads, replaced; each with heads, units and rows."""
    written = [(key, getattr(record, key)) for key in type(record).model_fields]
    return [_list(key, [_part(one) for one in parts]) for key, parts in written if _is_list(parts)]


def _list(key: str, parts: list[list[FieldRow]]) -> dict[str, Any]:
    units = [next((row.unit for row in column if row.unit), "") for column in zip(*parts, strict=True)]
    return {"name": key, "heads": [row.name for row in parts[0]], "units": units,
            "rows": [[row.value for row in part] for part in parts]}  # fmt: skip


def _part(part: BaseModel) -> list[FieldRow]:
    return [row for key in type(part).model_fields for row in _told(part, key, getattr(part, key))]


def flat(record: rec.Record) -> dict[str, str]:
    """Every field under one name, kept[0].start for one of a part, to be compared with another record."""
    told = {row.name: f"{row.value} {row.unit}".rstrip() for row in fields(record)}
    for some in lists(record):
        for i, row in enumerate(some["rows"]):
            cells = zip(some["heads"], row, some["units"], strict=True)
            told |= {f"{some['name']}[{i}].{head}": f"{cell} {unit}".rstrip() for head, cell, unit in cells}
    return {"kind": kind_of(record), **told}


def in_short(record: Any) -> str:
    """A record in a few words: from what to what, which numbers, how many."""
    took = [getattr(record, "unit", None), *(one.unit for one in getattr(record, "kept", ())),
            *getattr(record, "units", ())]  # fmt: skip
    to = getattr(record, "to", None)
    made = [to] if isinstance(to, str) else [one.unit for one in to or ()]
    words = " to ".join(filter(None, (_named(took), _named(made))))
    return ", ".join(filter(None, (words, *_more(record))))


def _named(units: Sequence[str | None]) -> str:
    some = list(dict.fromkeys(filter(None, units)))
    return ", ".join(some[:4]) + (f" and {len(some) - 4:,} more" if len(some) > 4 else "")


def _more(record: Any) -> Iterator[str]:
    first, last = getattr(record, "first", None), getattr(record, "last", None)
    if first:
        yield f"{first} to {last}" if last and last != first else f"{'' if last else 'from '}{first}"
    if isinstance(record, rec.Correct):
        yield f"of {record.of_machine} {record.of_seq:,}"
    if getattr(record, "counted", None) is not None:
        yield f"{record.counted:,} {'sheets' if record.unit else 'notes'} counted"
    for key in ("sheets", "ticks"):
        if isinstance(many := getattr(record, key, None), int):
            yield f"{many:,} {key}"
    if isinstance(record, rec.Reading):
        yield f"sheet {record.sheet:,}, {len(record.reads):,} reads"
    if isinstance(record, rec.Move):
        yield f"{record.source} to {record.target}"
    if why := getattr(record, "fault", None) or (record.why if kind_of(record) in {"move", "correct"} else None):
        yield why

"""One row of CSV as the object that a line of JSON would have given, so that either file is the same bytes.

The header names the fields.  An empty cell is an absent field; lists and objects stand in their cell as JSON.  CSV
has only text, so a cell becomes a number or a truth value where the record's schema wants one, and only if it is
written as JSON would write it; anything else stays text and is then refused as such.
"""

import csv
import re
from functools import cache
from typing import Any, Final

from reelmark.io.jsonl import check_text, parse
from reelmark.io.schemas import schema
from reelmark.io.words import Unreadable, nearest
from reelmark.records import KINDS

__all__ = ["header", "row_object"]

WHOLE: Final = re.compile(r"-?(0|[1-9][0-9]{0,19})")
TRUTH: Final = {"true": True, "false": False}


def _cells(text: str) -> list[str]:
    try:
        return next(csv.reader([text], strict=True))
    except csv.Error as error:
        if "limit" in str(error):
            true, cure = f"a cell is longer than {csv.field_size_limit():,} characters", "send the record as JSON Lines"
        else:
            true, cure = "its quotes do not pair", "double a quote inside a cell, and keep a row on one line"
        raise Unreadable("line", text[:60], true, cure) from error


def header(text: str) -> list[str]:
    """Field names of the first row; Unreadable if one is unknown to all kinds, or stands there twice."""
    names, known = _cells(text), {name for model in KINDS.values() for name in model.model_fields}
    for name in names:
        if name not in known:
            apart = "separate the fields by commas; " if re.search(r"[;\t|]", name) else ""
            raise Unreadable("header", name, "no record has such a field", apart + nearest(name, known, "fields"))
        if names.count(name) > 1:
            raise Unreadable("header", name, "the field stands there twice", "leave one of the two out")
    if "kind" not in names:
        raise Unreadable("header", text[:60], "there is no field kind", "add the column kind")
    return names


def row_object(names: list[str], text: str) -> dict[str, Any]:
    """{field: value} of one row; Unreadable if it is no row of this header."""
    cells = _cells(text)
    if len(cells) != len(names):
        true, cure = f"it has {len(cells)} cells, the header {len(names)}", "quote a cell that has a comma in it"
        raise Unreadable("line", text[:60], true, cure)
    given = {name: cell for name, cell in zip(names, cells, strict=True) if cell}
    types = _types(given.get("kind", ""))
    found = {name: _value(types.get(name, "string"), name, cell) for name, cell in given.items()}
    check_text(found)
    return found


@cache
def _types(kind: str) -> dict[str, str]:
    """{field: JSON type} of a kind; empty if there is no such kind."""
    if kind not in KINDS:
        return {}
    return {name: _type(one) for name, one in schema(kind)["properties"].items()}


def _type(one: dict[str, Any]) -> str:
    """The JSON type of a field, that beside null if it may be absent."""
    kinds = [part.get("type", "object") for part in one.get("anyOf", [one])]
    return str(next(kind for kind in kinds if kind != "null"))


def _value(kind: str, name: str, cell: str) -> Any:
    if kind == "integer" and WHOLE.fullmatch(cell):
        return int(cell)
    if kind == "boolean":
        return TRUTH.get(cell.lower(), cell)
    return parse(cell, name) if kind in {"array", "object"} else cell

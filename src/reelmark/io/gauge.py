"""Records of gauges in: scans of rolls, infrared spectra and draw-downs, from CSV or Parquet, as columns.

    for roll, columns in read_gauge(path).items():  columns["time_s"], ["metre_m"], ["across_mm"], ["gauge_um"]
    read_spectrum(path)["wavenumber_cm1"], ["transmittance"]
    for lot, columns in read_draw_downs(path).items():  columns["coat_um"], ["over_black"], ["over_white"]

Units stand in the columns' names.  What the numbers say is for the station to judge; here it is only whether they are
numbers, in the columns that are wanted.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue, Problem

__all__ = ["DRAW_DOWN", "GAUGE", "SPECTRUM", "read_draw_downs", "read_gauge", "read_spectrum"]

GAUGE: Final = ("time_s", "metre_m", "across_mm", "gauge_um")
SPECTRUM: Final = ("wavenumber_cm1", "transmittance")
DRAW_DOWN: Final = ("coat_um", "over_black", "over_white")
MOST_BYTES: Final = 4 * 2**30

Column = NDArray[np.float64]


def read_gauge(path: Path) -> dict[str, dict[str, Column]]:
    """{roll: {column: values}} of a gauge's records, rolls in the order in which they first appear."""
    table = _table(path, ("roll", *GAUGE))
    rolls = np.array(_names(path, table["roll"].to_pylist(), "roll"))
    return _apart(rolls, {name: _numbers(path, table, name) for name in GAUGE})


def read_draw_downs(path: Path) -> dict[str, dict[str, Column]]:
    """{ink lot: {column: values}}, lots as they first appear, "" where the file names none.

    `black` and `white`, the bare grounds, are there only where the file has them.
    """
    table = _table(path, DRAW_DOWN)
    held = [*DRAW_DOWN, *(name for name in ("black", "white") if name in table.column_names)]
    columns = {name: _numbers(path, table, name) for name in held}
    if "lot" not in table.column_names:
        return {"": columns}
    return _apart(np.array(_names(path, table["lot"].to_pylist(), "lot")), columns)


def _apart(of: NDArray[np.str_], columns: dict[str, Column]) -> dict[str, dict[str, Column]]:
    """The rows of each name by themselves, names in the order in which they first appear."""
    names, first, which = np.unique(of, return_index=True, return_inverse=True)
    if len(names) == 1:
        return {str(names[0]): columns}
    return {str(names[i]): {name: one[which == i] for name, one in columns.items()} for i in np.argsort(first)}


def _names(path: Path, written: list[Any], what: str) -> list[str]:
    """Names of rolls, or of what else, as text; one that is empty or none is refused with its line."""
    for n, one in enumerate(written):
        if isinstance(one, bool) or not isinstance(one, str | int) or not str(one).strip():
            true = f"line {n + 2} of {path.name} names no {what}"
            raise BadValue(what, str(one)[:40], true, f"write the {what}'s name, as the journal has it, on every row")
    return [str(one) for one in written]


def read_spectrum(path: Path) -> dict[str, Column]:
    """The columns of an infrared spectrum."""
    table = _table(path, SPECTRUM)
    return {name: _numbers(path, table, name) for name in SPECTRUM}


def _table(path: Path, wanted: Sequence[str]) -> Any:
    """The file as a table that has the columns wanted; others are left where they are."""
    import pyarrow as pa
    from pyarrow import csv, parquet

    if not path.is_file():
        raise Problem(f"gauge records {path}", "there is no such file", "give the file that the gauge wrote")
    if path.stat().st_size > MOST_BYTES:
        raise Problem(f"gauge records {path}", f"it is larger than {MOST_BYTES >> 30} GiB", "give it roll by roll")
    try:
        if path.suffix.lower() in {".parquet", ".pq"}:
            return _having(path, parquet.read_table(path, columns=None), wanted)
        kinds = {"roll": pa.string(), "lot": pa.string()}
        options = csv.ConvertOptions(column_types=kinds, strings_can_be_null=True)
        return _having(path, csv.read_csv(path, convert_options=options), wanted)
    except pa.ArrowException as error:
        cure = f"write CSV or Parquet with the columns {', '.join(wanted)}"
        raise Problem(f"gauge records {path}", f"it does not read: {str(error).splitlines()[0][:120]}", cure) from error


def _having(path: Path, table: Any, wanted: Sequence[str]) -> Any:
    names = list(table.column_names)
    twice = sorted({name for name in wanted if names.count(name) > 1})
    if twice:
        raise BadValue("columns", ", ".join(twice), f"{path.name} has it twice", "name every column once")
    missing = [name for name in wanted if name not in names]
    if missing:
        true = f"it has the columns {', '.join(names[:8])}"
        cure = "name every column with its unit, as the manual shows"
        raise BadValue("columns", ", ".join(missing), f"{true} in {path.name}", cure)
    if not table.num_rows:
        raise BadValue("rows", 0, f"{path.name} has a head and no rows", "give the file that the gauge wrote")
    return table


def _numbers(path: Path, table: Any, name: str) -> Column:
    """A column as floats; a cell that is empty is NaN, one that is no number is refused with its line."""
    column = table[name]
    if not _holds_numbers(column.type):
        cure = "write plain numbers in the unit that the column's name says: times as seconds from any start"
        raise BadValue(name, str(column.type), f"a column of {path.name} of a type that is no number", cure)
    try:
        return np.asarray(column.to_numpy(zero_copy_only=False), dtype=np.float64)
    except (ValueError, TypeError) as error:
        first = next((n, one) for n, one in enumerate(column.to_pylist()) if not _is_number(one))
        true = f"line {first[0] + 2} of {path.name} holds {str(first[1])[:40]!r}"
        raise BadValue(name, str(first[1])[:40], true, "write numbers with a point, without unit or groups") from error


def _holds_numbers(kind: Any) -> bool:
    """Numbers, text that may be numbers, or nothing at all; dates, durations, truth values and lists are none."""
    from pyarrow import types

    kind = kind.value_type if types.is_dictionary(kind) else kind
    text = types.is_string(kind) or types.is_large_string(kind)
    return bool(
        types.is_integer(kind) or types.is_floating(kind) or types.is_decimal(kind) or text or types.is_null(kind)
    )


def _is_number(one: object) -> bool:
    try:
        return one is None or float(str(one)) is not None
    except ValueError:
        return False

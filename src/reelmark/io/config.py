"""order.toml and works.toml: what is wanted and what there is, read once, checked, and handed on as values.  A file of
stage yields is read the same way.

Lengths carry their unit ("700 mm").  An error names the file, the key as 'layout.cut_off', what stood there and the
cure; a key that is not known is refused with the nearest one that is.
"""

import re
import tomllib
from pathlib import Path
from typing import Any, Final, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ValidationError

from reelmark import way
from reelmark.errors import BadValue, Problem
from reelmark.io.plantfile import believed, plant_of, stage_yield
from reelmark.io.planttables import StagesTable
from reelmark.io.tables import MOST_PLACES, OrderTable, SeriesTable, WorksTable
from reelmark.io.words import ABSENT, findings, nearest
from reelmark.note import vkey
from reelmark.order import Delivery, Layout, Order, Series
from reelmark.plant import PastRuns, StageYield, share_numbers
from reelmark.works import Machine, Works

__all__ = ["read_order", "read_stages", "read_works", "template"]

LARGEST: Final = 2**20  # bytes; a works of a thousand machines needs a tenth
OFFSET: Final = re.compile(r"[+-][01][0-9]:[0-5][0-9]")
LAST_NUMBER: Final = 2**62  # numbers are kept as 64 bit

Read = TypeVar("Read", bound=BaseModel)


def template(name: str) -> str:
    """Text of the example 'order.toml' or 'works.toml' that a new works begins with."""
    return (Path(__file__).parent / "templates" / name).read_text(encoding="utf-8")


def read_order(path: Path) -> Order:
    """The order in a file; BadValue names file and key, Problem a file that cannot be read."""
    path = Path(path)
    read = _read(path, OrderTable)
    try:
        return _order(read)
    except BadValue as bad:
        raise _in_file(path, bad) from bad


def read_works(path: Path) -> Works:
    """The works in a file; BadValue names file and key, Problem a file that cannot be read."""
    path = Path(path)
    read = _read(path, WorksTable)
    try:
        return _works(read)
    except BadValue as bad:
        raise _in_file(path, bad) from bad


def read_stages(path: Path) -> tuple[StageYield | PastRuns, ...]:
    """The stages of a STAGES.toml, spreads or past batches; BadValue names file and key, Problem an unreadable file."""
    path = Path(path)
    read = _read(path, StagesTable)
    try:
        return tuple(stage_yield(at, one) for at, one in enumerate(read.stages))
    except BadValue as bad:
        raise _in_file(path, bad) from bad


def _read(path: Path, model: type[Read]) -> Read:
    try:
        return model.model_validate(_toml(path))
    except ValidationError as error:
        # a key misspelt is also a key missing: the misspelling says more
        first, *more = sorted(findings(error, model), key=lambda one: one.value is ABSENT)
        cure = f"{first.cure} (and {len(more)} more)" if more else first.cure
        value = "nothing" if first.value is ABSENT else first.value
        raise BadValue(f"{path.name}: {first.field}", value, first.true, cure) from error


def _toml(path: Path) -> dict[str, Any]:
    asked = f"reading {path}"
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST + 1)
        if len(raw) > LARGEST:
            raise Problem(asked, f"it is longer than {LARGEST:,} bytes", "give an order or a works")
        return tomllib.loads(raw.decode().replace("\r\n", "\n"))
    except OSError as error:
        raise Problem(asked, f"{error.strerror}", "give the folder of the works, or begin one: reelmark new") from error
    except UnicodeDecodeError as error:
        raise Problem(asked, f"byte {error.start + 1} is not UTF-8", "save the file as UTF-8") from error
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise Problem(asked, f"it is not TOML: {error}", "correct it there; texts stand in double quotes") from error


def _in_file(path: Path, bad: BadValue) -> BadValue:
    return type(bad)(f"{path.name}: {bad.field}", bad.value, bad.true, bad.cure)


def _order(read: OrderTable) -> Order:
    layout = read.layout.model_dump()
    for name, value in layout.items():
        if value < 0:
            raise BadValue(f"layout.{name}", f"{value} um", "it is below 0", "correct the layout")
    series = tuple(_one_series(index, one) for index, one in enumerate(read.series))
    _once("series", [one.name for one in series])
    _apart(series)
    deliveries = tuple(Delivery(one.notes, one.by.isoformat()) for one in read.deliveries)
    _delivered(read)
    place = Layout(**layout)
    return Order(read.name, read.issuer, read.notes, place, read.lanes, series, deliveries, read.web_passes)


def _delivered(read: OrderTable) -> None:
    """No more is delivered than ordered, on days that can be; less is the planner's to tell."""
    for index, one in enumerate(read.deliveries):
        believed(f"deliveries[{index}].by", one.by)
        if one.notes > read.notes:
            true = f"the order is for {read.notes}"
            raise BadValue(f"deliveries[{index}].notes", one.notes, true, "correct one of the two")
    total = sum(one.notes for one in read.deliveries)
    if total > read.notes:
        true = f"together they are {total:,} notes, the order is for {read.notes:,}"
        raise BadValue("deliveries", f"{total:,} notes", true, "take notes off the deliveries, or order as many")


def _one_series(index: int, one: SeriesTable) -> Series:
    at, places = f"series[{index}]", len(one.prefix) + one.letters + one.digits
    if places > MOST_PLACES:
        raise BadValue(f"{at}.digits", one.digits, f"a number would have {places} characters", f"at most {MOST_PLACES}")
    if len(set(one.alphabet)) < len(one.alphabet):
        raise BadValue(f"{at}.alphabet", one.alphabet, "a letter stands in it twice", "leave one of the two out")
    if len(one.alphabet) ** one.letters * 10**one.digits > LAST_NUMBER:
        true = f"the series would have more than {LAST_NUMBER} numbers"
        raise BadValue(f"{at}.letters", one.letters, true, "take letters or digits off")
    return Series(**one.model_dump())


def _once(field: str, names: list[str]) -> None:
    for index, name in enumerate(names):
        if name in names[:index]:
            raise BadValue(f"{field}[{index}].name", name, "the name stands there twice", "give each its own name")


def _apart(series: tuple[Series, ...]) -> None:
    """No text may be a number of two series: some place must tell them apart, or their length."""
    for index, one in enumerate(series):
        for other in series[:index]:
            if share_numbers(one, other):
                true = f"a number of {one.name} could be one of {other.name}"
                raise BadValue(f"series[{index}]", one.name, true, "give one a longer prefix, or a digit more")


def _works(read: WorksTable) -> Works:
    _key_name(read.origin)
    try:
        OFFSET.fullmatch(read.zone) or ZoneInfo(read.zone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise BadValue("zone", read.zone, "no such zone is known here", "write it as Etc/UTC or +01:00") from error
    _once("machines", [one.name for one in read.machines])
    stations = [one.name for one in way.WAY]
    for index, one in enumerate(read.machines):
        if one.station not in stations:
            cure = nearest(one.station, stations, "stations")
            raise BadValue(f"machines[{index}].station", one.station, "no such station is on the way", cure)
    machines = tuple(Machine(**one.model_dump()) for one in read.machines)
    plant = plant_of(read.plant, [one.name for one in machines]) if read.plant else None
    return Works(read.name, read.origin, read.zone, machines, plant)


def _key_name(origin: str) -> None:
    """BadValue if the journal could not be sealed under this name."""
    try:
        vkey(origin, bytes(32))
    except BadValue as bad:
        raise BadValue("origin", origin, bad.true, bad.cure) from bad

"""The plant part of works.toml, and a file of stage yields, as values.

open = ["Mon 06:00 - Sat 06:00"]     from a day and time to another     "Mon-Fri 06:00 - 22:00" each day, "always"
rate = "9000 sheets/h"               or "60 m/min", or "300000 notes/h"
"""

import math
import re
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Final, TypeVar, cast

from reelmark import way
from reelmark.errors import BadValue
from reelmark.io.planttables import (
    CalendarTable,
    MaintenanceTable,
    PlantMachineTable,
    PlantStageTable,
    PlantTable,
    StageTable,
)
from reelmark.io.words import nearest
from reelmark.plant import (
    DAYS,
    WEEK,
    Calendar,
    Hours,
    Maintenance,
    Material,
    Measure,
    PastRuns,
    Plant,
    PlantMachine,
    PlantPrices,
    PlantStage,
    Rate,
    Shift,
    Spread,
    StageYield,
)

__all__ = ["believed", "plant_of", "stage_yield"]

WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
DAY: Final = "(" + "|".join(WEEKDAYS) + ")"
CLOCK: Final = r"([01]?[0-9]|2[0-3]|24(?=:00)):([0-5][0-9])"  # no 29:00: an end before the begin is the next day's
LONG: Final = re.compile(rf"{DAY} {CLOCK} ?- ?{DAY} {CLOCK}")
DAILY: Final = re.compile(rf"{DAY}(?:-{DAY})? {CLOCK} ?- ?{CLOCK}")
MOMENT: Final = re.compile(rf"{DAY} {CLOCK}")
RATE: Final = re.compile(r"([0-9][0-9_]*(?:\.[0-9]+)?) (sheets|m|notes)/(h|min)")
HOUR: Final = 3600.0  # s
DAY_MIN: Final = 24 * 60
OWN: Final = {"good", "concentration", "after", "least_wait", "most_wait", "setup", "forms", "machines"}

Named = TypeVar("Named", Calendar, Shift, PlantMachine)


def plant_of(read: PlantTable, machines: Sequence[str]) -> Plant:
    """The plant; machines : names that works.toml knows.  BadValue names the key below [plant]."""
    if not 0 < read.level < 1:
        raise BadValue("plant.level", read.level, "a chance lies between 0 and 1", "write 0.99, or '99 %'")
    calendars = _named("calendars", [_calendar(at, one) for at, one in enumerate(read.calendars)])
    shifts = [
        Shift(one.name, _open(f"plant.shifts[{at}].open", one.open), one.people) for at, one in enumerate(read.shifts)
    ]
    made = _named("machines", [_machine(at, one, machines) for at, one in enumerate(read.machines)])
    stages = tuple(_stage(one) for one in _in_order(read.stages))
    return Plant(
        calendars, made, stages, _material(read), read.batch, read.reserve, read.level, _named("shifts", shifts),
        read.store, PlantPrices(**read.prices.model_dump()),
    )  # fmt: skip


def _named(what: str, ones: list[Named]) -> tuple[Named, ...]:
    """The ones, no name among them twice."""
    _once(what, [one.name for one in ones])
    return tuple(ones)


def _once(what: str, names: Sequence[str]) -> None:
    for at, name in enumerate(names):
        if name in names[:at]:
            raise BadValue(f"plant.{what}[{at}].name", name, "the name stands there twice", "give each its own name")


def _calendar(at: int, read: CalendarTable) -> Calendar:
    field = f"plant.calendars[{at}].open"
    if not read.open:
        cure = 'write open = ["Mon 06:00 - Sat 06:00"], or ["always"]'
        raise BadValue(field, "no hours", f"nothing is ever done in {read.name}", cure)
    for day, one in enumerate(read.closed):
        believed(f"plant.calendars[{at}].closed[{day}]", one)
    return Calendar(read.name, _open(field, read.open), tuple(read.closed))


def believed(field: str, day: date) -> date:
    """The day, if its year is one that can be planned for; else BadValue names the field."""
    if not DAYS[0] <= day <= DAYS[1]:
        raise BadValue(field, day.isoformat(), f"it must lie in {DAYS[0]} to {DAYS[1]}", "correct the year")
    return day


def _open(field: str, spells: Iterable[str]) -> tuple[Hours, ...]:
    return tuple(hours for at, text in enumerate(spells) for hours in _hours(f"{field}[{at}]", text))


def _hours(field: str, text: str) -> list[Hours]:
    """
    >>> _hours("open", "Mon 06:00 - Sat 06:00"), _hours("open", "Sat-Sun 06:00 - 07:00")
    ([Hours(begins=360, ends=7560)], [Hours(begins=7560, ends=7620), Hours(begins=9000, ends=9060)])
    """
    if text == "always":
        return [Hours(0, WEEK)]
    if found := LONG.fullmatch(text):
        begins, ends = _minute(*found.groups()[:3]), _minute(*found.groups()[3:])
        _differ(field, text, begins, ends, "'always' for the whole week")
        return [Hours(begins, ends if ends > begins else ends + WEEK)]
    if found := DAILY.fullmatch(text):
        first, last, *clock = found.groups()
        days = range(WEEKDAYS.index(first), WEEKDAYS.index(last or first) + 1)
        each = [(_minute(WEEKDAYS[day], *clock[:2]), _minute(WEEKDAYS[day], *clock[2:])) for day in days]
        if each:
            _differ(field, text, *each[0], "'00:00 - 24:00' for whole days")
            return [Hours(begins, ends if ends > begins else ends + DAY_MIN) for begins, ends in each]
    cure = "write 'Mon 06:00 - Sat 06:00', or 'Mon-Fri 06:00 - 22:00' ('22:00 - 05:00' ends next day), or 'always'"
    raise BadValue(field, text, "these are no hours of a week", cure)


def _differ(field: str, text: str, begins: int, ends: int, whole: str) -> None:
    if begins == ends:
        raise BadValue(field, text, "it ends when it begins: nothing, or everything", f"write {whole}, or two times")


def _minute(day: str, hour: str, minute: str) -> int:
    """Of the week, from Monday 00:00; 24:00 is the end of the day."""
    return WEEKDAYS.index(day) * DAY_MIN + int(hour) * 60 + int(minute)


def _machine(at: int, read: PlantMachineTable, known: Sequence[str]) -> PlantMachine:
    field = f"plant.machines[{at}]"
    if read.name not in known:
        raise BadValue(f"{field}.name", read.name, "the works has no machine of that name",
                       nearest(read.name, known, "machines"))  # fmt: skip
    if not 0 < read.efficiency <= 1:
        cure = "write the share of open time in which it runs, such as 0.7"
        raise BadValue(f"{field}.efficiency", read.efficiency, "it lies above 0 and is 1 at most", cure)
    kept = _maintenance(f"{field}.maintenance", read.maintenance) if read.maintenance else None
    return PlantMachine(
        read.name, _rate(f"{field}.rate", read.rate), read.calendar, read.efficiency, read.people, read.power / 1000,
        read.hour_price, kept,
    )  # fmt: skip


def _rate(field: str, text: str) -> Rate:
    """
    >>> _rate("rate", "60 m/min")
    Rate(per_hour=3600.0, measure='m')
    """
    found = RATE.fullmatch(text)
    if found is None or not float(found[1]) > 0:
        raise BadValue(field, text, "that is no rate", "write '9000 sheets/h', '60 m/min' or '300000 notes/h'")
    return Rate(float(found[1]) * (60 if found[3] == "min" else 1), cast(Measure, found[2]))


def _maintenance(field: str, read: MaintenanceTable) -> Maintenance:
    found = MOMENT.fullmatch(read.at)
    if found is None:
        raise BadValue(f"{field}.at", read.at, "that is no hour of a week", "write 'Mon 06:00'")
    if not 0 < read.lasts <= WEEK * 60:
        raise BadValue(f"{field}.lasts", f"{read.lasts} s", "it lasts up to a week", "write '4 h'")
    return Maintenance(read.every_weeks, _minute(*found.groups()), read.lasts / HOUR)


def _in_order(read: Sequence[PlantStageTable]) -> list[PlantStageTable]:
    """The stages from first to last: each after the one it names, or after the one written before it."""
    _once("stages", [one.name for one in read])
    before = {one.name: one.after or (read[at - 1].name if at else None) for at, one in enumerate(read)}
    by_name = {one.name: one for one in read}
    for one in read:
        if one.after is not None and one.after not in by_name:
            cure = nearest(one.after, by_name, "stages")
            raise BadValue(f"{one.name}: after", one.after, "there is no such stage", cure)
    follows: dict[str | None, str] = {}
    for name, earlier in before.items():
        if earlier in follows:
            true = f"{follows[earlier]} and {name} both come after {earlier or 'nothing'}"
            raise BadValue(f"{name}: after", earlier, true, "let one come after the other")
        follows[earlier] = name
    order, at = [], follows.get(None)
    while at is not None:
        order.append(at)
        at = follows.get(at)
    if lost := [name for name in before if name not in order]:
        true = f"{', '.join(lost)} come after one another in a circle"
        raise BadValue(f"{lost[0]}: after", before[lost[0]], true, "take one 'after' out; the first stage has none")
    return [by_name[name] for name in order]


def _stage(read: PlantStageTable) -> PlantStage:
    field, stations = read.name, [one.name for one in way.WAY]
    if read.station not in stations:
        cure = nearest(read.station, stations, "stations")
        raise BadValue(f"{field}: station", read.station, "no such station is on the way", cure)
    if read.most_wait is not None and read.most_wait < read.least_wait:
        true = f"the least wait is {read.least_wait / HOUR:g} h"
        raise BadValue(f"{field}: most_wait", f"{read.most_wait / HOUR:g} h", true, "correct one of the two")
    if not read.wiped < 1:
        raise BadValue(f"{field}: wiped", read.wiped, "some ink stays on the sheet", "write a share below 1")
    good = _spread(field, "good", read.good, read.concentration)
    rest = read.model_dump(exclude=OWN)
    return PlantStage(
        **rest, machines=tuple(read.machines), good=good, forms=read.forms or "", least_wait=read.least_wait / HOUR,
        most_wait=None if read.most_wait is None else read.most_wait / HOUR, setup=read.setup / HOUR,
    )  # fmt: skip


def _spread(where: str, name: str, mean: float, concentration: float | None) -> Spread:
    try:
        return Spread(mean, math.inf if concentration is None else concentration)
    except BadValue as bad:
        field = name if bad.field == "mean" else bad.field
        raise BadValue(f"{where}: {field}", bad.value, bad.true, bad.cure) from bad


def _material(read: PlantTable) -> Material:
    values = read.material.model_dump()
    for name in ("gauge", "density", "lane_width", "roll_length", "solids"):
        if not values[name] > 0:
            raise BadValue(f"plant.material.{name}", values[name], "it must be above 0", "correct it")
    made = Material(**{**values, "resin_energy": values["resin_energy"] / 3.6e6})
    if not made.gauge_least <= made.gauge <= made.gauge_most:
        true = f"{made.gauge_least * 1e6:g} to {made.gauge_most * 1e6:g} um is believed of film"
        cure = "correct the gauge, or gauge_least and gauge_most where the film is such"
        raise BadValue("plant.material.gauge", f"{made.gauge * 1e6:g} um", true, cure)
    if made.roll_loss >= made.roll_length or made.resin_trim >= 1:
        raise BadValue("plant.material", made.roll_loss, "nothing of a roll would be left", "correct the losses")
    return made


def stage_yield(at: int, read: StageTable) -> StageYield | PastRuns:
    """A stage of STAGES.toml, `at` its place; BadValue names the key."""
    field, name = f"stages[{at}]", read.name or f"stage {at + 1}"
    given = {pair: [getattr(read, one) is not None for one in pair] for pair in
             (("alpha", "beta"), ("tried", "good"))}  # fmt: skip
    ways = sum(any(two) for two in given.values()) + (read.mean is not None)
    if ways != 1 or any(any(two) and not all(two) for two in given.values()):
        cure = "give alpha and beta, or mean and concentration, or tried and good of past batches"
        raise BadValue(field, name, f"a stage is given in one of three ways, here in {ways}, or half", cure)
    if read.concentration is not None and read.mean is None:
        cure = "give mean too, or take it out"
        raise BadValue(f"{field}.concentration", read.concentration, "it goes with a mean", cure)
    if read.tried is not None and read.good is not None:
        return PastRuns(name, tuple(read.tried), tuple(read.good))
    try:
        if read.alpha is not None and read.beta is not None:
            return StageYield(name, Spread.of(read.alpha, read.beta))
        return StageYield(name, _spread(field, "mean", read.mean or 0.0, read.concentration))
    except BadValue as bad:
        where = bad.field if bad.field.startswith(field) else f"{field}.{bad.field}"
        raise BadValue(where.replace(": ", "."), bad.value, bad.true, bad.cure) from bad

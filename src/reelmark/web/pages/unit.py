"""A roll, a pile or a lot: what made it and took it, who has it, what is on it.  With series and pack: a pack."""

from functools import partial
from typing import Annotated, Any, Literal

from fastapi import Query

from ...acts.unit import unit_life
from ...errors import BadValue
from ...reading import Reading
from ..content import Action, Cell, Column, Content, Table
from ..page import Asked, AskedNow, Page
from ..two import destroy_form
from ..words import figure
from . import pack as packs
from .find import account_link, entry_link, number_link, strips_address, unit_link

__all__ = ["PAGE"]

Rows = list[list[Cell]]
Life = dict[str, Any]


def build(
    asked: AskedNow,
    name: Annotated[str | None, Query(max_length=64)] = None,
    series: Annotated[str | None, Query(max_length=64)] = None,
    pack: Annotated[str | None, Query(max_length=40)] = None,
    notes: Literal["100", "1000"] = "100",
) -> Content:
    """The page of a unit by its name, or of a pack by its series and first number (notes = 1000: of a bundle)."""
    if name:
        return _unit(asked, asked.now.recent(("unit", name), partial(_life, name=name)))
    if series and pack:
        return packs.page(asked, series, pack, int(notes))
    given = " and ".join(what for what, value in (("series", series), ("pack", pack)) if value) or "nothing"
    raise BadValue("name", name, f"neither a unit nor a pack is named: {given} is given",
                   "give name, or series and pack, as the links of the pages do")  # fmt: skip


def _life(reading: Reading, name: str) -> Life:
    return unit_life(reading, name)


def _unit(asked: Asked, told: Life) -> Content:
    base, name = asked.base, told["name"]
    tables = (_neighbours, _accounts, _numbers, _pulls, _marks, _splices, _counts, _differences)
    actions = (Action("Show on the strips", strips_address(base, [name])), Action("Books", f"{base}/books"))
    title = f"{told['kind'].capitalize()} {name}"
    spoil = any(one["account"].endswith(":spoiled") for one in told["accounts"])
    forms = destroy_form(asked, name) if spoil else ()
    return Content(title, (_size(told),), (*(table(base, told) for table in tables), *forms), actions)


def _size(told: Life) -> str:
    low, high = told["low"], told["high"]
    if told["measure"] == "m":
        lanes = f"lane{'s' if len(told['lanes']) > 1 else ''} {_lanes(told['lanes'])}"
        return f"{figure(high, 3)} m as wound, 0 at the core; {lanes}."
    if low == high:
        return f"{figure(high)} sheet{'' if high == 1 else 's'}, counted from the top, 0 the first."
    return f"{figure(low)} to {figure(high)} sheets, counted from the top, 0 the first: a pull was not counted."


def _lanes(lanes: list[int]) -> str:
    return ", ".join(map(str, lanes))


def _axis(told: Life) -> tuple[Column, ...]:
    """Where on it: lanes and metres, or sheets up to the first one that is not meant."""
    if told["measure"] == "m":
        return Column("lanes"), Column("from", "m", "figure", 3), Column("to", "m", "figure", 3)
    return Column("from sheet", kind="figure"), Column("up to, not with, sheet", kind="figure")


def _at(told: Life, one: dict[str, Any]) -> list[Cell]:
    return [*([_lanes(one["lanes"])] if told["measure"] == "m" else []), one["from"], one["to"]]


def _neighbours(base: str, told: Life) -> Table:
    columns = (
        Column("way"), Column("unit"), Column("entry"), Column("what"), Column("station"), Column("machine"),
        Column("at", kind="time"), Column("by"), Column("second person"),
    )  # fmt: skip
    steps = [("made out of" if told["made"]["units"] else "made", told["made"])]
    steps += [("went into", one) for one in told["taken"]]
    rows: Rows = [
        [way, unit_link(base, unit) if unit else None, *_step(base, one)]
        for way, one in steps for unit in one["units"] or [None]
    ]  # fmt: skip
    rows += [["booked", None, *_step(base, one | {"what": f"{one['what']}: {one['why']}"})] for one in told["posted"]]
    return Table("way", "Made, taken, booked", columns, rows)


def _step(base: str, one: dict[str, Any]) -> list[Cell]:
    head: list[Cell] = [entry_link(base, one["entry"]), one["what"], one["station"], one["machine"]]
    return [*head, one["at"], one["by"], one["by2"]]


def _accounts(base: str, told: Life) -> Table:
    web = told["measure"] == "m"
    holds = Column("each lane holds" if web else "holds", told["measure"], "figure", 3 if web else 0)
    columns = (Column("account"), *_axis(told), holds, Column("not in it for sure"))
    rows: Rows = [
        [account_link(base, one["account"]), *_at(told, one),
         one["many"] if one["measure"] == told["measure"] else None, _beside(told, one)]
        for one in told["accounts"]
    ]  # fmt: skip
    note = "carried: taken on by that station, and booked further in what it went into."
    return Table("accounts", "Accounts", columns, rows, "no account holds it", note)


def _beside(told: Life, one: dict[str, Any]) -> str:
    """What the books keep beside a unit, for nobody knows where it is."""
    if one["what"] == told["name"]:
        return ""
    if one["measure"] == "sheets":
        return "in it or pulled: nobody counted"
    return f"{figure(one['many'])} notes may bear no number"


def _numbers(base: str, told: Life) -> Table:
    columns = (
        Column("series"), Column("first"), Column("last"), Column("ranges", kind="figure"),
        Column("may", "numbers", "figure"), Column("must", "numbers", "figure"),
    )  # fmt: skip
    rows: Rows = [
        [one["series"], number_link(base, one["first"]), number_link(base, one["last"]), one["ranges"], one["may"],
         one["must"]]
        for one in told["numbers"]
    ]  # fmt: skip
    note = (
        "Numbers of all sheets that hold any of it. may: may be touched. must: surely touched. Ranges: on the strips."
    )
    return Table("numbers", "Numbers", columns, rows, "none of it bears a number yet", note)


def _pulls(base: str, told: Life) -> Table:
    columns = (
        Column("lot"), Column("pulled from"), Column("from sheet", kind="figure"),
        Column("up to, not with, sheet", kind="figure"), Column("at least", "sheets", "figure"),
        Column("at most", "sheets", "figure"), Column("kind"), Column("why"), Column("when"), Column("entry"),
    )  # fmt: skip
    rows: Rows = [
        [unit_link(base, one["lot"]), one["of"], one["from"], one["to"], one["low"], one["high"], one["kind"],
         one["why"], one["when"], entry_link(base, one["entry"])]
        for one in told["pulls"]
    ]  # fmt: skip
    note = "Sheets by the count of the feed they were pulled from."
    return Table("pulls", "Pulled sheets", columns, rows, "no sheets were pulled", note)


def _marks(base: str, told: Life) -> Table:
    columns = (
        Column("fault"), Column("grade"), Column("seen by"), Column("seen on"), *_axis(told),
        Column("surely"), Column("entry"),
    )  # fmt: skip
    rows: Rows = [
        [one["fault"], one["grade"], one["seen_by"], unit_link(base, one["seen_on"]), *_at(told, one),
         one["sure"], entry_link(base, one["entry"])]
        for one in told["marks"]
    ]  # fmt: skip
    note = "Where they lie on it, wherever on the way they were seen."
    return Table("marks", "Marks", columns, rows, "no mark lies on it", note)


def _splices(base: str, told: Life) -> Table:
    columns = (Column("how"), Column("made on"), *_axis(told), Column("surely"), Column("entry"))
    rows: Rows = [
        [one["how"], unit_link(base, one["made_on"]), *_at(told, one), one["sure"],
         entry_link(base, one["entry"])]
        for one in told["splices"]
    ]  # fmt: skip
    return Table("splices", "Splices", columns, rows, "no splice is in it")


def _counts(base: str, told: Life) -> Table:
    columns = (
        Column("counted", "sheets", "figure"), Column("agrees with the book"), Column("blind"), Column("what"),
        Column("machine"), Column("at", kind="time"), Column("by"), Column("entry"),
    )  # fmt: skip
    rows: Rows = [[one["counted"], one["agrees"], one["blind"], *_seen(base, one)] for one in told["counts"]]
    rows += [[None, None, None, *_seen(base, one)] for one in told["sightings"]]
    note = "blind: the counter did not see the book."
    note += f" Numbers were read on {figure(told['reads'])} sheets of it." if told["reads"] else ""
    return Table("counts", "Counts and sightings", columns, rows, "never counted", note)


def _seen(base: str, one: dict[str, Any]) -> list[Cell]:
    return [one["what"], one["machine"], one["at"], one["by"], entry_link(base, one["entry"])]


def _differences(base: str, told: Life) -> Table:
    return packs.differences(base, told["differences"], "sheets")


PAGE = Page("/orders/{order}/unit", "Unit", build)

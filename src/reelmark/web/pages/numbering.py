"""Numbering: what the boxes are set to, what a run of numbers takes, and what the numbers read tell of every pile."""

from functools import partial
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import Query

from ...acts import box_settings, numbering_plan, read_diagnosis
from ...acts.residuals import Residuals, residuals_of
from ...figures.residuals import residuals_picture
from ...reading import Reading
from ...stations.numbering import Format
from ..asking import Count
from ..content import Action, Cell, Column, Content, Field, Figure, Form, Link, Table
from ..page import Asked, AskedNow, Page
from ..two import allocate_form

__all__ = ["PAGE"]

CAUTIONS = (
    "Before a hand goes into the press: stop it, lock it, keep the key, follow the works' own rules (common practice). "
    "A second person reads the first sheet of every block against this table before the run goes on (common practice)."
)
Word = Annotated[str, Query(max_length=64)]
First = Annotated[str, Query(max_length=24)]
Block = Annotated[int, Query(ge=1, le=1_000_000)]
FromBlock = Annotated[int, Query(ge=0, le=1_000_000)]
Blocks = Annotated[int, Query(ge=1, le=50)]
Reversals = Annotated[int, Query(ge=0, le=20)]


def build(
    asked: AskedNow,
    series: Word = "",
    first: First = "",
    notes: Count = None,
    block: Block = 1000,
    from_block: FromBlock = 0,
    blocks: Blocks = 1,
    reversals: Reversals = 0,
    unit: Word = "",
) -> Content:
    """Settings, plan and diagnosis; unit = the reads of one numbered pile, each against the plan."""
    reading = asked.now.reading
    if unit:
        return _pile(asked, unit)
    name = series or reading.order.series[0].name
    reading.order.series_named(name)
    form = reading.shop.formats[name]
    begin = first.strip().upper() or _first_free(reading, name, form)
    settings = box_settings(reading.order, form, begin, block, range(from_block, from_block + blocks), reversals)
    plan = numbering_plan(reading.order, form, begin, reading.order.notes if notes is None else notes, block)
    told = asked.now.once("diagnosis", read_diagnosis)
    asks = {"series": name, "first": begin, "notes": plan["notes"], "block": block, "from_block": from_block,
            "blocks": blocks, "reversals": reversals}  # fmt: skip
    return Content(
        "Numbering",
        _lead(told, len(reading.thread.imprints)),
        (_findings(asked, told["findings"]), _directions(told), *_piles(asked), _ask(asked, asks), _plan(plan, name),
         _settings(settings, name), *allocate_form(asked)),
    )  # fmt: skip


def _first_free(reading: Reading, series: str, form: Format) -> str:
    """First number that was allocated, or of the series."""
    taken = reading.shop.allocated.get(series)
    return form.text(taken.first if taken else 0)


def _lead(told: dict[str, Any], piles: int) -> tuple[str, ...]:
    if not piles:
        return ("No pile is numbered yet. The settings below can be worked out before the first run.",)
    grave = sum(one["serious"] for one in told["findings"])
    light = len(told["findings"]) - grave
    if not told["findings"]:
        return (f"{piles:,} numbered piles; every number read is as planned.",)
    return (f"{piles:,} numbered piles; {grave:,} faults of the boxes, {light:,} of the reading.",)


# ---- diagnosis


def _pile_link(asked: Asked, unit: str) -> Link:
    return Link(unit, f"{asked.base}/numbering?{urlencode({'unit': unit})}")


def _findings(asked: Asked, found: list[dict[str, Any]]) -> Table:
    """Serious ones first, in the order of the piles; figures in words, so that all of it is seen at once."""
    rows: list[list[Cell]] = [
        [_pile_link(asked, one["unit"]), one["fault"], _where(one), _says(one), _began(one),
         f"{one['last_sheet_from_top']:,} to {one['first_sheet_from_top']:,}", one["withdraw_notes"],
         _ranges(one["withdraw"])]
        for one in sorted(found, key=lambda one: not one["serious"])
    ]  # fmt: skip
    columns = (
        Column("Pile"), Column("Fault"), Column("Position"), Column("What to do"), Column("Ticks"),
        Column("Sheets from the top"), Column("Withdraw", "notes", "figure"), Column("Numbers to withdraw"),
    )  # fmt: skip
    empty = "Every number read is as planned."
    if not asked.now.reading.shop.reads:
        empty = "No number was read yet: read a few sheets of every numbered pile."
    return Table("findings", "What the numbers read tell", columns, rows, empty,
                 "Faults of the boxes first. A pile leads to its reads, position by position.")  # fmt: skip


def _where(one: dict[str, Any]) -> str:
    return "all" if one["position"] is None else str(one["position"])


def _says(one: dict[str, Any]) -> str:
    return str(one["text"].partition(": ")[2])


def _began(one: dict[str, Any]) -> str:
    first, sure, last = one["first_tick_from"], one["first_tick_to"], one["last_tick"]
    return f"{first:,} to {last:,}" if first == sure else f"from between {first:,} and {sure:,}, to {last:,}"


def _of_pile(found: list[dict[str, Any]]) -> Table:
    """The same for one pile, every figure in a column of its own."""
    rows: list[list[Cell]] = [
        [one["fault"], _where(one), one["step"], one["offset"], one["first_tick_from"], one["first_tick_to"],
         one["last_tick"], one["last_sheet_from_top"], one["first_sheet_from_top"], one["withdraw_notes"], one["reads"]]
        for one in found
    ]  # fmt: skip
    titles = ("Off the plan by|steps", "or|numbers", "May begin|tick", "Surely by|tick", "Up to|tick",
              "First sheet|from the top", "Last sheet|from the top", "Withdraw|notes", "Shown by|reads")  # fmt: skip
    figures = (Column(title, unit, "figure") for title, _, unit in (one.partition("|") for one in titles))
    return Table("bounds", "Its findings in figures", (Column("Fault"), Column("Position"), *figures), rows,
                 "Every number read is as planned.")  # fmt: skip


def _ranges(some: list[list[str]]) -> str:
    shown = ", ".join(a if a == b else f"{a} to {b}" for a, b in some[:4])
    return (shown or "none") + (f" and {len(some) - 4:,} ranges more" if len(some) > 4 else "")


def _directions(told: dict[str, Any]) -> Table:
    way = {True: "down", False: "up"}
    rows = [[one["unit"], way[one["descending"]], way[one["due"]]] for one in told["directions"]]
    columns = (Column("Pile"), Column("Boxes ran"), Column("What was done to the pile asks"))
    return Table("directions", "Boxes that ran the wrong way", columns, rows,
                 "No pile that was cut shows boxes that ran the wrong way.")  # fmt: skip


def _piles(asked: Asked) -> tuple[Form, ...]:
    piles = list(asked.now.reading.thread.imprints)
    if not piles:
        return ()
    field = Field("unit", "Numbered pile", "select", choices=tuple((one, one) for one in piles))
    return (Form("Reads of a pile", f"{asked.base}/numbering", (field,), "Show"),)


# ---- one pile


def _pile(asked: Asked, unit: str) -> Content:
    told = asked.now.recent(("residuals", unit), partial(residuals_of, unit=unit))
    found = [one for one in asked.now.once("diagnosis", read_diagnosis)["findings"] if one["unit"] == unit]
    title = f"Reads of {unit} against the plan"
    figure = Figure("residuals", title, lambda alone: _drawn(told, title, alone), _reads(told), _note(told))
    return Content(f"Numbered pile {unit}", (_summary(told),), (figure, _findings(asked, found), _of_pile(found)),
                   (Action("All piles", f"{asked.base}/numbering"),
                    Action(f"Unit {unit}", f"{asked.base}/unit?{urlencode({'name': unit})}")))  # fmt: skip


def _drawn(told: Residuals, title: str, alone: bool) -> str:
    return residuals_picture(told.points, told.findings, rows=told.rows, columns=told.columns, ticks=told.ticks,
                             title=title, alone=alone)  # fmt: skip


def _note(told: Residuals) -> str:
    return (
        f"A panel for each of {told.rows * told.columns:,} positions, as they lie on the sheet. Across: tick "
        f"{told.ticks[0]:,} to {told.ticks[1]:,}. Up: steps ahead of the plan. A cross at the foot: unreadable."
    )


def _summary(told: Residuals) -> str:
    off, unread = sum(bool(one.off) for one in told.points), sum(one.off is None for one in told.points)
    if not told.points:
        return "Nothing was read on this pile: read a few sheets of it, top, middle and bottom."
    return f"{len(told.points):,} reads: {off:,} off the plan, {unread:,} unreadable."


def _reads(told: Residuals) -> Table:
    """Those off the plan and unreadable; the rest is as planned."""
    rows = [[one.position, one.tick, one.sheet, one.off, "unreadable" if one.off is None else ""]
            for one in told.points if one.off != 0]  # fmt: skip
    columns = (Column("Position"), Column("Tick", kind="figure"), Column("Sheet from the top", kind="figure"),
               Column("Off the plan", "steps", "figure"), Column("Note"))  # fmt: skip
    return Table(
        "reads", "Reads off the plan", columns, rows, "Every read is as planned.", "Ahead above 0, behind below."
    )


# ---- settings and plan


def _ask(asked: Asked, asks: dict[str, Any]) -> Form:
    some = [("first", "First number", "text", "of the run, as printed"), ("notes", "Notes", "number", "to be numbered"),
            ("block", "Block", "number", "numbers of a position before its next block; a multiple of 100"),
            ("from_block", "First block", "number", "counted from 0"), ("blocks", "Blocks", "number", "1 to 50"),
            ("reversals", "Reversals", "number", "times the pile is turned over between press and cutter")]  # fmt: skip
    series = tuple((one.name, one.name) for one in asked.now.reading.order.series)
    fields = [Field("series", "Series", "select", str(asks["series"]), choices=series)]
    fields += [Field(key, title, kind, str(asks[key]), hint) for key, title, kind, hint in some]  # type: ignore[arg-type]
    says = "An even number of reversals asks for boxes that run down, an odd one for boxes that run up."
    return Form("Settings of the boxes", f"{asked.base}/numbering", tuple(fields), "Work out", says=says)


def _plan(plan: dict[str, Any], series: str) -> Table:
    rows: list[list[Cell]] = [
        ["series", series, ""], ["first number", plan["first"], ""], ["last number", plan["last"], ""],
        ["notes", f"{plan['notes']:,}", "notes"], ["positions of a sheet", f"{plan['positions']:,}", "positions"],
        ["sheets", f"{plan['sheets']:,}", "sheets"], ["numbers used", f"{plan['numbers_used']:,}", "numbers"],
        ["numbers left over", f"{plan['numbers_left_over']:,}", "numbers"],
        ["packs of 100", f"{plan['packs']:,}", "packs"],
        ["bundles of 1,000", _many(plan["bundles"]), "bundles"],
        ["packs begin on whole hundreds", "yes" if plan["packs_aligned"] else "no", ""],
        ["boxes set by hand", f"{plan['settings_by_hand']:,}", "settings"],
        ["same low digits at every position", "yes" if plan["same_low_digits"] else "no", ""],
        ["changes of prefix", f"{plan['prefix_changes']:,}", "changes"],
    ]  # fmt: skip
    return Table("plan", "What the run takes", (Column("What"), Column("Is"), Column("Unit")), rows)


def _many(one: int | None) -> str:
    return "do not come out whole" if one is None else f"{one:,}"


def _settings(told: dict[str, Any], series: str) -> Table:
    way = "down" if told["descending"] else "up"
    rows = [[one["tick"], one["position"], one["row"], one["column"], one["set_to"], way] for one in told["settings"]]
    columns = (Column("Before tick", kind="figure"), Column("Position", kind="figure"), Column("Row", kind="figure"),
               Column("Column", kind="figure"), Column("Set to"), Column("Runs"))  # fmt: skip
    note = f"Series {series}, block {told['block']:,} numbers, boxes run {way}. Rows and columns count from 0."
    return Table("settings", "Settings sheet", columns, rows, note=f"{note} {CAUTIONS}", most=2_500)


PAGE = Page("/orders/{order}/numbering", "Numbering", build, menu="order")

"""The orders that are served, and how each of them stands."""

from typing import Any

from ...acts.state import state
from ..content import Action, Cell, Column, Content, Link, Table
from ..house import House
from ..live import Live
from ..page import AskedNow, Page
from ..words import figure
from .find import order_address

__all__ = ["PAGE", "state_of"]

EMPTY = "No works is served. Make a folder with `reelmark new FOLDER`, then start again with `reelmark serve FOLDER`."


def state_of(live: Live) -> dict[str, Any]:
    """An order's state as it is read now."""
    with live.looking:
        return live.now.once("state", state)


def build(asked: AskedNow) -> Content:
    """The page."""
    house = asked.house
    actions = (Action("What each station gave", "/way"),) if house.lives else ()
    tables = (_orders, _deliveries, _notes) if house.lives else (_orders,)
    return Content("Orders", parts=tuple(table(house) for table in tables), actions=actions)


def _orders(house: House) -> Table:
    columns = (
        Column("order"), Column("works"), Column("ordered", "notes", "figure"),
        Column("packed good", "notes", "figure"), Column("held", "notes", "figure"),
        Column("to make", "notes", "figure"), Column("books"), Column("next delivery"),
        Column("due then", "notes", "figure"), Column("still missing", "notes", "figure"), Column("doubt"),
    )  # fmt: skip
    note = "To make: ordered, less packed good."
    return Table("orders", "Orders", columns, lambda: [_order(live) for live in house.lives.values()], EMPTY, note)


def _order(live: Live) -> list[Cell]:
    now, base = state_of(live), order_address(live)
    due = next((one for one in now["deliveries"] if one["next"]), None)
    delivery: list[Cell] = [due["by"], due["notes"], due["missing"]] if due else ["none left", None, None]
    return [
        Link(live.order.name, base), live.works.name, now["ordered"], now["notes"]["packed_good"], now["notes"]["held"],
        now["to_make"], Link(_books(now), f"{base}/books"), *delivery, _doubt(now),
    ]  # fmt: skip


WHERE = (
    ("packed_good", "packed good"), ("cut_not_packed", "cut, not packed"), ("held", "held"), ("spoiled", "spoiled"),
    ("in_doubt", "in doubt"), ("on_sheets", "on sheets"), ("on_sheets_numbered", "on sheets: of these numbered"),
    ("on_sheets_held", "on sheets: of these held"), ("on_sheets_spoiled", "on spoiled sheets"),
)  # fmt: skip


def _notes(house: House) -> Table:
    columns = (Column("order"), Column("where"), Column("holds", "notes", "figure"))
    note = "Of all sheets cut. On sheets: good or held and not cut to notes yet, each so many notes as the layout has."
    return Table("notes", "Where the notes are", columns, lambda: _where(house), note=note)


def _where(house: House) -> list[list[Cell]]:
    return [
        [Link(live.order.name, order_address(live)), words, state_of(live)["notes"][key]]
        for live in house.lives.values() for key, words in WHERE
    ]  # fmt: skip


def _books(now: dict[str, Any]) -> str:
    if now["balanced"]:
        return "balanced"
    many = now["differences"]
    return f"not balanced: {figure(many)} difference{'' if many == 1 else 's'}" if many else "not balanced: doubt"


def _doubt(now: dict[str, Any]) -> str:
    doubt = now["doubt"]
    said = [f"{figure(doubt[what])} {what} in difference" for what in ("sheets", "notes") if doubt[what]]
    if doubt["pulls"]:
        low, high = figure(doubt["pulls_low"]), figure(doubt["pulls_high"])
        many = f"{figure(doubt['pulls'])} pull{'' if doubt['pulls'] == 1 else 's'}"
        said.append(f"{many} not counted, {low} to {high} sheets")
    return "; ".join(said) or "none"


def _deliveries(house: House) -> Table:
    columns = (
        Column("order"), Column("by"), Column("due", "notes", "figure"), Column("due so far", "notes", "figure"),
        Column("packed good against it", "notes", "figure"), Column("missing", "notes", "figure"), Column("state"),
    )  # fmt: skip
    note = "Notes packed good are counted against the deliveries in turn."
    return Table("deliveries", "Deliveries", columns, lambda: _delivery_rows(house), note=note)


def _delivery_rows(house: House) -> list[list[Cell]]:
    return [
        [Link(live.order.name, order_address(live)), one["by"], one["notes"], one["due"], one["packed"],
         one["missing"], "next" if one["next"] else "complete" if not one["missing"] else "later"]
        for live in house.lives.values() for one in state_of(live)["deliveries"]
    ]  # fmt: skip


PAGE = Page("/", "Orders", build, menu="house")

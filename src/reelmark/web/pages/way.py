"""The way of the material: the picture, the stations, and what each gave of every order served."""

from ...figures.way import way_picture
from ...way import WAY
from ..content import Cell, Column, Content, Figure, Link, Table
from ..house import House
from ..page import AskedNow, Page
from .find import order_address
from .orders import EMPTY, state_of

__all__ = ["PAGE"]


def build(asked: AskedNow) -> Content:
    """The page."""
    figure = Figure("way", "The way", way_picture, _stations())
    return Content("Way", (f"From {WAY[0].takes} to {WAY[-1].gives}.",), (figure, _gave(asked.house)))


def _stations() -> Table:
    columns = tuple(map(Column, ("station", "takes", "gives", "counts in", "does")))
    return Table("stations", "Stations", columns, [[s.name, s.takes, s.gives, s.counts_in, s.does] for s in WAY])


def _gave(house: House) -> Table:
    columns = (
        Column("order"), Column("station"), Column("gave"), Column("rolls or piles", kind="figure"),
        Column("web", "m", "figure", 3), Column("at least", "sheets", "figure"),
        Column("at most", "sheets", "figure"), Column("packed good", "notes", "figure"),
    )  # fmt: skip
    note = "What left the station, or stands there ready. At least and at most differ where a pull was not counted."
    return Table("gave", "What each station gave", columns, lambda: _rows(house), EMPTY, note)


def _rows(house: House) -> list[list[Cell]]:
    return [
        [Link(live.order.name, order_address(live)), one["station"], one["gives"], one["units"],
         one["low"] if one["measure"] == "m" else None,
         one["low"] if one["measure"] == "sheets" else None, one["high"] if one["measure"] == "sheets" else None,
         one["low"] if one["measure"] == "notes" else None]
        for live in house.lives.values() for one in state_of(live)["stations"]
    ]  # fmt: skip


PAGE = Page("/way", "Way", build, menu="house")

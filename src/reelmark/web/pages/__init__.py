"""Every page, in the order of the menus.  A new station's page: a module here with a PAGE, and its name in PAGES."""

from ..page import Page
from . import (
    books,
    calls,
    entry,
    film,
    find,
    intake,
    number,
    numbering,
    orders,
    people,
    plan,
    strips,
    unit,
    waiting,
    way,
    windows,
)

__all__ = ["PAGES"]

PAGES: tuple[Page, ...] = (
    orders.PAGE, strips.PAGE, strips.LIST, books.PAGE, *books.MORE, *entry.MORE, plan.PAGE, *plan.MORE, film.PAGE,
    windows.PAGE, numbering.PAGE, intake.PAGE, number.PAGE, unit.PAGE, entry.PAGE, find.PAGE, waiting.PAGE, way.PAGE,
    people.PAGE, calls.PAGE,
)  # fmt: skip

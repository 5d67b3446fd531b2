"""How values are written on a page: figures in groups of three, times in the works' zone, cells by their column."""

from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo

from .content import Cell, Column, Link

__all__ = ["FILTERS", "figure", "moment", "shown"]


def figure(value: int | float | None, places: int = 0) -> str:
    """A number as it stands in a column: groups of three, fixed decimals."""
    return "–" if value is None else f"{value:,.{places}f}"


def moment(text: str, zone: str = "UTC") -> str:
    """An ISO time in the works' zone, the zone shown; a day as it stands."""
    if len(text) == len("2026-01-31"):
        return text
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return text
    there = (at if at.tzinfo else at.replace(tzinfo=UTC)).astimezone(zone_of(zone))
    return f"{there:%Y-%m-%d %H:%M} {there.tzname()}"


def zone_of(name: str) -> tzinfo:
    """A zone by its name or by its hours from UTC, as works.toml may write it."""
    if name[:1] in {"+", "-"}:
        return datetime.fromisoformat(f"2000-01-01T00:00{name}").tzinfo or UTC
    return ZoneInfo(name)


def shown(cell: Cell, column: Column, zone: str = "UTC") -> str:
    """A cell in words."""
    if cell is None:
        return "–"
    if isinstance(cell, Link):
        return cell.words
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, int | float):
        return figure(cell, column.places) if column.kind == "figure" else str(cell)
    return moment(cell, zone) if column.kind == "time" else cell


FILTERS = {"figure": figure, "moment": moment, "shown": shown}

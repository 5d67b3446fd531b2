"""What is wanted: the order, its sheet layout and its series."""

from dataclasses import dataclass

from .errors import BadValue

__all__ = ["Delivery", "Layout", "Order", "Series"]


@dataclass(frozen=True, slots=True)
class Layout:
    """How notes lie on a sheet.

    rows : along the web, columns : across it
    note_along, note_across : um; cut_off : um of web a sheet takes
    margin_along, margin_across : um before the first note
    """

    rows: int
    columns: int
    note_along: int
    note_across: int
    cut_off: int
    margin_along: int = 0
    margin_across: int = 0

    def __post_init__(self) -> None:
        if min(self.rows, self.columns, self.note_along, self.note_across, self.cut_off) < 1:
            raise BadValue("layout", self, "sizes and counts must be above 0", "correct the layout in the order")
        need = self.margin_along + self.rows * self.note_along
        if need > self.cut_off:
            raise BadValue(
                "cut_off", f"{self.cut_off} um", f"{self.rows} rows of {self.note_along} um + margin need {need}",
                "lengthen the cut-off or take a row off",
            )  # fmt: skip

    @property
    def ups(self) -> int:
        """Notes on a sheet."""
        return self.rows * self.columns

    def cell(self, position: int, flip: tuple[bool, bool] = (False, False)) -> tuple[int, int]:
        """(row, column) on the film of a position counted row by row on the sheet as it lies, turned by flip."""
        row, column = divmod(position, self.columns)
        return (self.rows - 1 - row if flip[0] else row, self.columns - 1 - column if flip[1] else column)

    def along(self, row: int) -> tuple[int, int]:
        """Stretch of the cut-off, um, that a row takes."""
        start = self.margin_along + row * self.note_along
        return start, start + self.note_along

    def across(self, column: int) -> tuple[int, int]:
        """Stretch across the lane, um, that a column takes."""
        start = self.margin_across + column * self.note_across
        return start, start + self.note_across


@dataclass(frozen=True, slots=True)
class Series:
    """How the numbers of a series are written: letters' places, digits, what is never printed.

    prefix : text before the places, such as the mark of a replacement series
    """

    name: str
    letters: int
    digits: int
    prefix: str = ""
    alphabet: str = "ABCDEFGHJKLMNPQRSTUVWXYZ"  # I and O left out: read as 1 and 0; common practice, no source
    skip_zero: bool = True


@dataclass(frozen=True, slots=True)
class Delivery:
    """So many notes by a day (ISO date)."""

    notes: int
    by: str


@dataclass(frozen=True, slots=True)
class Order:
    """What the issuing authority ordered.  lanes : across the web; passes : web passes the design asks for."""

    name: str
    issuer: str
    notes: int
    layout: Layout
    lanes: int
    series: tuple[Series, ...]
    deliveries: tuple[Delivery, ...]
    web_passes: int = 0

    def series_named(self, name: str) -> Series:
        """The series of that name, or BadValue with those there are."""
        for one in self.series:
            if one.name == name:
                return one
        known = ", ".join(s.name for s in self.series)
        raise BadValue("series", name, f"the order has {known}", "use one of these, or add the series to the order")

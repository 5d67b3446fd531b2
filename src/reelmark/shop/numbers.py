"""Records of numbers: texts to places in the series, allocations, reads."""

from functools import partial

from .. import records as rec
from ..errors import BadValue, Clash, NotAllowed, NotThere
from ..facts import Run
from ..spans import EMPTY, Spans
from .ground import Ground

__all__ = ["NumberRecords"]


class NumberRecords(Ground):
    """Series."""

    def _index(self, field: str, series: str, text: str) -> int:
        self.order.series_named(series)
        try:
            return self.formats[series].index(text)
        except BadValue as error:
            raise NotThere(field, text, f"not a number of series {series}: {error.true}", error.cure) from error

    def _text(self, series: str, index: int) -> str:
        form = self.formats[series]
        return form.text(index) if 0 <= index < form.size else f"beyond {form.text(form.size - 1)}"

    def numbers(self, r: "rec.Pack | rec.Count | rec.Move | rec.Destroy | rec.Allocate") -> Spans:
        """Numbers first..last of a record, in order and of the series."""
        if r.series is None or r.first is None or r.last is None:
            raise BadValue("series, first, last", None, "one of them is missing", "give all three, or a unit")
        low, high = self._index("first", r.series, r.first), self._index("last", r.series, r.last)
        if high < low:
            raise BadValue("last", r.last, f"it comes before {r.first}", "give the lower number first")
        return Spans.of((low, high + 1))

    def _allocate(self, seq: int, r: rec.Allocate, run: partial[Run]) -> None:
        if r.by2 is None or r.by2 == r.by:
            raise NotAllowed("by2", r.by2, "allocation needs two different persons", "have another person sign")
        wanted = self.numbers(r)
        if twice := wanted & self.allocated.get(r.series, EMPTY):
            raise Clash(
                "first", r.first, f"{twice.size} of these numbers are allocated already", "allocate a free range"
            )
        self.allocated[r.series] = self.allocated.get(r.series, EMPTY) | wanted
        purposes = self.by_purpose.setdefault(r.purpose, {})
        purposes[r.series] = purposes.get(r.series, EMPTY) | wanted

    def _read(self, seq: int, r: rec.Reading, run: partial[Run]) -> None:
        self._there("unit", r.unit, web=False)
        most = self.lengths.sheets(r.unit)[1]
        if r.sheet >= most:
            raise NotThere("sheet", r.sheet, f"{r.unit} has {most} sheets, 0 to {most - 1}", "correct the sheet")
        for one in r.reads:
            if one.position >= self.order.layout.ups:
                true = f"a sheet has positions 0 to {self.order.layout.ups - 1}"
                raise NotThere("reads.position", one.position, true, "correct the position")
        self.reads.append((seq, r))

"""From a mark of the window camera to the very notes: those of its row and column on every sheet that it may be on.

    touched(reading, "F02c", mark, Camera(core_m=12.5, first_column=6, rows=9))

Which sheet it is hangs on metres, and two machines' counters agree no better than half a metre either way.  Which note
of the sheet it is does not: windows and cuts are in register, or no sheet could be used, so the camera's repeat is the
sheet, a row of the repeat is a row of the sheet, and only the web's and the pile's turns are to be followed.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from ..facts import SERIES, Run
from ..handling import flipped
from ..reading import Reading
from ..spans import EMPTY, Extent, Spans
from ..trace.strikes import Strikes
from .recall import recall, web_extent
from .window import SHORTEST_M, Marked, lane_and_column, value_of

__all__ = ["Camera", "touched"]

Flip = tuple[bool, bool]
AWAY: Final = round(SHORTEST_M * 1e6 / 2)  # um that a metre may be out, either way: see acts/gauge


@dataclass(frozen=True, slots=True)
class Camera:
    """How a camera's marks lie on a roll.

    core_m : what its encoder says of the web at the roll's core;  first_column : of the web, that its lane 1 is
    rows : notes along the web in its repeat, where that is the cut-off; 0: a mark's row is not known
    """

    core_m: float = 0.0
    first_column: int = 1
    rows: int = 0


def touched(reading: Reading, roll: str, mark: Marked, camera: Camera) -> dict[str, Any]:
    """What a mark may touch and surely touches: sheets as they were cut, and numbers.

    notes : numbers of its column, and of its row where that is known, as {"may", "must"};  numbers : of whole sheets
    may : on any sheet that holds any of the half metre about it;  must : on sheets that surely hold some of it,
        however the counters err: of a mark shorter than a metre there is none
    """
    lane, column = lane_and_column(reading, roll, mark, camera.first_column)
    low, high = (round((value_of(mark, name, value_of(mark, "metre_m")) - camera.core_m) * 1e6)
                 for name in ("metre_m", "to_m"))  # fmt: skip
    length = reading.shop.web_length[roll]
    may = web_extent(reading, roll, max(0, low - AWAY), min(length, high + AWAY), [lane])
    must = web_extent(reading, roll, low + AWAY, high - AWAY, [lane]) if high - low > 2 * AWAY else Extent()
    row = value_of(mark, "row") if camera.rows == reading.order.layout.rows else None
    told = recall(reading, may)
    sheets = _sheets(reading, may)
    one, two = (_notes(reading, roll, _sheets(reading, extent), column, row, sure)
                for extent, sure in ((may, False), (must, True)))  # fmt: skip
    return {
        "lane": lane, "column": column, "row": row,
        "sheets": [{"unit": unit, "from": a, "to": b - 1} for unit, spans in sheets.items() for a, b in spans],
        "notes": {"may": _shown(reading, one), "must": _shown(reading, two)},
        "numbers": told["may"], "unnumbered": told["unnumbered"]["may"], "waste": bool(told["waste"]),
    }  # fmt: skip


def _sheets(reading: Reading, extent: Extent) -> dict[str, Spans]:
    """Sheets, as they were cut, that may hold any of it; pile -> places."""
    maker = reading.thread.maker
    if not extent:
        return {}
    return {unit: spans for (unit, _), spans in reading.thread.forward(extent).may.items()
            if unit in maker and maker[unit].what == "sheet" and unit not in reading.shop.rolls
            and not unit.endswith("/waste")}  # fmt: skip


def _notes(
    reading: Reading, roll: str, sheets: Mapping[str, Spans], column: int, row: int | None, sure: bool
) -> dict[str, Spans]:
    """Numbers of that column and row on those sheets, by series."""
    found: dict[str, Spans] = {}
    for pile, spans in sheets.items():
        answer = reading.thread.numbers(Extent({(pile, 0): spans}))
        cells = _cells(reading, roll, pile, column, row)
        for place, numbers in (answer.must if sure else answer.may).items():
            series = place[0].removeprefix(SERIES)
            mine = Spans.of(*((n, n + 1) for n in _at(reading, series, numbers, pile, cells, sure)))
            found[series] = found.get(series, EMPTY) | mine
    return {series: spans for series, spans in found.items() if spans}


def _cells(reading: Reading, roll: str, pile: str, column: int, row: int | None) -> set[tuple[int, int]]:
    """(row, column), from 0 and from the lead edge, on the sheets of a pile as it was cut."""
    rows = reading.order.layout.rows
    if row is None:
        return {(one, column - 1) for one in range(rows)}
    return {(row - 1 if led else rows - row, column - 1) for led in _led(reading, roll, pile)}


def _led(reading: Reading, roll: str, pile: str) -> set[bool]:
    """Whether the end nearer to the roll's core comes first through the cutter, by each way from roll to pile.

    The cutter takes the outside of its roll first; a pass turns the web end for end as often as it winds it.
    """
    ways: set[bool] = set()
    going = [(unit, True) for unit in {one.unit for one in reading.thread.maker[pile].pieces if one.to_unit == pile}]
    seen = set(going)
    while going:
        unit, same = going.pop()
        if unit == roll:
            ways.add(not same)
            continue
        run = reading.thread.maker[unit]
        before = {(one.unit, same == (one.sign > 0)) for one in run.pieces if one.to_unit == unit} - seen
        seen |= before
        going += before
    return ways


def _at(
    reading: Reading, series: str, numbers: Spans, pile: str, cells: set[tuple[int, int]], sure: bool
) -> Iterator[int]:
    """Those of the numbers that lie in one of the cells; sure: whichever way the pile went."""
    layout, flips = reading.order.layout, _flips(reading, pile)
    for imprint in reading.thread.imprints.values():
        if imprint.series != series or imprint.unit not in flips:
            continue
        strikes, turns = Strikes.of(imprint), flips[imprint.unit]
        ticks = strikes.ticks(numbers) & Spans.of((imprint.first_tick, imprint.first_tick + imprint.ticks))
        ways = [{p for p in range(layout.ups) if layout.cell(p, turn) in cells} for turn in turns]
        positions = set.intersection(*ways) if sure else set.union(*ways)
        yield from (n for a, b in ticks for tick in range(a, b) for p in positions
                    if (n := strikes.number(tick, p)) in numbers)  # fmt: skip


def _flips(reading: Reading, pile: str) -> dict[str, set[Flip]]:
    """How the sheets of a pile lie turned on each numbered pile that they may have come to."""
    found: dict[str, set[Flip]] = {}
    going: list[tuple[str, Flip]] = [(pile, (False, False))]
    seen = set(going)
    while going:
        unit, flip = going.pop()
        if unit in reading.thread.imprints:
            found.setdefault(unit, set()).add(flip)
        onward = {(to, flipped(flip, run.pile.flip)) for run in reading.thread.takers.get(unit, ()) if run.pile
                  for to in _outputs(run)} - seen  # fmt: skip
        seen |= onward
        going += onward
    return found


def _outputs(run: Run) -> Iterable[str]:
    return (unit for unit, _ in run.pile.outputs) if run.pile else ()


def _shown(reading: Reading, numbers: Mapping[str, Spans]) -> dict[str, Any]:
    """Ranges of numbers as printed, and how many there are."""
    ranges = [[form.text(a), form.text(b - 1)] for series, spans in numbers.items()
              for form in (reading.shop.formats[series],) for a, b in spans]  # fmt: skip
    return {"count": sum(spans.size for spans in numbers.values()), "ranges": ranges}

"""The demo's window viewer: which stretch of which roll its camera's frames are kept of, and the faults planted there.

The camera looks at one lane, one frame every few repeats, and the works keeps all frames only of a stretch near the
start of a roll's run through the viewer, some 20 m.  Windows lie where the sheets will be cut: the sheeter cuts in
register with them, or no sheet could be used.  So they come round with the cut-off, note after note, and not evenly.

Assumed throughout, common practice, no source: one window a note that the camera sees, 24 x 16 mm; 0.8 mm a pixel;
five passes; 150 m/min.  The stretch is drawn from a chance of its own, so the shop's records stay as they are.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

import numpy as np

from ..frames import Window, WindowLayout
from ..order import Layout
from .chance import Chance
from .size import Size
from .strips import Web
from .troubles import Trouble
from .truth import Ints, Truth

__all__ = ["HOLE_MM", "ROLLERS", "Fault", "WindowRoll", "window_rolls"]

NOTE_WINDOW: Final = Window(24.0, 16.0, 3.0, 50.0, 34.0)  # in its note; not in the middle, so that turns show
PIXEL: Final = 0.8  # mm
ROLLERS: Final = {"guide": 408.4, "nip": 628.3, "dryer": 1570.8}  # mm: 130, 200 and 500 mm across
DIRTY: Final = "guide"  # something sticks to it and makes a hole every turn
TURNS: Final = 12
HOLE_MM: Final = 1.0
LATEST_M: Final = 0.02  # share of the roll, from its core, within which the stretch begins


class Fault(NamedTuple):
    """One to be drawn.  repeat, column, window : of a window, from 0;  size_mm, share : as `frames.Fault` has them."""

    kind: str
    repeat: int
    column: int
    window: int
    size_mm: float
    share: float


@dataclass(frozen=True, slots=True)
class WindowRoll:
    """What the camera is to see.  Mm along are counted from the beginning of repeat 0.

    name : of the roll wound at the viewer;  lane : of the web, under the camera
    zero_mm : what the encoder says there;  core_mm : what it says of the web at the roll's core
    each : repeats from flash to flash;  flashes : how many;  lost, dark : flash that gave no frame, or a dark one
    slip : (flash before which the web slipped, mm that the encoder missed)
    holes_mm : places of the holes along, at `hole_mm` across;  streak : (mm across, wide, share, first and last flash)
    sheets : of the truth, one a repeat;  ahead : their lead edge has the greater metre on the roll
    """

    name: str
    lane: int
    zero_mm: float
    core_mm: float
    layout: WindowLayout
    each: int
    flashes: int
    lost: int
    dark: int
    slip: tuple[int, float]
    faults: tuple[Fault, ...]
    holes_mm: tuple[float, ...]
    hole_mm: float
    streak: tuple[float, float, float, int, int]
    sheets: Ints
    ahead: bool
    seed: int
    planted: tuple[Trouble, ...] = field(default=())

    @property
    def note_mm(self) -> float:
        """From one note to the next along; the repeat, where it holds one."""
        first, *more = (one.at_along_mm or 0.0 for one in self.layout.windows)
        return more[0] - first if more else self.layout.pitch_along_mm - 2 * (first - self.window_mm)

    @property
    def window_mm(self) -> float:
        """Where the window's middle lies in its note, along."""
        return NOTE_WINDOW.at_along_mm or 0.0

    def column(self, across_mm: float) -> int:
        """Of notes, from 1, that a place across lies in."""
        return int(across_mm // self.layout.pitch_across_mm) + 1

    def metre(self, along_mm: float) -> float:
        """On the roll as wound, m."""
        return round((self.zero_mm - self.core_mm + along_mm) / 1e3, 4)

    def starts(self, flash: int) -> float:
        """Where a flash's picture begins, mm: at the border of two notes, give or take half of the slip."""
        first = self.layout.windows[0].at_along_mm or 0.0
        late = self.slip[1] if flash >= self.slip[0] else 0.0
        return first - self.window_mm + flash * self.each * self.layout.pitch_along_mm + (
            late - self.slip[1] / 2)  # fmt: skip

    def encoder(self, flash: int) -> float:
        """What the encoder says there, mm: less than the web has run, once that has slipped."""
        return self.zero_mm + self.starts(flash) - (self.slip[1] if flash >= self.slip[0] else 0.0)


def window_rolls(size: Size, truth: Truth, webs: dict[str, Web], seed: int) -> tuple[WindowRoll, ...]:
    """The plan of one roll of the order: the first, as chance has them, whose sheets were cut there and numbered."""
    chance = Chance(2 * seed + 1_000_003)
    lanes = chance.shuffled(range(1, size.order.lanes + 1))
    for roll in chance.shuffled(range(len(size.rolls))):
        for lane in lanes:
            name = f"F{roll + 1:02d}c"
            each = max(1, 500_000 // size.order.layout.cut_off)
            many = (30 if size.order.layout.cut_off > 500_000 else 48) // each * each + 1
            if name in webs and (found := _stretch(truth, webs, name, lane, many, chance)):
                return (_planned(size, webs, name, lane, each, *found, chance),)
    return ()


def _stretch(
    truth: Truth, webs: dict[str, Web], name: str, lane: int, many: int, chance: Chance
) -> tuple[float, Ints, bool] | None:
    """(um on the roll where repeat 0 begins, its sheets, lead edge ahead): so many sheets cut edge to edge."""
    roll, a, b = webs[name][0]  # what lies at the core, up to the first splice
    way = 1 if b > a else -1
    here = (truth.lane == lane) & (truth.roll[:, 0] == roll) & (truth.roll[:, 1] < 0)
    at = np.minimum((truth.start - a) * way, (truth.stop - a) * way)[:, 0]
    long = np.abs(truth.stop - truth.start)[:, 0]
    last = sum(strip.length for strip in webs[name]) * LATEST_M * (10 if abs(b - a) < 1e9 else 1)
    mine = np.flatnonzero(here & (at >= 0) & (at + long <= abs(b - a)) & (at <= last + many * long))
    mine = mine[np.argsort(at[mine])]
    apart = np.flatnonzero(np.diff(at[mine]) != long[mine][:-1]) + 1
    for some in np.split(mine, apart):
        if len(some) >= many and np.mean(truth.tick[some[:many]] >= 0) > 0.6:
            first = chance.whole(0, min(len(some) - many, 40))
            sheets = some[first : first + many]
            return float(at[sheets[0]]), sheets, bool(truth.way[sheets[0], 0] != way)
    return None


def _planned(
    size: Size, webs: dict[str, Web], name: str, lane: int, each: int, at: float, sheets: Ints, ahead: bool,
    chance: Chance,
) -> WindowRoll:  # fmt: skip
    layout, flashes = _layout(size.order.layout, ahead), (len(sheets) - 1) // each
    slip, lost, dark = 3 + chance.whole(0, 1), flashes // 2, flashes - 5 - chance.whole(0, 1)
    slip, dark = chance.shuffled([slip, dark])  # near an end: holes on both sides of it point to no roller
    lost, dark = chance.shuffled([lost, dark])
    core = _left_off(webs, name)
    columns = chance.shuffled(range(layout.lanes))
    hole, streak = (layout.pitch_across_mm * c + chance.whole(90, 115) for c in (columns[0], columns[-1]))
    from_flash = chance.whole(1, flashes // 3)
    long = flashes // 4
    roll = WindowRoll(
        name, lane, core + at / 1e3, core, layout, each, flashes, lost, dark, (slip, float(chance.whole(14, 20))), (),
        (), hole,
        (streak, 3.0, chance.pick((-1, 1)) * chance.whole(9, 12) / 100, from_flash, from_flash + long),
        sheets, ahead, chance.whole(0, 2**31),
    )  # fmt: skip
    begin = chance.whole(100, 400) + (roll.starts(slip) if slip < flashes / 2 else 0.0)
    roll = replace(roll, holes_mm=tuple(begin + ROLLERS[DIRTY] * k for k in range(TURNS)))
    roll = replace(roll, faults=tuple(_faults(roll, chance)))
    return replace(roll, planted=tuple(_troubles(roll)))


def _layout(order: Layout, ahead: bool) -> WindowLayout:
    """As the camera's machine sees the sheets: with the tail edge first where the lead edge lies ahead."""
    first = order.cut_off - order.margin_along - order.rows * order.note_along if ahead else order.margin_along
    window = NOTE_WINDOW
    windows = tuple(
        Window(window.across_mm, window.along_mm, window.corner_mm, window.at_across_mm,
               (first + k * order.note_along) / 1e3 + (window.at_along_mm or 0.0)) for k in range(order.rows)
    )  # fmt: skip
    return WindowLayout(order.note_across / 1e3, order.cut_off / 1e3, windows, PIXEL, order.columns, order.rows)


def _left_off(webs: dict[str, Web], name: str) -> float:
    """Mm of web that the viewer unwound before the first that it kept."""
    before, kept = webs[name[:-1] + "b"][-1], webs[name][0]
    return abs(before.b - kept.a) / 1e3


def _faults(roll: WindowRoll, chance: Chance) -> Iterator[Fault]:
    """Windows that the camera sees whole, each in a repeat of its own, away from what hides or moves the web."""
    odd = {roll.lost, roll.dark, roll.slip[0], roll.slip[0] - 1}
    quiet = [i for n in range(1, roll.flashes - 1) if n not in odd and n - 1 not in odd and n + 1 not in odd
             for i in range(n * roll.each, (n + 1) * roll.each)]  # fmt: skip
    repeats = iter(chance.shuffled(quiet))
    for kind, many in (("missing", 2), ("half filled", 2), ("shifted pass", 2), ("dirty", 1)):
        for _ in range(many):
            size = {"shifted pass": chance.whole(80, 100) / 100, "dirty": chance.whole(30, 40) / 10}.get(kind, 0.0)
            share = chance.whole(35, 65) / 100 if kind == "half filled" else chance.whole(0, 628) / 100
            column, window = chance.whole(0, roll.layout.lanes - 1), chance.whole(0, len(roll.layout.windows) - 1)
            yield Fault(kind, next(repeats), column, window, size, share)


def _troubles(roll: WindowRoll) -> Iterator[Trouble]:
    """What a reader of the frames is to find, each with the web's own metre."""
    base = {"roll": roll.name, "lane": roll.lane}
    pitch, high = roll.layout.pitch_along_mm, roll.each * roll.layout.pitch_along_mm
    for one in roll.faults:
        along = one.repeat * pitch + (roll.layout.windows[one.window].at_along_mm or 0.0)
        off = {"offset_mm": one.size_mm} if one.kind == "shifted pass" else {}
        place = {"metre_m": roll.metre(along), "column": one.column + 1, "row": one.window + 1}
        yield Trouble(f"window {one.kind}", base | place | off)
    holes = {"from_m": roll.metre(roll.holes_mm[0]), "to_m": roll.metre(roll.holes_mm[-1]), "holes": len(roll.holes_mm)}
    yield Trouble("roller marks", base | {"roller": DIRTY, "circumference_mm": ROLLERS[DIRTY],
                                          "column": roll.column(roll.hole_mm), **holes})  # fmt: skip
    across, wide, share, first, last = roll.streak
    ends = {"from_m": roll.metre(roll.starts(first)), "to_m": roll.metre(roll.starts(last) + high)}
    yield Trouble("coat streak", base | ends | {"column": roll.column(across), "wide_mm": wide, "share": share})
    yield Trouble("flash lost", base | {"metre_m": roll.metre(roll.starts(roll.lost) + high / 2), "flash": roll.lost})
    yield Trouble("frame dark", base | {"metre_m": roll.metre(roll.starts(roll.dark) + high / 2), "flash": roll.dark})
    flash, slip = roll.slip
    yield Trouble("encoder slip", base | {"metre_m": roll.metre(roll.starts(flash)), "slip_mm": slip})

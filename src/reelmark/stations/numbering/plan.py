"""The numbering plan: which number each position of each sheet is to bear, in closed form.

A tick is one working of the numbering press.  Each position of the sheet runs through a block of B consecutive
numbers, so a stack of B sheets, cut, gives at every position B notes in order: the guillotine does the sorting
(general ticket practice, public guides to ticket printing).  With t ticks since the base and position p of `ups`

    number = base + (t // B) * ups * B  +  p * B  +  (t % B   or, descending,   B - 1 - t % B)

          position 0        position 1      ...   position ups-1
    base  |--- B numbers ---|--- B numbers ---|...|--- B numbers ---|   then the next block of every position

B a multiple of 100: every position gives whole packs.  B a power of ten: all positions of a sheet show the same
low digits, so one look proves that no box is mis-set or has skipped.
Numbers are indices in the series (serial.py writes them); positions count from 0.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from reelmark.errors import BadValue, NotThere
from reelmark.stations.numbering.serial import Format

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "BUNDLE",
    "PACK",
    "Numbering",
    "Numbers",
    "Setting",
    "bundles",
    "descending_for",
    "packs",
    "settings_by_hand",
    "settings_sheet",
]

PACK, BUNDLE = 100, 1_000  # notes; from memory, and the works may differ
Whole = TypeVar("Whole", int, "NDArray[np.int64]")


class Numbers(NamedTuple):
    """Consecutive numbers, both ends included, as they are written on a band; stop is one past, for Spans."""

    first: int
    last: int

    @property
    def stop(self) -> int:
        return self.last + 1


@dataclass(frozen=True, slots=True)
class Numbering:
    """The plan of one run.

    base : lowest number
    block : B, numbers of one position before it goes on to its next block
    ups : positions on the sheet
    descending : the number falls with the tick inside a block; take it from descending_for
    first_tick : what the press counter shows at the first sheet
    """

    base: int
    block: int
    ups: int
    descending: bool = False
    first_tick: int = 0

    def __post_init__(self) -> None:
        for name, least in (("base", 0), ("block", 1), ("ups", 1)):
            if getattr(self, name) < least:
                raise BadValue(name, getattr(self, name), f"it is at least {least}", "correct the plan")

    @property
    def direction(self) -> int:
        """What one tick adds to the number inside a block."""
        return -1 if self.descending else 1

    def at(self, tick: Whole, position: Whole) -> Whole:
        """The formula alone, unchecked, on whole numbers or arrays of them."""
        t = tick - self.first_tick
        step = t % self.block
        inside = self.block - 1 - step if self.descending else step
        return t // self.block * (self.ups * self.block) + position * self.block + inside + self.base

    def number(self, tick: int, position: int) -> int:
        """The number this position is to bear at this tick."""
        if tick < self.first_tick:
            raise NotThere("tick", tick, f"the plan begins at tick {self.first_tick}", "take the plan before it")
        if not 0 <= position < self.ups:
            raise NotThere("position", position, f"the sheet has positions 0 to {self.ups - 1}", "correct the position")
        return self.at(tick, position)

    def tick_position(self, number: int) -> tuple[int, int]:
        """The tick and position that are to bear this number."""
        if number < self.base:
            raise NotThere("number", number, f"the plan begins at number {self.base}", "take the plan before it")
        block, rest = divmod(number - self.base, self.ups * self.block)
        position, inside = divmod(rest, self.block)
        step = self.block - 1 - inside if self.descending else inside
        return self.first_tick + block * self.block + step, position

    def block_of(self, block: int, position: int) -> Numbers:
        """All numbers of one position's block."""
        low = self.base + (block * self.ups + position) * self.block
        return Numbers(low, low + self.block - 1)

    def span(self, ticks: int) -> int:
        """Numbers of the series that so many ticks lay hold of, the unused rest of the last blocks included."""
        return -(-ticks // self.block) * self.block * self.ups

    def of_ticks(self, first: int, last: int, position: int) -> list[Numbers]:
        """The numbers one position is to bear over the ticks first..last, one range a block."""
        ranges, tick = [], first
        while tick <= last:
            end = min(last, tick + self.block - 1 - (tick - self.first_tick) % self.block)
            ranges.append(Numbers(*sorted((self.at(tick, position), self.at(end, position)))))
            tick = end + 1
        return ranges

    def unused(self, ticks: int) -> list[Numbers]:
        """Numbers inside the span that no tick reaches: the rest of every position's last block."""
        start = self.first_tick + ticks
        end = start + -ticks % self.block - 1
        return [numbers for p in range(self.ups) for numbers in self.of_ticks(start, end, p)]


def descending_for(reversals: int) -> bool:
    """Must the numbers fall with the tick, so that the lowest lies on top at the cutter?

    reversals : how often the order of the pile is turned over between the numbering press and the cutter: once for
        each further pass fed from the top and delivered on top, once for each pile turned by hand or pile turner

    The delivery builds its pile from the bottom: the first sheet printed lies lowest, the last on top (from memory).
    After an even number of reversals the last tick is still on top, so the last tick must bear the lowest number:
    descending.  After an odd number the first tick is on top: ascending.  It follows the pile's parity, so take the
    count from the thread and do not key the answer in.
    It holds inside a block; the blocks themselves follow the ticks, so the cutter takes the stack block by block.
    """
    if reversals < 0:
        raise BadValue("reversals", reversals, "a count is 0 or more", "count the turns between press and cutter")
    return reversals % 2 == 0


@dataclass(frozen=True, slots=True)
class Setting:
    """Set this box to this text before this tick; then it steps up (+1) or down (-1) with every tick."""

    tick: int
    position: int
    text: str
    step: int


def settings_sheet(plan: Numbering, form: Format, blocks: range) -> list[Setting]:
    """What every numbering box must be set to, by tick and position.

    blocks : which blocks, counted from 0
    One line a position at the start of each block, and one more wherever the format skips a text inside the block
    (0000000, a specimen): there the wheels would print what must not be printed.
    """
    lines = []
    for block in blocks:
        for position in range(plan.ups):
            low, high = plan.block_of(block, position)
            start = high if plan.descending else low
            jumps = [i - 1 if plan.descending else i for i in form.jumps(low, high)]
            for number in (start, *jumps):
                tick, _ = plan.tick_position(number)
                lines.append(Setting(tick, position, form.text(number), plan.direction))
    return sorted(lines, key=lambda line: (line.tick, line.position))


def settings_by_hand(ticks: int, block: int, ups: int) -> int:
    """Boxes to be set over the run: every position at the start of every block, skipped texts not counted.

    >>> settings_by_hand(1_110_000, 1_000, 45)
    49950
    """
    return -(-ticks // block) * ups


def packs(base: int, count: int, size: int = PACK) -> list[Numbers]:
    """Packs of consecutive numbers, from base on; whole packs only."""
    if count % size:
        true = f"{count % size} notes are left over after whole lots of {size}"
        raise BadValue("count", count, true, "take a block that is a multiple of it, or book the rest by itself")
    return [Numbers(low, low + size - 1) for low in range(base, base + count, size)]


def bundles(base: int, count: int) -> list[Numbers]:
    """Bundles of consecutive numbers, from base on; whole bundles only."""
    return packs(base, count, BUNDLE)

"""The shop floor, dull on purpose: webs and piles moved by moving the things themselves."""

from collections.abc import Sequence

import numpy as np

from .boxes import Boxes
from .strips import Strip, Web, part, unwound
from .truth import KINDS, Ints, Truth

__all__ = ["Floor"]


class Floor:
    """The shop floor: what is on it now, and what was."""

    def __init__(self, room: int) -> None:
        """room : most sheets that can be cut."""
        self.film_rolls: list[str] = []
        self.webs: dict[str, Web] = {}
        self.piles: dict[str, Ints] = {}
        self.lots: list[str] = []
        self.notes: dict[str, str] = {}
        self.born = 0
        self.roll, self.lead, self.tail = (np.full((room, 2), -1, np.int64) for _ in range(3))
        self.lane, self.series, self.tick, self.lot = (np.full(room, -1, np.int64) for _ in range(4))
        self.kind = np.zeros(room, np.int64)
        self.lies, self.flip = np.zeros((room, 2), np.bool_), np.zeros((room, 2), np.bool_)

    def film(self, name: str, length: int) -> None:
        """A roll of new film, wound from the core."""
        self.webs[name] = [Strip(len(self.film_rolls), 0, length)]
        self.film_rolls.append(name)

    def length(self, roll: str) -> int:
        """Um of web on the roll."""
        return sum(strip.length for strip in self.webs[roll])

    def wind(self, kept: Sequence[tuple[str, int, int]], to: str) -> None:
        """Unwind (roll, from, to um from its outside) one after another onto a new core."""
        self.webs[to] = [strip for unit, start, end in kept for strip in part(unwound(self.webs[unit]), start, end)]

    def cut(self, roll: str, lane: int, first: int, sheets: int, length: int, to: str) -> None:
        """Cut sheets one after another; the last cut lies on top."""
        strips = np.array(unwound(self.webs[roll]), np.int64)
        ends = np.cumsum(np.abs(strips[:, 2] - strips[:, 1]))
        lead = first + length * np.arange(sheets, dtype=np.int64)
        if lead[-1] + length > ends[-1]:
            raise ValueError(f"{roll} ends at {ends[-1]} um, before {sheets} sheets are cut")
        one, two = np.searchsorted(ends, lead, "right"), np.searchsorted(ends, lead + length - 1, "right")
        if (two - one).max() > 1:
            raise ValueError(f"a sheet of {roll} straddles two splices")
        who = np.arange(self.born, self.born + sheets)
        self.lane[who] = lane
        self.piles[to] = who[::-1]
        self._film_under(who, 0, strips[one], ends[one], lead, np.minimum(lead + length, ends[one]))
        across = two > one
        one, two, lead = one[across], two[across], lead[across]
        self._film_under(who[across], 1, strips[two], ends[two], ends[one], lead + length)
        self.born += sheets

    def _film_under(self, who: Ints, piece: int, strips: Ints, ends: Ints, low: Ints, high: Ints) -> None:
        """Film from unwound um low to high, each within a strip that ends at unwound um `ends`."""
        roll, a, b = strips.T
        way, begin = np.sign(b - a), ends - np.abs(b - a)
        self.roll[who, piece] = roll
        self.lead[who, piece], self.tail[who, piece] = a + way * (low - begin), a + way * (high - begin)

    def run(self, unit: str, to: str, gone: Sequence[int], reverses: bool) -> Ints:
        """Feed a pile from the top, less the sheets at feed counts `gone`; reverses: delivered from the bottom up."""
        fed = self.piles[unit]
        stays = np.ones(len(fed), np.bool_)
        stays[list(gone)] = False
        self.piles[to] = fed[stays][::-1] if reverses else fed[stays]
        return fed

    def turn(self, unit: str, to: str, rows: bool, columns: bool) -> None:
        """Turn a whole pile over: its bottom sheet comes on top, every sheet lies reversed."""
        self.piles[to] = self.piles[unit][::-1]
        self.lies[self.piles[to]] ^= np.array([rows, columns])

    def split(self, unit: str, to: Sequence[str], sheets: int) -> None:
        """The top `sheets` to the first, what is left to the second."""
        pile = self.piles[unit]
        for name, taken in zip(to, (pile[:sheets], pile[sheets:]), strict=True):
            self.piles[name] = taken

    def join(self, units: Sequence[str], to: str) -> None:
        """Piles set on one another, the first on top."""
        self.piles[to] = np.concatenate([self.piles[unit] for unit in units])

    def strike(self, unit: str, to: str, series: int, first_tick: int, blank: int | None) -> int:
        """Number a pile; the sheet at feed count `blank` slips through under another.  Gives the strikes made."""
        fed = self.piles[unit]
        struck = fed if blank is None else np.delete(fed, blank)
        self.series[struck], self.tick[struck] = series, first_tick + np.arange(len(struck))
        self.flip[fed] = self.lies[fed]
        self.piles[to] = fed[::-1]
        return len(struck)

    def put_aside(self, sheets: Ints, lot: str, kind: str) -> None:
        """Sheets pulled, into a lot of their own."""
        self.lot[sheets], self.kind[sheets] = len(self.lots), KINDS.index(kind)
        self.lots.append(lot)

    def destroy(self, lot: str) -> None:
        """The whole lot, shredded."""
        self.kind[self.lot == self.lots.index(lot)] = KINDS.index("destroyed")

    def truth(self, boxes: Boxes) -> Truth:
        """What stands at the end."""
        n = self.born
        lead, tail = self.lead[:n], self.tail[:n]
        return Truth(
            tuple(self.film_rolls), self.roll[:n], np.minimum(lead, tail), np.maximum(lead, tail),
            np.sign(tail - lead), self.lane[:n], self.series[:n], self.tick[:n], self.flip[:n], self.kind[:n],
            self.lot[:n], tuple(self.lots), self.piles, boxes, self.notes,
        )  # fmt: skip

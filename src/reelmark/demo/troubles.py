"""What goes wrong in the demo: where each trouble is planted, and what the shop's records must give away of it.

Every planted value can be found from the records alone; see `NAMES` for what the shop knew of each.
"""

from dataclasses import dataclass
from typing import Any

from .boxes import Slip
from .chance import Chance
from .size import Size

__all__ = ["FILM", "NAMES", "Plan", "Planted", "Splice", "Trouble", "plan"]

NAMES = {
    "extra rewind": "a roll went over the standing rewinder: everything after it lies the other way round",
    "pile turned by hand": "tumbled at the hand table instead of turned: rows are reversed, not columns",
    "splice": "web cut out and taped, or two rolls set on one another: a sheet may lie over the tape",
    "uncounted pull": "sheets taken out of a pass somewhere in a stretch, and nobody counted",
    "double feed": "two sheets under the boxes at once: the lower one bears no number; the shop found it",
    "mis-set box": "one box set wrong by a constant for one block; nobody in the shop noticed",
    "skipped tick": "one box stood still at one strike, one number behind to the end of its block; nobody noticed",
    "short pack": "a pack counted 99; the torn note was found a shift later, and replaced",
    "record sent twice": "the same record came again with the next shift's",
    "late correction": "a pull written down wrong, put right days later by two persons",
    "wrong count": "a count by hand with two digits changed over; the blind recount was right",
}

FILM = {  # in the gauge's records of the rolls, not in the shop's: see `filmline`
    "wave": "the gauge swings with a period of 37 s all along the roll",
    "die line": "a narrow thin line from the die's lip, carried to and fro across the web",
    "drift": "the gauge goes off over a third of the roll or more, and stays off",
    "pressure drop": "the bubble's pressure fell for two seconds: 3 m of web are thick, all across",
}


@dataclass(frozen=True, slots=True)
class Trouble:
    """A trouble and what of it stands planted: unit, place, count, as plain values."""

    name: str
    planted: dict[str, Any]


class Planted:
    """Troubles as they are planted, in order of planting."""

    def __init__(self) -> None:
        self.all: list[Trouble] = []

    def add(self, name: str, **planted: Any) -> dict[str, Any]:
        """Plant one; what is known only later is put into the values given back."""
        if name not in NAMES:
            raise KeyError(f"no trouble {name!r}; there are {', '.join(NAMES)}")
        self.all.append(Trouble(name, planted))
        return planted


@dataclass(frozen=True, slots=True)
class Splice:
    """Where web is cut out: in which pass (from 0) of which roll, and at what percent of the web."""

    roll: int
    stage: int
    percent: int


@dataclass(frozen=True, slots=True)
class Plan:
    """Where each trouble goes.

    rewound : roll; tumbled, miscounted, corrected : white pile; uncounted : {white pile: print pass}
    corrected_pass : print pass; doubled : (pile at the numbering press, feed count of the last sheet numbered right)
    misset, stuck : boxes; short : (block, position, hundred inside the block)
    """

    rewound: int
    splices: tuple[Splice, ...]
    tumbled: int
    uncounted: dict[int, int]
    corrected: int
    corrected_pass: int
    miscounted: int
    doubled: tuple[int, int]
    misset: Slip
    stuck: Slip
    short: tuple[int, int, int]

    @property
    def slips(self) -> tuple[Slip, ...]:
        """The boxes that go wrong."""
        return self.misset, self.stuck


def plan(size: Size, chance: Chance) -> Plan:
    """Draw the places: no pile, block or roll has two troubles that would hide one another."""
    mothers = [i for i in range(len(size.rolls) - 1) if i not in (size.joined, size.joined - 1)]
    white = size.sheets // size.white_pile * 3 // 4
    odd = chance.shuffled(chance.several(0, white, size.uncounted + 3))
    doubled, misset, stuck, short = _number_piles(size, chance)
    return Plan(
        rewound=chance.pick(mothers),
        splices=_splices(size, chance),
        tumbled=odd[0],
        corrected=odd[1],
        corrected_pass=chance.whole(0, 1),
        miscounted=odd[2],
        uncounted={pile: chance.whole(0, 2) for pile in odd[3:]},
        doubled=(doubled, _double_feed(size, chance)),
        misset=_misset(size, chance, misset),
        stuck=_stuck(size, chance, stuck),
        short=(short, chance.whole(0, size.order.layout.ups - 1), chance.whole(0, size.block // 100 - 1)),
    )


def _splices(size: Size, chance: Chance) -> tuple[Splice, ...]:
    """One at most in a pass of a roll, never in the roll that may stay uncut, each as far from the middle as no other.

    So no two lie under one sheet, whichever end of the web was outside.
    """
    rolls = [i for i in range(len(size.rolls) - 1) if i != size.joined]
    places = [(roll, stage) for roll in rolls for stage in range(size.order.web_passes)]
    far = [chance.pick((50 - x, 50 + x)) for x in chance.shuffled(range(0, 35, 5))]
    return tuple(Splice(*place, x) for place, x in zip(chance.shuffled(places)[: size.splices], far, strict=False))


def _number_piles(size: Size, chance: Chance) -> tuple[int, int, int, int]:
    """The pile with the double feed, never the last; a block in each of three others."""
    doubled = chance.whole(0, size.number_piles - 2)
    others = chance.shuffled([i for i in range(size.number_piles) if i != doubled])
    per_pile = size.number_pile // size.block
    misset, stuck, short = (pile * per_pile + chance.whole(0, per_pile - 1) for pile in others[:3])
    return doubled, misset, stuck, short


def _double_feed(size: Size, chance: Chance) -> int:
    """A feed count between two looks of the camera."""
    look = chance.whole(1, size.number_pile // size.look_every - 2)
    return look * size.look_every + chance.whole(1, size.look_every - 3)


def _misset(size: Size, chance: Chance, block: int) -> Slip:
    """Off by a number that is no multiple of ten, as a hand on the last two wheels leaves it."""
    offset = 10 * chance.whole(0, min(9, size.block // 20)) + chance.whole(2, 9)
    return Slip(0, chance.whole(0, size.order.layout.ups - 2), block * size.block, offset)


def _stuck(size: Size, chance: Chance, block: int) -> Slip:
    """Early enough that the camera still looks at the block."""
    inside = chance.whole(size.block // 10, size.block * 7 // 10)
    return Slip(0, chance.whole(0, size.order.layout.ups - 1), block * size.block + inside, 0)

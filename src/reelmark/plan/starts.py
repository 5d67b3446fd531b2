"""How many to start so that enough come out good, and what asks for the overs."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

from ..errors import BadValue, Problem
from ..plant import Spread, StageYield
from .yields import Chance, chance, mean_yield, sd_yield

__all__ = ["LEVELS", "Start", "Starts", "least_start", "perfect_sheets", "starts"]

LEVELS = (0.90, 0.95, 0.99, 0.999)
MOST_ORDER = 10**12  # the chance is good to nine digits up to here
MOST_OVERS = 10_000  # starts looked at: up to so many times the order


@dataclass(frozen=True, slots=True)
class Start:
    """A start and the chance that it gives enough."""

    start: int
    chance: Chance


@dataclass(frozen=True, slots=True)
class Starts:
    """The answer for one order.

    naive : the order over the mean yield; alike : what would do if batches were alike; both with the true chance
    spread_costs : stage -> overs that its spread alone costs, as the start falls by so many when its variance is 0
    """

    order: int
    level: float
    least: Start
    rounded: Start
    pile: int
    naive: Start
    alike: Start
    at_levels: dict[float, int]
    spread_costs: dict[str, int]
    mean: float
    sd: float

    def as_dict(self) -> dict[str, Any]:
        """Flat, shares as numbers; `start` and `probability` are the answer."""
        best = max(self.spread_costs, key=lambda name: self.spread_costs[name])
        return {
            "order": self.order, "level": self.level,
            "start": self.least.start, "probability": self.least.chance.value,
            "probability_error": self.least.chance.error, "method": self.least.chance.method,
            "expected_good": self.least.start * self.mean,
            "expected_surplus": self.least.start * self.mean - self.order,
            "pile": self.pile, "rounded_start": self.rounded.start, "rounded_probability": self.rounded.chance.value,
            "naive_start": self.naive.start, "naive_probability": self.naive.chance.value,
            "alike_start": self.alike.start, "alike_probability": self.alike.chance.value,
            "starts": [{"level": level, "start": start} for level, start in self.at_levels.items()],
            "mean_yield": self.mean, "sd_yield": self.sd,
            "spread_costs": [{"stage": name, "overs": overs} for name, overs in self.spread_costs.items()],
            "costliest_spread": best if self.spread_costs[best] > 0 else None,
        }  # fmt: skip


def least_start(order: int, level: float, spreads: Sequence[Spread]) -> Start:
    """The least start with P(good >= order) >= level, by bisection: the chance grows with the start.

    order : >= 1; 0 < level < 1; Problem where 10,000 times the order would not do
    """
    _asked(order, level)
    low, high = order - 1, ceil(order / mean_yield(spreads))
    while high > MOST_OVERS * order or chance(high, order, spreads).value < level:
        low, high = high, high + max(1, high // 4)
        if high > MOST_OVERS * order:
            true = f"even {high:,} put in would not reach it: a batch may be lost nearly whole"
            raise Problem(f"a start for {order:,} good at {level:g}", true, "lower the level, or mend the worst stage")
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if chance(middle, order, spreads).value >= level else (middle, high)
    return Start(high, chance(high, order, spreads))


def _asked(order: int, level: float) -> None:
    if order > MOST_ORDER:
        raise BadValue("order", order, f"at most {MOST_ORDER:,} are reckoned with", "order in parts, or correct it")
    if order < 1:
        raise BadValue("order", order, "nothing is ordered", "give the good sheets wanted, 1 or more")
    if not 0 < level < 1:
        true = "no start makes it certain, and none is needed for a chance of 0"
        raise BadValue("level", level, true, "give a share between 0 and 1, such as 0.99")


def starts(order: int, level: float, stages: Sequence[StageYield], pile: int = 1) -> Starts:
    """All that a planner asks of the start of one order.  pile : starts come in whole piles (or rolls) of so many."""
    if pile < 1:
        raise BadValue("pile", pile, "a pile holds 1 or more", "give the sheets of a pile, or leave it out")
    if not stages:
        raise BadValue("stages", "none", "without stages nothing is lost", "write a [[stages]] for each stage")
    _named_apart([one.name for one in stages])
    spreads = [one.spread for one in stages]
    least = least_start(order, level, spreads)
    full = -(-least.start // pile) * pile
    mean = mean_yield(spreads)
    naive = ceil(order / mean)
    alike = least_start(order, level, [Spread(mean)]).start
    return Starts(
        order, level, least, Start(full, chance(full, order, spreads)), pile,
        Start(naive, chance(naive, order, spreads)), Start(alike, chance(alike, order, spreads)),
        {one: least_start(order, one, spreads).start for one in LEVELS},
        _spread_costs(order, level, stages, least.start), mean, sd_yield(spreads),
    )  # fmt: skip


def _named_apart(names: Sequence[str]) -> None:
    for at, name in enumerate(names):
        if name in names[:at]:
            raise BadValue(f"stages[{at}].name", name, "the name stands there twice", "give each stage its own")


def _spread_costs(order: int, level: float, stages: Sequence[StageYield], start: int) -> dict[str, int]:
    """By how many the start falls when that stage alone has the same yield in every batch."""
    costs = {}
    for at, one in enumerate(stages):
        still = [Spread(s.spread.mean) if i == at else s.spread for i, s in enumerate(stages)]
        costs[one.name] = start - least_start(order, level, still).start
    return costs


def perfect_sheets(note_defect: float, ups: int) -> float:
    """Share of sheets without a bad note when each note is bad with that chance, alone; clustered faults spoil fewer.

    0 <= note_defect <= 1

    >>> round(perfect_sheets(0.001, 45), 3)
    0.956
    """
    if not 0 <= note_defect <= 1 or ups < 1:
        raise BadValue("note_defect, ups", (note_defect, ups), "a share and a count are wanted", "such as 0.001 and 45")
    return float((1 - note_defect) ** ups)

"""A plan with its clock: the question, the answer, and when unit 0 is."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from ..jobs import JobShop, Schedule

__all__ = ["Planned"]


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan.  begins : aware moment of unit 0;  bound : no plan costs less;  frozen : operations that may not move.

    pinned : operation -> (machine, start unit) that a person set;  says : what a re-plan changed, in words
    """

    shop: JobShop
    schedule: Schedule
    begins: datetime
    cost: float
    bound: float
    frozen: frozenset[int] = frozenset()
    pinned: tuple[tuple[int, int, int], ...] = ()
    says: tuple[str, ...] = ()

    def moment(self, unit: float) -> datetime:
        """When a unit begins."""
        gone = self.begins.astimezone(UTC) + timedelta(minutes=unit * self.shop.unit_min)
        return gone.astimezone(self.begins.tzinfo)  # through UTC: an hour is an hour when the clocks change

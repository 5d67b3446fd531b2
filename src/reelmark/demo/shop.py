"""The shop in which the demo happens: what its departments share."""

from dataclasses import dataclass, field

from .boxes import Boxes
from .chance import Chance
from .floor import Floor
from .size import Size
from .troubles import Plan, Planted
from .writing import Book, Line

__all__ = ["Shop"]


@dataclass(slots=True)
class Shop:
    """One order's shop: how large, what is planned to go wrong, the floor itself, and the book written about it.

    owed : piles that must be counted at the next chance, since something left them uncounted
    named : troubles that stand in a line of the book, to be given its machine and running number when it is closed
    spoiled : lots of spoil that may be destroyed, with the piles they came from
    """

    size: Size
    plan: Plan
    chance: Chance
    floor: Floor
    boxes: Boxes
    book: Book = field(default_factory=Book)
    planted: Planted = field(default_factory=Planted)
    owed: set[str] = field(default_factory=set)
    named: list[tuple[dict[str, object], Line]] = field(default_factory=list)
    spoiled: list[tuple[str, str]] = field(default_factory=list)

    def plant(self, name: str, line: Line, **values: object) -> None:
        """Plant a trouble that stands in this line; its machine and running number follow when the book is closed."""
        self.named.append((self.planted.add(name, **values), line))

    def name_lines(self) -> None:
        """Put machine and running number of its line into each trouble, once they are known."""
        for values, line in self.named:
            values["machine"], values["seq"] = line.machine, line.seq

    def sheets(self, pile: str) -> int:
        """How many lie in the pile."""
        return len(self.floor.piles[pile])

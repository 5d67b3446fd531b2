"""The invented works: its machines as the templates have them, and who stands at them in which shift."""

from importlib import resources

from ..io import read_order, read_works
from ..order import Order
from ..works import Works

__all__ = ["HANDS", "person", "second_person", "template_order", "template_works"]

# Places where several people write side by side: one job does not wait for the one before it.
HANDS = frozenset({"hand table", "banding line", "counting room", "office"})

PEOPLE = (
    "A. Quennel", "B. Tarrow", "C. Ostrey", "D. Hembrook", "E. Vallis", "F. Norcott", "G. Pell", "H. Rudmere",
    "J. Asker", "K. Lindow", "L. Marsk", "M. Ferrand", "N. Corvane", "P. Ilsley", "R. Thane", "S. Umber", "T. Wexcombe",
)  # fmt: skip


def template_order() -> Order:
    """The order that a new works begins with."""
    with resources.as_file(resources.files("reelmark.io") / "templates" / "order.toml") as path:
        return read_order(path)


def template_works() -> Works:
    """The works that a new works begins with."""
    with resources.as_file(resources.files("reelmark.io") / "templates" / "works.toml") as path:
        return read_works(path)


def person(machine: str, shift: int) -> str:
    """Who stands at the machine in that shift."""
    return PEOPLE[_place(machine, shift) % len(PEOPLE)]


def second_person(machine: str, shift: int) -> str:
    """Who signs beside them: never the same."""
    return PEOPLE[(_place(machine, shift) + 7) % len(PEOPLE)]


def _place(machine: str, shift: int) -> int:
    return sum(machine.encode()) * 3 + shift % 3

"""A whole order: the physical truth first, then what the shop wrote about it, troubles planted."""

from dataclasses import dataclass, field

from ..order import Order
from ..works import Works
from .boxes import Boxes
from .chance import Chance
from .filmline import FilmRoll, film_rolls
from .finishing import destroy_spoil, finish
from .floor import Floor
from .numberwork import allocate, number_piles
from .plant import template_works
from .presswork import press
from .shop import Shop
from .size import Size
from .strips import Web
from .troubles import NAMES, Trouble, plan
from .truth import Truth
from .web import white_piles
from .windowplan import WindowRoll, window_rolls
from .writing import Json, Line, shifts

__all__ = ["Simulated", "simulate"]


@dataclass(frozen=True, slots=True)
class Simulated:
    """records : one list a shift, in the order written; planted : what a solver is to find; truth : only to judge.

    film : how each roll was made, for the gauge's records, with what is planted in those
    windows : what the camera over the windows saw of a stretch, likewise;  webs : film on every roll, from the core
    """

    order: Order
    works: Works
    records: list[list[Json]]
    planted: list[Trouble]
    truth: Truth
    film: tuple[FilmRoll, ...] = ()
    windows: tuple[WindowRoll, ...] = ()
    webs: dict[str, Web] = field(default_factory=dict)


def simulate(size: Size, seed: int) -> Simulated:
    """Run the shop.  Same size and seed: same records, to the byte."""
    chance = Chance(seed)
    shop = _shop(size, chance)
    allocate(shop)
    white = white_piles(shop)
    printed = (press(shop, pile, n) for n, pile in enumerate(white))
    finish(shop, number_piles(shop, printed))
    for _ in printed:
        pass  # what is left is printed too, for a later order
    destroy_spoil(shop)
    works = template_works()
    records = _written(shop, works)
    truth = shop.floor.truth(shop.boxes)
    seen, webs = window_rolls(size, truth, shop.floor.webs, seed), shop.floor.webs
    return Simulated(size.order, works, records, _in_order(shop), truth, film_rolls(size, seed), seen, webs)


def _shop(size: Size, chance: Chance) -> Shop:
    planned = plan(size, chance)
    room = sum(size.rolls) // size.order.layout.cut_off * size.order.lanes
    return Shop(size, planned, chance, Floor(room), Boxes(size.order.layout.ups, size.block, planned.slips))


def _written(shop: Shop, works: Works) -> list[list[Json]]:
    """The book closed, and one print record sent twice."""
    lines = shop.book.closed()
    twice = shop.chance.pick([line for line in lines if line.body.get("kind") == "print"])
    shop.plant("record sent twice", twice, kind="print")
    records, again = shifts(lines, works, twice)
    shop.planted.all[-1].planted["shift"] = again + 1
    shop.name_lines()
    for trouble in shop.planted.all:
        of = trouble.planted.pop("of", None)
        if isinstance(of, Line):
            trouble.planted.update(of_machine=of.machine, of_seq=of.seq)
    return records


def _in_order(shop: Shop) -> list[Trouble]:
    """Planted troubles as `NAMES` has them."""
    return sorted(shop.planted.all, key=lambda trouble: list(NAMES).index(trouble.name))

"""How large the demo's order is: one of 9,000,000 notes to show, one of a few hundred sheets to test."""

from dataclasses import dataclass, replace

from ..order import Layout, Order
from .plant import template_order

__all__ = ["FULL", "SMALL", "Size"]


@dataclass(frozen=True, slots=True)
class Size:
    """The order, and how the shop cuts it into rolls, piles and blocks.

    rolls : um each roll of film is wound to
    joined : which roll, by place in rolls, is a short one set on the outside of the roll before it
    margin : percent more sheets to be cut than are to be numbered
    web_waste, splice_waste : least and most um wasted at each end of a web pass, and where web is cut out
    splices : places where web is cut out; uncounted : pulls that nobody counts
    look_every : the camera reads every so many sheets
    make_ready : least and most sheets at the start of a print pass; burst : most sheets in one later pull
    mistaken : (sheets written, sheets really pulled) in the record that is corrected days later
    replacements : sheets numbered in the replacement series
    """

    name: str
    order: Order
    block: int
    rolls: tuple[int, ...]
    joined: int
    margin: int
    web_waste: tuple[int, int]
    splices: int
    splice_waste: tuple[int, int]
    white_pile: int
    make_ready: tuple[int, int]
    burst: int
    uncounted: int
    mistaken: tuple[int, int]
    number_pile: int
    look_every: int
    replacements: int

    @property
    def sheets(self) -> int:
        """Sheets that bear a number of the order, spoiled ones with them."""
        return self.order.notes // self.order.layout.ups

    @property
    def number_piles(self) -> int:
        """Piles of the order at the numbering press."""
        return self.sheets // self.number_pile

    @property
    def to_cut(self) -> int:
        """Sheets to cut before the sheeter stops."""
        return (self.sheets + self.replacements) * (100 + self.margin) // 100


_ORDER = template_order()

FULL = Size(
    name="full",
    order=_ORDER,
    block=1_000,
    rolls=(8_004_215_000, 7_988_640_000, 6_412_385_000, 1_655_120_000, 8_021_975_000, 8_010_450_000),
    joined=3,
    margin=5,
    web_waste=(4_000_000, 15_000_000),
    splices=5,
    splice_waste=(800_000, 3_000_000),
    white_pile=5_000,
    make_ready=(12, 30),
    burst=18,
    uncounted=8,
    mistaken=(13, 31),
    number_pile=5_000,
    look_every=250,
    replacements=1_000,
)

SMALL = Size(
    name="small",
    order=replace(
        _ORDER,
        notes=4_800,
        layout=Layout(2, 3, 76_000, 140_000, 168_000, margin_along=8_000, margin_across=8_000),
        lanes=2,
        deliveries=(replace(_ORDER.deliveries[0], notes=4_800),),
    ),
    block=100,
    rolls=(41_400_000, 30_250_000, 11_620_000, 38_875_000),
    joined=2,
    margin=22,
    web_waste=(200_000, 500_000),
    splices=2,
    splice_waste=(80_000, 300_000),
    white_pile=100,
    make_ready=(1, 3),
    burst=2,
    uncounted=2,
    mistaken=(2, 5),
    number_pile=200,
    look_every=10,
    replacements=100,
)

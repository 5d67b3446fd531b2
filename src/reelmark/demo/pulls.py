"""Sheets pulled out of a pass: at known places, or somewhere in a stretch and nobody counted."""

from collections.abc import Sequence
from dataclasses import dataclass

from .shop import Shop
from .writing import Json

__all__ = ["Pulled", "Window", "draw_pulls", "draw_window", "put_aside", "taken"]


@dataclass(frozen=True, slots=True)
class Pulled:
    """Sheets pulled from one feed count on."""

    start: int
    sheets: int
    kind: str
    why: str

    @property
    def end(self) -> int:
        """One past the last."""
        return self.start + self.sheets


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of the feed out of which some sheets went uncounted: which, really, and how many at most."""

    start: int
    end: int
    high: int
    gone: tuple[int, ...]


def draw_pulls(
    shop: Shop, size: int, bursts: int, most: int, kind: str, why: Sequence[str], shut: Sequence[tuple[int, int]]
) -> list[Pulled]:
    """Bursts of up to `most` sheets anywhere in the feed, not beside one another and not in what is shut."""
    found: list[Pulled] = []
    for _ in range(bursts):
        one = Pulled(shop.chance.whole(0, size - most - 1), shop.chance.whole(1, most), kind, shop.chance.pick(why))
        if all(one.end < start or end < one.start for start, end in [*shut, *((p.start, p.end) for p in found)]):
            found.append(one)
    return found


def draw_window(shop: Shop, size: int) -> Window:
    high = max(2, min(6, shop.size.burst))
    wide = max(size // 14, 3 * high)
    start = shop.chance.whole(size // 3, size - 2 * wide)
    gone = shop.chance.several(start, start + wide, shop.chance.whole(1, high))
    return Window(start, start + wide, high, tuple(gone))


def put_aside(shop: Shop, unit: str, to: str, pulls: Sequence[Pulled], window: Window | None, reverses: bool) -> int:
    """Run the pile, each pull into its lot: named after the pile made and the pull's place in the record."""
    takes = [(list(range(p.start, p.end)), p.kind) for p in pulls]
    if window is not None:
        takes.append((list(window.gone), "spoiled"))
    gone = [i for places, _ in takes for i in places]
    fed = shop.floor.run(unit, to, gone, reverses)
    for n, (places, kind) in enumerate(takes):
        shop.floor.put_aside(fed[places], f"{to}/{n}", kind)
        if kind == "spoiled":
            shop.spoiled.append((f"{to}/{n}", to))
    return len(gone)


def taken(pulls: Sequence[Pulled]) -> list[Json]:
    """As the record has them."""
    return [{"start": p.start, "sheets": p.sheets, "kind": p.kind, "why": p.why} for p in pulls]

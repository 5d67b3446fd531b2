"""What lies on the strips: marks, splices, what was taken out, what nobody counted, and in whose hands the rest is.

layers(reading)["held"]      an Extent: the same value as everywhere, so a strip can draw it and a question meet it
"""

from collections.abc import Iterator, Mapping
from itertools import pairwise

from ..facts import Run
from ..reading import Reading
from ..spans import EMPTY, Extent, Place, Spans

__all__ = ["LAYERS", "layers"]

# name -> in words, in the order in which they are drawn
LAYERS: Mapping[str, str] = {
    "lost": "taken out: waste, spoil, samples",
    "doubt": "pulled somewhere here, nobody counted",
    "packed": "packed",
    "spoiled": "spoiled or destroyed",
    "held": "held",
    "splice": "splice",
    "mark": "mark",
}

Part = tuple[Place, Spans]


def layers(reading: Reading) -> dict[str, Extent]:
    """Every layer of an order."""
    shop = reading.shop
    parts: dict[str, list[Part]] = {name: [] for name in LAYERS}
    parts["mark"] = [part for mark in shop.marks for part in mark.extent.items()]
    for run in shop.runs:
        parts["lost"] += _waste(run)
        parts["splice"] += _splices(run)
        for name, unit, start, stop in _pulls(reading, run):
            parts[name].append(((unit, 0), Spans.of((start, stop))))
    _hands(reading, parts)
    return {name: Extent(some) for name, some in parts.items()}


def _waste(run: Run) -> list[Part]:
    """Web that was not kept, where it lay on the roll it was taken from."""
    return [
        ((p.unit, p.lane), Spans.of((p.start, p.start + p.many)))
        for p in run.pieces if p.width == 1 and p.to_unit.endswith("/waste")
    ]  # fmt: skip


def _splices(run: Run) -> list[Part]:
    """Where two stretches that were kept meet on the roll they were wound on."""
    on: dict[Place, list[int]] = {}
    for p in run.pieces:
        if p.width == 1 and not p.to_unit.endswith("/waste"):
            on.setdefault((p.to_unit, p.to_lane), []).append(p.at if p.sign > 0 else p.at - p.many + 1)
    return [(place, Spans.of(*((at, at + 1) for at in starts if at > 0))) for place, starts in on.items()]


def _pulls(reading: Reading, run: Run) -> Iterator[tuple[str, str, int, int]]:
    """(layer, unit, start, stop) of sheets pulled, on the pile they were pulled from."""
    if run.pile is None or not (run.pile.pulls or run.pile.unknowns):
        return
    ends = [0]
    for unit in run.pile.inputs:
        ends.append(ends[-1] + reading.thread.lengths.sheets(unit)[1])
    pulled = [("lost", p.start, p.start + p.sheets) for p in run.pile.pulls]
    pulled += [("doubt", u.start, u.stop) for u in run.pile.unknowns]
    for name, start, stop in pulled:
        for unit, (low, high) in zip(run.pile.inputs, pairwise(ends), strict=True):
            if start < high and stop > low:
                yield name, unit, max(start, low) - low, min(stop, high) - low


def _hands(reading: Reading, parts: dict[str, list[Part]]) -> None:
    """Where in the books it is: only what is not simply good and on its way."""
    books = reading.accounting.books
    for place in books.places():
        for account, held in books.accounts(place).items():
            name = {"held": "held", "spoiled": "spoiled", "destroyed": "spoiled"}.get(account.kind)
            if account.place == "packed" and account.kind == "good":
                name = "packed"
            if name is not None and held != EMPTY and not place[0].endswith("/waste"):
                parts[name].append((place, held))

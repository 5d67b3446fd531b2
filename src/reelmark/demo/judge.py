"""Planted against found, and the laws of the design on the demo's order.  The only place that sees both."""

from random import Random
from typing import Any

import numpy as np

from .. import acts
from ..facts import SERIES
from ..journal import find_change, leaf
from ..spans import Extent, Spans
from .simulate import Simulated

__all__ = ["judged", "laws"]


def judged(sim: Simulated, desk: Any, taken: Any) -> list[dict[str, Any]]:
    """Each planted trouble with what was found of it from the records alone, or None; false alarms after them."""
    found: list[dict[str, Any]] = [{"name": f.name, "what": f.what} for f in acts.findings(desk.reading)]
    found += [
        {"name": "record sent twice", "what": {"machine": m, "seq": seq, "shift": _shift(path)}}
        for m, seq, path in taken.repeated
    ]
    judged_ = []
    for trouble in sim.planted:
        fits = [one for one in found if one["name"] == trouble.name and _agree(trouble.planted, one["what"])]
        if fits:
            found.remove(fits[0])
        what = fits[0]["what"] if fits else None
        judged_.append({"name": trouble.name, "planted": trouble.planted, "found": what, "agrees": bool(fits)})
    return judged_ + [{"name": one["name"], "planted": None, "found": one["what"], "agrees": False} for one in found]


def _shift(path: str) -> int:
    """Which shift a file of records is of."""
    return int(path.rsplit("-", 1)[1].split(".")[0])


def _agree(planted: dict[str, Any], found: dict[str, Any]) -> bool:
    """Every planted value that the finding speaks of is the one found; a tick known only within bounds lies in them."""
    if "first_tick_from" in found and not found["first_tick_from"] <= planted["first_tick"] <= found["first_tick_to"]:
        return False
    shared = (planted.keys() & found.keys()) - {"kind"}
    return bool(shared) and all(planted[key] == found[key] for key in shared)


def laws(sim: Simulated, desk: Any) -> list[dict[str, Any]]:
    """The five laws, each on all of the order or a stated sample."""
    return [_law1(desk), _law2(sim, desk), _law3(desk), _law4(desk), _law5(sim, desk)]


def _said(law: str, held: bool, checked: str) -> dict[str, Any]:
    return {"law": law, "held": held, "checked": checked}


def _law1(desk: Any) -> dict[str, Any]:
    """Every unit that was taken went somewhere, whole: good, lot or waste."""
    reading = desk.reading
    thread, books = reading.thread, reading.accounting.books
    whole = 0
    for run in reading.shop.runs:
        if run.pile:
            went = sum(thread.lengths.sheets(u)[0] for u in _given(run))
            whole += went == sum(thread.lengths.sheets(u)[0] for u in run.pile.inputs)
        else:
            whole += all(_left(books, p.unit, p.lane, p.start, p.start + p.many * p.period) == 0 for p in run.pieces)
    many = len(reading.shop.runs)
    return _said("1 pieces cover their input", whole == many, f"{whole:,} of {many:,} runs")


def _given(run: Any) -> list[str]:
    return [u for u, _ in run.pile.outputs] + [p.lot for p in (*run.pile.pulls, *run.pile.unknowns)]


def _left(books: Any, unit: str, lane: int, start: int, stop: int) -> int:
    """Um of a stretch that was taken and is not booked as carried."""
    carried = [held for account, held in books.accounts((unit, lane)).items() if account.kind == "carried"]
    left = Spans.of((start, stop))
    for held in carried:
        left -= held
    return left.size


def _law2(sim: Simulated, desk: Any) -> dict[str, Any]:
    """Every numbered sheet: strike to film and back, against the simulator's own walk of the things themselves."""
    thread, truth = desk.reading.thread, sim.truth
    sheets = np.flatnonzero(truth.tick >= 0)
    right = 0
    for series, name in enumerate(one.name for one in sim.order.series):
        for strikes in (one for one in thread.strikes if one.series == name):
            mine = sheets[truth.series[sheets] == series]
            at = thread.frames.start(strikes.place) + truth.tick[mine]
            born = thread.born(at)
            known = born >= 0
            right += int(np.sum(_film_agrees(sim, thread, mine[known], born[known])))
            right += _walked(sim, desk, name, mine[~known])
    return _said(
        "2 back and forward are one walk", right == len(sheets), f"{right:,} of {len(sheets):,} numbered sheets"
    )


def _film_agrees(sim: Simulated, thread: Any, sheets: Any, born: Any) -> Any:
    """Where both ends of each sheet's film agree with the truth, piece by piece."""
    truth = sim.truth
    good = np.ones(len(sheets), bool)
    for piece in (0, 1):
        here = truth.roll[sheets, piece] >= 0
        for roll in np.unique(truth.roll[sheets[here], piece]):
            for lane in np.unique(truth.lane[sheets[here]]):
                mine = here & (truth.roll[sheets, piece] == roll) & (truth.lane[sheets] == lane)
                place = thread.frames.start((truth.film_rolls[roll], int(lane)))
                for edge in (truth.start[sheets[mine], piece], truth.stop[sheets[mine], piece] - 1):
                    good[mine] &= thread.sheets_at(place + edge) == born[mine]
    return good


def _walked(sim: Simulated, desk: Any, series: str, sheets: Any) -> int:
    """Sheets that hang on doubt: the walk must hold the truth between its MUST and its MAY."""
    return sum(_between(sim, desk, series, int(one)) for one in sheets)


def _between(sim: Simulated, desk: Any, series: str, sheet: int) -> bool:
    thread, truth = desk.reading.thread, sim.truth
    (strikes,) = [one for one in thread.strikes if one.series == series]
    number = strikes.number(int(truth.tick[sheet]), 0)
    back = thread.back(Extent.one(SERIES + series, 0, number, number + 1))
    rolls = set(truth.film_rolls)
    film = Extent(
        [((truth.film_rolls[r], int(truth.lane[sheet])), Spans.of((int(a), int(b))))
         for r, a, b in zip(truth.roll[sheet], truth.start[sheet], truth.stop[sheet], strict=True) if r >= 0]
    )  # fmt: skip
    may, must = (Extent({p: s for p, s in one.items() if p[0] in rolls}) for one in (back.may, back.must))
    return may.covers(film) and film.covers(must)


def _law3(desk: Any) -> dict[str, Any]:
    accounting = desk.reading.accounting
    faults = accounting.proved()
    return _said(
        "3 accounts are a partition", not faults, f"every integer of {len(accounting.books.postings):,} postings"
    )


def _law4(desk: Any) -> dict[str, Any]:
    """Read again, the same; and one changed byte is found at its place."""
    again = type(desk)(desk.folder)
    with again:
        same = acts.balance(again.reading) == acts.balance(desk.reading)
        bodies, leaves = again.store.entries(), again.store.leaves()
    rng, found = Random(4), 0
    for at in rng.sample(range(len(bodies)), min(50, len(bodies))):
        spoiled = bytearray(bodies[at])
        spoiled[rng.randrange(len(spoiled))] ^= 1
        found += find_change([*bodies[:at], bytes(spoiled), *bodies[at + 1 :]], leaves) == at
    same &= all(leaf(body) == hashed for body, hashed in zip(bodies, leaves, strict=True))
    return _said(
        "4 replay gives the same",
        same and found == min(50, len(bodies)),
        f"{len(bodies):,} entries, {found} changed bytes found",
    )


def _law5(sim: Simulated, desk: Any) -> dict[str, Any]:
    """MUST in truth in MAY: up to 60 sheets from the window of every uncounted pull, and 300 from anywhere."""
    truth, rng = sim.truth, Random(5)
    near: list[int] = []
    for trouble in sim.planted:
        if trouble.name == "uncounted pull":
            pile = truth.piles[trouble.planted["unit"]]
            window = pile[trouble.planted["start"] : trouble.planted["end"]].tolist()
            near += rng.sample(window, min(60, len(window)))
    numbered = np.flatnonzero(truth.tick >= 0).tolist()
    asked = [one for one in near if truth.tick[one] >= 0] + rng.sample(numbered, min(300, len(numbered)))
    names = [one.name for one in sim.order.series]
    held = sum(_between(sim, desk, names[truth.series[one]], one) for one in asked)
    return _said(
        "5 MUST in truth in MAY",
        held == len(asked),
        f"{held:,} of {len(asked):,} sheets, near every uncounted pull and anywhere",
    )

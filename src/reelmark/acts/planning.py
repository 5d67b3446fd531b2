"""Planning ahead, for whoever plans: how many to start, what an order needs, what past batches say of the yields."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from math import inf
from typing import Any

from ..errors import Problem
from ..facts import PileRun, Run
from ..order import Order
from ..plan.backward import Backward, backward
from ..plan.needs import needs, together
from ..plan.past import Fit, fit
from ..plan.starts import starts
from ..plant import PastRuns, Plant, StageYield
from ..reading import Reading
from ..works import Works

__all__ = ["Past", "fits", "past_runs", "plan_needs", "plan_yield", "plant_of", "undelivered"]

MAKE_READY = "make-ready"  # what a pull's reason says where sheets ran while the press was set
ADD = "add [plant] to works.toml: `reelmark new` in an empty folder writes one to begin with, every value explained"


def plant_of(works: Works) -> Plant:
    """What the works knows for planning; Problem where works.toml does not say."""
    if works.plant is None:
        raise Problem("a plan", f"works.toml of {works.name} says nothing of hours, rates, route and yields", ADD)
    return works.plant


def plan_yield(stages: Sequence[StageYield | PastRuns], order: int, level: float, pile: int = 1) -> dict[str, Any]:
    """The start for one order, and what it rests on.  stages : spreads, or past batches that are fitted first."""
    fitted = [fit(one) if isinstance(one, PastRuns) else None for one in stages]
    known = [StageYield(one.name, found.spread) if found else one for one, found in zip(stages, fitted, strict=True)]
    answer = starts(order, level, [one for one in known if isinstance(one, StageYield)], pile).as_dict()
    rows = [_stage(one, found) for one, found in zip(known, fitted, strict=True) if isinstance(one, StageYield)]
    return answer | {"stages": rows}


def _stage(one: StageYield, found: Fit | None) -> dict[str, Any]:
    spread = one.spread
    row: dict[str, Any] = {
        "stage": one.name, "mean": spread.mean, "sd": spread.variance**0.5,
        "concentration": None if spread.concentration == inf else spread.concentration,
    }  # fmt: skip
    return row | ({"fit": _fit(found)} if found else {})


def _fit(found: Fit) -> dict[str, Any]:
    """A fit as JSON takes it: a concentration without end is null."""
    told = asdict(found)
    del told["spread"], told["name"]
    if found.concentration_interval:
        told["concentration_interval"] = [None if one == inf else one for one in found.concentration_interval]
    return told


def plan_needs(orders: Iterable[Order], plant: Plant, level: float | None = None, setups: int = 1) -> dict[str, Any]:
    """Each order through its stages back to resin: `starts` of all together, and each order's own."""
    backs = [backward(one, plant, level, setups) for one in orders]
    each = [needs(one, plant) for one in backs]
    return {
        "starts": together(each),
        "orders": [_order(back) | {"needs": one.as_dict()} for back, one in zip(backs, each, strict=True)],
    }


def undelivered(orders: Iterable[Order]) -> list[str]:
    """In words, where the deliveries of an order are of fewer notes than it: the rest has no date to keep."""
    left = [(one, one.notes - sum(some.notes for some in one.deliveries)) for one in orders]
    return [f"{one.name}: {rest:,} of {one.notes:,} notes have no delivery" for one, rest in left if rest > 0]


def _order(back: Backward) -> dict[str, Any]:
    return {
        "order": back.order.name, "notes": back.notes, "batches": back.batches,
        "good_sheets": back.good, "planned_sheets": back.planned, "overs_sheets": back.planned - back.good,
        "running_start": back.start.start, "probability": back.start.chance.value,
        "naive_start": back.naive.start, "naive_probability": back.naive.chance.value,
        "sheet_yield": back.good / back.first_sheets.into if back.first_sheets else None,
        "stages": [
            {"stage": one.stage.name, "unit": one.unit, "into": one.into, "out": one.out, "spoil": one.spoil,
             "samples": one.samples, "make_ready": one.make_ready, "returned": one.returned,
             "roll_loss": one.roll_loss}
            for one in back.stages
        ],
    }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Past:
    """Past batches by stage, and what the records do not tell.  Web is in whole m, piles in sheets."""

    runs: tuple[PastRuns, ...]
    not_told: tuple[str, ...]


def past_runs(reading: Reading) -> Past:
    """What each pass of web and each press run took in and gave, stage by stage, in the order of the journal.

    tried leaves out make-ready, samples and what is held; a pile in which pulls were not counted tells no share and is
    left out.  What is found spoiled by hand stands under 'pull': the records do not say which stage spoiled it.
    """
    found: dict[str, tuple[list[int], list[int]]] = {}
    doubtful = 0
    for run in reading.shop.runs:
        name, told = _told(reading, run)
        if told is None:
            doubtful += bool(name)
            continue
        tried, good = found.setdefault(name, ([], []))
        tried.append(told[0])
        good.append(told[1])
    missing = [
        "film: records begin with the roll wound, not with the resin",
        "sheet: a roll cut in part does not tell what the rest would give",
        "finish: notes are known to be spoiled by number, not by batch",
    ]
    if doubtful:
        missing.insert(0, f"{doubtful} runs with uncounted pulls are left out")
    return Past(tuple(PastRuns(name, tuple(t), tuple(g)) for name, (t, g) in found.items()), tuple(missing))


def _told(reading: Reading, run: Run) -> tuple[str, tuple[int, int] | None]:
    """(stage, (tried, good)); no name where the run is no stage, no pair where it is not known."""
    if run.what == "pass":
        units = {p.unit for p in run.pieces}
        kept = sum(p.many for p in run.pieces if not p.to_unit.endswith("/waste")) // len({p.lane for p in run.pieces})
        whole = sum(reading.shop.web_length[unit] for unit in units)
        return run.station, (round(whole / 1e6), round(kept / 1e6))
    if run.pile is None or run.pile.flip != (False, False) or run.what in {"split", "join", "pile set over"}:
        return "", None
    return run.what, _pile(reading, run.pile)


def _pile(reading: Reading, pile: PileRun) -> tuple[int, int] | None:
    ends = [reading.thread.lengths.sheets(unit) for unit in pile.inputs]
    if pile.unknowns or any(low != high for low, high in ends):
        return None
    apart = sum(one.sheets for one in pile.pulls if one.kind != "spoiled" or MAKE_READY in one.why)
    tried = sum(low for low, _ in ends) - apart
    spoiled = sum(one.sheets for one in pile.pulls if one.kind == "spoiled" and MAKE_READY not in one.why)
    return (tried, tried - spoiled) if tried > 0 else None


def fits(past: Past, level: float = 0.95) -> list[dict[str, Any]]:
    """Each stage's spread as fitted, or why it cannot be."""
    rows: list[dict[str, Any]] = []
    for one in past.runs:
        try:
            found = fit(one, level)
        except Problem as problem:
            rows.append({"stage": one.name, "batches": len(one.tried), "refused": str(problem)})
        else:
            rows.append(_stage(StageYield(one.name, found.spread), found))
    return rows

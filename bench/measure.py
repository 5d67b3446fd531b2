"""What a measurement is, how things are timed side by side, and how the results are shown and kept."""

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median
from time import perf_counter

ROUNDS = 5


@dataclass(frozen=True)
class Result:
    """One line of the results.

    anchor : the same of what we compare with; ratio : anchor / value; holds : None where no goal is set
    """

    name: str
    value: float
    unit: str
    anchor: float | None
    ratio: float | None
    goal: str
    holds: bool | None
    note: str = ""


def below(name: str, value: float, unit: str, most: float, anchor: float | None = None, note: str = "") -> Result:
    """A result whose value is to stay below a limit."""
    ratio = anchor / value if anchor else None
    return Result(name, value, unit, anchor, ratio, f"< {most:g} {unit}", value < most, note)


def times(name: str, value: float, unit: str, anchor: float, least: float, note: str = "") -> Result:
    """A result that is to be so many times smaller than the anchor's."""
    ratio = anchor / value
    return Result(name, value, unit, anchor, ratio, f">= {least:,g} x", ratio >= least, note)


def stated(name: str, value: float, unit: str, anchor: float | None = None, note: str = "") -> Result:
    """A result without a goal."""
    return Result(name, value, unit, anchor, anchor / value if anchor else None, "", None, note)


def seconds(do: Callable[[], object]) -> float:
    """How long it takes, s."""
    start = perf_counter()
    do()
    return perf_counter() - start


def side_by_side(ways: Sequence[Callable[[], object]], many: int, rounds: int = ROUNDS) -> list[float]:
    """us each way takes for one of `many` questions: the best of rounds in which they take turns, the first warm-up."""
    best = [float("inf")] * len(ways)
    for turn in range(rounds + 1):
        for i, way in enumerate(ways):
            took = seconds(way) / many * 1e6
            best[i] = min(best[i], took) if turn else best[i]
    return best


def percentile(ask: Callable[[int], object], questions: Sequence[int], share: float, rounds: int = ROUNDS) -> float:
    """us that this share of the questions stays below, each timed by itself: the median of rounds, after a warm-up."""
    found = []
    for turn in range(rounds + 1):
        took = sorted(seconds(lambda one=one: ask(one)) for one in questions)  # type: ignore[misc]
        if turn:
            found.append(took[int(share * len(took))] * 1e6)
    return median(found)


def show(results: Sequence[Result]) -> str:
    """As a plain table, notes below."""
    head = ("", "value", "unit", "anchor", "ratio", "goal", "holds")
    rows = [head, *(_cells(i, r) for i, r in enumerate(results, 1))]
    wide = [max(len(row[i]) for row in rows) for i in range(len(head))]
    lines = [
        "  ".join(c.ljust(w) if i in (0, 2, 5) else c.rjust(w) for i, (c, w) in enumerate(zip(row, wide, strict=True)))
        for row in rows
    ]
    notes = [f"{i}) {r.note}" for i, r in enumerate(results, 1) if r.note]
    return "\n".join([*lines, "", *notes])


def _cells(i: int, r: Result) -> tuple[str, ...]:
    anchor = _digits(r.anchor) if r.anchor is not None else ""
    ratio = f"{_digits(r.ratio)} x" if r.ratio is not None else ""
    holds = {True: "yes", False: "NO", None: ""}[r.holds]
    return f"{i}) {r.name}", _digits(r.value), r.unit, anchor, ratio, r.goal, holds


def _digits(x: float) -> str:
    return f"{x:,.0f}" if abs(x) >= 100 else f"{x:.3g}"


def write(results: Sequence[Result], path: Path) -> None:
    """Kept as JSON, a line of the table an object."""
    rows = [{key: one for key, one in asdict(r).items() if key != "note" or one} for r in results]
    path.write_text(json.dumps(rows, indent=1, ensure_ascii=False) + "\n")

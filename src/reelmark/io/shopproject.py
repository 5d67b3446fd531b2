"""A resource-constrained project of one mode, in the .sm form of the open project library, as a job shop."""

import re
from graphlib import CycleError, TopologicalSorter

from reelmark.errors import BadValue, Clash
from reelmark.io.shoptext import OPEN, small
from reelmark.jobs import ANYWHERE, Job, JobShop, Level, Resource, Stage

__all__ = ["shop_of_project"]

Rows = list[tuple[str, list[int]]]  # (where, numbers)


def shop_of_project(text: str, name: str) -> JobShop:
    """One job whose stages are the project's, each after those before it."""
    parts = {part: _section(text, name, part) for part in ("PRECEDENCE RELATIONS", "REQUESTS/DURATIONS")}
    held = _section(text, name, "RESOURCEAVAILABILITIES")
    levels = held[0][1] if held else []
    works = _works(parts["REQUESTS/DURATIONS"], levels, name)
    before = _before(parts["PRECEDENCE RELATIONS"], len(works), name)
    stages = tuple(
        Stage(str(n), ((ANYWHERE, units),), 0, uses=uses, after=before[n]) for n, (units, uses) in works.items()
    )
    resources = tuple(Resource(f"R{r}", (Level(0, amount),)) for r, amount in enumerate(levels, 1))
    return JobShop(60, (), (Job("project", stages),), resources=resources, prices=OPEN, families=("project",))


def _section(text: str, name: str, title: str) -> Rows:
    """The lines of whole numbers under a title, until the next line of stars."""
    rows: Rows = []
    within = False
    for n, line in enumerate(text.splitlines(), 1):
        if line.strip().startswith(title):
            within = True
        elif within and line.startswith("***"):
            return rows
        elif within and re.fullmatch(r"[\s\d-]*\d[\s\d-]*", line) and not set(line.strip()) <= {"-"}:
            where = f"{name}, line {n}"
            rows.append((where, [small(word, where) for word in line.split()]))
    true = "it is not closed by a line of stars" if within else "it is not there"
    raise BadValue(f"{name}: {title}", "", true, "give the whole project; the file may be cut short")


def _works(rows: Rows, levels: list[int], name: str) -> dict[int, tuple[int, tuple[tuple[int, int], ...]]]:
    """{job number: (duration, what it uses)}, numbered from 1 without a gap."""
    out: dict[int, tuple[int, tuple[tuple[int, int], ...]]] = {}
    for where, row in rows:
        if len(row) != 3 + len(levels):
            true = f"{len(row)} numbers; job, mode, duration and {len(levels)} resources are {3 + len(levels)}"
            raise BadValue(where, len(row), true, "give one number a resource")
        job, mode, units, *uses = row
        if mode != 1:
            raise BadValue(where, mode, "a second mode; only one can be read", "give one way to do the job")
        if job != len(out) + 1:
            raise Clash(where, job, f"job {len(out) + 1} comes next", "number the jobs 1, 2, 3, each once")
        if min(units, *uses, 0) < 0:
            raise BadValue(where, min(row), "durations and amounts are not below 0", "correct the number")
        for r, (amount, level) in enumerate(zip(uses, levels, strict=True), 1):
            if amount > level and units:
                true = f"job {job} uses {amount} of R{r}, there are {level}"
                raise BadValue(where, amount, true, "correct the amount, or what there is")
        out[job] = (units, tuple((r, amount) for r, amount in enumerate(uses) if amount))
    if not out:
        raise BadValue(f"{name}: REQUESTS/DURATIONS", "", "no job stands there", "give one line a job")
    return out


def _before(rows: Rows, jobs: int, name: str) -> dict[int, tuple[int, ...]]:
    """{job number: the stages before it, from 0}."""
    before: dict[int, list[int]] = {n: [] for n in range(1, jobs + 1)}
    if [row[0] for _, row in rows] != list(before):
        true = f"{len(rows)} lines for {jobs} jobs, or not in their order"
        raise BadValue(f"{name}: PRECEDENCE RELATIONS", len(rows), true, "give one line a job, in order")
    for where, row in rows:
        if len(row) < 3 or len(row) != 3 + row[2]:
            raise BadValue(where, len(row), "other than the count of successors says", "give each successor once")
        for after in row[3:]:
            if after not in before:
                raise BadValue(where, after, f"there is no such job: they are 1 to {jobs}", "correct the successor")
            before[after].append(row[0] - 1)
    _no_circle(before, name)
    return {n: tuple(sorted(set(one))) for n, one in before.items()}


def _no_circle(before: dict[int, list[int]], name: str) -> None:
    try:
        TopologicalSorter({n: [one + 1 for one in all_] for n, all_ in before.items()}).prepare()
    except CycleError as circle:
        way = " before ".join(map(str, circle.args[1]))
        raise BadValue(
            f"{name}: PRECEDENCE RELATIONS", way, "the route is a circle", "take one of them out"
        ) from circle

"""Open benchmarks of job shops, as text: the standard form and the flexible one."""

import re
from typing import NamedTuple

from reelmark.errors import BadValue
from reelmark.io.shopvalues import LARGEST, cut_short
from reelmark.jobs import Job, JobShop, Machine, Prices, Stage

__all__ = ["OPEN", "shop_of_text", "small"]

OPEN = Prices(late=0.0, setup=0.0, span=1.0)  # an open benchmark costs what it lasts
NUMBER = re.compile(r"-?\d+")

Row = list[int]
Step = tuple[tuple[int, int], ...]  # (machine, duration) of each alternative


class _Line(NamedTuple):
    where: str
    row: Row


def shop_of_text(text: str, name: str) -> JobShop:
    """The shop; flexible where the head says so, or where only that form fits the lines."""
    lines = [(n, line.split()) for n, line in enumerate(text.splitlines(), 1) if not line.lstrip().startswith("#")]
    lines = [(n, words) for n, words in lines if words]
    while lines and not NUMBER.fullmatch(lines[0][1][0]):
        lines.pop(0)  # words above the head
    if not lines:
        raise BadValue(
            name, text.strip()[:40], "no line has numbers, and it is not JSON", "see the manual for the forms"
        )
    jobs, machines, flexible = _head(lines[0], name)
    rows = [_Line(f"{name}, line {n}", _whole(words, f"{name}, line {n}")) for n, words in lines[1:]]
    if len(rows) != jobs:
        true = f"the head announces {jobs} jobs, {len(rows)} lines follow"
        raise BadValue(name, len(rows), true, "give one line a job; the file may be cut short")
    flexible = flexible or _looks_flexible(rows, machines)
    ways = [_flexible(one, machines) if flexible else _fixed(one, machines) for one in rows]
    first = 1 if flexible else 0
    return JobShop(
        unit_min=60,
        machines=tuple(Machine(f"M{m + first}") for m in range(machines)),
        jobs=tuple(Job(f"job {j}", _stages(steps, j, rows[j].where)) for j, steps in enumerate(ways)),
        prices=OPEN,
        families=tuple(f"job {j}" for j in range(jobs)),
    )


def _head(line: tuple[int, list[str]], name: str) -> tuple[int, int, bool]:
    """(jobs, machines, is it surely flexible) of the first line."""
    where, words = f"{name}, line {line[0]}", line[1]
    if len(words) not in (2, 3):
        true = f"{len(words)} values; the head has jobs and machines, and may have machines an operation"
        raise BadValue(where, " ".join(words), true, "write 'jobs machines' first")
    jobs, machines = _whole(words[:2], where)
    if jobs < 1 or machines < 1:
        raise BadValue(where, " ".join(words), "a shop has at least one job and one machine", "correct the head")
    return jobs, machines, len(words) == 3


def _whole(words: list[str], where: str) -> Row:
    for word in words:
        if not NUMBER.fullmatch(word):
            raise BadValue(where, word, "it is not a whole number", "write whole numbers; comments begin with #")
    return [small(word, where) for word in words]


def small(word: str, where: str) -> int:
    """The digits as a number, if calendars reach so far."""
    if len(word.lstrip("-0")) > len(str(LARGEST)) or abs(int(word)) > LARGEST:
        true = f"numbers reach from -{LARGEST:,} to {LARGEST:,}"
        raise BadValue(where, cut_short(word), true, "correct the number")
    return int(word)


def _looks_flexible(rows: list[_Line], machines: int) -> bool:
    """Do more lines fit the flexible form than the fixed one?"""
    fixed = sum(len(row) == 2 * machines for _, row in rows)
    return fixed < len(rows) and sum(_fits(row) for _, row in rows) > fixed


def _fits(row: Row) -> bool:
    at, count = 1, 0
    while at < len(row) and row[at] > 0:
        at, count = at + 1 + 2 * row[at], count + 1
    return at == len(row) and count == row[0]


def _fixed(line: _Line, machines: int) -> list[Step]:
    row = line.row
    if len(row) % 2 or not row:
        true = f"{len(row)} numbers are no pairs of machine and duration"
        raise BadValue(
            line.where, len(row), true, "give machine and duration of each operation; the line may be cut short"
        )
    if len(row) != 2 * machines:
        true = f"{len(row) // 2} operations, the shop has {machines} machines"
        raise BadValue(line.where, len(row) // 2, true, "in this form a job visits each machine once")
    steps: list[Step] = [((_machine(row[i], machines, 0, line.where), row[i + 1]),) for i in range(0, len(row), 2)]
    seen = [step[0][0] for step in steps]
    twice = next((m for m in seen if seen.count(m) > 1), None)
    if twice is not None:
        raise BadValue(line.where, twice, "the machine stands twice in the line", "a job visits each machine once")
    return steps


def _flexible(line: _Line, machines: int) -> list[Step]:
    row, at, steps = line.row, 1, []
    for n in range(row[0]):
        count = row[at] if at < len(row) else 0
        if at < len(row) and count < 1:
            raise BadValue(line.where, count, f"operation {n + 1} has no machine", "name a machine that can do it")
        if at + 2 * count >= len(row) or not count:
            cut = f"the line ends within operation {n + 1} of {row[0]}"
            raise BadValue(line.where, len(row), cut, "give its machines and durations; the line may be cut short")
        pairs = [(row[i], row[i + 1]) for i in range(at + 1, at + 1 + 2 * count, 2)]
        steps.append(tuple((_machine(m, machines, 1, line.where), units) for m, units in pairs))
        at += 1 + 2 * count
    if at != len(row) or not steps:
        true = f"{len(row)} numbers, {row[0]} operations take {at}"
        raise BadValue(line.where, len(row), true, "correct how many operations the job has")
    return steps


def _machine(number: int, machines: int, first: int, where: str) -> int:
    if not first <= number < machines + first:
        true = f"there is no machine {number}: they are {first} to {machines + first - 1}"
        raise BadValue(where, number, true, "correct the machine, or the head")
    return number - first


def _stages(steps: list[Step], job: int, where: str) -> tuple[Stage, ...]:
    for step in steps:
        for _, units in step:
            if units < 0:
                raise BadValue(where, units, "a duration is not below 0", "correct the duration")
        if len(dict(step)) != len(step):
            raise BadValue(where, str(step), "a machine stands twice in one operation", "name each machine once")
    return tuple(Stage(str(s + 1), step, job) for s, step in enumerate(steps))

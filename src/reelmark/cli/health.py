"""Is this machine, and this works, sound?"""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..desk import Desk
from ..errors import Problem
from ..reading import Refused

__all__ = ["checks"]


def checks(folder: Path) -> list[dict[str, Any]]:
    """One line a check: what, sound or not, what was found."""
    import numpy

    found = [
        _line("python", sys.version_info >= (3, 11), sys.version.split()[0]),
        _line("numpy", True, numpy.__version__),
    ]
    try:
        desk = Desk(folder)
    except Problem as problem:
        return [*found, _line("works folder", False, str(problem))]
    with desk:
        found.append(_line("works folder", True, str(folder)))
        found += [_line(f"store: {name}", True, value) for name, value in desk.store.settings().items()]
        found += [_tried(what, desk, check) for what, check in _CHECKS]
    return found


def _line(what: str, sound: bool, found: str) -> dict[str, Any]:
    return {"what": what, "sound": sound, "found": found}


def _tried(what: str, desk: Desk, check: Callable[[Desk], tuple[bool, str]]) -> dict[str, Any]:
    try:
        return _line(what, *check(desk))
    except (Problem, Refused) as problem:
        return _line(what, False, str(problem))


def _journal(desk: Desk) -> tuple[bool, str]:
    desk.store.check()
    return True, f"{desk.store.size:,} entries as sealed"


def _readable(desk: Desk) -> tuple[bool, str]:
    return True, f"{len(desk.reading.thread.step):,} runs of {len(desk.reading.shop.runs):,} passes"


def _gaps(desk: Desk) -> tuple[bool, str]:
    """A record withheld is a gap in its machine's numbers."""
    seqs: dict[str, list[int]] = {}
    for one in desk.records:
        seqs.setdefault(one.machine, []).append(one.seq)
    gaps = [
        f"{m}: {b - a - 1} after {a}"
        for m, all_ in seqs.items()
        for a, b in zip([0, *all_], all_, strict=False)
        if b > a + 1
    ]
    return not gaps, "; ".join(gaps[:5]) or "every machine's numbers run without a gap"


def _books(desk: Desk) -> tuple[bool, str]:
    faults = desk.reading.accounting.proved()
    return not faults, faults[0].text if faults else "every integer in exactly one account"


_CHECKS: tuple[tuple[str, Callable[[Desk], tuple[bool, str]]], ...] = (
    ("journal", _journal), ("records read", _readable), ("machine numbers", _gaps), ("books", _books),
)  # fmt: skip

"""How many there are: lengths of units as Forms, and counts that pin the unknowns.

A count of a unit says: its Form equals a number.  Sweeps narrow each unknown by each count until nothing moves; where
counts share two unknowns or more, sweeps can miss that they exclude each other, and a linear programme decides.
"""

from collections.abc import Iterable, Mapping

from .form import Bounds, Doubt, Form

__all__ = ["narrowed"]

Equal = tuple[Form, int]


def narrowed(known: Mapping[str, Bounds], equal: Iterable[Equal]) -> dict[str, Bounds] | None:
    """Tightest whole-number bounds of every unknown under the equations form = value; None when they contradict."""
    equations = list(equal)
    swept = _swept(dict(known), equations)
    if swept is None or not _share(equations, swept):
        return swept
    return _solved(swept, equations)


def _swept(known: dict[str, Bounds], equations: list[Equal]) -> dict[str, Bounds] | None:
    moved = True
    while moved:
        moved = False
        for form, value in equations:
            low, high = Doubt(known).bounds(form)
            if not low <= value <= high:
                return None
            for name, many in form.terms:
                tighter = _tightened(known[name], many, value - high, value - low)
                if tighter[0] > tighter[1]:
                    return None
                moved |= tighter != known[name]
                known[name] = tighter
                low, high = Doubt(known).bounds(form)
    return known


def _tightened(bounds: Bounds, many: int, down: int, up: int) -> Bounds:
    """Bounds of one unknown when its term may fall by -down at most from its high end and rise by up from its low."""
    low, high = bounds
    if many > 0:
        return max(low, high + -(-down // many)), min(high, low + up // many)
    return max(low, high - up // -many), min(high, low + -down // -many)


def _share(equations: list[Equal], known: Mapping[str, Bounds]) -> bool:
    """True when two equations hang on two open unknowns in common."""
    open_ = [{n for n in form.unknowns if known[n][0] < known[n][1]} for form, _ in equations]
    used = [names for names in open_ if names]
    return any(len(a & b) > 1 for i, a in enumerate(used) for b in used[:i])


def _solved(known: dict[str, Bounds], equations: list[Equal]) -> dict[str, Bounds] | None:
    """Each open unknown's least and greatest value by linear programme, rounded inwards (bounds are whole numbers)."""
    import numpy as np
    from scipy.optimize import linprog

    names = sorted({name for form, _ in equations for name in form.unknowns})
    table = np.array([[dict(form.terms).get(name, 0) for name in names] for form, _ in equations], float)
    right = [value - form.constant for form, value in equations]
    limits = [known[name] for name in names]
    for i, name in enumerate(names):
        ends = []
        for sense in (1.0, -1.0):
            cost = np.zeros(len(names))
            cost[i] = sense
            found = linprog(cost, A_eq=table, b_eq=right, bounds=limits, method="highs")
            if found.status == 2:
                return None
            ends.append(sense * float(found.fun or 0))
        known[name] = int(np.ceil(ends[0] - 1e-6)), int(np.floor(ends[1] + 1e-6))
    return known

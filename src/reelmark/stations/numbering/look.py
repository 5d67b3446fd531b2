"""Where in a pile the fault begins, with few looks.

True where the pile is good up to some sheet and bad from there on.  Each look halves what is left, so 10,000
sheets need the two ends and 14 looks between them: 16 at most.

    good good good good bad bad bad         low_good and high_bad close in on the edge
              ^         ^
"""

from collections.abc import Callable

from reelmark.errors import BadValue

__all__ = ["first_bad", "next_look"]


def next_look(low_good: int, high_bad: int) -> int | None:
    """The sheet to look at next, or None when high_bad is the first bad sheet."""
    if low_good >= high_bad:
        true = f"the good sheet {low_good} lies not before it"
        raise BadValue("high_bad", high_bad, true, "read both sheets again: the pile is not good-then-bad")
    return (low_good + high_bad) // 2 if high_bad - low_good > 1 else None


def first_bad(n: int, look: Callable[[int], bool]) -> int | None:
    """The first bad of the sheets 0..n-1, or None when all are good.

    look : sheet -> is it bad?
    The last sheet is looked at first: most piles are good, and one look says so.
    """
    if n < 1:
        raise BadValue("n", n, "an empty pile has no sheet to look at", "give the count of the pile")
    if not look(n - 1):
        return None
    if n == 1 or look(0):
        return 0
    low, high = 0, n - 1
    while (middle := next_look(low, high)) is not None:
        low, high = (low, middle) if look(middle) else (middle, high)
    return high

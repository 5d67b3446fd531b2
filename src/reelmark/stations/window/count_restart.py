"""Encoders and strobes that begin their numbers again while the web runs on: told apart from a new roll, and read on.

    even_flash      the strobe's number stands at one value: frames are numbered as they came
    unwrapped       the encoder's counter ran full and began again at nothing, with the strobe counting on
    read_on         the strobe began again while the encoder ran on

What is no clear case is left as it is: it begins a part of its own (`count_order`).
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Final

__all__ = ["Place", "even_flash", "mm_a_flash", "read_on", "unwrapped"]

BITS: Final = (16, 20, 24, 31, 32)  # that counters have
GAP: Final = 10  # flashes at most that may be lost where a strobe begins again
NEARLY: Final = 1e-4  # of a length that is a round one: by chance one in some hundred is
STEPS: Final = [a * 10.0**n for n in range(-5, 2) for a in (1, 2, 2.5, 5)]  # mm a pulse, as encoders are set


@dataclass(frozen=True, slots=True)
class Place:
    """Where and when a frame was taken.  encoder_mm : NaN, flash : None, where not known"""

    encoder_mm: float
    flash: int | None
    time_s: float = math.nan


def mm_a_flash(at: Sequence[Place], order: Sequence[int]) -> float:
    """Web between two flashes, by the middle of all steps that go up; 0 where none does."""
    steps = [(at[b].encoder_mm - at[a].encoder_mm) / (_flash(at[b]) - _flash(at[a]))
             for a, b in itertools.pairwise(order)
             if _flash(at[b]) > _flash(at[a]) and at[b].encoder_mm > at[a].encoder_mm]  # fmt: skip
    return median(steps) if steps else 0.0


def even_flash(at: list[Place], order: Sequence[int]) -> list[str]:
    """Number frames as they came, by the clock if all have a time, where the strobe's number never moves."""
    if len(order) < 3 or len({at[k].flash for k in order}) > 1:
        return []
    said = f"the strobe's number is {at[order[0]].flash} in every line: frames are taken by the clock, or as they stand"
    timed = all(math.isfinite(at[k].time_s) for k in order)
    for n, k in enumerate(sorted(order, key=lambda k: at[k].time_s) if timed else order):
        at[k] = replace(at[k], flash=n)
    return [f"{said}; lost flashes cannot be told"]


def unwrapped(at: list[Place], order: Sequence[int], near_mm: float) -> list[str]:
    """Read an encoder on that ran full; order : by the strobe.  near_mm : how well the fallen lengths must agree.

    One fall is taken for that only where it is a whole power of two of a round pulse; else it may be a new roll.
    """
    a_flash = mm_a_flash(at, order)
    pairs = list(itertools.pairwise(order))
    falls = [(a, b) for a, b in pairs if at[a].encoder_mm - at[b].encoder_mm > max(3 * a_flash, near_mm)]
    turns = [a_flash * (_flash(at[b]) - _flash(at[a])) + at[a].encoder_mm - at[b].encoder_mm for a, b in falls]
    full = _full(turns, near_mm) if a_flash else 0.0
    places = [at[k].encoder_mm for k in order]
    if not full or max(places) - min(places) > full + near_mm:
        return []
    times, starts = 0, {b for _, b in falls}
    for k in order:
        times += k in starts
        at[k] = replace(at[k], encoder_mm=at[k].encoder_mm + times * full)
    return [f"the encoder runs full at {full:,.1f} mm, {times} times: read on"]


def _full(turns: Sequence[float], near_mm: float) -> float:
    """Mm at which the counter begins again; 0 where the falls are no such thing."""
    if not turns or max(turns) - min(turns) > near_mm / 4:
        return 0.0
    length = median(turns)
    round_ = min((step * 2**bits for bits in BITS for step in STEPS), key=lambda one: abs(one - length))
    if abs(round_ - length) < min(near_mm / 10, NEARLY * length):
        return round_
    return length if len(turns) > 1 else 0.0


def read_on(at: list[Place], parts: Sequence[list[int]]) -> tuple[list[list[int]], list[str]]:
    """Parts, those joined where the next goes on within a few flashes of the last's end, by encoder and by clock."""
    joined: list[list[int]] = []
    said = []
    for part in sorted(parts, key=lambda one: at[one[0]].encoder_mm):
        flashes = _apart(at, joined[-1], part) if joined else 0
        if not 1 <= flashes <= GAP:
            joined.append(list(part))
            continue
        last = joined[-1][-1]
        add = _flash(at[last]) + flashes - _flash(at[part[0]])
        said.append(f"the strobe begins again at {at[part[0]].encoder_mm / 1e3:,.2f} m while the web runs on: its "
                    f"flash {at[part[0]].flash} is counted as {_flash(at[part[0]]) + add}")  # fmt: skip
        for k in part:
            at[k] = replace(at[k], flash=_flash(at[k]) + add)
        joined[-1] += part
    return sorted(joined, key=lambda one: min(one)), said


def _apart(at: Sequence[Place], one: Sequence[int], two: Sequence[int]) -> int:
    """Flashes from the end of one part to the beginning of the next; 0 where it does not go on."""
    a_flash = mm_a_flash(at, one) or mm_a_flash(at, two)
    end, start = at[one[-1]], at[two[0]]
    if not a_flash or start.time_s < end.time_s or not start.encoder_mm > end.encoder_mm:
        return 0
    return round((start.encoder_mm - end.encoder_mm) / a_flash)


def _flash(one: Place) -> int:
    assert one.flash is not None
    return one.flash

"""Put frames into the order in which they were taken, and tell rolls apart that lie in one folder.

By the strobe's number, not by file name or time: a clock may run back.  What does not fit is named and left out:
a flash that is there twice, an encoder that runs back for a frame.  An encoder or a strobe that begins again begins a
part of its own, counted by itself; nothing says how much web ran between two parts.
"""

import itertools
import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final

from reelmark.errors import BadValue, Problem

__all__ = ["Ordered", "Place", "in_order"]

SAME_MM: Final = 1.0  # two frames of one flash whose encoders agree so well are one frame twice
FEW: Final = 0.1  # share of a part's frames that may have a wrong encoder, before it is said to have begun again


@dataclass(frozen=True, slots=True)
class Place:
    """Where and when a frame was taken.  encoder_mm : NaN, flash : None, where not known"""

    encoder_mm: float
    flash: int | None
    time_s: float = math.nan


@dataclass(frozen=True, slots=True)
class Ordered:
    """parts : frames of each part, by their index, in order;  odd : (index, why) of frames that no part holds
    down : the encoder counts down, so it is to be read with its sign turned;  notes : in words
    """

    parts: tuple[tuple[int, ...], ...]
    odd: tuple[tuple[int, Problem], ...]
    down: bool = False
    notes: tuple[str, ...] = ()


def in_order(places: Sequence[Place], back_mm: float) -> Ordered:
    """The frames' order.  back_mm : the web may run back so far between two frames, as after a stop."""
    known = [k for k, one in enumerate(places) if one.flash is not None and math.isfinite(one.encoder_mm)]
    single, twice = _single(places, known)
    down = _counts_down(places, single)
    notes = ["the encoder counts down: read with its sign turned"] if down else []
    encoder = {k: -places[k].encoder_mm if down else places[k].encoder_mm for k in single}
    parts: list[list[int]] = []
    back: list[int] = []
    for chain in _chains(places, single, encoder):
        for part, odd in _restarts(chain, encoder, back_mm):
            parts.append(part)
            back += odd
    if len(parts) > 1:
        begins = ", ".join(f"flash {places[part[0]].flash} at {places[part[0]].encoder_mm:,.0f} mm" for part in parts)
        notes.append(f"encoder or strobe begins again, or frames of more than one roll are mixed: {len(parts)} parts, "
                     f"each counted by itself, beginning with {begins}")  # fmt: skip
    notes += _clock(places, parts)
    odd_ones = [*((k, _twice(places[k])) for k in twice), *((k, _back(places[k])) for k in back)]
    return Ordered(tuple(map(tuple, parts)), tuple(sorted(odd_ones, key=lambda one: one[0])), down, tuple(notes))


def _single(places: Sequence[Place], known: Sequence[int]) -> tuple[list[int], list[int]]:
    """Frames, and those that are there a second time."""
    seen: dict[int, list[float]] = {}
    single, twice = [], []
    for k in known:
        at = seen.setdefault(places[k].flash or 0, [])
        if any(abs(places[k].encoder_mm - one) < SAME_MM for one in at):
            twice.append(k)
        else:
            at.append(places[k].encoder_mm)
            single.append(k)
    return single, twice


def _flash(one: Place) -> int:
    assert one.flash is not None
    return one.flash


def _counts_down(places: Sequence[Place], single: Sequence[int]) -> bool:
    """Whether the encoder falls from flash to flash nearly everywhere."""
    order = sorted(single, key=lambda k: _flash(places[k]))
    falls = [places[b].encoder_mm < places[a].encoder_mm for a, b in itertools.pairwise(order)]
    return len(falls) >= 3 and sum(falls) > 0.8 * len(falls)


def _chains(places: Sequence[Place], single: Sequence[int], encoder: dict[int, float]) -> list[list[int]]:
    """One chain where every flash is there once; else frames go to the chain that they go on best."""
    flashes = [places[k].flash for k in single]
    if len(set(flashes)) == len(flashes):
        return [sorted(single, key=lambda k: _flash(places[k]))] if single else []
    timed = all(math.isfinite(places[k].time_s) for k in single)
    order = sorted(single, key=lambda k: (places[k].time_s if timed else 0.0, k))
    a_flash = _mm_a_flash(places, order, encoder)
    chains: list[list[int]] = []
    for k in order:
        fits = [(abs(encoder[k] - encoder[c[-1]] - a_flash * (_flash(places[k]) - _flash(places[c[-1]]))), n)
                for n, c in enumerate(chains)
                if _flash(places[c[-1]]) < _flash(places[k]) and encoder[k] >= encoder[c[-1]]]  # fmt: skip
        if fits:
            chains[min(fits)[1]].append(k)
        else:
            chains.append([k])
    return chains


def _mm_a_flash(places: Sequence[Place], order: Sequence[int], encoder: dict[int, float]) -> float:
    """Web between two flashes, by the middle of all steps that go up."""
    steps = [(encoder[b] - encoder[a]) / (_flash(places[b]) - _flash(places[a]))
             for a, b in itertools.pairwise(order)
             if _flash(places[b]) > _flash(places[a]) and encoder[b] > encoder[a]]  # fmt: skip
    return median(steps) if steps else 0.0


def _restarts(chain: list[int], encoder: dict[int, float], back_mm: float) -> list[tuple[list[int], list[int]]]:
    """(part, frames whose encoder ran back) of a chain, cut where the encoder begins again."""
    rising = _rising([encoder[k] for k in chain], back_mm)
    if len(chain) - len(rising) <= max(2, FEW * len(chain)) and len(rising) > len(chain) / 2:
        kept = set(rising)
        return [([chain[i] for i in rising], [k for i, k in enumerate(chain) if i not in kept])]
    drops = [encoder[a] - encoder[b] for a, b in itertools.pairwise(chain)]
    cut = max(range(len(drops)), key=drops.__getitem__) + 1
    return [*_restarts(chain[:cut], encoder, back_mm), *_restarts(chain[cut:], encoder, back_mm)]


def _rising(values: Sequence[float], back_mm: float) -> list[int]:
    """Indices of a longest run of values none of which lies more than back_mm below the one before."""
    tails: list[float] = []
    last: list[int] = []
    before = [-1] * len(values)
    for i, value in enumerate(values):
        n = bisect_right(tails, value + back_mm)
        before[i] = last[n - 1] if n else -1
        if n == len(tails):
            tails.append(value)
            last.append(i)
        elif value < tails[n]:
            tails[n], last[n] = value, i
    found, i = [], last[-1] if last else -1
    while i >= 0:
        found.append(i)
        i = before[i]
    return found[::-1]


def _clock(places: Sequence[Place], parts: Sequence[Sequence[int]]) -> list[str]:
    """Where the clock runs back, which counts nothing wrong."""
    backs = [places[b].flash for part in parts for a, b in itertools.pairwise(part)
             if places[b].time_s < places[a].time_s]  # fmt: skip
    none = sum(not math.isfinite(places[k].time_s) for part in parts for k in part)
    said = [f"the clock runs back at flash {', '.join(map(str, backs[:5]))}: nothing is counted by it"] if backs else []
    return said + ([f"{none:,} frames have no time: nothing is counted by it"] if none else [])


def _twice(one: Place) -> Problem:
    return BadValue("flash", one.flash, "a frame of this flash is there already", "counted once; leave one file")


def _back(one: Place) -> Problem:
    true = "the encoder runs back at this frame alone, so its place on the web is not known"
    return BadValue("encoder_mm", one.encoder_mm, true, "look at the encoder's cable and wheel")

"""Put frames into the order in which they were taken, and tell rolls apart that lie in one folder.

By the strobe's number, not by file name or time: a clock may run back.  What does not fit is named and left out:
a flash that is there twice, an encoder that runs back for a frame.  An encoder or a strobe that begins again begins a
part of its own, counted by itself, but for the clear cases of `count_restart`: nothing says how much web ran between.
"""

import itertools
import math
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from reelmark.errors import Problem
from reelmark.stations.window.count_restart import Place, even_flash, mm_a_flash, read_on, unwrapped

__all__ = ["Ordered", "Place", "in_order"]

SAME_MM: Final = 1.0  # two frames of one flash whose encoders agree so well are one frame twice
MOST: Final = 50  # chains that a frame may go on
CUTS: Final = 30  # times that a chain's frames are looked at for a new beginning
SHOWN: Final = 6  # parts that a note names
FEW: Final = 0.1  # share of a part's frames that may have a wrong encoder, before it is said to have begun again


@dataclass(frozen=True, slots=True)
class Ordered:
    """parts : frames of each part, by their index, in order;  odd : (index, why) of frames that no part holds

    places : of all frames, as they are to be counted: an encoder that counts down turned, one that ran full read on,
        a strobe that began again too;  notes : in words
    """

    parts: tuple[tuple[int, ...], ...]
    odd: tuple[tuple[int, Problem], ...]
    places: tuple[Place, ...] = ()
    notes: tuple[str, ...] = ()


def in_order(places: Sequence[Place], back_mm: float) -> Ordered:
    """The frames' order.  back_mm : the web may run back so far between two frames, as after a stop."""
    at = list(places)
    known = [k for k, one in enumerate(at) if one.flash is not None and math.isfinite(one.encoder_mm)]
    single, twice = _single(at, known)
    notes = [*even_flash(at, single), *_turned(at, single)]
    order = sorted(single, key=lambda k: _flash(at[k]))
    if len({at[k].flash for k in order}) == len(order):
        notes += unwrapped(at, order, back_mm)
    found = [one for chain in _chains(at, single) for one in _restarts(chain, at, back_mm)]
    parts, said = read_on(at, [part for part, _ in found])
    notes += [*said, *_many_parts(places, parts), *_clock(at, parts)]
    back = {k for _, some in found for k in some}
    at = [replace(one, encoder_mm=math.nan) if k in back else one for k, one in enumerate(at)]
    odd = [*((k, _twice(places[k])) for k in twice), *((k, _back(places[k])) for k in back)]
    return Ordered(tuple(map(tuple, parts)), tuple(sorted(odd, key=lambda one: one[0])), tuple(at), tuple(notes))


def _many_parts(places: Sequence[Place], parts: Sequence[Sequence[int]]) -> list[str]:
    if len(parts) < 2:
        return []
    begins = ", ".join(f"flash {places[one[0]].flash} at {places[one[0]].encoder_mm:,.0f} mm" for one in parts[:SHOWN])
    return [f"encoder or strobe begins again, or frames of more than one roll are mixed: {len(parts)} parts, each "
            f"counted by itself, a window that two of them show in both; they begin with {begins}"
            f"{' and so on' if len(parts) > SHOWN else ''}"]  # fmt: skip


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


def _turned(at: list[Place], single: Sequence[int]) -> list[str]:
    """Turn the encoder's sign where it falls from flash to flash nearly everywhere."""
    order = sorted(single, key=lambda k: _flash(at[k]))
    falls = [at[b].encoder_mm < at[a].encoder_mm for a, b in itertools.pairwise(order)]
    if len(falls) < 3 or sum(falls) <= 0.8 * len(falls):
        return []
    at[:] = [replace(one, encoder_mm=-one.encoder_mm) for one in at]
    return ["the encoder counts down: read with its sign turned"]


def _chains(at: Sequence[Place], single: Sequence[int]) -> list[list[int]]:
    """One chain where every flash is there once; else frames go to the chain that they go on best."""
    flashes = [at[k].flash for k in single]
    if len(set(flashes)) == len(flashes):
        return [sorted(single, key=lambda k: _flash(at[k]))] if single else []
    timed = all(math.isfinite(at[k].time_s) for k in single)
    order = sorted(single, key=lambda k: (at[k].time_s if timed else 0.0, k))
    a_flash = mm_a_flash(at, order)
    chains: list[list[int]] = []
    latest: list[int] = []
    for k in order:
        fits = [(abs(at[k].encoder_mm - at[last].encoder_mm - a_flash * (_flash(at[k]) - _flash(at[last]))), n)
                for n in latest[-MOST:]
                for last in chains[n][-1:]
                if _flash(at[last]) < _flash(at[k]) and at[k].encoder_mm >= at[last].encoder_mm]  # fmt: skip
        n = min(fits)[1] if fits else len(chains)
        if fits:
            latest.remove(n)
        else:
            chains.append([])
        chains[n].append(k)
        latest.append(n)
    return chains


def _restarts(chain: list[int], at: Sequence[Place], back_mm: float) -> Iterator[tuple[list[int], list[int]]]:
    """(part, frames whose encoder ran back) of a chain, cut where the encoder begins again.

    An encoder that is mere noise is not cut for ever: what is left then is read as far as it rises.
    """
    left, looked = [chain], 0
    while left:
        some = left.pop()
        looked += len(some)
        rising = _rising([at[k].encoder_mm for k in some], back_mm)
        few = len(some) - len(rising) <= max(2, FEW * len(some)) and len(rising) > len(some) / 2
        if few or looked > CUTS * len(chain):
            kept = set(rising)
            yield [some[i] for i in rising], [k for i, k in enumerate(some) if i not in kept]
        else:
            drops = [at[a].encoder_mm - at[b].encoder_mm for a, b in itertools.pairwise(some)]
            cut = max(range(len(drops)), key=drops.__getitem__) + 1
            left += [some[cut:], some[:cut]]


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
    return Problem("frame twice", f"a frame of flash {one.flash} is there already", "counted once; leave one file")


def _back(one: Place) -> Problem:
    true = f"to {one.encoder_mm:,.1f} mm at this frame alone, so its place on the web is not known"
    return Problem("encoder runs back", true, "look at the encoder's cable and wheel")

"""Which roller makes a mark: things on the coat that repeat at a roller's circumference.

Two sources.  Row means of the frames (marks across the web) are folded at each circumference, and at those near it, and
it is asked whether one place on the roller stands out: length L tells circumferences apart down to about bin x C / L.
Holes at one place across are asked for the distance that comes again and again between them, over a few turns only, as
encoders slip and webs stretch over a roll; then for the roller, listed or not, that has it.

    suspects(looks, holes, pixel, rollers_mm)       both;  looks, holes : by part
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from reelmark.errors import BadValue
from reelmark.stations.window.inspect.looked import Floats, Looked

__all__ = ["CHANCE", "UNLISTED", "Suspect", "by_points", "by_rows", "rows_of", "suspects"]

UNLISTED: Final = "not in the list"  # of a distance that comes again and that no listed roller has
CHANCE: Final = 0.01  # of a false suspect on a whole roll
_BIN_MM = 2.0
_FRAMES: Final = 150  # that rows are taken of: some 100 m, a hundred turns and more of most rollers
_ACROSS_MM: Final = 3.0  # what counts as one place across: weave of the web, assumed
_LEAST: Final = 5  # holes at one place across that are looked at
_ONE_MM: Final = 10.0  # holes nearer along the web are one mark: a place that is dirty gives several
_WIDE_MM: Final = 3.0  # of distances taken for the same: holes are placed to some tenths of a mm
_SHORTEST_MM, _LONGEST_MM = 60.0, 4000.0  # circumferences: 20 mm to 1.3 m of diameter
_TURNS: Final = 4  # a mark may come at every second, third, fourth turn: a sheet or belt of its own, an eccentric


@dataclass(frozen=True, slots=True)
class Suspect:
    """roller : its name, or UNLISTED;  circumference_mm : at which it stands out most;  at_mm : place on it

    z : robust sd above the rest;  times : turns looked at;  every : the mark comes at every so-manieth turn
    """

    roller: str
    circumference_mm: float
    at_mm: float
    z: float
    times: float
    every: int = 1


def suspects(
    looks: Sequence[Sequence[tuple[float, Looked]]], holes: Sequence[Floats], pixel: float,
    rollers_mm: Mapping[str, float],
) -> list[Suspect]:  # fmt: skip
    """Each roller once, as it stands out most.

    looks : of each part its frames (encoder_mm, looked);  holes : of each part (n, 2) mm across, mm along
    rollers_mm : circumferences by name; without any, holes alone tell, and give a circumference without a name
    """
    _checked(rollers_mm)
    found = [
        one for some in looks if rollers_mm and some for one in by_rows(*rows_of(some[:_FRAMES], pixel), rollers_mm)
    ]
    lines = [some for part in holes for some in _places_across(part)]
    found += [one for some in lines for one in by_points(some, rollers_mm, chance=CHANCE / len(lines))]
    best: dict[tuple[str, int], Suspect] = {}
    for one in sorted(found, key=lambda one: one.z):
        best[one.roller, round(one.circumference_mm) if one.roller == UNLISTED else 0] = one
    return sorted(best.values(), key=lambda one: -one.z)


def _places_across(holes: Floats) -> Iterable[Floats]:
    """Places along of holes that lie at one place across."""
    order = np.argsort(holes[:, 0], kind="stable")
    edges = np.flatnonzero(np.diff(holes[order, 0]) > _ACROSS_MM) + 1
    return (np.sort(some) for some in np.split(holes[order, 1], edges) if len(some) >= _LEAST)


def rows_of(looks: Sequence[tuple[float, Looked]], pixel: float) -> tuple[Floats, Floats]:
    """(place mm, relative grey) of all rows of frames (encoder_mm, looked); their own level taken off."""
    place, value = [], []
    for encoder, one in looks:
        if one.refused is None and one.rows.size:
            wide = max(int(12.0 / pixel), 3)
            rows = np.where(np.isfinite(one.rows), one.rows, float(np.nanmean(one.rows)))
            level = np.convolve(np.pad(rows, wide, mode="edge"), np.ones(2 * wide + 1) / (2 * wide + 1), mode="valid")
            place.append(encoder + np.arange(one.rows.size) * pixel)
            value.append(one.rows / level - 1)
    if not place:
        return np.empty(0), np.empty(0)
    return np.concatenate(place), np.concatenate(value)


def by_rows(
    place: Floats, value: Floats, circumferences: Mapping[str, float], *, tolerance: float = 0.003, limit: float = 6.0
) -> list[Suspect]:
    """Rollers at which a signal along the web repeats, strongest first.

    place : mm, value : (n,) NaN left out;  tolerance : share by which a circumference may be wrong;  limit : z, over
    the robust spread of the bins and allowing for the circumferences tried
    """
    _checked(circumferences)
    good = np.isfinite(value)
    place, value = place[good], value[good] - (np.median(value[good]) if good.any() else 0.0)
    out = []
    for name, mm in circumferences.items():
        if len(place) < 3 or np.ptp(place) < 3 * mm:
            continue
        tried = _near(mm, float(np.ptp(place)), tolerance)
        got = [_folded(place, value, one) for one in tried]
        z, at = max(got)
        if z > limit + np.log(len(tried)) / 3:
            out.append(Suspect(name, float(tried[got.index((z, at))]), at, z, float(np.ptp(place)) / mm))
    return _without_multiples(sorted(out, key=lambda one: -one.z))


def by_points(
    place: Floats, circumferences: Mapping[str, float], *, tolerance: float = 0.003, chance: float = CHANCE
) -> list[Suspect]:
    """Rollers whose circumference comes again and again between single things at one place across, strongest first.

    place : (n,) mm along;  chance : that things strewn evenly would make one, about.  Rollers of so nearly one size
    that the distance does not tell them apart are all named; a distance that is no roller's, nor a few turns of one,
    is told as UNLISTED.
    """
    _checked(circumferences)
    out: list[Suspect] = []
    for one in _distances(_apart(np.asarray(place, dtype=float)), chance):
        out += _of_roller(one, circumferences, tolerance)
    return sorted(out, key=lambda one: -one.z)


def _checked(circumferences: Mapping[str, float]) -> None:
    for name, mm in circumferences.items():
        if not 10 < mm < 1e5:
            raise BadValue(f"circumference of {name}", mm, "it must be from 10 to 100,000 mm", "give pi x diameter")


def _apart(place: Floats) -> Floats:
    """Places in order, those that lie close together once."""
    some = np.sort(place[np.isfinite(place)])
    return some[np.r_[True, np.diff(some) > _ONE_MM]] if len(some) else some


def _distances(place: Floats, chance: float) -> list[Suspect]:
    """Distances that come too often for chance, and come twice over too; of several that are each other's multiples
    the shortest.  Two marks of one roller make a distance as well, but not twice that distance."""
    near = [place[k:] - place[: len(place) - k] for k in range(1, len(place))]
    within = [some[some < 2 * _LONGEST_MM + _WIDE_MM] for some in near]
    gaps = np.sort(np.concatenate([some for some in within if len(some)] or [np.empty(0)]))
    if len(gaps) < _LEAST - 1:
        return []
    some = gaps[(gaps > _SHORTEST_MM) & (gaps < _LONGEST_MM)]
    mean = _by_chance(place, some)
    many = _within(gaps, some)
    from scipy.special import gammainc  # the chance of so many or more; where it is needed only, as it loads slowly

    often = gammainc(np.maximum(many, 1), mean) * len(some) < chance
    found: list[Suspect] = []
    for k in sorted(np.flatnonzero(often & (many >= _LEAST - 1)), key=lambda k: -many[k]):
        mm = float(np.median(gaps[np.abs(gaps - some[k]) <= _WIDE_MM / 2]))
        again = _within(gaps, np.array([2 * mm]), 1.5)[0]
        if again < max(many[k] / 2, 2) or any(_multiple(mm, one.circumference_mm) for one in found):
            continue
        mm = _shortest(mm, some[often], many[often], many[k])
        if not any(_multiple(mm, one.circumference_mm) for one in found):
            z, at = (many[k] - mean[k]) / np.sqrt(mean[k] + 1), np.angle(np.exp(2j * np.pi * place / mm).mean())
            found.append(Suspect(UNLISTED, round(mm, 2), round(float(at / (2 * np.pi) * mm % mm), 1),
                                 round(float(z), 1), float(np.ptp(place)) / mm))  # fmt: skip
    return found


def _by_chance(place: Floats, gaps: Floats) -> Floats:
    """How many distances would lie about each, were the places strewn evenly: n (n - 1) / L (1 - gap / L) wide."""
    n, length = len(place), max(float(np.ptp(place)), 1.0)
    return np.asarray(np.maximum(n * (n - 1) / length * np.maximum(1 - gaps / length, 0) * _WIDE_MM, 1e-9))


def _within(gaps: Floats, of: Floats, times: float = 1.0) -> Floats:
    """How many distances lie about each, within half of _WIDE_MM, times so much."""
    half = times * _WIDE_MM / 2
    return (np.searchsorted(gaps, of + half, "right") - np.searchsorted(gaps, of - half)).astype(float)


def _multiple(mm: float, of: float) -> bool:
    return abs(mm - round(mm / of) * of) < 2 * _WIDE_MM if mm > of / 2 else False


def _shortest(mm: float, some: Floats, many: Floats, most: float) -> float:
    """The shortest distance that comes nearly as often and of which this one is a multiple."""
    for parts in range(_TURNS * 4, 1, -1):
        near = np.abs(some - mm / parts) < _WIDE_MM / 2
        if (near & (many >= 0.6 * most)).any():
            return float(np.median(some[near]))
    return mm


def _of_roller(found: Suspect, circumferences: Mapping[str, float], tolerance: float) -> list[Suspect]:
    """The distance with the names of all rollers that have it, at the fewest turns that any has it."""
    for turns in range(1, _TURNS + 1):
        off = {name: abs(found.circumference_mm / turns - mm) for name, mm in circumferences.items()}
        named = [name for name, mm in circumferences.items() if off[name] <= tolerance * mm + _WIDE_MM / 4 / turns]
        if named:
            mm = found.circumference_mm / turns
            return [replace(found, roller=name, circumference_mm=round(mm, 2), at_mm=round(found.at_mm % mm, 1),
                            times=found.times * turns, every=turns)
                    for name in sorted(named, key=lambda name: off[name])]  # fmt: skip
    return [found]


def _near(mm: float, length: float, tolerance: float) -> Floats:
    """Circumferences near one, so close that a mark moves by half a bin over the run; 400 at most."""
    step = min(max(_BIN_MM * mm / length / 2, 2 * tolerance * mm / 400), tolerance * mm)
    side = np.arange(0, tolerance * mm + step / 2, step)
    return np.asarray(np.concatenate([mm - side[:0:-1], mm + side]))


def _folded(place: Floats, value: Floats, mm: float) -> tuple[float, float]:
    """(z of the bin that stands out most, its place mm)."""
    bins = max(int(mm / _BIN_MM), 8)
    where = ((place % mm) / mm * bins).astype(np.int64) % bins
    count = np.bincount(where, minlength=bins).astype(float)
    total = np.bincount(where, value, bins)
    some = count > 0.3 * np.median(count)
    mean_of = np.where(some, total / np.maximum(count, 1), 0.0)
    off = mean_of - np.median(mean_of[some])
    z = np.abs(off) / (1.4826 * np.median(np.abs(off[some])) + 1e-12)
    best = int(z.argmax())
    return float(z[best]), (best + 0.5) * mm / bins


def _without_multiples(found: list[Suspect]) -> list[Suspect]:
    """A mark at C shows, weaker, at p/q C too, p and q small: what a stronger suspect explains is left out.

    So a second roller of twice the size of a suspect, say, is named only after the first has been cleaned.
    """
    parts = sorted({p / q for p in range(1, 6) for q in range(1, 6)} - {1.0})
    kept: list[Suspect] = []
    for one in found:
        ratios = [one.circumference_mm / other.circumference_mm for other in kept]
        if not any(abs(r / part - 1) < 0.004 for r in ratios for part in parts):
            kept.append(one)
    return kept

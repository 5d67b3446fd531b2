"""S and K of one ink lot from draw-downs over black and over white, each with its interval.

    one row : dry thickness, reflectance over black and over white, and of the two grounds themselves, bare
    model : ``layers`` over each ground;  fit : least squares in ln S and K >= 0, all rows at once

Intervals are by profile: the values of S (of K) at which the best fit with that value held is just bearable, by the F
test of one parameter.  They hold for errors of the reflectances, alike and independent; an error of the thickness scale
goes into S and K whole (1 % thicker reads 1 % less), and no spread of the rows shows it: weigh the draw-downs.
Valid for one index from coat to ground unless the index is given; then readings hold the face to the air and the fit
takes it out.  Source: Kubelka and Munk; ISO 9416 and ISO 18314-2 name the method; profile: from memory, tested by
trials.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue
from reelmark.measure.given import within
from reelmark.stations.coat.surface import face

__all__ = ["DrawDowns", "Fitted", "fit", "reflected"]

Vector = NDArray[np.float64]
FEWEST = 2  # rows: four readings for two unknowns
LEAST, MOST = 1e3, 1e7  # S, 1/m
FAR: Final = 1e7  # K, 1/m
FINEST: Final = 1e-4  # sd of a reading; no instrument of the trade repeats closer (common practice, no source)


@dataclass(frozen=True, slots=True)
class DrawDowns:
    """thickness : dry, m;  over_black, over_white : measured;  black, white : of the bare grounds.  Equal lengths."""

    thickness: Vector
    over_black: Vector
    over_white: Vector
    black: Vector
    white: Vector

    def __post_init__(self) -> None:
        if len(self.thickness) < FEWEST:
            true = f"{len(self.thickness)} rows settle no interval"
            raise BadValue("draw-downs", len(self.thickness), true, "draw two thicknesses or more, better five")
        for n, x in enumerate(self.thickness):
            within(f"row {n + 1}: coat_um", float(x) * 1e6, 0.05, 500, "um")
        for name in ("over_black", "over_white", "black", "white"):
            for n, value in enumerate(getattr(self, name)):
                _share(f"row {n + 1}: {name}", float(value))
        for n, (dark, light) in enumerate(zip(self.black, self.white, strict=True)):
            if light - dark < 0.2:
                true = f"the grounds, {dark:g} and {light:g}, are too alike to tell S from K"
                raise BadValue(f"row {n + 1}: white", light, true, "draw over a black and a white card")
        for n, (dark, light) in enumerate(zip(self.over_black, self.over_white, strict=True)):
            if dark > light:
                true = f"over black it reads {dark:g}, more than over white"
                raise BadValue(f"row {n + 1}: over_black", dark, true, "look whether the columns are exchanged")


def _share(field: str, value: float) -> None:
    if 1 < value <= 100:
        raise BadValue(field, value, "a reflectance is a share of 1", f"write {value / 100:g} for {value:g} %")
    within(field, value, 0.0, 1.0, "as a share of 1")


@dataclass(frozen=True, slots=True)
class Fitted:
    """S and K, 1/m, each with its interval of this level;  residual : sd of a reading;  readings : how many

    An interval of K that begins at 0 says that this ink's absorption is not told from none.
    """

    scattering: float
    scattering_interval: tuple[float, float]
    absorption: float
    absorption_interval: tuple[float, float]
    residual: float
    readings: int
    level: float
    notes: tuple[str, ...]


def reflected(scattering: float, absorption: float, thickness: Vector, ground: Vector) -> Vector:
    """Of coats over grounds in their index, row by row."""
    S, K = scattering, absorption
    x = np.maximum(np.sqrt(K * (K + 2 * S)) * thickness, 1e-9)  # below it the limit K = 0, to 1e-9
    fine = np.where(x < 200, x / np.tanh(x), x)
    b_coth = fine / (S * thickness)
    return np.asarray((1 - ground * (1 + K / S - b_coth)) / (1 + K / S - ground + b_coth))


def fit(data: DrawDowns, index: float = 1.0, level: float = 0.95) -> Fitted:
    """S and K of the lot.  BadValue where the rows do not tell them: nearly clear, or nearly opaque all of them."""
    from scipy.stats import f as fisher

    within("level", level, 0.5, 0.999, "as a share of 1")
    miss, count = _misses(data, index), 2 * len(data.thickness)
    s, k, least = _best(miss)
    spread = max(least / (count - 2), FINEST**2)
    bearable = least + spread * float(fisher.ppf(level, 1, count - 2))
    residual = (least / (count - 2)) ** 0.5
    scatter = _interval(lambda one: _best_k(miss, one)[1], s, bearable, LEAST, MOST)
    absorb = _interval(lambda one: _best_s(miss, one)[1], k, bearable, 0.0, FAR)
    if not (scatter[0] > LEAST and scatter[1] < MOST):
        true = f"S is between {scatter[0] / 1e6:.3g} and {scatter[1] / 1e6:.3g} /um, which is no answer"
        raise BadValue("draw-downs", f"{count} readings", true, "draw coats that hide about a half, in two thicknesses")
    return Fitted(s, scatter, k, absorb, residual, count, level, _notes(residual, absorb))


def _notes(residual: float, absorb: tuple[float, float]) -> tuple[str, ...]:
    notes = ["an error of the thickness scale goes into S and K whole and does not show: weigh the draw-downs"]
    if residual > 0.01:
        notes.append(f"readings miss the model by {residual:.3f}: uneven coats, or a face that is not in the model")
    if absorb[0] <= 0:
        notes.append("K is not told from 0: draw thicker coats, only they show it")
    return tuple(notes)


def _misses(data: DrawDowns, index: float) -> Callable[[float, float], float]:
    """Sum of squares of all readings against the model, the face to the air included where an index is given."""
    top = face(index)
    grounds = np.concatenate([data.black, data.white])
    seen = np.concatenate([data.over_black, data.over_white])
    thick = np.concatenate([data.thickness, data.thickness])
    body = (grounds - top.front) / (top.down * top.up + top.back * (grounds - top.front))
    if body.min() < 0:
        true = f"a face of index {index:g} alone throws back {top.front:.3f}"
        raise BadValue("black", float(grounds.min()), true, "leave --index away, or measure with the gloss included")

    def miss(s: float, k: float) -> float:
        inside = reflected(s, k, thick, body)
        told = top.front + top.down * top.up * inside / (1 - top.back * inside)
        return float(np.sum((told - seen) ** 2))

    return miss


def _best(miss: Callable[[float, float], float]) -> tuple[float, float, float]:
    s, least = _least(lambda ln: _best_k(miss, float(np.exp(ln)))[1], float(np.log(LEAST)), float(np.log(MOST)))
    scattering = float(np.exp(s))
    return scattering, _best_k(miss, scattering)[0], least


def _best_k(miss: Callable[[float, float], float], s: float) -> tuple[float, float]:
    """(K, sum of squares) with S held; in the square root of K, so that 0 is reached."""
    root, least = _least(lambda r: miss(s, r * r), 0.0, FAR**0.5, looks=9)
    none = miss(s, 0.0)
    return (0.0, none) if none <= least else (root * root, least)


def _best_s(miss: Callable[[float, float], float], k: float) -> tuple[float, float]:
    ln, least = _least(lambda one: miss(float(np.exp(one)), k), float(np.log(LEAST)), float(np.log(MOST)))
    return float(np.exp(ln)), least


def _least(of: Callable[[float], float], low: float, high: float, looks: int = 17) -> tuple[float, float]:
    """(where, value) of the least: a coarse look, then Brent between the neighbours of the best."""
    from scipy.optimize import minimize_scalar

    grid = np.linspace(low, high, looks)
    at = int(np.argmin([of(float(x)) for x in grid]))
    ends = float(grid[max(at - 1, 0)]), float(grid[min(at + 1, looks - 1)])
    found = minimize_scalar(of, bounds=ends, method="bounded", options={"xatol": 1e-7 * (high - low)})
    return float(found.x), float(found.fun)


def _interval(
    profile: Callable[[float], float], best: float, bearable: float, low: float, high: float
) -> tuple[float, float]:
    """Where the profile comes to what is bearable on each side; the bound itself where it does not."""
    return _edge(profile, best, low, bearable), _edge(profile, best, high, bearable)


def _edge(profile: Callable[[float], float], inner: float, end: float, bearable: float) -> float:
    """Steps out from the best by doubling, then bisects; so a profile that is flat far out does not mislead."""
    step = max(inner, 1.0) * 1e-3
    outer = inner
    while True:
        outer = min(inner + step, end) if end > inner else max(inner - step, end)
        if profile(outer) > bearable:
            break
        if outer == end:
            return end
        inner, step = outer, step * 2
    for _ in range(20):
        middle = (inner + outer) / 2
        inner, outer = (middle, outer) if profile(middle) <= bearable else (inner, middle)
    return (inner + outer) / 2

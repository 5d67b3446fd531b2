"""Figures of a roll's windows and of its camera: spread, size, edges, trends by lane, focus, lamp, repeat."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import WindowLayout
from reelmark.stations.window.count_part import PartSeen

__all__ = ["TRENDS", "Figures", "Trends", "figures_of"]

Floats = NDArray[np.float64]
BINS: Final = 200  # stretches of the roll that trends are drawn over, at most
TRENDS: Final = (
    "offset_across_mm",
    "offset_along_mm",
    "size_across_mm",
    "size_along_mm",
    "edge_across_mm",
    "edge_along_mm",
)


@dataclass(frozen=True, slots=True)
class Trends:
    """Medians by stretch of the roll and lane.  metre_m : (b,) middles;  value : name of TRENDS -> (b, lanes), mm"""

    metre_m: Floats
    value: dict[str, Floats]


@dataclass(frozen=True, slots=True)
class Figures:
    """windows : by the key's name and unit;  repeat_ppm : measured repeat over nominal, encoder_ppm : encoder's over it
    focus_mm, lamp, coat : median and least of frames;  trends : for the page
    Sizes are those of a note's first window; others, of another size, count by how far they are off their own.
    """

    windows: dict[str, float | None]
    repeat_ppm: float | None
    encoder_ppm: float | None
    focus: dict[str, float | None]
    lamp: dict[str, float | None]
    trends: Trends


def figures_of(parts: Sequence[PartSeen], layout: WindowLayout) -> Figures:
    """Of all parts; None where nothing was measured.  Spreads are 1.4826 x median absolute deviation."""
    measured = np.concatenate([_alike(one, layout) for one in parts]) if parts else np.empty((0, 7))
    looked = [one for part in parts for one in part.part.looked]
    ppm = _of([(one.pitch_scale - 1) * 1e6 for one in looked])
    counted = [one.part.counted.scale for one in parts if len(one.part.sights) > 1]
    focus = [one.health.focus_mm for one in looked]
    lamp, coat = [one.health.lamp for one in looked], [one.health.coat for one in looked]
    return Figures(
        _windows(measured), None if ppm is None else round(ppm, 1),
        round((1 / counted[0] - 1) * 1e6, 1) if counted else None,
        {"edge_sd_um": _of(focus, 1e3), "worst_um": _of(focus, 1e3, np.max)},
        {"window_grey": _of(lamp), "darkest_grey": _of(lamp, 1, np.min), "coat_grey": _of(coat)},
        _trends(parts, layout),
    )  # fmt: skip


def _alike(one: PartSeen, layout: WindowLayout) -> Floats:
    """What was measured, the sizes of unlike windows moved to the first one's by what the layout has between them."""
    sizes = np.array([(window.across_mm, window.along_mm) for window in layout.windows])
    window = one.windows.column[one.tally.best] % len(sizes)
    made: Floats = one.measured.copy()
    made[:, 2:4] += sizes[0] - sizes[window]
    return made


def _of(values: Sequence[float] | Floats, times: float = 1.0, how: object = np.median) -> float | None:
    good = np.asarray(values, dtype=float)
    good = good[np.isfinite(good)]
    return round(float(how(good)) * times, 4) if good.size and callable(how) else None


def _sd(values: Floats) -> float | None:
    good = values[np.isfinite(values)]
    return round(float(1.4826 * np.median(np.abs(good - np.median(good)))) * 1e3, 3) if good.size > 1 else None


def _windows(measured: Floats) -> dict[str, float | None]:
    dx, dy, wide, high, edge_x, edge_y = measured[:, :6].T
    sds = [one for one in (_sd(dx), _sd(dy)) if one is not None]
    return {
        "centre_sd_um": round(float(np.sqrt(np.mean(np.square(sds)))), 3) if sds else None,
        "centre_across_sd_um": _sd(dx), "centre_along_sd_um": _sd(dy),
        "size_across_mm": _of(wide), "size_along_mm": _of(high),
        "size_across_sd_um": _sd(wide), "size_along_sd_um": _sd(high),
        "edge_across_um": _of(edge_x, 1e3), "edge_along_um": _of(edge_y, 1e3),
        "edge_across_sd_um": _sd(edge_x), "edge_along_sd_um": _sd(edge_y),
    }  # fmt: skip


def _trends(parts: Sequence[PartSeen], layout: WindowLayout) -> Trends:
    """Medians over at most BINS stretches, frame by frame put into them."""
    metres, lanes, values = [], [], []
    for one in parts:
        best = one.tally.best
        if len(best):
            metres.append(one.part.encoder[one.windows.frame[best]] / 1e3)
            lanes.append(one.windows.column[best] // len(layout.windows))
            values.append(_alike(one, layout)[:, :6])
    if not metres:
        return Trends(np.empty(0), {name: np.empty((0, layout.lanes)) for name in TRENDS})
    metre, lane, value = np.concatenate(metres), np.concatenate(lanes), np.concatenate(values)
    edges = np.linspace(metre.min(), metre.max() + 1e-9, min(BINS, len(np.unique(metre))) + 1)
    which = np.clip(np.searchsorted(edges, metre, side="right") - 1, 0, len(edges) - 2)
    table = np.full((len(TRENDS), len(edges) - 1, layout.lanes), np.nan)
    order = np.argsort(which * layout.lanes + lane, kind="stable")
    keys, starts = np.unique((which * layout.lanes + lane)[order], return_index=True)
    for key, some in zip(keys, np.split(order, starts[1:]), strict=True):
        good = value[some][np.isfinite(value[some]).all(axis=1)]
        if len(good):
            table[:, key // layout.lanes, key % layout.lanes] = np.median(good, axis=0)
    return Trends((edges[:-1] + edges[1:]) / 2, dict(zip(TRENDS, table, strict=True)))

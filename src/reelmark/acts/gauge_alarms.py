"""What the charts of a roll say, pass by pass: EWMA of every lane, EWMA and CUSUM of the level, spread of the rest.

All charts together raise as many false alarms in a week as the user asks for; each gets its share as a run length
(reference notes on statistics, 1.5).  Limits are widened for correlation from pass to pass: the level's EWMA by the
AR(1) formula; its CUSUM charts what AR(1) leaves, in long-run sigmas, because a wander is smoother than AR(1).
The level is charted about that of the first quarter; correlation and sigma are taken from differences, which a step
of the level does not widen.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..measure.changes import Shift, shifts
from ..measure.charts import Chart, cusum, ewma, spread
from ..measure.runlength import cusum_limit, ewma_width, per_chart_arl
from ..measure.series import lag_one, phi_by_differences, sigma_by_differences, sigma_by_mad
from ..stations.film.gauge import Model
from ..stations.film.gauge.drifts import independent

__all__ = ["Alarm", "Charts", "charts_of"]

Floats = NDArray[np.float64]
WEEK: Final = 604_800.0  # s
WEIGHT: Final = 0.2  # of the newest reading in the EWMAs
K: Final = 0.5  # of the CUSUM, in sigmas: a shift of one sigma is caught soonest
FEWEST: Final = 20  # passes below which no chart is drawn: AR(1) needs them


@dataclass(frozen=True, slots=True)
class Alarm:
    """A run of readings beyond a limit.  value : the furthest;  lane : 0 the first, None the whole web."""

    rule: str
    from_m: float
    to_m: float
    value: float
    limit: float
    unit: str
    lane: int | None = None


@dataclass(frozen=True, slots=True)
class Charts:
    """level : EWMA of the level, None with too few passes;  high, low : CUSUM of what AR(1) leaves, in long-run sigmas

    run_length : passes between false alarms of one chart;  changes : steps of the level, afterwards
    """

    run_length: float
    phi: float
    level: Chart | None
    high: Floats
    low: Floats
    h: float
    alarms: tuple[Alarm, ...]
    changes: tuple[Shift, ...]
    notes: tuple[str, ...]


def charts_of(model: Model, false_per_week: float = 1.0) -> Charts:
    """Charts of a fitted roll.  Valid from 20 passes on; with fewer the answer holds no chart and says so."""
    passes, metre = model.records.passes, model.pass_metre_m
    arl = per_chart_arl(model.lanes + 3, WEEK / model.records.pass_s, false_per_week)
    arl = float(f"{min(max(arl, 20.0), 1e8):.2g}")  # limits hardly move, and are worked out once for many rolls
    if passes < FEWEST:
        note = f"{passes} passes: charts need {FEWEST}"
        return Charts(arl, 0.0, None, np.zeros(0), np.zeros(0), 0.0, (), (), (note,))
    x = model.level_um
    width, h = limits(arl)
    phi = float(np.clip(phi_by_differences(x), 0.0, 0.99))
    sigma = max(sigma_by_differences(x) / float(np.sqrt(1 - phi)), 1e-9)
    level = ewma(x, WEIGHT, _begun(x), sigma, width, phi)
    sums = cusum(_left(x, phi), 0.0, K, h)
    alarms = [
        *_runs("level, EWMA", level, metre, "um"),
        *_sums(sums.high, h, "level rises, CUSUM", metre[1:]), *_sums(sums.low, h, "level falls, CUSUM", metre[1:]),
        *_lanes(model, arl), *_spread(model, arl),
    ]  # fmt: skip
    said = (f"the level's passes are correlated by {phi:.2f}; limits are widened for it",) if phi > 0.1 else ()
    changes = shifts(x, phi=None) if passes >= 8 else ()
    return Charts(arl, phi, level, sums.high, sums.low, h, tuple(sorted(alarms, key=lambda a: a.from_m)), changes, said)


def _begun(x: Floats) -> float:
    """The level that the roll began with: the middle of its first quarter, of 20 passes at least."""
    return float(np.median(x[: max(FEWEST, len(x) // 4)]))


def _left(x: Floats, phi: float) -> Floats:
    """What AR(1) leaves, in its long-run sigmas: those of its sums, wider where it is still correlated."""
    d = x - _begun(x)
    left = d[1:] - phi * d[:-1]
    sigma = max(sigma_by_mad(left), 1e-12)
    many = independent(np.clip(left, -3 * sigma, 3 * sigma))
    return np.asarray(left / (sigma * np.sqrt(max(1.0, left.size / many))), np.float64)


@lru_cache(maxsize=64)
def limits(run_length: float) -> tuple[float, float]:
    """Width of the EWMA and h of the CUSUM, in sigmas, with this run length: a few seconds of integrals, once."""
    return ewma_width(WEIGHT, run_length), cusum_limit(K, run_length)


def _stretches(out: NDArray[np.bool_]) -> NDArray[np.int64]:
    """First and one past the last of each run of True, shape (runs, 2)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], out.astype(np.int8), [0]])))
    return edges.reshape(-1, 2)


def _runs(
    rule: str, chart: Chart, metre: Floats, unit: str, column: int | None = None, lane: int | None = None
) -> list[Alarm]:
    points = chart.points if chart.points.ndim == 1 else chart.points[:, column or 0]
    upper, lower = (_column(one, points.shape, column) for one in (chart.upper, chart.lower))
    found = []
    for a, b in _stretches((points > upper) | (points < lower)):
        at = a + int(np.argmax(np.maximum(points[a:b] - upper[a:b], lower[a:b] - points[a:b])))
        limit = upper[at] if points[at] > upper[at] else lower[at]
        found.append(Alarm(rule, float(metre[a]), float(metre[b - 1]), float(points[at]), float(limit), unit, lane))
    return found


def _column(limit: Floats, shape: tuple[int, ...], lane: int | None) -> Floats:
    values = np.asarray(limit)
    column = values[:, lane] if values.ndim == 2 and lane is not None else values
    return np.broadcast_to(column, shape)


def _sums(sums: Floats, h: float, rule: str, metre: Floats) -> list[Alarm]:
    return [Alarm(rule, float(metre[a]), float(metre[b - 1]), float(sums[a:b].max()), h, "sigmas")
            for a, b in _stretches(sums > h)]  # fmt: skip


def _lanes(model: Model, arl: float) -> list[Alarm]:
    """A lane that goes off its own mean for a while; each lane over the passes that read it."""
    seen = model.cells.count > 0
    if seen.all():
        return _charted(model, seen[:, 0], list(range(model.lanes)), arl)
    out: list[Alarm] = []
    for lane in range(model.lanes):
        out += _charted(model, seen[:, lane], [lane], arl)
    return out


def _charted(model: Model, here: NDArray[np.bool_], lanes: list[int], arl: float) -> list[Alarm]:
    left = model.cells.residual[here][:, lanes]
    if len(left) < FEWEST:
        return []
    sd = np.maximum(left.std(axis=0), 1e-9)
    phi = float(np.clip(np.median([lag_one(one).phi if np.ptp(one) > 0 else 0.0 for one in left.T]), 0.0, 0.99))
    chart = ewma(left, WEIGHT, 0.0, sd, limits(arl)[0], phi)
    metre = model.pass_metre_m[here]
    return [alarm for n, lane in enumerate(lanes) for alarm in _runs("lane, EWMA", chart, metre, "um", n, lane)]


def _spread(model: Model, arl: float) -> list[Alarm]:
    """A pass in which what nothing explains is wider than in others; over passes that read two thirds of the lanes.

    Where lanes are missing the limits are those of the fewest lanes read, so wider.
    """
    seen = model.cells.count > 0
    many = np.count_nonzero(seen, axis=1)
    full = many >= 2 * model.lanes / 3 if not seen.all() else many > 0
    if np.count_nonzero(full) < FEWEST or model.lanes < 3:
        return []
    left = np.where(seen, model.cells.residual, np.nan)[full]
    sds = np.nanstd(left, axis=1, ddof=1)
    least = int(many[full].min())
    if least < 3 or not sds.any():
        return []
    chart = spread(sds, least - 1, limits="probability", alarm=1 / arl)
    return _runs("spread of a pass", chart, model.pass_metre_m[full], "um")

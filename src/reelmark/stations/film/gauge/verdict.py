"""The roll as a whole: mean, spread, Cpk, area out of limits, ridges; and which stretches to keep, downgrade, cut out.

The spread counts all causes the model names, the gauge's own noise left out where it is known; its degrees of freedom
are those of the slowest parts, not the number of points, so that intervals do not pretend (Satterthwaite).
What a choice costs is said in metres, sheets and notes; the choice stays with the engineer.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from reelmark.errors import BadValue
from reelmark.measure.capability import Capability, capability
from reelmark.stations.film.gauge.map import RollMap, roll_map
from reelmark.stations.film.gauge.marks import GaugeMark, Grade
from reelmark.stations.film.gauge.model import Model
from reelmark.stations.film.gauge.records import Bools, Floats
from reelmark.stations.film.gauge.shares import Shares, shares

__all__ = ["CAUTION", "Costs", "Limits", "Stretch", "Verdict", "judge", "laps", "ridge_mm"]

CAUTION = (
    "estimates for the engineer; they replace neither local rules nor the maker's limits. "
    "Rolls weigh a tonne and more: rated gear, nobody in line with a roll; lock off before hands go near a nip."
)


@dataclass(frozen=True, slots=True)
class Limits:
    """Gauge wanted: target_um +- tolerance_um (inputs).

    downgrade_share, cut_share : of a row's area out of limits, from which a stretch is downgraded or cut out
    least_m : shortest stretch worth a cut; shorter ones between two worse are taken with them
    """

    target_um: float
    tolerance_um: float
    downgrade_share: float = 0.02
    cut_share: float = 0.20
    least_m: float = 10.0

    def __post_init__(self) -> None:
        if self.tolerance_um <= 0 or self.target_um <= self.tolerance_um:
            true = f"tolerance {self.tolerance_um:g} um of a target of {self.target_um:g} um"
            raise BadValue("tolerance_um", self.tolerance_um, true, "give half the width of the tolerance, in um")


@dataclass(frozen=True, slots=True)
class Costs:
    """What a metre holds: cut_off_mm of web a sheet, lanes of sheets across, notes_per_sheet."""

    cut_off_mm: float
    lanes: int
    notes_per_sheet: int

    def sheets(self, metres: float) -> int:
        """Whole sheets that a stretch touches, all lanes."""
        return int(np.ceil(1e3 * metres / self.cut_off_mm - 1e-9)) * self.lanes


@dataclass(frozen=True, slots=True)
class Stretch:
    """from_m, to_m : what to do with it, why, and what it holds (0 sheets and notes where Costs were not given)."""

    from_m: float
    to_m: float
    choice: Grade
    why: str
    sheets: int
    notes: int

    @property
    def metres(self) -> float:
        return self.to_m - self.from_m


@dataclass(frozen=True, slots=True)
class Verdict:
    """mean_um; two_sigma_um : total spread 2 s, all causes;  points_two_sigma_um : of the readings as they stand

    lane_mean_um, lane_cpk : (n,);  worst_lane : its number;  cpk : whole web, None without limits
    out_percent : of the area, by the map;  out_points_percent : of the readings
    ridge_mm : build-up on the radius of the roll by lane against the mean, (n,), no compression
    """

    mean_um: float
    two_sigma_um: float
    points_two_sigma_um: float
    lane_mean_um: Floats
    lane_cpk: Floats | None
    worst_lane: int
    cpk: Capability | None
    out_percent: float | None
    out_points_percent: float | None
    ridge_mm: Floats
    stretches: tuple[Stretch, ...]
    caution: str = CAUTION

    def cost(self, choice: Grade) -> tuple[float, int, int]:
        """(metres, sheets, notes) of all stretches with that choice."""
        mine = [one for one in self.stretches if one.choice == choice]
        return sum(s.metres for s in mine), sum(s.sheets for s in mine), sum(s.notes for s in mine)


def laps(length_m: float, gauge_um: float, core_mm: float) -> float:
    """Laps on a core: (D - d) / (2 t) with pi/4 (D^2 - d^2) = L t; no air wound in (reference notes on film, 2).

    8000 m of 75 um on 152.4 mm: 4898.84.
    """
    if min(length_m, gauge_um, core_mm) <= 0:
        raise BadValue("roll", (length_m, gauge_um, core_mm), "lengths must be above 0", "correct them")
    t, d = gauge_um * 1e-6, core_mm * 1e-3
    return float((np.sqrt(4 * length_m * t / np.pi + d**2) - d) / (2 * t))


def ridge_mm(lane_um: Floats, length_m: float, gauge_um: float, core_mm: float) -> Floats:
    """Build-up on the radius, mm, of lanes that are so much thicker than the mean all along (reference notes 1.4)."""
    return np.asarray(lane_um) * laps(length_m, gauge_um, core_mm) * 1e-3


def judge(
    model: Model,
    marks: Sequence[GaugeMark] = (),
    *,
    limits: Limits | None = None,
    costs: Costs | None = None,
    core_mm: float = 152.4,
    noise_um: float | None = None,
) -> Verdict:
    """The verdict.  core_mm : an input (152.4 is assumed);  noise_um : sd of the gauge alone, where tested."""
    parts = shares(model, noise_um)
    spread = parts.total - parts["gauge noise"].variance
    sigma = float(np.sqrt(spread))
    gauge = model.records.gauge_um
    length = float(np.ptp(model.records.metre_m))
    lane_sigma = float(np.sqrt(max(spread - parts["across"].variance, 0.0)))
    lanes = model.mean_um + model.lane_um
    out = None if limits is None else _outside(roll_map(model, noise_um=noise_um), limits)
    worst = None if limits is None else _cpk(lanes, lane_sigma, limits)
    far = np.abs(model.lane_um) if limits is None else np.abs(lanes - limits.target_um)
    return Verdict(
        mean_um=model.mean_um,
        two_sigma_um=2 * sigma,
        points_two_sigma_um=2 * float(np.std(gauge)),
        lane_mean_um=lanes,
        lane_cpk=worst,
        worst_lane=int(np.argmax(far)),
        cpk=None if limits is None else _capability(model.mean_um, sigma, parts, limits),
        out_percent=None if out is None else 100 * float(out.mean()),
        out_points_percent=None if limits is None else 100 * _points_out(gauge, limits),
        ridge_mm=ridge_mm(model.lane_um, length, model.mean_um, core_mm),
        stretches=_stretches(model, marks, out, limits, costs),
    )


def _capability(mean: float, sigma: float, parts: Shares, limits: Limits) -> Capability:
    n = max(parts.df + 1, 3.0)
    return capability(mean, sigma, n, limits.target_um - limits.tolerance_um, limits.target_um + limits.tolerance_um)


def _cpk(lanes: Floats, sigma: float, limits: Limits) -> Floats:
    return (limits.tolerance_um - np.abs(lanes - limits.target_um)) / (3 * max(sigma, 1e-9))


def _points_out(gauge: Floats, limits: Limits) -> float:
    return float(np.mean(np.abs(gauge - limits.target_um) > limits.tolerance_um))


def _outside(seen: RollMap, limits: Limits) -> Floats:
    """Probability of each cell's film to lie outside, (R, n): normal with the map's own standard deviation."""
    from scipy.special import ndtr

    low, high = limits.target_um - limits.tolerance_um, limits.target_um + limits.tolerance_um
    out: Floats = ndtr((low - seen.gauge_um) / seen.sd_um) + ndtr((seen.gauge_um - high) / seen.sd_um)
    return out


_RANK: dict[Grade, int] = {"keep": 0, "downgrade": 1, "cut out": 2}


def _stretches(
    model: Model, marks: Sequence[GaugeMark], out: Floats | None, limits: Limits | None, costs: Costs | None
) -> tuple[Stretch, ...]:
    """The roll from end to end, neighbours alike joined."""
    start, stop = float(model.records.metre_m[0]), float(model.records.metre_m[-1])
    bad: list[tuple[float, float, Grade, str]] = [
        (m.from_m, m.to_m, m.grade, m.kind) for m in marks if m.grade != "keep"
    ]
    if out is not None and limits is not None:
        bad += _rows(out, np.linspace(start, stop, len(out) + 1), limits)
    places = np.unique(np.clip([start, stop, *(x for one in bad for x in one[:2])], start, stop))
    pieces: list[Stretch] = []
    for a, b in pairwise(places):
        over = [one for one in bad if one[0] < (a + b) / 2 < one[1]]
        choice: Grade = max((one[2] for one in over), key=_RANK.__getitem__, default="keep")
        why = ", ".join(sorted({one[3] for one in over if one[2] == choice}))
        pieces.append(Stretch(float(a), float(b), choice, why, 0, 0))
    joined = _joined(pieces, limits.least_m if limits else 0.0)
    return tuple(_priced(one, costs) for one in joined)


def _rows(out: Floats, edge: Floats, limits: Limits) -> list[tuple[float, float, Grade, str]]:
    """Runs of map rows with more of their area out of limits than allowed."""
    share = out.mean(axis=1)
    levels: tuple[tuple[float, Grade], ...] = ((limits.downgrade_share, "downgrade"), (limits.cut_share, "cut out"))
    found: list[tuple[float, float, Grade, str]] = []
    for least, grade in levels:
        over: Bools = np.concatenate([[False], share > least, [False]])
        turns = np.flatnonzero(np.diff(over.astype(np.int8)))
        found += [(float(edge[a]), float(edge[b]), grade, "area out of limits") for a, b in turns.reshape(-1, 2)]
    return found


def _joined(pieces: list[Stretch], least: float) -> list[Stretch]:
    """Neighbours of one choice as one; a kept piece too short to be worth two cuts goes with the milder neighbour."""
    for i in range(1, len(pieces) - 1):
        beside = min((pieces[i - 1].choice, pieces[i + 1].choice), key=_RANK.__getitem__)
        if pieces[i].metres < least and _RANK[beside] > _RANK[pieces[i].choice]:
            pieces[i] = replace(pieces[i], choice=beside, why="too short to keep")
    out: list[Stretch] = []
    for one in pieces:
        if out and out[-1].choice == one.choice:
            whys = dict.fromkeys(why for why in (*out[-1].why.split(", "), *one.why.split(", ")) if why)
            out[-1] = replace(out[-1], to_m=one.to_m, why=", ".join(whys))
        else:
            out.append(one)
    return out


def _priced(one: Stretch, costs: Costs | None) -> Stretch:
    if costs is None:
        return one
    sheets = costs.sheets(one.metres)
    return replace(one, sheets=sheets, notes=sheets * costs.notes_per_sheet)

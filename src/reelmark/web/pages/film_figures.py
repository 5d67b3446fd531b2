"""The gauge's figures of a roll, each with its table: variance, map, lanes, the die's round, the level, waves."""

from collections.abc import Sequence
from functools import partial
from typing import Final, NamedTuple

import numpy as np

from ...acts.gauge_view import RollView
from ...figures.gauge import bars_picture
from ...figures.gauge_across import clock_picture, lanes_picture, map_picture
from ...figures.gauge_along import level_picture, spectrum_picture
from ...stations.film.gauge import Limits
from ..content import Cell, Column, Figure, Link, Table
from ..gauges import MOST_BEFORE, Before

__all__ = ["Event", "along", "beside", "die_round", "fig", "lanes", "parts", "roll_map", "waves"]

UNSURE: Final = 0.25  # of the tolerance: the map is hatched where its sd is larger; our own choice
LASTING: Final = 0.1  # of the tolerance: a lane off the mean by more is called persistent; our own choice
SAYS: Final = {"same": "forward and reverse", "mirrored": "forward and mirrored reverse"}


class Event(NamedTuple):
    """A mark of the journal on the roll: metres of the gauge, what it was, who saw it, its entry."""

    from_m: float
    to_m: float
    what: str
    seen_by: str
    entry: Link


def fig(title: str, unit: str = "", places: int = 0) -> Column:
    """A column of figures."""
    return Column(title, unit, "figure", places)


# ---- 2 variance


def parts(view: RollView) -> Figure:
    plain = view.plain
    rows: list[list[Cell]] = [
        [p.name, p.sigma_um, 2 * p.sigma_um, 100 * p.part, p.variance, p.low, p.high,
         plain[p.name][0] if p.name in plain else None, plain[p.name][1] if p.name in plain else None,
         plain[p.name][2] if p.name in plain else None]
        for p in view.parts
    ]  # fmt: skip
    columns = (Column("Cause"), fig("Spread s", "um", 3), fig("2 s", "um", 3), fig("Share", "%", 1),
               fig("Variance", "um²", 4), fig("95 % from", "um²", 4), fig("95 % to", "um²", 4),
               fig("ANOVA", "um²", 4), fig("ANOVA from", "um²", 4), fig("ANOVA to", "um²", 4))  # fmt: skip
    scans, lanes = view.plain_two_sigma_um
    note = (
        f"Method: {view.told['method']}. Existing gauges print: 2 s of pass means {scans:.3f} um, of lane means "
        f"{lanes:.3f} um. The plain table knows no die and no waves: it puts both into the residual."
    )
    bars = [(p.name, p.variance, p.low, p.high, plain[p.name][0] if p.name in plain else None) for p in view.parts]
    says = "; ".join(f"{p.name} {p.part:.0%}" for p in view.parts)
    title = "Where the variance comes from"
    return Figure("variance", title, lambda alone: bars_picture(bars, title=title, says=says, alone=alone),
                  Table("variance", title, columns, rows), note)  # fmt: skip


def beside(view: RollView, before: Sequence[Before], whole: bool) -> tuple[Table, ...]:
    """The same of the rolls before it, from all files, and of this one last."""
    if whole and not before:
        return ()
    causes = [p.name for p in view.parts]
    rows: list[list[Cell]] = []
    for one in before:
        parts = {p.name: p.sigma_um for p in one.parts}
        rows.append([one.roll, one.file, one.mean_um, *(parts.get(name) for name in causes), one.refused or None])
    rows.append([f"{view.roll} (this one)", None, view.mean_um, *(p.sigma_um for p in view.parts), None])
    columns = (Column("Roll"), Column("File"), fig("Mean", "um", 2), *(fig(f"{name}, s", "um", 3) for name in causes))
    if any(one.refused for one in before):
        columns = (*columns, Column("Not read"))
    else:
        rows = [row[:-1] for row in rows]
    note = (
        f"The last {MOST_BEFORE} before it at most, oldest first, in the order in which the files were written; lanes, "
        "die and noise as asked for this one."
    )
    if not whole:
        note = f"More of them are being read: load the page again in some seconds. {note}"
    return (Table("rolls-before", "Rolls before it", columns, rows, note=note),)


# ---- 3 the map, 4 the lanes, 5 the die


def roll_map(view: RollView, limits: Limits, spot_mm: float | None) -> Figure:
    unsure = UNSURE * limits.tolerance_um
    seen, title = view.map, "The whole roll"
    off = np.abs(seen.far_um - limits.target_um)
    order = np.argsort(-off, axis=None)[:20]
    rows: list[list[Cell]] = []
    for column, lane in zip(*np.unravel_index(order, off.shape), strict=True):
        rows.append([float(seen.metre_m[column]), *_edges(view, lane), float(seen.far_um[column, lane]),
                     float(seen.sd_um[column, lane])])  # fmt: skip
    columns = (fig("About", "m"), fig("From", "mm"), fig("To", "mm"), fig("Gauge", "um", 2), fig("sd", "um", 3))
    spot = "10 mm assumed" if spot_mm is None else f"{spot_mm:g} mm"
    every = "every pass" if seen.every == 1 else f"one pass of {seen.every:,}"
    note = (
        f"The model's estimate of every place. Slanting lines: {every} of the head, whose spot ({spot}) saw "
        f"{100 * seen.seen:.2g} % of the area. Hatched: the estimate's standard deviation is above a quarter of the "
        f"tolerance, {unsure:.3g} um: {100 * float((seen.sd_um > unsure).mean()):.1f} % of the map. Marks are not "
        "in it."
    )
    draw = partial(map_picture, seen, limits.target_um, limits.tolerance_um, unsure, title=title)
    under = Table("map-far", "Furthest off the target", columns, rows, most=8)
    return Figure("map", title, lambda alone: draw(alone=alone), under, note)


def _edges(view: RollView, lane: int) -> tuple[int, int]:
    """mm of a lane."""
    return round(float(view.edges_mm[lane])), round(float(view.edges_mm[lane + 1]))


def lanes(view: RollView, ends: tuple[float, float], core_mm: float, assumed: bool) -> Figure:
    v, title = view.verdict, "Profile across"
    least = LASTING * (ends[1] - ends[0]) / 2
    persistent = np.abs(view.lane_um) > np.maximum(3 * view.lane_sd_um, least)
    rows: list[list[Cell]] = [
        [*_edges(view, i), float(v.lane_mean_um[i]), float(view.lane_um[i]),
         2 * float(view.lane_sd_um[i]), bool(persistent[i]), float(v.ridge_mm[i]),
         None if v.lane_cpk is None else float(v.lane_cpk[i]), float(view.low_um[i]), float(view.high_um[i])]
        for i in np.argsort(-np.abs(view.lane_um)).tolist()
    ]  # fmt: skip
    columns = (fig("From", "mm"), fig("To", "mm"), fig("Mean", "um", 3), fig("Off the mean", "um", 3),
               fig("± 2 SE", "um", 3), Column("Persistent"), fig("Ridge", "mm", 2), fig("Cpk", "", 2),
               fig("Thinnest", "um", 2), fig("Thickest", "um", 2))  # fmt: skip
    core = f"{core_mm:g} mm{' (assumed)' if assumed else ''}"
    note = (
        f"Persistent: off the mean all along by more than three standard errors and {least:.3g} um, a tenth of the "
        f"tolerance. Ridge: build-up on the radius of the wound roll against the mean, on a core of {core}, nothing "
        "compressed. Where no band of ±2 standard errors is seen, it is narrower than the line."
    )
    return Figure("lanes", title, lambda alone: lanes_picture(view, ends, title=title, alone=alone),
                  Table("lanes", "Lanes, furthest off first", columns, rows, most=12), note)  # fmt: skip


def die_round(view: RollView) -> tuple[Figure | str, ...]:
    clock = view.clock
    if clock is None:
        return (
            "The die's round: its motion is not seen in this roll, so its marks stay in their lanes. If it moves, give "
            "its period below.",
        )
    what = "Oscillates" if clock.die.form == "oscillating" else "Turns"
    note = (
        f"{what} in {abs(clock.die.period_s):,.1f} s; {clock.die.dead_s:g} s from nip to gauge as given. Evenness "
        f"{clock.even:.2f}: 1 where every sector lay as long in mid-web. A rest at the reversals is not in the model."
    )
    rows = list(zip(clock.degrees.tolist(), clock.um.tolist(), (2 * clock.sd_um).tolist(),
                    (100 * clock.time_share).tolist(), strict=True))  # fmt: skip
    columns = (
        fig("Angle", "degrees"),
        fig("Brings", "um", 3),
        fig("± 2 SE", "um", 3),
        fig("In mid-web", "% of time", 2),
    )
    title = "The die's round"
    return (Figure("die", title, lambda alone: clock_picture(clock, title=title, alone=alone),
                   Table("die", "The die, sector by sector", columns, rows, most=9), note),)  # fmt: skip


# ---- 6 along, 7 waves


def along(view: RollView, ends: tuple[float, float], events: Sequence[Event]) -> tuple[Figure | Table, ...]:
    """Level, steps, and what the journal knows of the roll."""
    charts, title, metre = view.charts, "Along the roll", view.pass_metre_m
    rows: list[list[Cell]] = [
        [float(metre[s.place]), float(metre[s.low]), float(metre[min(s.high, len(metre) - 1)]), float(s.size),
         2 * float(s.se)] for s in charts.changes
    ]  # fmt: skip
    columns = (
        fig("At", "m", 1),
        fig("95 % from", "m", 1),
        fig("to", "m", 1),
        fig("Step", "um", 2),
        fig("± 2 SE", "um", 2),
    )
    note = (
        f"Limits for one false alarm of this chart in {charts.run_length:,.0f} passes, its share of the rate asked "
        f"for. Correlation from pass to pass {charts.phi:.2f}."
    )
    draw = partial(level_picture, view, ends, [(one.from_m, one.what) for one in events], title=title)
    under = Table("changes", "Steps of the level, found afterwards", columns, rows, "No step.")
    return (Figure("along", title, lambda alone: draw(alone=alone), under, note), _events(events))


def _events(events: Sequence[Event]) -> Table:
    columns = (fig("From", "m", 1), fig("To", "m", 1), Column("What"), Column("Seen by"), Column("In the journal"))
    note = (
        "Marks that others than the gauge wrote on this roll, by the gauge's metres. A new resin lot, a change of "
        "screens or a stop stands here once it is written as a mark on its metres."
    )
    empty = "The journal holds no mark on this roll but the gauge's own."
    return Table("events", "What else happened to it", columns, [list(one) for one in events], empty, note, most=12)


def waves(view: RollView) -> tuple[Figure | str, ...]:
    seen = view.waves
    if seen is None:
        return ("Waves: the roll is too short for a spectrum.",)
    rows: list[list[Cell]] = [
        [w.period_s, 2 * w.period_sd_s, w.length_m, w.amplitude_um, 2 * w.amplitude_sd_um,
         ", ".join(w.elements) or "none given fits", shown if np.isfinite(shown) else None] for w, shown in seen.waves
    ]  # fmt: skip
    columns = (fig("Period", "s", 3), fig("Period ± 2 SE", "s", 3), fig("Long", "m", 2), fig("Amplitude", "um", 3),
               fig("Amplitude ± 2 SE", "um", 3), Column("Candidates"),
               fig("Means of passes would show", "s", 1))  # fmt: skip
    title = "Waves"
    return (
        Figure("waves", title, lambda alone: spectrum_picture(seen, view.speed_m_s, title=title, alone=alone),
               Table("waves", "Waves found", columns, rows, "No wave stands out of the noise."),
               f"All points with their own times, lanes and die taken off. {_mirrored(view)}"),
    )  # fmt: skip


def _mirrored(view: RollView) -> str:
    seen = view.waves.mirror if view.waves else None
    if seen is None:
        return "Too few passes each way to compare forward with reverse."
    ends = "a wave in step with the head fakes part of the profile" if seen.locked else "no wave in step with the head"
    return (
        f"Correlation of profiles, {SAYS['same']} {seen.same:+.2f}, {SAYS['mirrored']} {seen.mirrored:+.2f}: {ends}."
    ).replace("-", "−")

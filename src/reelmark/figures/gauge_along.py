"""A roll along its metres: what to do with which stretch, the level with its limits, the spectrum."""

from collections.abc import Iterable, Sequence
from typing import Final

from ..acts.gauge_view import RollView, Waves
from ..svg import el, label, picture, rects
from .gauge import LEFT, RIGHT, TOP, WIDE, Frame, said, ticks

__all__ = ["level_picture", "roll_picture", "spectrum_picture"]

HIGH: Final = 40  # px of the roll
MOST_EVENTS: Final = 12
INK: Final = {"keep": "material", "downgrade": "pale", "cut out": "accent"}


def roll_picture(view: RollView, *, title: str, alone: bool) -> str:
    """The roll from the core outwards: stretches to keep, to downgrade, to cut out; marks under it, row by row."""
    start, stop = view.told["from_m"], view.told["to_m"]
    frame = Frame(start, stop, 0, 1, HIGH, top=TOP)
    parts = []
    for one in view.verdict.stretches:
        box = (frame.x(one.from_m), float(TOP), max(1.5, frame.x(one.to_m) - frame.x(one.from_m)), float(HIGH))
        parts += [rects([box], INK[one.choice]), rects([box], "line rule")]
    rows = [part for n, mark in enumerate(view.marks) for part in _mark(frame, n, mark)]
    foot = TOP + HIGH + 20 + 18 * len(view.marks)
    axis = [part for at in ticks(start, stop, 9) for part in (
        el("line", cls="line rule", x1=frame.x(at), x2=frame.x(at), y1=TOP + HIGH, y2=foot),
        label(frame.x(at), foot + 14, said(at), "quiet small", text_anchor="middle"))]  # fmt: skip
    words = label(
        (LEFT + WIDE - RIGHT) / 2, foot + 32, "metre of the gauge, from the core", "ink", text_anchor="middle"
    )
    key = label(LEFT, 15, "plain: keep;  pale: downgrade;  strong: cut out.  Under it, the marks", "quiet")
    says = "; ".join(f"{s.choice} {s.from_m:,.0f} to {s.to_m:,.0f} m" for s in view.verdict.stretches[:40])
    return picture(WIDE, foot + 40, [key, *axis, *parts, *rows, words], title=title, says=says, alone=alone,
                   width=WIDE, height=foot + 40)  # fmt: skip


def _mark(frame: Frame, n: int, mark: object) -> list[str]:
    a, b = frame.x(mark.from_m), frame.x(mark.to_m)  # type: ignore[attr-defined]
    y, words = TOP + HIGH + 14 + 18 * n, f"{mark.kind} {mark.size_um:+.2f} um"  # type: ignore[attr-defined]
    room = b + 6 + 7 * len(words) < WIDE
    at, end = (b + 5, "start") if room else (max(a, LEFT + 4.0), "start") if b - a > 7 * len(words) else (a - 5, "end")
    box = el("rect", cls="accent", x=a, y=y, width=max(2.5, b - a), height=5)
    return [box, label(at, y + (7 if at != max(a, LEFT + 4.0) or room else 16), words.replace("-", "−"), "ink small",
                       text_anchor=end)]  # fmt: skip


def _span(*rows: Iterable[float]) -> tuple[float, float]:
    values = [v for row in rows for v in row if v == v]
    low, high = min(values), max(values)
    pad = 0.06 * (high - low) or 0.1
    return low - pad, high + pad


def level_picture(
    view: RollView,
    limits: tuple[float, float] | None,
    events: Sequence[tuple[float, str]] = (),
    *,
    title: str,
    alone: bool,
) -> str:
    """Level of every pass, its EWMA between its limits, the steps found afterwards; under it the two sums.

    events : (metre, words) of what the journal knows of the roll, MOST_EVENTS of them drawn
    """
    metre, level = view.pass_metre_m.tolist(), (view.mean_um + view.level_um).tolist()
    chart = view.charts.level
    rows = [level] if chart is None else [level, *((view.mean_um + one).tolist() for one in (chart.lower, chart.upper))]
    frame = Frame(view.told["from_m"], view.told["to_m"], *_span(*rows))
    parts = [*frame.axes("metre of the gauge", "level, um"), frame.line(metre, level, "lost")]
    if chart is not None:
        band = frame.band(metre, rows[1], rows[2], "lost", 0.2)
        parts.insert(1, band)
        parts.append(frame.line(metre, (view.mean_um + chart.points).tolist(), "ink", stroke_width=1.6))
    for words, at in zip(("lower limit", "upper limit"), limits or (), strict=False):
        parts += frame.level(at, words)
    for n, shift in enumerate(view.charts.changes):
        parts += frame.upright(metre[shift.place], f"{shift.size:+.2f} um".replace("-", "−"), "accent", n % 3)
    there = [one for one in events if frame.left <= one[0] <= frame.right][:MOST_EVENTS]
    for n, (at, words) in enumerate(there):
        parts += frame.upright(at, f"{words[:28]}…" if len(words) > 29 else words, "ink", 12 + n % 4)
    return _with_sums(view, frame, parts, metre, title, alone)


def _with_sums(view: RollView, frame: Frame, parts: list[str], metre: list[float], title: str, alone: bool) -> str:
    charts = view.charts
    key = (
        "thin: level of each pass;  strong: EWMA in its limits;  upright: steps found afterwards, marks of the journal"
    )
    parts.append(label(LEFT, 15, key, "quiet"))
    words = f"Level of {len(metre):,} passes; {len(charts.changes):,} steps found; "
    if charts.level is None:
        return frame.whole(parts, title=title, says=words + "no chart.", alone=alone)
    below = Frame(frame.left, frame.right, 0, 1.1 * max(charts.h, *charts.high, *charts.low), 90, top=frame.foot + 66)
    sums = [
        *below.axes("metre of the gauge", "sums, σ"), below.line(metre[1:], charts.high.tolist(), "ink"),
        below.line(metre[1:], charts.low.tolist(), "lost"), *below.level(charts.h, "limit of the sums"),
        label(LEFT, below.top - 8, "CUSUM of what correlation leaves;  strong: rises, faint: falls", "quiet"),
    ]  # fmt: skip
    return below.whole([*parts, *sums], title=title, says=words + f"{len(charts.alarms):,} alarms.", alone=alone)


def spectrum_picture(waves: Waves, speed_m_s: float, *, title: str, alone: bool) -> str:
    """Power by period, in seconds below and in metres above; shaded where means of passes cannot see."""
    period, power = waves.period_s.tolist(), waves.share.tolist()
    low, high = period[0], period[-1]
    frame = Frame(low, high, 0, 1.08 * max(max(power), 1e-9), 230, log=True, top=56)
    parts = [
        *frame.axes("period, s (by powers of ten)", "share of the variance"),
        *([frame.shade(low, min(waves.unseen_s, high))] if waves.unseen_s > low else []),
        *_metres(frame, speed_m_s), frame.line(period, waves.ground.tolist(), "lost"),
        frame.line(period, power, "ink", stroke_width=1.4),
    ]  # fmt: skip
    for n, (wave, shown) in enumerate(waves.waves):
        parts += frame.upright(wave.period_s, f"{wave.period_s:.2f} s", "accent", n)
        if shown < high and wave.period_s < waves.unseen_s:
            parts += frame.upright(shown, f"means of passes would show {shown:.1f} s", "quiet", n + 1)
    key = "shaded: periods that means of passes cannot show;  faint: noise about each period"
    parts.append(label(LEFT, 15, key, "quiet"))
    says = (
        "; ".join(f"a wave of {w.period_s:.2f} s, {w.amplitude_um:.2f} um" for w, _ in waves.waves) or "no wave found"
    )
    return frame.whole(parts, title=title, says=says, alone=alone)


def _metres(frame: Frame, speed: float) -> Sequence[str]:
    """The same axis in metres of web, above."""
    above = Frame(frame.left * speed, frame.right * speed, 0, 1, 1, log=True)
    marks = [part for at in above._marks() for part in (
        el("line", cls="line rule", x1=above.x(at), x2=above.x(at), y1=frame.top - 4, y2=frame.top),
        label(above.x(at), frame.top - 7, f"{said(at)} m", "quiet small", text_anchor="middle"))]  # fmt: skip
    return marks

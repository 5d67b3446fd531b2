"""How full: the store over time against its places, and machines week by week against their open hours."""

from collections.abc import Mapping, Sequence
from typing import Any, Final
from xml.sax.saxutils import escape

from ..plan.planned import Planned
from ..svg import el, label, picture, rects
from .gantt_marks import LEFT, WIDE, Scale, days

__all__ = ["load_picture", "store_picture"]

TALL: Final = 150  # px of the store's frame
TOP: Final = 24
CELL: Final = 24  # px of a machine's row
STRONG: Final = 0.9  # share from which on a week is drawn in the accent


def store_picture(planned: Planned, store: Mapping[str, Any], window: tuple[int, int], *, alone: bool) -> str:
    """store : as ``acts.plan_view.store`` gives it;  a step line, filled where it is above the places."""
    scale, levels, places = Scale(*window), store["levels"], store["places"]
    most = max([*(one["level"] for one in levels), places or 0, 1])
    y = [TOP + TALL * (1 - n / most) for n in range(most + 1)]
    steps = [(scale.x(one["unit"]), one["level"]) for one in levels]
    d, over = "", []
    for n, (x, level) in enumerate(steps):
        until = steps[n + 1][0] if n + 1 < len(steps) else x
        d += f"{'L' if d else 'M'}{x:.1f} {y[level]:.1f}H{until:.1f}"
        if places is not None and level > places and until > x:
            over.append((x, y[level], until - x, y[places] - y[level]))
    inside = [*_frame(planned, scale, most, y), rects(over, "accent l1"), el("path", cls="line ink", d=d or "M0 0")]
    if places is not None:
        inside.append(el("path", cls="line accent", d=f"M{LEFT} {y[places]:.1f}H{WIDE - 8}", stroke_dasharray="5 3"))
        inside.append(label(LEFT + 4, y[places] - 4, f"{places} places", "accent small"))
    breaches = len(store["breaches"])
    says = f"Up to {max((one['level'] for one in levels), default=0)} batches at once"
    says += f"; {places} places" if places is not None else "; no limit is set"
    says += f"; more than that in {breaches} stretches." if breaches else "."
    return _whole(inside, TOP + TALL + 14, "Store", says, alone)


def _frame(planned: Planned, scale: Scale, most: int, y: Sequence[float]) -> list[str]:
    step = max(1, -(-most // 6))
    lines = [el("path", cls="line rule", d=f"M{LEFT} {y[n]:.1f}H{WIDE - 8}") for n in range(0, most + 1, step)]
    words = [label(LEFT - 6, y[n] + 4, str(n), "quiet small", text_anchor="end") for n in range(0, most + 1, step)]
    words.append(label(0.0, TOP + 12, "Batches in store", "ink small"))
    free = 0.0
    for unit, text in days(planned, scale):
        x = scale.x(unit)
        lines.append(el("path", cls="line rule", d=f"M{x:.1f} {TOP}v{TALL}"))
        if x >= free and x + 6.4 * len(text) < WIDE:
            words.append(label(x + 2, 12.0, text, "quiet small"))
            free = x + 6.4 * len(text) + 10
    return [*lines, *words]


def load_picture(rows: Sequence[Mapping[str, Any]], *, alone: bool) -> str:
    """A cell a machine and week: work and set-up of the hours open.  rows : as ``acts.plan_view.load`` gives them"""
    machines, every = (list(dict.fromkeys(row[key] for row in rows)) for key in ("machine", "week"))
    wide = (WIDE - LEFT - 8) / max(1, len(every))
    inside = [
        label(0.0, TOP + CELL * n + 16, _fitted(machine), "ink small") for n, machine in enumerate(machines)
    ] + _week_names(every, wide)
    for row in rows:
        x, top = LEFT + wide * every.index(row["week"]), TOP + CELL * machines.index(row["machine"])
        inside += _cell(row, x, float(top), wide)
    high = TOP + CELL * len(machines)
    full = [row for row in rows if (row["share"] or 0) >= STRONG]
    says = f"{len(machines)} machines in {len(every)} weeks; {len(full)} weeks of a machine are full to 90 % or more."
    return _whole(inside, high + 6, "Load by machine and week", says, alone)


def _fitted(name: str) -> str:
    return name if len(name) <= 20 else name[:19] + "…"


def _week_names(every: Sequence[str], wide: float) -> list[str]:
    step = max(1, -(-34 // max(1, int(wide))))
    return [label(LEFT + wide * n + 2, 14.0, week.partition("-")[2], "quiet small")
            for n, week in enumerate(every) if n % step == 0]  # fmt: skip


def _cell(row: Mapping[str, Any], x: float, top: float, wide: float) -> list[str]:
    """The cell's width is the open hours; work fills it from the left, set-up follows, dark."""
    there, wide = row["open_h"], wide - 2
    box = el("rect", cls="line rule", x=x, y=top + 3, width=wide, height=CELL - 6)
    if not there:
        return [el("rect", cls="material", x=x, y=top + 3, width=wide, height=CELL - 6), box]
    work, made = (min(1.0, row[key] / there) * wide for key in ("work_h", "setup_h"))
    made = min(made, wide - work)
    strong = "accent l1" if (row["share"] or 0) >= STRONG else "pale"
    says = f"{escape(row['machine'])}, {row['week']}: work {row['work_h']:.1f} h, set-up {row['setup_h']:.1f} h, "
    says += f"open {there:.1f} h, {100 * row['share']:.0f} %"
    words = [label(x + 4, top + 16, f"{100 * row['share']:.0f} %", "ink small")] if wide > 38 and row["share"] else []
    return [
        el("g", el("title", says), el("rect", cls=strong, x=x, y=top + 3, width=work, height=CELL - 6),
           el("rect", cls="ink", x=x + work, y=top + 3, width=made, height=CELL - 6), box),
        *words,
    ]  # fmt: skip


def _whole(inside: Sequence[str], high: float, title: str, says: str, alone: bool) -> str:
    return picture(WIDE, high, inside, title=title, says=says, alone=alone,
                   width=WIDE if alone else None, height=high if alone else None)  # fmt: skip

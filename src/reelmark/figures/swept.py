"""One input swept: what each answer does, panel under panel on one axis; a gap where the recipe is refused."""

from collections.abc import Mapping, Sequence
from math import nan
from typing import Any

from ..svg import label
from .gauge import LEFT, TOP, Frame

__all__ = ["swept_picture"]

TALL = 84  # px of a panel
STEP = TALL + 62  # px from panel to panel


def swept_picture(
    across: str, values: Sequence[float], rows: Sequence[Mapping[str, Any]], answers: Mapping[str, str], *, alone: bool
) -> str:
    """across : the input in words with its unit; answers : key of a row -> words with unit."""
    parts, last = [], Frame(0, 1, 0, 1)
    for n, (key, words) in enumerate(answers.items()):
        ys = [_number(row.get(key)) for row in rows]
        there = [y for y in ys if y == y]
        if not there:
            continue
        pad = 0.08 * (max(there) - min(there)) or 0.05 * abs(there[0]) or 1.0
        last = Frame(min(values), max(values), min(there) - pad, max(there) + pad, TALL, top=TOP + n * STEP)
        parts += [
            *last.axes(across if n == len(answers) - 1 else "", ""),
            last.line(values, ys, "accent", stroke_width=1.6),
        ]
        parts.append(label(LEFT, last.top - 6, words, "ink"))
    refused = sum("refused" in row for row in rows)
    says = (
        f"{len(rows)} values of {across}; {refused} of them refused." if refused else f"{len(rows)} values of {across}."
    )
    return last.whole(parts, title=f"Swept: {across}", says=says, alone=alone)


def _number(value: Any) -> float:
    return float(value) if isinstance(value, int | float) else nan

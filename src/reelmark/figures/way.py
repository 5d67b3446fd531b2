"""The way of the material as a picture, from the one tuple that lists the stations."""

from collections.abc import Iterator
from itertools import groupby
from xml.sax.saxutils import escape

from ..svg import el, label, picture
from ..way import WAY

__all__ = ["way_picture"]

WIDE, LEFT, TOP, HIGH = 128, 12, 24, 156  # of one station, the margins, and the whole, in px


def way_picture(alone: bool) -> str:
    """Every station with what it takes and gives; under them what is counted.  alone : with its own colours."""
    across = 2 * LEFT + WIDE * len(WAY)
    told = "; ".join(f"{s.name} takes {s.takes} and gives {s.gives}, counted in {s.counts_in}" for s in WAY)
    drawn = [
        el("line", cls="line rule", x1=LEFT, y1=TOP, x2=across - LEFT, y2=TOP),
        *(_station(place) for place in range(len(WAY))),
        *_measures(),
    ]
    title = f"The way from {WAY[0].takes} to {WAY[-1].gives}"
    return picture(across, HIGH, drawn, title=title, says=f"{told}.", alone=alone)


def _station(place: int) -> str:
    one, x = WAY[place], LEFT + WIDE * place
    name = el("tspan", escape(one.name), font_weight=600, font_size=15)
    return el(
        "g",
        el("title", escape(f"{one.name}: {one.does}")),
        el("circle", cls="accent", cx=x + 4, cy=TOP, r=4),
        el("text", name, cls="ink", x=x, y=TOP + 30),
        label(x, TOP + 54, one.takes, "quiet"),
        label(x, TOP + 73, f"→ {one.gives}"),
    )


def _measures() -> Iterator[str]:
    """One rule under all neighbours that count in the same measure."""
    place = 0
    for measure, some in groupby(WAY, key=lambda s: s.counts_in):
        x, many = LEFT + WIDE * place, len(list(some))
        yield el("line", cls="line accent", x1=x, y1=TOP + 98, x2=x + WIDE * many - 16, y2=TOP + 98)
        yield label(x, TOP + 119, f"counted in {measure}", "quiet")
        place += many

"""Draw the way of the material as a picture: docs/way.svg, from the one tuple that lists the stations.

.venv/bin/python docs/draw_way.py
"""

from itertools import groupby
from pathlib import Path
from xml.sax.saxutils import escape

from reelmark.way import WAY

WIDE, LEFT, TOP = 128, 12, 24  # of one station, and the margins, in px
INK, QUIET, RULE, ACCENT = "#1f2328", "#57606a", "#c8ccd1", "#0b6e75"


def picture() -> str:
    """The whole picture, as SVG text."""
    across = 2 * LEFT + WIDE * len(WAY)
    told = "; ".join(f"{s.name} takes {s.takes} and gives {s.gives}, counted in {s.counts_in}" for s in WAY)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {across} 176" role="img"'
        ' aria-labelledby="way-title way-desc" font-family="system-ui, sans-serif" font-size="13">',
        f'<title id="way-title">The way from {escape(WAY[0].takes)} to {escape(WAY[-1].gives)}</title>',
        f'<desc id="way-desc">{escape(told)}.</desc>',
        f'<rect width="{across}" height="176" fill="#ffffff"/>',
        _rule(LEFT, TOP, across - LEFT, TOP, RULE),
        *(_station(place) for place in range(len(WAY))),
        *_measures(),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _station(place: int) -> str:
    one, x = WAY[place], LEFT + WIDE * place
    return "\n".join(
        [
            "<g>",
            f"<title>{escape(one.name)}: {escape(one.does)}</title>",
            f'<circle cx="{x + 4}" cy="{TOP}" r="4" fill="{ACCENT}"/>',
            _text(x, TOP + 30, one.name, INK, ' font-weight="600" font-size="15"'),
            _text(x, TOP + 54, one.takes, QUIET),
            _text(x, TOP + 73, f"→ {one.gives}", INK),
            "</g>",
        ]
    )


def _measures() -> list[str]:
    """One rule under all neighbours that count in the same measure."""
    drawn, place = [], 0
    for measure, some in groupby(WAY, key=lambda s: s.counts_in):
        x, many = LEFT + WIDE * place, len(list(some))
        drawn.append(_rule(x, TOP + 98, x + WIDE * many - 16, TOP + 98, ACCENT))
        drawn.append(_text(x, TOP + 119, f"counted in {measure}", QUIET))
        place += many
    return drawn


def _text(x: int, y: int, words: str, fill: str, more: str = "") -> str:
    return f'<text x="{x}" y="{y}" fill="{fill}"{more}>{escape(words)}</text>'


def _rule(x1: int, y1: int, x2: int, y2: int, colour: str) -> str:
    return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="{colour}" stroke-width="1"/>'


if __name__ == "__main__":
    Path(__file__).with_name("way.svg").write_text(picture(), encoding="utf-8")

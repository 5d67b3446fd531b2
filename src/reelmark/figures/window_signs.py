"""Signs for what is wrong with a window or its coat: plain shapes, told apart without any colour."""

from collections.abc import Callable, Iterable, Mapping
from typing import Final

from ..svg import el, label

__all__ = ["key_rows", "rank", "sign"]

LETTER: Final = 6.6  # px that a letter of a key takes at most
Draw = Callable[[float, float, float], str]


def _square(x: float, y: float, r: float) -> str:
    return f"M{x - r:.1f} {y - r:.1f}h{2 * r:.1f}v{2 * r:.1f}h{-2 * r:.1f}z"


def _half(x: float, y: float, r: float) -> str:
    return f"M{x - r:.1f} {y:.1f}h{2 * r:.1f}v{r:.1f}h{-2 * r:.1f}z"


def _diamond(x: float, y: float, r: float) -> str:
    return f"M{x:.1f} {y - r:.1f}l{r:.1f} {r:.1f}l{-r:.1f} {r:.1f}l{-r:.1f} {-r:.1f}z"


def _triangle(x: float, y: float, r: float) -> str:
    return f"M{x:.1f} {y - r:.1f}l{r:.1f} {2 * r:.1f}h{-2 * r:.1f}z"


def _cross(x: float, y: float, r: float) -> str:
    return f"M{x - r:.1f} {y - r:.1f}l{2 * r:.1f} {2 * r:.1f}m0 {-2 * r:.1f}l{-2 * r:.1f} {2 * r:.1f}"


def _ring(x: float, y: float, r: float) -> str:
    return f"M{x - r:.1f} {y:.1f}a{r:.1f} {r:.1f} 0 1 0 {2 * r:.1f} 0a{r:.1f} {r:.1f} 0 1 0 {-2 * r:.1f} 0z"


def _bar(x: float, y: float, r: float) -> str:
    return f"M{x - r:.1f} {y:.1f}h{2 * r:.1f}"


def _star(x: float, y: float, r: float) -> str:
    return f"{_cross(x, y, r)}{_bar(x, y, r)}"


# kind -> (outline, what is filled)
SIGNS: Final[Mapping[str, tuple[Draw, Draw | None]]] = {
    "missing": (_square, None), "half filled": (_square, _half),
    "shifted": (_diamond, _diamond), "shifted pass": (_diamond, None),
    "size": (_triangle, None), "dirty": (_cross, None), "pinhole": (_ring, _ring), "streak": (_bar, None),
}  # fmt: skip


def rank(kind: str) -> tuple[int, str]:
    """Kinds in the order of a key: windows first, the gravest first; others after them by name."""
    return (list(SIGNS).index(kind) if kind in SIGNS else len(SIGNS), kind)


def sign(kind: str, places: Iterable[tuple[float, float]], r: float = 3.0) -> str:
    """The sign of a kind at each place, px; a star for a kind that has none of its own."""
    outline, filled = SIGNS.get(kind, (_star, None))
    some = list(places)
    line = el("path", cls="line accent", d="".join(outline(x, y, r) for x, y in some), stroke_width=1.4)
    return line + (el("path", cls="accent", d="".join(filled(x, y, r) for x, y in some)) if filled else "")


def key_rows(entries: Iterable[tuple[str, str]], left: float, right: float, top: float) -> tuple[list[str], float]:
    """(kind, words) as a key from left to right, in as many rows as it takes; its px and where it ends."""
    x, y, parts = left, top, []
    for kind, words in entries:
        wide = 16 + LETTER * len(words) + 16
        if x > left and x + wide > right:
            x, y = left, y + 17
        parts += [sign(kind, [(x + 5, y - 4)], 4.0), label(x + 15, y, words, "ink small")]
        x += wide
    return parts, y + 8

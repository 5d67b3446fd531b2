"""Pictures as SVG text: the same for a page, a download and a paper.

    el("line", x1=0, y1=0, x2=9.5, y2=0, cls="line rule")    one element; text is escaped, figures are kept short
    picture(120, 40, [...], title="…", says="…")        a whole picture that stands alone

Colours are named by classes (INKS) and not by value, so that one picture does on white, on black and on paper: a
picture that stands alone carries the style sheet with it.
"""

from collections.abc import Iterable
from xml.sax.saxutils import escape, quoteattr

__all__ = ["INKS", "el", "label", "picture", "rects", "style"]

# class -> (light, dark): every colour a picture may use.
INKS = {
    "ink": ("#1c1b19", "#e9e6df"),
    "quiet": ("#5b5851", "#a8a399"),
    "rule": ("#cfcac0", "#45423c"),
    "ground": ("#fbfaf7", "#161513"),
    "material": ("#e7e2d6", "#2c2a26"),
    "accent": ("#8a2b1d", "#f0907c"),
    "pale": ("#e3b9b0", "#6b352b"),
    "lost": ("#a39d90", "#6d685f"),
    "clear": ("#eef2f0", "#20252a"),
    "paper": ("#ffffff", "#1f1d1b"),
    "white": ("#ffffff", "#3b3934"),
}
STRENGTHS = (0.45, 0.62, 0.8, 1.0)  # opacity of .l1 to .l4: how much of a column is meant


def el(name: str, *inside: str, cls: str = "", **attributes: object) -> str:
    """One element.  An attribute's _ becomes -, None is left out; `inside` is SVG already (see label for words)."""
    given = {"class": cls or None, **attributes}
    words = "".join(f" {key.replace('_', '-')}={_value(v)}" for key, v in given.items() if v is not None)
    return f"<{name}{words}>{''.join(inside)}</{name}>" if inside else f"<{name}{words}/>"


def _value(one: object) -> str:
    return f'"{round(one, 2):g}"' if isinstance(one, float) else quoteattr(str(one))


def label(x: float, y: float, words: str, cls: str = "ink", **attributes: object) -> str:
    """Words at a place."""
    return el("text", escape(words), cls=cls, x=x, y=y, **attributes)


def rects(boxes: Iterable[tuple[float, float, float, float]], cls: str) -> str:
    """Many rectangles (x, y, wide, high) of one class, as one path."""
    d = "".join(f"M{x:.1f} {y:.1f}h{wide:.1f}v{high:.1f}h{-wide:.1f}z" for x, y, wide, high in boxes)
    return el("path", cls=cls, d=d) if d else ""


def style() -> str:
    """The style sheet of all pictures, light and dark."""

    def sheet(which: int) -> str:
        fills = "".join(f".{name}{{fill:{both[which]}}}" for name, both in INKS.items())
        strokes = "".join(f".line.{name}{{stroke:{both[which]};fill:none}}" for name, both in INKS.items())
        return fills + strokes

    names = "".join(f"--{name}:{both[0]};" for name, both in INKS.items())
    dark = "".join(f"--{name}:{both[1]};" for name, both in INKS.items())
    strengths = "".join(f".l{n}{{fill-opacity:{one}}}" for n, one in enumerate(STRENGTHS, 1))
    base = f"svg text{{font:13px system-ui,sans-serif}}svg text.small{{font-size:11px}}{strengths}"
    light = f":root{{{names}}}{base}{sheet(0)}"
    return f"{light}@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}{sheet(1)}}}"


def picture(
    wide: float, high: float, inside: Iterable[str], *, title: str, says: str, alone: bool = True, **attributes: object
) -> str:
    """A whole picture.  says : what it shows, for who does not see it.  alone : with its own style sheet.

    A line wants the class `line` beside its colour.
    """
    attributes.setdefault("role", "img")
    parts = [el("title", escape(title)), el("desc", escape(says))]
    if alone:
        parts += [el("style", style()), el("rect", cls="ground", width=wide, height=high)]
    given = {"xmlns": "http://www.w3.org/2000/svg", "viewBox": f"0 0 {wide:g} {high:g}", **attributes}
    return el("svg", *parts, *inside, cls="", **given)

"""What the pictures of a gauge stand on: a frame with axes, lines and bands over it; and the bars of the variances."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil, floor, isfinite, log10
from typing import Final

from ..svg import el, label, picture

__all__ = ["WIDE", "Frame", "bars_picture", "ticks"]

WIDE: Final = 880  # px of every picture of a gauge
LEFT, RIGHT, TOP, FOOT = 62, 18, 24, 46  # px beside, above and under the frame
ROW: Final = 38  # px of a bar


def ticks(low: float, high: float, about: int = 6) -> list[float]:
    """Round values between low and high, about so many."""
    if not (isfinite(low) and isfinite(high)) or high <= low:
        return [low] if isfinite(low) else []
    raw = (high - low) / about
    ten = 10.0 ** floor(log10(raw))
    step = next(s * ten for s in (1, 2, 2.5, 5, 10) if s * ten >= raw * (1 - 1e-9))
    return [n * step for n in range(ceil(low / step - 1e-9), floor(high / step + 1e-9) + 1)]


def _log_ticks(low: float, high: float) -> list[float]:
    return [s * 10.0**n for n in range(floor(log10(low)), ceil(log10(high)) + 1)
            for s in (1, 2, 5) if low <= s * 10.0**n <= high]  # fmt: skip


def said(value: float) -> str:
    """A value at an axis."""
    return f"{value:,.6g}".replace("-", "−")


@dataclass(frozen=True, slots=True)
class Frame:
    """left..right across, low..high upwards, drawn on WIDE x tall px; log : across by powers of ten.

    top : px above it
    """

    left: float
    right: float
    low: float
    high: float
    tall: int = 220
    log: bool = False
    top: int = TOP

    def x(self, at: float) -> float:
        """Px of a place across."""
        if self.log:
            share = (log10(max(at, 1e-12)) - log10(self.left)) / (log10(self.right) - log10(self.left))
        else:
            share = (at - self.left) / ((self.right - self.left) or 1.0)
        return LEFT + min(1.0, max(0.0, share)) * (WIDE - LEFT - RIGHT)

    def y(self, at: float) -> float:
        """Px of a height."""
        share = (at - self.low) / ((self.high - self.low) or 1.0)
        return self.top + (1 - min(1.0, max(0.0, share))) * self.tall

    @property
    def foot(self) -> int:
        """Px of the lower edge."""
        return self.top + self.tall

    def axes(self, across: str, up: str) -> list[str]:
        """Ground, ticks with their values, the words of both axes."""
        base = el("rect", cls="material", x=LEFT, y=self.top, width=WIDE - LEFT - RIGHT, height=self.tall,
                  fill_opacity=0.35)  # fmt: skip
        middle = self.top + self.tall / 2
        return [
            base,
            *(part for at in ticks(min(self.low, self.high), max(self.low, self.high), 5) for part in self._up(at)),
            *(part for at in self._marks() for part in self._across(at)),
            label((LEFT + WIDE - RIGHT) / 2, self.foot + 36, across, "ink", text_anchor="middle"),
            label(14, middle, up, "ink", text_anchor="middle", transform=f"rotate(-90 14 {middle:g})"),
        ]

    def _marks(self) -> list[float]:
        return _log_ticks(self.left, self.right) if self.log else ticks(self.left, self.right, 9)

    def _up(self, at: float) -> tuple[str, str]:
        line = el("line", cls="line rule", x1=LEFT, x2=WIDE - RIGHT, y1=self.y(at), y2=self.y(at))
        return line, label(LEFT - 6, self.y(at) + 4, said(at), "quiet small", text_anchor="end")

    def _across(self, at: float) -> tuple[str, str]:
        line = el("line", cls="line rule", x1=self.x(at), x2=self.x(at), y1=self.foot, y2=self.foot + 4)
        return line, label(self.x(at), self.foot + 17, said(at), "quiet small", text_anchor="middle")

    def line(self, xs: Sequence[float], ys: Sequence[float], cls: str, **more: object) -> str:
        """A line through places that are numbers; it breaks where one is none."""
        d, pen = [], "M"
        for x, y in zip(xs, ys, strict=True):
            if not isfinite(y):
                pen = "M"
                continue
            d.append(f"{pen}{self.x(x):.1f} {self.y(y):.1f}")
            pen = "L"
        return el("path", cls=f"line {cls}", d="".join(d), **more) if d else ""

    def band(self, xs: Sequence[float], lows: Sequence[float], highs: Sequence[float], cls: str, share: float) -> str:
        """The area between two lines."""
        there = [f"{self.x(x):.1f} {self.y(y):.1f}" for x, y in zip(xs, highs, strict=True)]
        back = [f"{self.x(x):.1f} {self.y(y):.1f}" for x, y in zip(xs, lows, strict=True)]
        return el("path", cls=cls, d=f"M{'L'.join(there + back[::-1])}z", fill_opacity=share) if there else ""

    def level(self, at: float, words: str, cls: str = "accent") -> list[str]:
        """A line all across at a height, with its words; nothing where it lies outside."""
        if not self.low <= at <= self.high:
            return []
        line = el("line", cls=f"line {cls}", x1=LEFT, x2=WIDE - RIGHT, y1=self.y(at), y2=self.y(at),
                  stroke_dasharray="5 4")  # fmt: skip
        return [line, label(WIDE - RIGHT - 3, self.y(at) - 4, words, "quiet small", text_anchor="end")]

    def upright(self, at: float, words: str, cls: str = "accent", row: int = 0) -> list[str]:
        """A line from foot to top at a place, its words above."""
        x = self.x(at)
        end = "end" if x > WIDE * 0.7 else "start"
        line = el("line", cls=f"line {cls}", x1=x, x2=x, y1=self.top, y2=self.foot)
        return [line, label(x + (-3 if end == "end" else 3), self.top + 12 + 13 * row, words, "ink small",
                            text_anchor=end)]  # fmt: skip

    def shade(self, a: float, b: float, cls: str = "pale", share: float = 0.45) -> str:
        """A stretch across, from foot to top."""
        return el("rect", cls=cls, x=self.x(a), y=self.top, width=max(1.5, self.x(b) - self.x(a)), height=self.tall,
                  fill_opacity=share)  # fmt: skip

    def whole(self, inside: Iterable[str], *, title: str, says: str, alone: bool, more: int = 0) -> str:
        """The picture.  more : px under the frame beyond the axis."""
        high = self.foot + FOOT + more
        return picture(WIDE, high, inside, title=title, says=says, alone=alone, width=WIDE, height=high)


Bar = tuple[str, float, float, float, float | None]


def bars_picture(bars: Sequence[Bar], *, title: str, says: str, alone: bool) -> str:
    """(cause, variance, its low and high, that of the plain ANOVA) one under the other, um^2 to the right."""
    most = 1.5 * max([v for _, value, _, _, plain in bars for v in (value, plain or 0.0)], default=1.0) or 1.0
    scale = (WIDE - 110 - RIGHT) / most
    parts: list[str] = []
    for n, (name, value, low, high, plain) in enumerate(bars):
        top = TOP + n * ROW
        parts += [
            label(100, top + 15, name, "ink", text_anchor="end"),
            el("rect", cls="accent", x=110, y=top, width=max(0.5, value * scale), height=15),
            *_whisker(low, high, most, scale, top + 7),
        ]
        if plain is not None:
            parts.append(el("rect", cls="lost", x=110, y=top + 18, width=max(0.5, max(plain, 0.0) * scale), height=8))
    foot = TOP + len(bars) * ROW
    for at in ticks(0, most):
        x = 110 + at * scale
        parts += [el("line", cls="line rule", x1=x, x2=x, y1=TOP - 6, y2=foot),
                  label(x, foot + 15, said(at), "quiet small", text_anchor="middle")]  # fmt: skip
    parts += [
        label((110 + WIDE - RIGHT) / 2, foot + 34, "variance, um²", "ink", text_anchor="middle"),
        label(110, 13, "strong: the model, with its 95 % interval;  thin and faint: the plain two-way ANOVA", "quiet"),
    ]
    return picture(WIDE, foot + FOOT, parts, title=title, says=says, alone=alone, width=WIDE, height=foot + FOOT)


def _whisker(low: float, high: float, most: float, scale: float, y: float) -> list[str]:
    a, b = 110 + low * scale, 110 + min(high, most) * scale
    line = el("line", cls="line ink", x1=a, x2=b, y1=y, y2=y)
    ends = [a] if high > most else [a, b]
    beyond = [label(b - 2, y - 2, "→", "ink small", text_anchor="end")] if high > most else []
    return [line, *(el("line", cls="line ink", x1=x, x2=x, y1=y - 4, y2=y + 4) for x in ends), *beyond]

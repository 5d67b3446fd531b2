"""A bar of a plan's picture: operations drawn as one, and what is written on it."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Final
from xml.sax.saxutils import escape

from ..svg import el, label

__all__ = ["Bar", "written"]

LETTER: Final = 6.6  # px that a letter takes at most


@dataclass(frozen=True, slots=True)
class Bar:
    """Operations drawn as one.

    left..right : px;  setup : px at which the set-up before it begins, None without;  campaign : order's letter, stage
    """

    numbers: tuple[int, ...]
    left: float
    right: float
    top: float
    high: float
    fill: str
    title: str
    short: str
    campaign: tuple[str, str]
    pinned: bool
    frozen: bool
    setup: float | None

    def drawn(self, address: Callable[[int], str] | None, chosen: int | None) -> str:
        """A link where it leads somewhere, else a group; its words for who does not see are its title."""
        wide = max(0.8, self.right - self.left - 0.4)
        edge = "line accent" if chosen in self.numbers else "line ink"
        parts = [
            el("title", escape(self.title)),
            el("rect", x=self.left, y=self.top, width=wide, height=self.high, fill=self.fill),
            el("rect", cls=edge, x=self.left, y=self.top, width=wide, height=self.high,
               stroke_width=2.5 if chosen in self.numbers or self.frozen else 0.7),
        ]  # fmt: skip
        if self.setup is not None:
            low = self.top + self.high * 0.55
            parts.append(el("rect", cls="ink", x=self.setup, y=low, width=max(0.8, self.left - self.setup),
                            height=self.high * 0.45))  # fmt: skip
        if self.pinned:
            parts.append(el("circle", cls="accent", cx=self.left + 3, cy=self.top + 1, r=3.4))
        if address is None:
            return el("g", *parts)
        return el("a", *parts, cls="bar", href=address(self.numbers[0]), tabindex=-1, aria_label=self.title,
                  data_op=self.numbers[0], data_many=len(self.numbers))  # fmt: skip


def written(bars: Iterable[Bar]) -> Iterator[str]:
    """What is written on bars: on each where there is room, else once on what belongs together."""
    for _, some in groupby(bars, key=lambda bar: (bar.top, bar.campaign)):
        same = list(some)
        if same[0].high <= 10:
            continue
        alone = [(bar, text) for bar in same if (text := _fits(bar.right - bar.left, _texts(bar)))]
        if alone:
            yield from (part for bar, text in alone for part in _word(bar, text))
        elif text := _fits(same[-1].right - same[0].left, (" ".join(same[0].campaign), same[0].campaign[0])):
            yield from _word(same[0], text)


def _texts(bar: Bar) -> tuple[str, str]:
    return f"{bar.short} {bar.campaign[1]}", bar.short


def _fits(room: float, texts: Iterable[str]) -> str:
    return next((text for text in texts if len(text) * LETTER <= room - 5), "")


def _word(bar: Bar, text: str) -> tuple[str, str]:
    y, wide = bar.top + bar.high / 2 + 4, len(text) * LETTER
    back = el("rect", cls="ground", x=bar.left + 2, y=bar.top + 3, width=wide, height=bar.high - 6, fill_opacity=0.78,
              pointer_events="none")  # fmt: skip
    return back, label(bar.left + 3, y, text, "ink small", pointer_events="none")

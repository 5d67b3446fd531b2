"""What the page of strips shows: which tracks, which window of each, what was taken hold of.

All of it stands in the address: of= (what was taken hold of, see acts.follow), view=TRACK:START-STOP (a window of a
track's axis), open=STATION (its handlings too), fit=1 (every window on the selection).
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from urllib.parse import urlencode

from ..acts.find import find
from ..acts.follow import Followed, choose, follow, text_of
from ..acts.layers import layers
from ..acts.strips import Strip, Track, strips
from ..errors import BadValue, NotThere
from ..facts import SERIES
from ..figures.strip import Window, high_of, overlay, strip_picture
from ..reading import Reading
from ..spans import Extent, Spans
from .live import Now
from .words import figure

__all__ = ["View", "amount", "track_of", "warm"]

WIDE = 1100  # px of a strip where nobody says otherwise
LEAST = 12  # of whatever an axis counts, in a window
Flat = Mapping[int, Spans]


def amount(many: float, measure: str) -> str:
    """So much of a measure, with its unit."""
    return f"{figure(many / 1e6, 3)} m" if measure == "um" else f"{figure(many)} {measure}"


def strips_of(now: Now) -> tuple[Strip, ...]:
    """All strips, worked out once for a reading."""
    return now.once("strips", strips)


def flats_of(now: Now) -> dict[str, dict[str, Flat]]:
    """track -> layer -> what lies on its axis, worked out once for a reading."""
    return now.once("flats", lambda reading: _flats(layers(reading), strips_of(now)))


def _flats(laid: Mapping[str, Extent], every: Sequence[Strip]) -> dict[str, dict[str, Flat]]:
    return {
        track.key: {name: track.flat(extent) for name, extent in laid.items()}
        for strip in every for track in strip.tracks
    }  # fmt: skip


def _meant(reading: Reading, text: str) -> list[str]:
    """A place as an address names it; else whatever the search box would find by that text, if it is one thing."""
    if "@" not in text and not text.startswith(SERIES) and text not in reading.thread.length:
        found = find(reading, text[:100])
        if len(found) == 1 and found[0].of:
            return list(found[0].of)
    return [text]


def warm(now: Now) -> None:
    """What every look at the strips wants, worked out before anybody looks."""
    flats_of(now)


def track_of(now: Now, key: str) -> Track:
    """The track of that key."""
    for strip in strips_of(now):
        for track in strip.tracks:
            if track.key == key:
                return track
    raise NotThere("track", key, "no strip of the order has it", "follow a link on the strips' page")


@dataclass(frozen=True)
class View:
    """One look at the strips.  base : the order's address."""

    now: Now
    base: str
    of: tuple[str, ...] = ()
    views: tuple[str, ...] = ()
    opened: tuple[str, ...] = ()
    fit: bool = False
    wide: int = WIDE

    @cached_property
    def strips(self) -> tuple[Strip, ...]:
        """All of them."""
        return strips_of(self.now)

    @cached_property
    def followed(self) -> Followed | None:
        """What was taken hold of, followed both ways."""
        return None if not self.of else self.now.recent(("follow", self.of), self._follow)

    def _follow(self, reading: Reading) -> Followed:
        return follow(reading, choose(reading, [one for text in self.of for one in _meant(reading, text)]))

    @cached_property
    def said(self) -> list[str]:
        """The selection as an address names it."""
        return text_of(self.now.reading, self.followed.chosen) if self.followed else []

    def shown(self, strip: Strip) -> tuple[Track, ...]:
        """What the station gives; its handlings too where it was opened."""
        return strip.tracks if strip.station.name in self.opened else tuple(t for t in strip.tracks if t.gives)

    @property
    def tracks(self) -> Iterator[Track]:
        """Those shown, in order."""
        return (track for strip in self.strips for track in self.shown(strip))

    @cached_property
    def windows(self) -> dict[str, tuple[int, int]]:
        """As the address has them."""
        return dict(_window(text) for text in self.views)

    def window(self, track: Track) -> Window:
        """The part of a track's axis that is drawn."""
        start, stop = self._fitted(track) if self.fit and self.followed else self.windows.get(track.key, (0, 0))
        if stop <= start:
            start, stop = 0, track.length
        wide = min(max(stop - start, LEAST), max(track.length, LEAST))
        start = min(max(0, start), max(0, track.length - wide))
        return Window(start, start + wide, self.wide)

    def _fitted(self, track: Track) -> tuple[int, int]:
        ends = [end for spans in self.touched(track)[0].values() for end in (spans.first, spans.stop)]
        if not ends:
            return 0, 0
        room = max(LEAST, (max(ends) - min(ends)) // 2)
        return min(ends) - room, max(ends) + room

    def touched(self, track: Track) -> tuple[Flat, Flat]:
        """MAY and MUST on a track's axis."""
        if self.followed is None:
            return {}, {}
        return track.flat(self.followed.may), track.flat(self.followed.must)

    def overlay(self, track: Track) -> str:
        """What the selection touches, drawn."""
        return overlay(track, self.window(track), self.touched(track) if self.followed else None)

    def draw(self, track: Track, alone: bool) -> str:
        """The picture of a track."""
        window = self.window(track)
        return strip_picture(
            track, window, flats_of(self.now)[track.key],
            self.touched(track) if self.followed else None, self._marks(track, window),
            title=track.words, says=self.says(track), alone=alone, number=self._number(track),
        )  # fmt: skip

    def says(self, track: Track) -> str:
        """What the picture shows, in words."""
        units = f"{len(track.boxes)} units, " if track.measure != "notes" else ""
        lanes = f" on {len(track.rows)} lanes" if len(track.rows) > 1 else ""
        words = f"{units}{amount(track.length, track.measure)}{lanes} end to end."
        if self.followed:
            may, must = (sum(s.size for s in one.values()) for one in self.touched(track))
            words += f" Of the selection {amount(may, track.measure)} perhaps, {amount(must, track.measure)} surely."
        return words

    def _marks(self, track: Track, window: Window) -> Iterator[tuple[float, str, str]]:
        for mark in self.now.reading.shop.marks:
            here = track.flat(mark.extent)
            for lane, spans in list(here.items())[:1]:
                if spans.first < window.stop and spans.stop > window.start:
                    where = text_of(self.now.reading, mark.extent)
                    lanes = ", ".join(map(str, sorted(here))) or str(lane)
                    words = f"{mark.fault}, {where[0].partition('@')[0]}, lane {lanes} (entry {mark.seq})"
                    yield (spans.first + spans.stop) / 2, words, self.address(of=where)

    def _number(self, track: Track) -> Callable[[int], str] | None:
        if track.measure != "notes":
            return None
        form = self.now.reading.shop.formats[track.boxes[0].unit.removeprefix(SERIES)]
        return form.text

    def address(self, **changed: Any) -> str:
        """This look with something changed, as an address."""
        asked: dict[str, Any] = {"of": self.of, "view": self.views, "open": self.opened, **changed}
        query = urlencode([(key, one) for key, some in asked.items() for one in some])
        return f"{self.base}?{query}" if query else self.base

    def moved(self, track: Track, by: float = 0.0, zoom: float = 1.0) -> str:
        """The address of the same look with one window moved by a share of itself, or wider or narrower."""
        window = self.window(track)
        wide = (window.stop - window.start) * zoom
        middle = (window.start + window.stop) / 2 + by * (window.stop - window.start)
        start = max(0, round(middle - wide / 2))
        kept = [text for text in self.views if not text.startswith(f"{track.key}:")]
        whole = wide >= track.length
        return self.address(view=kept if whole else [*kept, f"{track.key}:{start}-{round(start + wide)}"])

    def shape(self, track: Track) -> dict[str, Any]:
        """What a hand on the page must know of a track."""
        window = self.window(track)
        return {
            "key": track.key, "start": window.start, "stop": window.stop, "length": track.length,
            "measure": track.measure, "rows": ",".join(map(str, track.rows)), "high": high_of(track),
        }  # fmt: skip

    def taken(self, key: str, start: int, stop: int, lanes: Sequence[int]) -> Extent:
        """The units' own places of a stretch of a track's axis."""
        track = track_of(self.now, key)
        lanes = [lane for lane in lanes if lane in track.rows]
        extent = track.extent(max(0, start), min(stop, track.length), lanes)
        if not extent:
            raise BadValue("stretch", f"{start}-{stop}", f"the track runs from 0 to {track.length}", "take hold on it")
        return extent


def _window(text: str) -> tuple[str, tuple[int, int]]:
    key, _, ends = text.partition(":")
    start, _, stop = ends.partition("-")
    if not (start.isdecimal() and stop.isdecimal() and len(start) < 16 and len(stop) < 16):
        raise BadValue("view", text, "the window does not read", "write it as film.rolls:0-8000000000")
    return key, (int(start), int(stop))

"""The detector: one frame in, everything about it out; it never raises because of what a picture shows."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from reelmark.errors import Problem
from reelmark.frames import Frame, Picture, WindowLayout
from reelmark.stations.window.inspect import refusals
from reelmark.stations.window.inspect.coat import Coat, Hole, Room, look_at_coat
from reelmark.stations.window.inspect.find import Tones, patches, stride_for, thin, tones
from reelmark.stations.window.inspect.judge import judge
from reelmark.stations.window.inspect.lattice import Lens
from reelmark.stations.window.inspect.learn import learn_model
from reelmark.stations.window.inspect.looked import Found, Health, Ints, Kind, Looked, Nodes
from reelmark.stations.window.inspect.model import Model, begin, middle
from reelmark.stations.window.inspect.settings import LookSettings
from reelmark.stations.window.inspect.turned import is_turned
from reelmark.stations.window.inspect.web import painted_out, painted_too, web_columns
from reelmark.stations.window.inspect.windows import Seen, locate, measure

__all__ = ["Detector"]


class Detector:
    """Looks at frames of one layout and camera.

    A detector that has learnt nothing learns lens and shape from the first frame it can read, and takes its limits
    from each frame alone; then a pass that is off on all windows of the frame goes unseen.  `learn` from three clean
    frames or more sets that right.  It keeps room to work in, so one detector serves one thread.
    """

    def __init__(self, layout: WindowLayout, settings: LookSettings | None = None) -> None:
        self.layout, self.settings = layout, settings or LookSettings()
        self._model: Model | None = None
        self._stride = stride_for(layout)
        self._first = begin(layout)
        self._room = Room()

    @property
    def model(self) -> Model | None:
        """What has been learnt: lens k1, shapes, spreads; None before the first readable frame."""
        return self._model

    def learn(self, frames: Iterable[Frame | Picture]) -> "Detector":
        """From clean frames, three to thirty; a few faults among them do no harm.  Raises where none can be read."""
        pictures = [one.picture if isinstance(one, Frame) else one for one in frames]
        fit = [one for one in pictures if self._refused(one, self._tone(one)[1]) is None][:30]
        got = (
            learn_model(fit, self.layout, self.settings)
            if fit
            else _nothing(pictures, [self._refused(one, self._tone(one)[1]) for one in pictures[:1]])
        )
        if isinstance(got, Problem):
            raise got
        self._model = got
        return self

    def look(self, picture: Picture, bright: Picture | None = None, *, coat: bool = True) -> Looked:
        """picture : where windows are not saturated;  bright : of the same place under a flash of about eight times,

        for holes through one pass;  coat False leaves the coat out
        """
        few, tone = self._tone(picture)
        fault = self._refused(picture, tone)
        if fault is not None:
            return _refused(fault, tone)
        if self._model is None:
            got = learn_model([picture], self.layout, self.settings)
            if isinstance(got, Problem):
                return _refused(got, tone)
            self._model = got
        return self._looked(np.ascontiguousarray(picture), few, tone, bright, self._model, coat)

    def _refused(self, picture: Picture, tone: Tones) -> Problem | None:
        model = self._model or self._first
        fault = refusals.picture_fault(picture, int(2 * model.half().min()) + 4)
        if fault is not None:
            return fault
        usual = None if model.usual is None else model.usual.coat
        share = refusals.share_of(model.cell.area, model.cell.pitch)
        return refusals.tone_fault(tone, usual, share, self.settings)

    def _tone(self, picture: Picture) -> tuple[Picture, Tones]:
        if not isinstance(picture, np.ndarray) or picture.ndim != 2 or picture.dtype != np.uint8 or not picture.size:
            return np.empty((0, 0), np.uint8), Tones(np.nan, np.nan, np.nan, np.nan, np.nan)
        few = thin(picture, self._stride)
        return few, tones(few)

    def _looked(
        self, picture: Picture, few: Picture, tone: Tones, bright: Picture | None, model: Model, coat: bool
    ) -> Looked:
        lens = Lens.of(picture.shape[1], picture.shape[0], model.k1)
        found = patches(few, tone.limit, self._stride)
        lattice = locate(found, model, lens, self.settings)
        seen = lattice if isinstance(lattice, Problem) else measure(picture, lattice, model, lens, tone, self.settings)
        if isinstance(seen, Problem):
            over = not isinstance(lattice, Problem) and is_turned(picture, lattice, model, lens)
            return _refused(refusals.turned() if over else seen, tone)
        focus = float(np.sqrt(middle(np.maximum(seen.var, 0.0))))
        most = max(self.settings.blurred * min(float(one.size.min()) for one in model.motifs), 3 * model.spread_px)
        if not focus < min(most, model.reach / 2):
            return _refused(refusals.blurred(focus, min(most, model.reach / 2)), tone)
        told = list(judge(seen, model, self.layout.mm_per_pixel, self.settings))
        assert not isinstance(lattice, Problem)  # seen would be one
        if len(told) > len(seen.i) / 2 and is_turned(picture, lattice, model, lens):
            return _refused(refusals.turned(), tone)
        about = None
        if coat:
            about = self._coat(picture, bright, seen, model, lens, tone)
            told += _coat_found(about, self.layout.mm_per_pixel, lens)
        return self._told(seen, model, lens, tone, focus, told, about, lattice.more)

    def _coat(
        self,
        picture: Picture,
        bright: Picture | None,
        seen: Seen,
        model: Model,
        lens: Lens,
        tone: Tones,
    ) -> Coat:
        """Of the picture, and holes of the bright one too."""
        pixel = self.layout.mm_per_pixel
        boxes = np.concatenate(
            [
                painted_out(picture, seen.lattice, model, lens, tone, pixel),
                painted_too(seen, model, (picture.shape[1], picture.shape[0]), pixel),
            ]
        )
        span = web_columns(picture, tone, seen.lattice)
        about = self._of_web(picture, boxes, span, tone.low, model.spread_px, True)
        if bright is None or bright.shape != picture.shape or bright.dtype != np.uint8:
            return about
        level = float(np.median(bright[:: 4 * self._stride, :: 4 * self._stride]))
        if not 4 < level < 245:
            return about
        more = self._of_web(bright, boxes, span, level, model.spread_px, False).holes
        new = [one for one in more if all(np.hypot(one.x - a.x, one.y - a.y) > 1.5 / pixel for a in about.holes)]
        return Coat((*about.holes, *new), about.stripes, about.noise, about.rows)

    def _of_web(
        self, picture: Picture, boxes: Ints, span: tuple[int, int], level: float, spread: float, more: bool
    ) -> Coat:
        """Of the columns that the web covers."""
        first, stop = span
        within = boxes.copy()
        within[:, ::2] = np.clip(boxes[:, ::2] - first, 0, stop - first)
        within = within[within[:, 2] > within[:, 0]]
        pixel = self.layout.mm_per_pixel
        whole = np.ascontiguousarray(picture)
        got = look_at_coat(whole, span, within, level, pixel, spread, self.settings, more, self._room)
        return got.moved(first)

    def _told(
        self,
        seen: Seen,
        model: Model,
        lens: Lens,
        tone: Tones,
        focus: float,
        found: list[Found],
        coat: Coat | None,
        more: int,
    ) -> Looked:
        """more : lanes that show windows and are not counted"""
        pixel = self.layout.mm_per_pixel
        bend = seen.lattice.bend
        scale = float(np.hypot(*bend[1]))
        turn = float(np.arctan2(bend[0, 1], bend[0, 0]))
        start = _phase(seen, model, lens)
        pitch = model.cell.pitch[1] * scale
        less = int(np.floor(start / pitch))
        health = Health(
            focus * pixel,
            float(np.median(seen.level)),
            tone.low,
            coat.noise if coat else np.nan,
            tuple(_notes(tone, focus, scale, model, more)),
        )
        phase = min(max(start - less * pitch, 0.0), np.nextafter(pitch, 0)) * pixel
        told = tuple(_renumbered(one, less) for one in found)
        rows = coat.rows if coat else np.empty(0)
        return Looked(phase, scale, 1000 * turn, _nodes(seen, less, pixel), told, health, rows)


def _nothing(pictures: list[Picture], faults: list[Problem | None]) -> Problem:
    true = f"none of {len(pictures)} can be read; the first: {faults[0]}" if pictures else "there are none"
    return Problem("learn from frames", true, "hand over three clean frames or more")


def _phase(seen: Seen, model: Model, lens: Lens) -> float:
    """Where repeat 0 begins at the middle column, px."""
    origin, bend = seen.lattice.start, seen.lattice.bend
    return float(origin[1] + (lens.middle[0] - origin[0]) * bend[0, 1] / bend[0, 0])


def _renumbered(one: Found, less: int) -> Found:
    """Repeats are counted from the first that begins in the picture."""
    if one.lane < 0 or not less:
        return one
    return replace(one, i=one.i + less)


def _nodes(seen: Seen, less: int, pixel: float) -> Nodes:
    place = seen.place * pixel
    off, size = seen.off * pixel, seen.size * pixel
    edge = np.sqrt(np.maximum(seen.var, 0)) * pixel
    wide = np.maximum(edge[:, 0], edge[:, 1]), np.maximum(edge[:, 2], edge[:, 3])
    at = (place[:, 0], place[:, 1], off[:, 0], off[:, 1], size[:, 0], size[:, 1], seen.fill)
    return Nodes(seen.i + less, seen.j, seen.w, *at, *wide)


def _coat_found(coat: Coat, pixel: float, lens: Lens) -> Iterator[Found]:
    def placed(x: float, y: float) -> tuple[float, float]:
        at = lens.correct(np.array([x, y])) * pixel
        return float(at[0]), float(at[1])

    one: Hole
    for one in coat.holes:
        yield Found(Kind.PINHOLE, *placed(one.x, one.y), -1, -1, -1, one.across * pixel, one.over, one.box)
    for stripe in coat.stripes:
        middle = (stripe.top + stripe.bottom) / 2
        left, wide = int(max(stripe.x - stripe.wide / 2, 0)), int(stripe.wide)
        box = (left, stripe.top, wide, stripe.bottom - stripe.top)
        yield Found(Kind.STREAK, *placed(stripe.x, middle), -1, -1, -1, stripe.wide * pixel, stripe.over, box)


def _notes(tone: Tones, focus: float, scale: float, model: Model, more: int) -> Iterator[str]:
    """For the operator: what is not yet wrong but will be."""
    if tone.at_255 > 0.02:
        yield f"windows are too light: {tone.at_255:.0%} of their points are saturated; turn the lamp down"
    if focus > 1.5 * model.spread_px:
        yield f"the focus has gone: edges spread {focus:.2f} px, usual are {model.spread_px:.2f}"
    if abs(scale - 1) > 0.01:
        yield f"the pitch along is {100 * (scale - 1):+.2f} % off the layout's"
    if more:
        yield (
            f"windows show outside the {model.cell.lanes} lanes of the layout, in {more} more, and are not counted; "
            "correct its lanes, or give its windows their places"
        )
    if model.usual is not None and not 0.75 < tone.high / max(model.usual.lamp, 1) < 1.33:
        yield f"the lamp has changed: windows have grey {tone.high:.0f}, usual are {model.usual.lamp:.0f}"


def _refused(fault: Problem, tone: Tones) -> Looked:
    none, whole = np.empty(0), np.empty(0, np.int64)
    nodes = Nodes(whole, whole, whole, none, none, none, none, none, none, none, none, none)
    health = Health(np.nan, tone.high, tone.low, np.nan)
    return Looked(np.nan, np.nan, np.nan, nodes, (), health, none, fault)

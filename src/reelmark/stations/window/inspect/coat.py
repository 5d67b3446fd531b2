"""The coat between the windows: pinholes, streaks, and mean greys along the web; windows painted out.

Eight bits all the way, for speed.  Holes: smooth(3x3) - mean(about 13x13) over k robust sd of the frame.  Streaks:
narrow minus wide means of the column means.  Limits widen where the texture's own tail is longer than a normal one's.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import Picture
from reelmark.stations.window.inspect.looked import Floats, Ints
from reelmark.stations.window.inspect.settings import LookSettings
from reelmark.stations.window.inspect.spots import hole_across
from reelmark.stations.window.inspect.streaks import Stripe, stripes

__all__ = ["Coat", "Hole", "Room", "look_at_coat"]

_GREY = 90.0  # where the coat's median is brought to: holes of 2.8 times that still differ

_SMALLEST_MM = 0.25  # hole that is looked for


@dataclass(frozen=True, slots=True)
class Hole:
    """x, y : middle, px;  box : column, row, columns, rows;  across : diameter, px;  over : limit"""

    x: float
    y: float
    box: tuple[int, int, int, int]
    across: float
    over: float


class Room:
    """Pictures to work in, kept from frame to frame: fresh memory would cost as much as the filters.

    grey, over : of the picture's size;  half : half of it both ways;  wide : as wide, a quarter as high
    pairs, quads : `grey` and `wide` with two and four pixels a number, empty where the columns do not make whole ones
    """

    def __init__(self) -> None:
        self.grey: Picture = np.empty((0, 0), np.uint8)
        self._of((0, 0))

    def of(self, rows: int, columns: int) -> "Room":
        if self.grey.shape != (rows, columns):
            self._of((rows, columns))
        return self

    def _of(self, shape: tuple[int, int]) -> None:
        rows, columns = shape
        self.grey, self.over = np.empty(shape, np.uint8), np.empty(shape, np.uint8)
        self.half = np.empty(((rows + 1) // 2, (columns + 1) // 2), np.uint8)
        self.wide = np.empty(((rows + 3) // 4, columns), np.uint8)
        self.pairs = self.grey.view("<u2") if not (rows % 2 or columns % 2) else np.empty((0, 0), "<u2")
        self.quads = self.wide.view("<u4") if not (rows % 4 or columns % 4) else np.empty((0, 0), "<u4")

    def __reduce__(self) -> tuple[type["Room"], tuple[()]]:
        return Room, ()  # what is in it is nobody's, so nothing of it goes to another process


@dataclass(frozen=True, slots=True)
class Coat:
    """noise : robust sd after filtering, grey of the picture;  rows : mean grey of each row"""

    holes: tuple[Hole, ...]
    stripes: tuple[Stripe, ...]
    noise: float
    rows: Floats

    def moved(self, by: int) -> "Coat":
        """The same, `by` columns to the right."""
        if not by:
            return self
        holes = tuple(replace(one, x=one.x + by, box=(one.box[0] + by, *one.box[1:])) for one in self.holes)
        return replace(self, holes=holes, stripes=tuple(replace(one, x=one.x + by) for one in self.stripes))


def look_at_coat(
    picture: Picture,
    span: tuple[int, int],
    boxes: Ints,
    coat: float,
    pixel: float,
    spread: float,
    settings: LookSettings,
    more: bool,
    room: Room,
) -> Coat:
    """span : first column and the one after the last, which are looked at, and from which all columns count

    boxes : (n, 4) x0, y0, x1, y1 of what is to be painted out;  spread : sd of an edge, px, as the lens makes it
    more : streaks and rows too;  room : to work in
    """
    alpha = _GREY / max(coat, 1.0)
    room = room.of(picture.shape[0], span[1] - span[0])
    value = _scaled(picture, span, alpha, boxes, room)
    grey, over, half = room.grey, room.over, room.half
    most, many = _filtered(pixel, settings, room)
    share = 1 - float(_area(boxes)) / grey.size
    sd, limit = _limit(many, share, settings.hole_sd)
    raw = picture[:, span[0] : span[1]]
    holes = tuple(_holes(_spots(over, most, min(limit, 254)), over, grey, raw, limit, spread, pixel, settings))
    if not more:
        return Coat(holes, (), sd / alpha, np.empty(0))
    less = np.column_stack([boxes[:, :2] // 2, np.minimum((boxes[:, 2:] + 1) // 2, half.shape[::-1])])
    spots = _spots_out(half, holes)
    less, value = np.concatenate([less, spots[:, :4]]), np.concatenate([value, spots[:, 4]])
    seen, rows = stripes(half, less, value, 2 * pixel, settings)
    rows = np.pad(np.repeat(rows / alpha, 2), (0, 2), mode="edge")[: grey.shape[0]]
    return Coat(holes, tuple(_doubled(one) for one in seen), sd / alpha, rows)


def _spots_out(half: Picture, holes: Sequence[Hole]) -> NDArray[np.int64]:
    """Holes painted out of the halved picture, in place, lest one looks like a streak: (n, 5) boxes and greys."""
    out = np.zeros((len(holes), 5), np.int64)
    for n, one in enumerate(holes):
        x, y, wide, high = one.box
        low = max(x // 2 - 2, 0), max(y // 2 - 2, 0)
        top = min((x + wide) // 2 + 3, half.shape[1]), min((y + high) // 2 + 3, half.shape[0])
        part = half[low[1] : top[1], low[0] : top[0]]
        grey = int(np.median(np.concatenate([part[0], part[-1]])))
        part[:] = grey
        out[n] = *low, *top, grey
    return out


def _doubled(one: Stripe) -> Stripe:
    return Stripe(2 * one.x + 0.5, 2 * one.wide, 2 * one.top, 2 * one.bottom, one.depth, one.over)


def _area(boxes: Ints) -> int:
    return int(((boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])).sum()) if len(boxes) else 0


def _scaled(picture: Picture, span: tuple[int, int], alpha: float, boxes: Ints, room: Room) -> NDArray[np.int64]:
    """The coat's grey brought to the usual, each box painted with the median around it, which is given back."""
    import cv2

    from reelmark.stations.window.inspect.kernels_coat import around, scaled

    table = cv2.convertScaleAbs(np.arange(256, dtype=np.uint8), alpha=alpha).ravel()
    value: NDArray[np.int64] = around(picture, *span, boxes, table)
    scaled(picture, span[0], np.float32(alpha), boxes, value, room.grey, room.pairs, room.half)
    if not room.pairs.size:
        cv2.resize(room.grey, room.half.shape[::-1], dst=room.half, interpolation=cv2.INTER_AREA)
    return value


def _filtered(pixel: float, settings: LookSettings, room: Room) -> tuple[Picture, Ints]:
    """`room.over`: smoothed less background, which is at a quarter; (most of each row, count of some rows' greys)."""
    import cv2

    from reelmark.stations.window.inspect.kernels_coat import four_times, over

    side = _side(pixel, settings)
    few = cv2.resize(room.half, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    few = cv2.blur(few, (side, side))
    if room.quads.size:
        four_times(few, room.quads)
    else:
        cv2.resize(few, room.wide.shape[::-1], dst=room.wide, interpolation=cv2.INTER_LINEAR)
    narrow = room.grey if side == 3 else cv2.blur(room.grey, (side, side))
    most, many = over(narrow, room.wide, room.over, side == 3, max(len(narrow) // 64, 1))
    return most, many.sum(axis=0)


def _side(pixel: float, settings: LookSettings) -> int:
    """Of the smallest filter, px, odd."""
    return max(3, 2 * int(settings.hole_mm / pixel / 2) + 1)


def _limit(counted: Ints, share: float, k: float) -> tuple[float, float]:
    """(robust sd, limit).  Only the upper half is left of the differences; greys are whole, so the normal curve is

    laid through the count at a grey where it is told well; the tail at one in two thousand widens the limit.
    """
    from scipy.special import ndtri

    many = counted.astype(np.float32)
    above = many[::-1].cumsum()[::-1] / max(many.sum() * share, 1)  # above[v]: share at v or over
    v = int(np.clip(np.searchsorted(-above, -0.16) - 1, 1, 254))
    sd = max((v - 0.5) / float(-ndtri(np.clip(above[v], 1e-4, 0.45))), 0.4)
    tail = (int(np.searchsorted(-above, -5e-4)) - 0.5) / (3.29 * sd)
    return sd, k * sd * min(max(1.0, tail), 4.0) ** 1.5


def _spots(over: Picture, most: Picture, limit: float) -> Iterator[Any]:
    """Contours of what is over the limit; looked for only in the bands of rows that have any, which are few."""
    import cv2

    rows = np.flatnonzero(most > limit)
    for band in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1) if rows.size else []:
        first = int(band[0])
        binary = cv2.threshold(over[first : int(band[-1]) + 1], limit, 255, cv2.THRESH_BINARY)[1]
        yield from cv2.findContours(binary, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE, offset=(0, first))[0]


def _holes(
    found: Iterator[Any],
    over: Picture,
    grey: Picture,
    raw: Picture,
    limit: float,
    spread: float,
    pixel: float,
    settings: LookSettings,
) -> Iterator[Hole]:
    """Those that stand out from their own neighbourhood too; at most 500, for then the coat itself is at fault."""
    import cv2

    for contour in islice(found, 500):
        x, y, wide, high = cv2.boundingRect(contour)
        part = over[y : y + high, x : x + wide]
        peak = float(part.max())
        if peak < settings.hole_sd * _local(over, x + wide // 2, y + high // 2, limit):
            continue
        if max(wide, high) <= _side(pixel, settings) + 2 and _hot(grey, (x, y, wide, high), spread, pixel):
            continue
        weight = part.astype(float)
        total = weight.sum()
        cx = x + float((weight.sum(axis=0) * np.arange(wide)).sum() / total)
        cy = y + float((weight.sum(axis=1) * np.arange(high)).sum() / total)
        across = hole_across(raw, grey, (x, y, wide, high), spread)
        yield Hole(cx, cy, (x, y, wide, high), across, peak / limit)


def _hot(grey: Picture, box: tuple[int, int, int, int], spread: float, pixel: float) -> bool:
    """A pixel of the camera that is light by itself: no lens shows so sharp a point.

    Its eight neighbours would have (e + e2) / 2 of it on average, e = exp(-1 / 2 s2), for a Gaussian lens and the
    smallest hole, whose variance is a sixteenth of its diameter squared; less than half of that is no light.
    """
    x, y, wide, high = box
    near = grey[max(y - 3, 0) : y + high + 3, max(x - 3, 0) : x + wide + 3].astype(float)
    if near.shape != (high + 6, wide + 6):  # at the rim
        near = np.pad(near, [_lacks(y, high, grey.shape[0]), _lacks(x, wide, grey.shape[1])], mode="reflect")
    row, column = np.unravel_index(near[2:-2, 2:-2].argmax(), near[2:-2, 2:-2].shape)
    nine = near[row + 1 : row + 4, column + 1 : column + 4]
    level = float(np.sort(near, axis=None)[near.size // 2])
    middle = nine[1, 1] - level
    e = np.exp(-0.5 / (spread**2 + (_SMALLEST_MM / pixel) ** 2 / 16))
    return bool((nine.sum() - nine[1, 1] - 8 * level) / 8 < 0.5 * middle * (e + e * e) / 2)


def _lacks(first: int, many: int, whole: int) -> tuple[int, int]:
    """How many of three pixels before and after lie beyond the picture."""
    return max(3 - first, 0), max(first + many + 3 - whole, 0)


def _local(over: Picture, x: int, y: int, limit: float) -> float:
    """Sd of the differences near by: of the upper half of them, as the painted ones are 0."""
    near = over[max(y - 40, 0) : y + 41, max(x - 40, 0) : x + 41].astype(np.float32)
    some = near[(near > 0) & (near < 0.8 * limit)]
    return float(np.sqrt((some * some).mean())) if some.size > 100 else 0.0

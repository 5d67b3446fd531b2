"""The inner loops over the coat, compiled: row by row, so that the picture is read from memory as seldom as can be.

Types are whole numbers of eight and sixteen bits where they can be, for then sixteen and more are done at a time.
"""

from typing import Any

import numba as nb
import numpy as np

__all__ = ["around", "four_times", "over", "scaled", "smooth"]


@nb.njit(cache=True, nogil=True)
def around(picture: Any, first: int, stop: int, boxes: Any, table: Any) -> Any:
    """(n,) median of table[grey] at 36 points two px outside each box, within the columns first..stop-1."""
    rows, columns = picture.shape[0], stop - first
    out, some = np.empty(len(boxes), np.int64), np.empty(36)
    for n in range(len(boxes)):
        x0, y0, x1, y1 = boxes[n, 0], boxes[n, 1], boxes[n, 2], boxes[n, 3]
        for k in range(9):
            x = first + min(x0 + k * (x1 - x0) // 8, columns - 1)
            y = min(y0 + k * (y1 - y0) // 8, rows - 1)
            some[4 * k] = table[picture[max(y0 - 2, 0), x]]
            some[4 * k + 1] = table[picture[min(y1 + 1, rows - 1), x]]
            some[4 * k + 2] = table[picture[y, first + max(x0 - 2, 0)]]
            some[4 * k + 3] = table[picture[y, first + min(x1 + 1, columns - 1)]]
        some.sort()
        out[n] = int((some[17] + some[18]) / 2)
    return out


@nb.njit(cache=True, nogil=True)
def scaled(picture: Any, first: int, alpha: Any, boxes: Any, value: Any, grey: Any, pairs: Any, half: Any) -> None:
    """alpha (float32) times the columns of `picture` from `first`, as cv2.convertScaleAbs has it, into `grey`;

    boxes (n, 4) painted with their values;  half : the mean of each two by two, as cv2.INTER_AREA has it
    pairs : `grey` seen as two pixels a number; empty: `half` is left alone
    """
    rows, columns = grey.shape
    for r in range(rows):
        here, to = picture[r, first : first + columns], grey[r]
        for c in range(columns):
            to[c] = np.uint8(min(np.rint(np.float32(here[c]) * alpha), np.float32(255)))
        for n in range(len(boxes)):
            if boxes[n, 1] <= r < boxes[n, 3]:
                to[boxes[n, 0] : boxes[n, 2]] = value[n]
        if pairs.size and r % 2:
            above, below, mean = pairs[r - 1], pairs[r], half[r // 2]
            for c in range(mean.size):
                four = (above[c] & 255) + (above[c] >> 8) + (below[c] & 255) + (below[c] >> 8)
                mean[c] = (four + 2) >> 2


@nb.njit(cache=True, nogil=True)
def _smoothed(above: Any, here: Any, below: Any, line: Any, to: Any) -> None:
    """One row of `smooth`;  line : room for two more than its columns, 16 bits"""
    columns = here.size
    for c in range(columns):
        line[c + 1] = above[c] + 2 * here[c] + below[c]
    line[0], line[columns + 1] = line[1], line[columns]
    for c in range(columns):
        to[c] = (line[c] + 2 * line[c + 1] + line[c + 2] + 8) >> 4


@nb.njit(cache=True, nogil=True)
def smooth(grey: Any, out: Any) -> None:
    """1 2 1 both ways over 16, rounded, the rim repeated: as cv2.GaussianBlur of 3 x 3, in an eighth of its time."""
    rows, columns = grey.shape
    line = np.empty(columns + 2, np.uint16)
    for r in range(rows):
        _smoothed(grey[max(r - 1, 0)], grey[r], grey[min(r + 1, rows - 1)], line, out[r])


@nb.njit(cache=True, nogil=True)
def four_times(few: Any, quads: Any) -> None:
    """`few` (r, n) four times as wide, in line between the pixels, as cv2.INTER_LINEAR has it, in a third of its time.

    quads : (r, n) of 32 bits, for the four pixels that become of one, the first in the lowest bits
    """
    rows, columns = few.shape
    wide = np.empty(columns + 2, np.uint32)
    for r in range(rows):
        for c in range(columns):
            wide[c + 1] = few[r, c]
        wide[0], wide[columns + 1] = wide[1], wide[columns]
        to = quads[r]
        for c in range(columns):
            a, b, d = wide[c], wide[c + 1], wide[c + 2]
            first, second = (((3 * a + 5 * b) >> 1) + 2) >> 2, (((a + 7 * b) >> 1) + 2) >> 2
            third, fourth = (((7 * b + d) >> 1) + 2) >> 2, (((5 * b + 3 * d) >> 1) + 2) >> 2
            to[c] = first | second << 8 | third << 16 | fourth << 24


@nb.njit(cache=True, nogil=True)
def _standing_out(here: Any, a: Any, b: Any, share: Any, back: Any, to: Any) -> Any:
    """One row of `over`: its background lies between a and b, `share` of 64 from a.  The most of it is given back."""
    rest = np.uint16(64 - share)
    for c in range(here.size):
        back[c] = (rest * a[c] + share * b[c] + 32) >> 6
    for c in range(here.size):
        to[c] = max(here[c], back[c]) - back[c]
    top = np.uint8(0)
    for c in range(here.size):
        top = max(top, to[c])
    return top


@nb.njit(cache=True, nogil=True)
def over(grey: Any, base: Any, out: Any, smoothing: bool, every: int) -> Any:
    """What stands out of the background, 0 where nothing does, into `out`, which must not be one of the two others.

    Gives the most of each row, and (4, 256), to be summed, how often each grey is in every so manieth row.
    smoothing : `smooth` first;  base : as wide, of fewer rows, and in line between them
    """
    rows, columns = grey.shape
    few = base.shape[0]
    back, line, room = np.empty(columns, np.uint8), np.empty(columns + 2, np.uint16), np.empty(columns, np.uint8)
    most, many = np.empty(rows, np.uint8), np.zeros((4, 256), np.int64)  # four, for one would wait for itself
    for r in range(rows):
        at = min(max((r + 0.5) * few / rows - 0.5, 0.0), few - 1.0)
        low = int(at)
        share = np.uint16(64 * (at - low) + 0.5)
        a, b = base[low], base[min(low + 1, few - 1)]
        if smoothing:
            _smoothed(grey[max(r - 1, 0)], grey[r], grey[min(r + 1, rows - 1)], line, room)
            most[r] = _standing_out(room, a, b, share, back, out[r])
        else:
            most[r] = _standing_out(grey[r], a, b, share, back, out[r])
        if r % every == 0:
            for c in range(columns):
                many[c & 3, out[r, c]] += 1
    return most, many

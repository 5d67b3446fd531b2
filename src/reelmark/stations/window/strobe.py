"""Settings of the strobe: how often it flashes, for how long, how much it shows, and what an encoder's error does.

Closed forms of geometry, no fitted numbers:  flashes/s = v / (k p),  blur = v t,  data = W v / pixel2.  Checked against
the table of the project's notes on vision, 1.  SI inside; mm where the name says so.

Caution: flashing light can bring on fits in people who are sensitive to it (FLICKER_HZ), and a strobe makes a running
nip look still.  Shield the light, warn at the entrance, and guard nips as if nothing were seen.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import inf
from typing import Final

from reelmark.errors import BadValue
from reelmark.frames import WindowLayout

__all__ = ["FLICKER_HZ", "Strobe", "strobe"]

FLICKER_HZ: Final = (3.0, 60.0)
"""Flashes a second that trouble sensitive people: 3 to 30 commonly, for some up to 60, below 3 seldom.

Epilepsy Society (UK), "Photosensitive epilepsy", "What rate of flashing light can trigger seizures?",
epilepsysociety.org.uk.  It varies from person to person: an input, and no limit below which all are safe.
"""


@dataclass(frozen=True, slots=True)
class Strobe:
    """repeats : the web moves on from flash to flash;  field_mm : along, shown by one frame, and overlap_mm of two

    flash_hz : flashes a second;  longest_flash_us : for the blur allowed;  pixels : across and along;  mpx_s : data,
    one byte a pixel;  mb_roll : of one roll;  frames_roll, windows_roll : of one roll
    drift_mm : how far the encoder's error, blur or not, carries the lattice from frame to frame
    lost_after_m : metre after which an encoder's count alone is half a repeat off, and rounding makes it a whole one
    one_off_m : after which it is a whole repeat off;  adrift_mm : at the roll's end;  repeats_off : whole ones, there
    edge_var_px2 : what the blur adds to the variance of an edge, b2 / 12
    """

    repeats: int
    flash_hz: float
    field_mm: float
    overlap_mm: float
    longest_flash_us: float
    pixels: tuple[int, int]
    mpx_s: float
    mb_roll: float
    frames_roll: int
    windows_roll: int
    drift_mm: float
    lost_after_m: float
    one_off_m: float
    adrift_mm: float
    repeats_off: int
    edge_var_px2: float
    cautions: tuple[str, ...] = field(default=())


def strobe(
    layout: WindowLayout,
    speed_m_min: float,
    *,
    rows: int,
    blur_mm: float | None = None,
    encoder_ppm: float = 0.0,
    roll_m: float = 8000.0,
    web_mm: float | None = None,
    flicker_hz: tuple[float, float] = FLICKER_HZ,
) -> Strobe:
    """Settings for a layout at a speed.  rows : of a frame, px;  blur_mm : allowed, None: a quarter of a pixel

    encoder_ppm : by how much its wheel is wrong (0.01 mm in 159 mm diameter is 63 ppm);  web_mm : None: lanes x pitch
    flicker_hz : flashes a second, from and to, that the caution is for
    """
    pixel, pitch = layout.mm_per_pixel, layout.pitch_along_mm
    blur = pixel / 4 if blur_mm is None else blur_mm
    wide = layout.lanes * layout.pitch_across_mm if web_mm is None else web_mm
    _checked(speed_m_min=speed_m_min, rows=rows, blur_mm=blur, roll_m=roll_m, web_mm=wide)
    if not abs(encoder_ppm) < 1e6:
        raise BadValue("encoder_ppm", encoder_ppm, "a wheel is wrong by less than its whole", "give parts in a million")
    if not 0 <= flicker_hz[0] < flicker_hz[1] < inf:
        raise BadValue("flicker_hz", flicker_hz, "the first must be below the second", "give flashes a second")
    shown = rows * pixel
    repeats = _repeats(layout, rows)
    step, v = repeats * pitch, speed_m_min / 60
    columns = round(wide / pixel)
    frames = round(roll_m * 1000 / step)
    wrong = abs(encoder_ppm) * 1e-6
    hz = 1000 * v / step
    return Strobe(
        repeats,
        hz,
        shown,
        shown - step,
        blur / v * 1000,
        (columns, rows),
        columns * rows * hz / 1e6,
        columns * rows * frames / 1e6,
        frames,
        int(roll_m * 1000 / pitch) * layout.lanes * len(layout.windows),
        wrong * step,
        pitch / 2000 / wrong if wrong else inf,
        pitch / 1000 / wrong if wrong else inf,
        wrong * roll_m * 1000,
        round(wrong * roll_m * 1000 / pitch),
        (blur / pixel) ** 2 / 12,
        tuple(_cautions(hz, flicker_hz, wrong * step, pitch)),
    )


def _checked(**given: float) -> None:
    for name, value in given.items():
        if not 0 < value < 1e7:
            raise BadValue(name, value, "it must be above 0", "give the value of the machine")


def _repeats(layout: WindowLayout, rows: int) -> int:
    """That the web may move on between two flashes, so that no window is cut by both frames."""
    shown = rows * layout.mm_per_pixel
    tallest = max(one.along_mm for one in layout.windows)
    repeats = int((shown - tallest) / layout.pitch_along_mm)
    if repeats < 1:
        needed = layout.pitch_along_mm + tallest
        true = f"a frame shows {shown:.0f} mm, and a repeat with a window to spare needs {needed:.0f} mm"
        raise BadValue("rows", rows, true, "take more rows, or larger pixels")
    return repeats


def _cautions(hz: float, flicker_hz: tuple[float, float], drift: float, pitch: float) -> Iterator[str]:
    yield "nips look still under a strobe: guard them, and stop the line before reaching in"
    if flicker_hz[0] <= hz <= flicker_hz[1]:
        yield f"{hz:.1f} flashes a second can trouble people sensitive to light: shield the lamp and warn"
    if drift > pitch / 4:
        yield f"the encoder is {drift:.1f} mm off from frame to frame, over a quarter of a repeat: count in doubt"

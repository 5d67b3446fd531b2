"""Why a frame cannot be read: each told with what is true instead and what to do."""

import numpy as np

from reelmark.errors import BadValue, Problem
from reelmark.stations.window.inspect.find import Tones
from reelmark.stations.window.inspect.looked import Floats
from reelmark.stations.window.inspect.settings import LookSettings

__all__ = ["blurred", "no_window", "picture_fault", "tone_fault", "turned", "upside_down"]

_NONE, _OVER = "frame without windows", "frame turned over"  # reasons that are counted by these words


def picture_fault(picture: object, least: int) -> Problem | None:
    """Not a grey picture of whole numbers 0..255, or one smaller than `least` px each way."""
    if not isinstance(picture, np.ndarray) or picture.ndim != 2 or picture.dtype != np.uint8:
        shape = getattr(picture, "shape", None)
        true = f"it is {type(picture).__name__} of shape {shape} and {getattr(picture, 'dtype', 'no dtype')}"
        return BadValue("picture", shape, true, "hand over one grey picture, 8 bits, rows by columns")
    if min(picture.shape) < least:
        true = f"the smallest window with its edges needs {least} px"
        return BadValue("picture", picture.shape, true, "hand over the whole frame, or correct mm per pixel")
    return None


def tone_fault(tone: Tones, usual_coat: float | None, share: float, settings: LookSettings) -> Problem | None:
    """Dark, light all over, windows saturated, light and dark exchanged.  share : of the field that windows take"""
    if tone.high < 12 or (usual_coat is not None and tone.low < 0.35 * usual_coat and tone.high < 12 * usual_coat / 19):
        return Problem("dark frame", f"its lightest part has grey {tone.high:.0f}", "see whether the flash fired")
    if tone.low > 245:
        true = f"it is saturated all over: the median grey is {tone.low:.0f}"
        return Problem("saturated frame", true, "turn the lamp or the gain down")
    if tone.high - tone.low < settings.contrast:
        true = f"no window stands out: greys {tone.low:.0f} and {tone.high:.0f}"
        return Problem(_NONE, true, "see whether the web has windows here, and whether the flash fired")
    if tone.at_255 > settings.saturated:
        true = f"its windows are saturated: {tone.at_255:.0%} of their points have grey 255"
        return Problem("saturated frame", true, "turn the lamp or the gain down until windows have about 200")
    if share < 0.3 and tone.clear > 0.7:
        true = f"{tone.clear:.0%} of it is light, where windows take {share:.0%}"
        return Problem("light frame", true, "see whether light and dark are exchanged, or the web has torn")
    return None


def no_window(patches: int) -> Problem:
    """Bright patches, if any, do not make the layout's lattice."""
    true = f"{patches} bright patches are there, but no lattice of windows as the layout has it"
    return Problem(
        _NONE, true, "check pitch, window sizes and mm per pixel of the layout, or book the stretch not seen"
    )


def upside_down(mirrored: int, straight: int) -> Problem:
    true = f"{mirrored} windows fit the layout mirrored and {straight} fit it as it is"
    return Problem(_OVER, true, "turn the camera's picture, or the layout")


def turned() -> Problem:
    true = "its windows are like the known window turned over"
    return Problem(_OVER, true, "turn the camera's picture, or learn anew")


def blurred(sd_px: float, limit_px: float) -> Problem:
    true = f"edges have a spread (sd) of {sd_px:.1f} px, and {limit_px:.1f} is the most"
    return Problem("blurred frame", true, "focus the lens, or shorten the flash")


def share_of(area: Floats, pitch: Floats) -> float:
    """Of the field that windows take."""
    return float(area.sum() / np.prod(pitch))

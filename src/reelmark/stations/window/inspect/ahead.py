"""Compiling the inner loops ahead, once at installation: numba keeps them on disk, beside the modules."""

import numpy as np

from reelmark.frames import Picture, Window, WindowLayout
from reelmark.stations.window.inspect.detector import Detector

__all__ = ["compile_ahead"]

_LAYOUT = WindowLayout(100.0, 90.0, (Window(30.0, 24.0, 3.0, 50.0, 45.0),), 1.0, 5)


def compile_ahead() -> None:
    """Look at a small made-up frame: about half a minute where nothing is on disk, two or three seconds where it is."""
    picture = _made_up()
    Detector(_LAYOUT).learn([picture] * 3).look(picture)


def _made_up() -> Picture:
    """Five by five plain windows on a coat of two greys: enough for each loop to run once."""
    row, column = np.indices((452, 500))
    across, along = np.abs(column % 100 - 50), np.abs(row % 90 - 45)
    soft = np.clip(15.5 - across, 0, 1) * np.clip(12.5 - along, 0, 1)
    coat = 60 + (row // 3 + column // 3) % 2
    return np.rint(coat + (200 - coat) * soft).astype(np.uint8)

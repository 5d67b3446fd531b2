"""Looking at one frame: the lattice, every window on it, and the coat between.

looked     what comes out: nodes, things found, health
settings   the limits
detector   frame -> looked
find, lattice, shape, edges, windows    bright patches -> lattice -> outline -> edges -> every window
clear, judge, turned                    how clear it is; which windows are wrong; a picture turned over
web, coat, streaks                      what is coat; pinholes; streaks
kernels_*                               the inner loops, compiled, each for what it is named after
ahead                                   compiles them once, at installation
learn, model                            lens, shapes and spreads from clean frames
refusals                                why a frame cannot be read
rollers                                 which roller makes a mark that repeats
"""

from reelmark.stations.window.inspect.ahead import compile_ahead
from reelmark.stations.window.inspect.detector import Detector
from reelmark.stations.window.inspect.edges import mtf50
from reelmark.stations.window.inspect.looked import Found, Health, Kind, Looked, Nodes
from reelmark.stations.window.inspect.rollers import Suspect, by_points, by_rows, rows_of
from reelmark.stations.window.inspect.settings import LookSettings

__all__ = [
    "Detector",
    "Found",
    "Health",
    "Kind",
    "LookSettings",
    "Looked",
    "Nodes",
    "Suspect",
    "by_points",
    "by_rows",
    "compile_ahead",
    "mtf50",
    "rows_of",
]

"""The demo's works: an order made in a shop that never was, so that reelmark can be shown and judged.

Takes: how large, and a seed.  Gives: the records a shop would write, the troubles planted in them, and the truth.

    size       the order and the shop: FULL, 9,000,000 notes; SMALL, a few hundred sheets
    strips     film on a roll                  floor      rolls and piles, moved by hand
    boxes      numbering boxes as things       truth      what became of every sheet: only to judge
    web  presswork  numberwork  finishing      the way through the shop: the floor moves, then the book is written
    writing    machines, times, shifts         troubles   what goes wrong, and where
    filmline  windowplan  windowline     what gauge and camera wrote;  filmjudge  windowjudge  windowtrace: found of it
    folder     all of it as files

The simulator moves film and sheets themselves and never asks the trace.
"""

from .folder import write_records
from .simulate import Simulated, simulate
from .size import FULL, SMALL, Size
from .troubles import Trouble
from .truth import Truth

__all__ = ["FULL", "SMALL", "Simulated", "Size", "Trouble", "Truth", "simulate", "write_records"]

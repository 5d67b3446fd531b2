"""The limits of looking.  All count in robust standard deviations of the data themselves, or in shares."""

from dataclasses import dataclass

__all__ = ["LookSettings"]


@dataclass(frozen=True, slots=True)
class LookSettings:
    """Chosen on simulated frames of several makes, judged on others (bench/window.py); none has an outside source.

    missing, half : clear share of a window below which it is missing, or half filled
    edge_sd, size_sd, dirt_sd : alarm limits of the width of an edge, of a size, of a dark point in a window
    hole_sd, streak_sd : of the filtered coat, of the filtered column means
    hole_mm : the smallest filter's side; the background is that of a square of four times the side and more
    stretch : the pitch may be off by this share;  blurred : an edge's sd over the smallest window's side
    saturated : share of window points at 255;  contrast : grey between coat and windows, at least
    dirt_mm2 : dark area in the middle of a window that is dirt, and twice that near its edge, but two px at least
    both : an edge wider by this share of its limit, in a window too small, is of a shifted pass and not of the size
    shift_sd, shift_floor_mm : of a window's middle from its place, and the least that is told: of the size of the
        register of good printing (assumed, common practice, no source);  shift_many : windows that a frame must have,
        as the lattice of fewer goes with the one that is off
    pass_least : variance of the edge over the square of what a side moves, (1 - a) / a, that a pass makes at least: a,
        its share of the step, is 0.8 at most
    edge_floor, edge_floor_mm2, size_floor_mm : no edge (share of the focus, and variance: of a pass off by 0.15 mm)
        and no size is told that is off by less
    """

    missing: float = 0.15
    half: float = 0.85
    edge_sd: float = 6.0
    size_sd: float = 6.5
    dirt_sd: float = 8.0
    dirt_mm2: float = 0.5
    both: float = 0.3
    shift_sd: float = 6.5
    shift_floor_mm: float = 0.25
    shift_many: int = 6
    pass_least: float = 0.25
    hole_sd: float = 6.2
    streak_sd: float = 7.5
    hole_mm: float = 0.8
    stretch: float = 0.06
    blurred: float = 0.12
    saturated: float = 0.9
    contrast: float = 15.0
    edge_floor: float = 0.02
    edge_floor_mm2: float = 0.004
    size_floor_mm: float = 0.06

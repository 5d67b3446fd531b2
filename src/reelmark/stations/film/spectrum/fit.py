"""Least squares of one order: baseline x (1 + fringes), phase tied to the index.

Baseline: a polynomial in nu times a clear film's mean (1-R)/(1+R); it takes up weak absorption, so the imaginary
part of the index is not used.  Fringes: first and second harmonic, q = R, with contrast
V exp(-g (w - 1)), w = (n nu / centre)^2: V the visibility at the centre, g its fall with wavenumber (a normal wedge
alone has V = exp(-g)).  Both are free, so a spot that is not normally wedged is still fitted.
"""

from dataclasses import dataclass

import numpy as np

from reelmark.stations.film.spectrum.airy import CM_PER_UM
from reelmark.stations.film.spectrum.given import Spectrum
from reelmark.stations.film.spectrum.index import Floats

__all__ = ["Fit", "carrier", "fit_order", "free_phase", "model", "order_um", "predicted"]

_D, _V, _G, _BASE = 0, 1, 2, 3  # places among the parameters; the baseline follows
_MOST_V, _MOST_G = 1.3, 4.0


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """One minimum.  cost: sum of squares; residual: T - fit; covariance: of the parameters, per unit variance."""

    at: Floats
    cost: float
    residual: Floats
    covariance: Floats

    @property
    def thickness_um(self) -> float:
        """d."""
        return float(self.at[_D])

    @property
    def visibility(self) -> float:
        """V, as a share of a parallel film's fringes, at the middle of the window."""
        return float(self.at[_V])

    @property
    def clear(self) -> float:
        """Mean of the baseline, 1 for a clear film."""
        return float(self.at[_BASE])

    @property
    def variance(self) -> float:
        """Of a point: sum of squares over degrees of freedom, raised where neighbouring points go together."""
        r = self.residual
        beside = min(max(float(r[1:] @ r[:-1]) / max(float(r @ r), 1e-300), 0.0), 0.95)
        return self.cost / (r.size - self.at.size) * (1 + beside) / (1 - beside)

    def sd(self, place: int = _D) -> float:
        """Standard deviation of a parameter, of the thickness without an argument."""
        return float(np.sqrt(self.covariance[place, place] * self.variance))


def order_um(spectrum: Spectrum) -> float:
    """Thickness of one order, 1/(2 n nu) at the middle of the window, um."""
    return 1 / (2 * spectrum.middle) / CM_PER_UM


def model(at: Floats, spectrum: Spectrum) -> Floats:
    """T of the parameters d, V, g, baseline."""
    return _curve(np.append(at, (0.0, 0.0)), spectrum)[0]


def predicted(fit: Fit, spectrum: Spectrum) -> tuple[Floats, Floats]:
    """T of the fit on another spectrum of the same two ends, and its slopes by the parameters."""
    told, slopes = _curve(np.append(fit.at, (0.0, 0.0)), spectrum)
    return told, slopes[:, : fit.at.size]


def _curve(at: Floats, spectrum: Spectrum) -> tuple[Floats, Floats]:
    """T and its derivatives; the last two parameters are a constant and a quadratic phase, radians."""
    d, V, g, base = at[_D], at[_V], at[_G], at[_BASE:-2]
    w = (spectrum.path / spectrum.middle) ** 2 - 1
    per_um = 4 * np.pi * spectrum.path * CM_PER_UM
    phi = per_um * d + at[-2] + at[-1] * spectrum.x**2
    first, second = 2 * np.exp(-g * w) * spectrum.R, 2 * np.exp(-4 * g * w) * spectrum.R**2
    one, two = V * first * np.cos(phi), V**4 * second * np.cos(2 * phi)
    powers = np.vander(spectrum.x, base.size, increasing=True) * ((1 - spectrum.R) / (1 + spectrum.R))[:, None]
    level, waves = powers @ base, 1 + one + two
    by_phase = -level * (V * first * np.sin(phi) + 2 * V**4 * second * np.sin(2 * phi))
    by_v = level * (first * np.cos(phi) + 4 * V**3 * second * np.cos(2 * phi))
    by_g = -level * w * (one + 4 * two)
    slopes = [by_phase * per_um, by_v, by_g, *(powers * waves[:, None]).T, by_phase, by_phase * spectrum.x**2]
    return level * waves, np.column_stack(slopes)


def carrier(spectrum: Spectrum, d_um: float) -> Floats:
    """Parameters near d_um, moved by less than half an order to where the phase fits.

    The baseline's degree is half the fringes at most, so that it cannot take up fringes, and 6 at most: 4 leaves some
    of the model film's band wings over, 8 is no better (own computation).
    """
    fringes = 2 * float(spectrum.path[-1] - spectrum.path[0]) * d_um * CM_PER_UM
    degree = int(np.clip(fringes // 2, 1, 6))
    phi = 4 * np.pi * spectrum.path * d_um * CM_PER_UM
    clear = (1 - spectrum.R) / (1 + spectrum.R)
    powers = [clear * spectrum.x**k for k in range(degree + 1)]
    waves = [2 * clear * spectrum.R * np.cos(phi), 2 * clear * spectrum.R * np.sin(phi)]
    solved = np.linalg.lstsq(np.column_stack([*powers, *waves]), spectrum.T, rcond=None)[0]
    shift = float(np.arctan2(-solved[-1], solved[-2])) / (2 * np.pi)
    seen = float(np.clip(np.hypot(*solved[-2:]) / max(solved[0], 1e-3), 0.05, 1.0))
    return np.array([d_um + shift * order_um(spectrum), seen, 0.5, *solved[:-2]])


def fit_order(spectrum: Spectrum, start: Floats) -> Fit:
    """The best fit within half an order of start; V not negative, so a dark fringe is never taken for a bright one."""
    half = order_um(spectrum) / 2
    low, high = np.full(start.size, -np.inf), np.full(start.size, np.inf)
    low[:_BASE], high[:_BASE] = (start[_D] - half, 0.0, 0.0), (start[_D] + half, _MOST_V, _MOST_G)
    return _least(spectrum, start, low, high, bent=False)


def free_phase(spectrum: Spectrum, best: Fit) -> Fit:
    """The same with a constant and a quadratic phase free; they are the last two parameters, 0 when the index holds."""
    start = np.append(best.at, (0.0, 0.0))
    low, high = np.full(start.size, -np.inf), np.full(start.size, np.inf)
    low[_V], high[_V], low[_G], high[_G] = 0.0, _MOST_V, 0.0, _MOST_G
    return _least(spectrum, start, low, high, bent=True)


def _least(spectrum: Spectrum, start: Floats, low: Floats, high: Floats, *, bent: bool) -> Fit:
    from scipy.optimize import least_squares

    def curve(at: Floats) -> tuple[Floats, Floats]:
        return _curve(at if bent else np.append(at, (0.0, 0.0)), spectrum)

    def miss(at: Floats) -> Floats:
        return curve(at)[0] - spectrum.T

    def slope(at: Floats) -> Floats:
        return curve(at)[1][:, : at.size]

    scale = np.ones(start.size)
    scale[_D] = 0.1  # a tenth of a um and the whole of the others move the curve alike
    found = least_squares(miss, start, jac=slope, bounds=(low, high), x_scale=scale)
    at = np.asarray(found.x, dtype=np.float64)
    left, slopes = -miss(at), slope(at)
    return Fit(at, float(left @ left), left, np.asarray(np.linalg.pinv(slopes.T @ slopes), dtype=np.float64))

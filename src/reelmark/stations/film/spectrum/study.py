"""What a wrong index does to the reading: a pure scale without a trace, a wrong dispersion with one."""

from collections.abc import Sequence
from typing import NamedTuple

from numpy.typing import ArrayLike

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum.gauge import thickness
from reelmark.stations.film.spectrum.index import PP, Index

__all__ = ["Effect", "index_errors"]


class Effect(NamedTuple):
    """n (or the bands' strength) times factor -> thickness changed by this share; None where refused, with why."""

    of: str
    factor: float
    change: float | None
    refused: str


def index_errors(
    wavenumber_cm1: ArrayLike,
    transmittance: ArrayLike,
    index: Index = PP,
    *,
    scales: Sequence[float] = (0.995, 0.997, 1.003, 1.005),
    strengths: Sequence[float] = (0.0, 0.5, 0.8, 0.9, 1.1, 1.2, 1.5),
) -> tuple[Effect, ...]:
    """The spectrum read again with each wrong index; a scale s changes the thickness by 1/s - 1."""
    right = thickness(wavenumber_cm1, transmittance, index).thickness_um
    films = [("n", s, index.scaled(s)) for s in scales] + [("bands", s, index.stronger(s)) for s in strengths]
    effects = []
    for of, factor, film in films:
        try:
            read = thickness(wavenumber_cm1, transmittance, film).thickness_um
            effects.append(Effect(of, factor, read / right - 1, ""))
        except BadValue as refusal:
            effects.append(Effect(of, factor, None, str(refusal)))
    return tuple(effects)

"""Infrared fringes read on seeded films whose spectra come from tmm: bias, spread, order slips; index errors.

By hand: python bench/film_spectrum.py [FILMS].  Every spectrum is an incoherent average of coherent tmm spectra over
the thicknesses in the spot and over a triangular line; our own formulas take no part in it.  A wedge is flat (a
uniform spread) or normal, by turns, while the fit takes neither for granted.
"""

import sys
from collections import Counter
from dataclasses import dataclass
from time import perf_counter

import numpy as np
import tmm
from numpy.typing import NDArray

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum import PP, Index, index_errors, thickness

Floats = NDArray[np.float64]

FILMS, SEED = 1000, 20_310_106
THIN, THICK = 65.0, 80.0
NOISE, WEDGE_UM, LINE_CM1 = 0.005, 0.3, 4.0
STEP_CM1 = 1.0


@dataclass(frozen=True, eq=False)
class Table:
    """tmm transmittance, one row a thickness: nu (1/cm) beyond the window by the line, d (um) beyond by the wedge."""

    nu: Floats
    d: Floats
    T: Floats

    def spectrum(self, d_um: float, wedge_um: float, line_cm1: float, flat: bool) -> tuple[Floats, Floats]:
        """(1/cm, T) of a spot with root mean square wedge_um, seen with a triangular line line_cm1 wide at half."""
        from scipy.interpolate import CubicSpline

        places = np.linspace(-3, 3, 61) if not flat else (np.arange(61) - 30) / 30.5 * np.sqrt(3)
        weights = np.ones(61) if flat else np.exp(-(places**2) / 2)
        spot = weights @ CubicSpline(self.d, self.T)(d_um + wedge_um * places) / weights.sum()
        reach = round(line_cm1 / (self.nu[1] - self.nu[0]))
        if not reach:
            return self.nu, spot
        line = np.convolve(np.ones(reach), np.ones(reach)) / reach**2
        return self.nu[reach - 1 : self.nu.size - reach + 1], np.convolve(spot, line, "valid")


def table(
    index: Index = PP,
    thin: float = THIN - 1,
    thick: float = THICK + 1,
    step_um: float = 0.1,
    step_cm1: float = STEP_CM1,
) -> Table:
    """Every (thickness, wavenumber) through tmm.coh_tmm; a cubic between thicknesses is good to 1e-5."""
    nu = np.arange(2000 - 8 * step_cm1, 2700 + 9 * step_cm1, step_cm1)
    d = np.arange(thin, thick + step_um, step_um)
    n = index.complex_n(nu)
    rows = [
        [tmm.coh_tmm("s", [1, m, 1], [np.inf, one, np.inf], 0, 1e4 / v)["T"] for v, m in zip(nu, n, strict=True)]
        for one in d
    ]
    return Table(nu, d, np.array(rows))


def films(made: Table, count: int, rng: np.random.Generator) -> list[tuple[float, Floats, Floats]]:
    """(true mean thickness, 1/cm, T with noise) of count films."""
    told = []
    for k in range(count):
        d = float(rng.uniform(THIN, THICK))
        nu, T = made.spectrum(d, WEDGE_UM, LINE_CM1, flat=bool(k % 2))
        told.append((d, nu, T + rng.normal(0, NOISE, T.size)))
    return told


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else FILMS
    began = perf_counter()
    made = table()
    print(f"tmm table {made.T.shape}: {perf_counter() - began:.1f} s")
    told = films(made, count, np.random.default_rng(SEED))
    began = perf_counter()
    misses, z, margins, seen, refused = [], [], [], [], Counter[str]()
    for d, nu, T in told:
        try:
            read = thickness(nu, T)
        except BadValue as refusal:
            refused[refusal.field] += 1
            continue
        misses.append(read.thickness_um - d)
        z.append(misses[-1] / read.sd_um)
        margins.append(read.margin)
        seen.append(read.visibility)
    took = (perf_counter() - began) / count
    miss = np.array(misses)
    order = 1e4 / (2 * 1.486 * 2350)
    for name, part in (("all", miss), ("normal wedge", miss[::2]), ("flat wedge", miss[1::2])):
        if not refused or name == "all":
            print(
                f"{name}: {part.size} read, bias {part.mean():+.4f} um, sd {part.std(ddof=1):.4f}, "
                f"largest {np.abs(part).max():.4f}, order slips {(np.abs(part) > order / 2).sum()}"
            )
    print(f"refused {dict(refused)}; {took * 1e3:.1f} ms a film; least margin {min(margins):.0f}")
    print(f"sd of miss / stated sd {np.std(z):.3f}; visibility {min(seen):.3f} to {max(seen):.3f}")
    nu, T = made.spectrum(72.0, 0.0, 0.0, flat=False)
    for effect in index_errors(nu, T):
        print(
            f"{effect.of} x {effect.factor:g}: "
            + (effect.refused if effect.change is None else f"{effect.change:+.4%}")
        )


if __name__ == "__main__":
    main()

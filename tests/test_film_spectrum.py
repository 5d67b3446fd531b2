"""Infrared fringes -> thickness, proved against tmm: every spectrum here is a sum of tmm.coh_tmm, none is our formula.

A spot's spectrum is the incoherent average of coherent ones over its thicknesses and over the instrument's line.
"""

import json
import re
import subprocess
import sys
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
import tmm
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum import (
    CAUTION,
    POLYSTYRENE,
    PP,
    Index,
    Input,
    Lorentz,
    Window,
    absorption,
    averaging,
    brewster_deg,
    brewster_path,
    calibrated,
    contrast,
    fringe_swing,
    from_fringes,
    index_errors,
    reflectance,
    thickness,
    transmittance,
)
from reelmark.stations.film.spectrum.given import taken
from reelmark.stations.film.spectrum.start import first_thickness

Floats = NDArray[np.float64]
ORDER_UM = 1e4 / (2 * 1.486 * 2350)  # closed form, 1/(2 n nu) in the middle of the window
MADE = Input(0.0, "made up for this test")
FLAT = Index("flat", Input(1.48, "made up for this test"), (), MADE, MADE)


def through(index: Index, d_um: float, wavenumber_cm1: Floats) -> Floats:
    """tmm 0.2.0, coherent, normal incidence, air on both sides."""
    told = zip(wavenumber_cm1, index.complex_n(wavenumber_cm1), strict=True)
    return np.array([tmm.coh_tmm("s", [1, n, 1], [np.inf, d_um, np.inf], 0, 1e4 / v)["T"] for v, n in told])


@dataclass
class Spots:
    """tmm spectra on a grid of thicknesses, 2 1/cm apart; a cubic between them."""

    nu: Floats
    between: Any

    def seen(
        self, d_um: float, wedge_um: float = 0.3, flat: bool = False, noise: float = 0.005, rng: Any = None
    ) -> tuple[Floats, Floats]:
        """(1/cm, T): root mean square wedge, uniform or normal; triangular line 4 1/cm wide at half; noise."""
        line = 2
        places = (np.arange(31) - 15) / 15.5 * np.sqrt(3) if flat else np.linspace(-3, 3, 31)
        weights = np.ones(31) if flat else np.exp(-(places**2) / 2)
        T = weights @ self.between(d_um + wedge_um * places) / weights.sum()
        shape = np.convolve(np.ones(line), np.ones(line)) / line**2
        kept = self.nu[line - 1 : self.nu.size - line + 1]
        T = np.convolve(T, shape, "valid")
        return kept, T if rng is None else T + rng.normal(0, noise, T.size)


@pytest.fixture(scope="module")
def spots():
    nu, d = np.arange(1996.0, 2705.0, 2.0), np.arange(63.5, 81.6, 0.12)
    return Spots(nu, CubicSpline(d, np.array([through(PP, one, nu) for one in d])))


@pytest.fixture(scope="module")
def good(spots):
    """One good spectrum of 72 um."""
    return spots.seen(72.0, rng=np.random.default_rng(72))


# ---- the film's formula


def test_closed_form_and_series_are_those_of_tmm():
    nu = np.arange(2000.0, 3334.0, 4.0)  # through the CH bands: absorption and strong dispersion
    truth = through(PP, 72.0, nu)
    assert np.abs(transmittance(nu, 72.0, FLAT) - through(FLAT, 72.0, nu)).max() < 1e-13
    assert np.abs(transmittance(nu, 72.0, PP) - truth).max() < 1e-13
    assert truth.min() < 1e-8  # saturated CH bands
    window = nu <= 2700  # k is 0.001 and less; the series leaves it out of R
    assert np.abs(transmittance(nu, 72.0, PP, line_cm1=1e-9) - truth)[window].max() < 2e-4
    assert np.abs(transmittance(nu, 72.0, FLAT, line_cm1=1e-9) - through(FLAT, 72.0, nu)).max() < 1e-13


def test_wedge_and_line_against_an_average_of_tmm_spectra():
    nu, places = np.arange(2300.0, 2401.0, 5.0), np.linspace(-4, 4, 41)
    weights = np.exp(-(places**2) / 2) / np.exp(-(places**2) / 2).sum()
    wedged = sum(w * through(PP, 72.0 + 0.3 * p, nu) for w, p in zip(weights, places, strict=True))
    assert transmittance(nu, 72.0, PP, wedge_um=0.3) == pytest.approx(wedged, abs=2e-5)
    width = 4 / (2 * np.sqrt(2 * np.log(2)))
    lined = sum(w * through(PP, 72.0, nu + width * p) for w, p in zip(weights, places, strict=True))
    assert transmittance(nu, 72.0, PP, line_cm1=4.0) == pytest.approx(lined, abs=2e-4)  # n_g held over the line


def test_numbers_of_the_notes():
    """Own earlier computation (film notes, section 3), n = 1.48 without dispersion; recomputed here by hand."""
    assert float(reflectance(1.48)) == pytest.approx(0.037461, abs=5e-7)
    dark = (1 - 0.037461) ** 2 / (1 + 0.037461) ** 2
    assert dark == pytest.approx(0.86078, abs=5e-6)
    assert transmittance(np.arange(2350, 2400, 0.01), 72.0, FLAT).min() == pytest.approx(dark, abs=1e-6)
    bright = [nu for nu in np.arange(2300, 2400, 0.01) if transmittance([nu], 72.0, FLAT)[0] > 1 - 1e-7]
    assert max(bright) - min(bright) == pytest.approx(46.922, abs=0.1)
    for wedge, left in ((0.3, 0.423), (0.6, 0.032), (1.0, 7e-5)):
        assert contrast(np.array([2350.0]), 72.0, FLAT, wedge)[0] == pytest.approx(left, rel=0.02)


def test_group_index_is_the_slope_of_n_nu():
    nu = np.linspace(2000, 2700, 15)
    slope = (PP.n(nu + 0.01) * (nu + 0.01) - PP.n(nu - 0.01) * (nu - 0.01)) / 0.02  # central difference
    assert PP.group(nu) == pytest.approx(slope, abs=1e-7)
    # n_g/n0 = 1.01901 by own earlier computation; our bands are set to it, so this holds the setting, not the film.
    assert float(PP.group(2350.0)) / 1.48 == pytest.approx(1.01901, abs=1e-4)


# ---- fringes counted by hand


@pytest.mark.parametrize(
    ("count", "first", "last", "n", "um"),
    [
        # Published: application note 0502 on free-standing films, studylib.net/doc/18206962: 9 fringes, 38.25 um.
        # The excerpt does not print n; 1.59 is from memory.
        (9, 2776.51, 2036.60, 1.59, 38.25),
        # Worked examples in a public sheet, scribd.com/doc/81646730, ends in 1/cm as printed there.
        (16, 23809.52, 13071.9, 1.51, 4.93406277),
        (36, 19230.77, 15151.52, 1.59, 27.75202156),
    ],
)
def test_published_fringe_counts(count, first, last, n, um):
    assert from_fringes(count, first, last, n) == pytest.approx(um, rel=1.5e-5)


def test_the_published_polystyrene_film_is_read_from_its_spectrum():
    """tmm film of the published 38.25 um: the fringes between the published ends are 9, and the fit reads 38.25."""
    nu = np.arange(2000.0, 2800.0, 2.0)
    read = thickness(nu, through(POLYSTYRENE, 38.25, nu), POLYSTYRENE, window=Window(2000, 2800), sought_um=(25, 60))
    assert read.thickness_um == pytest.approx(38.25, abs=0.002)
    assert read.sd_um < 5e-4  # both harmonics are in the fit: nothing is left over of a parallel film
    assert read.fringes * (2776.51 - 2036.60) / (nu[-1] - nu[0]) == pytest.approx(9, abs=0.01)


# ---- the goal


def test_sixty_films_no_bias_and_no_slip(spots):
    """65 to 80 um, noise 0.5 %, 0.3 um rms wedge, 4 1/cm line; wedge flat and normal by turns.  1,000 in bench."""
    rng = np.random.default_rng(4)
    miss, sd = [], []
    for k in range(60):
        d = rng.uniform(65, 80)
        read = thickness(*spots.seen(d, flat=bool(k % 2), rng=rng))
        miss.append(read.thickness_um - d)
        sd.append(read.sd_um)
        assert read.order in {int(2 * 2350 * float(PP.n(2350)) * d * 1e-4 + up) for up in (0.45, 0.55)}
        assert 0.2 < read.visibility < 0.5
    assert np.abs(miss).max() < 0.05 < ORDER_UM / 2
    assert abs(np.mean(miss)) < 0.02
    assert 0.7 < np.std(miss) / np.mean(sd) < 1.4  # the stated deviation is the true one


def test_the_transform_alone_names_the_order(spots):
    """Good to half an order is needed; n_g enters by the axis, so that no bias of 2 % stays."""
    rng = np.random.default_rng(8)
    for d in np.linspace(65, 80, 12):
        nu, T = spots.seen(float(d), rng=rng)
        spectrum = taken(nu, T, PP, Window(), (40.0, 200.0))
        assert first_thickness(spectrum, (40.0, 200.0)) == pytest.approx(d, abs=ORDER_UM / 3)


def test_stated_deviation_holds_for_noise_that_goes_together(spots):
    """A file written with zero filling: neighbouring points share their noise."""
    rng, miss, sd = np.random.default_rng(5), [], []
    for _ in range(25):
        nu, T = spots.seen(70.0)
        noise = np.convolve(rng.normal(0, 0.005, T.size + 2), (0.5, 1, 0.5), "valid")
        read = thickness(nu, T + noise)
        miss.append(read.thickness_um - 70.0)
        sd.append(read.sd_um)
    assert 0.6 < np.std(miss) / np.mean(sd) < 1.4


def test_falling_wavenumbers_and_uneven_steps_read_alike(good):
    nu, T = good
    read = thickness(nu, T)
    assert thickness(nu[::-1], T[::-1]) == read
    some = np.random.default_rng(0).random(nu.size) > 0.3
    assert thickness(nu[some], T[some]).thickness_um == pytest.approx(read.thickness_um, abs=4 * read.sd_um)


def with_air(nu: Floats, T: Floats, depth: float) -> Floats:
    """The air's carbon dioxide on it: two branches beside 2349 1/cm, some 20 1/cm wide each (from memory)."""
    band = sum(np.exp(-(((nu - at) / 11) ** 2) / 2) for at in (2335.0, 2361.0))
    return np.asarray(T * np.exp(-depth * band))


@pytest.mark.parametrize("depth", [0.05, 0.2, 0.5, 1.5])
def test_the_airs_carbon_dioxide_is_left_out_and_said(spots, depth):
    rng = np.random.default_rng(int(100 * depth))
    miss = []
    for d in np.linspace(65.3, 79.7, 16):
        nu, T = spots.seen(float(d), rng=rng)
        read = thickness(nu, with_air(nu, T, depth))
        miss.append(read.thickness_um - d)
        assert any("2280 to 2400 1/cm" in note and "from memory" in note for note in read.notes)
        clear = thickness(nu, T)
        assert not any("left out" in note for note in clear.notes)
    assert abs(np.mean(miss)) < 0.02
    assert np.abs(miss).max() < 0.06


def test_what_is_left_out_is_an_input(good):
    nu, T = good
    whole = thickness(nu, T, window=Window(leave_out=()))
    assert not any("left out" in note for note in whole.notes)
    assert whole.thickness_um == pytest.approx(72.0, abs=0.03)
    narrow = thickness(nu, with_air(nu, T, 0.2), window=Window(leave_out=((2300, 2390), (2690, 2900))))
    assert narrow.thickness_um == pytest.approx(72.0, abs=0.03)
    assert any("2300 to 2390, 2690 to 2900" in note for note in narrow.notes)
    with pytest.raises(BadValue, match="points lie in the window 2000 to 2700 1/cm without 2001 to 2699"):
        thickness(nu, T, window=Window(leave_out=((2001, 2699),)))
    with pytest.raises(BadValue, match="leave_out"):
        Window(leave_out=((2400, 2280),))


@pytest.mark.parametrize("d_um", [20.0, 25.0, 30.0, 39.0, 202.0, 250.0, 400.0])
def test_a_film_outside_the_range_searched_is_told_with_the_range(d_um):
    """tmm films thinner and thicker than 40 to 200 um: told as such, and read when the range is widened."""
    nu = np.arange(2000.0, 2701.0, 1.0)
    T = through(PP, d_um, nu) + np.random.default_rng(int(d_um)).normal(0, 0.003, nu.size)
    with pytest.raises(BadValue, match=r"^sought_um = '40 to 200 um'.*widen it") as no:
        thickness(nu, T)
    told = float(re.findall(r"(?:about|at) ([0-9.]+) um", no.value.true)[0])
    assert told == pytest.approx(d_um, abs=0.5)
    assert thickness(nu, T, sought_um=(d_um / 1.3, d_um * 1.3)).thickness_um == pytest.approx(d_um, abs=0.05)


def test_faint_fringes_name_the_range_searched(spots):
    with pytest.raises(BadValue, match="40 to 200 um were searched"):
        thickness(*spots.seen(72.0, wedge_um=0.6, rng=np.random.default_rng(3)))


def test_the_index_is_an_input():
    film = PP.over("our sample 3", n0=1.5, relative_sd=0.001, strength=1.1)
    assert (film.n0.value, film.n0.source, film.birefringence) == (1.5, "our sample 3", PP.birefringence)
    assert film.bands[0].strength.value == pytest.approx(1.1 * 15_600)
    with pytest.raises(BadValue, match="take one of n0"):
        PP.over("our sample 3", colour=1.0)


def test_reading_states_index_and_birefringence(good):
    read = thickness(*good)
    assert read.index_um == pytest.approx(0.003 * 72, rel=1e-3)
    assert read.birefringence_um == pytest.approx(0.01 / 1.486 * 72, rel=1e-3)
    assert read.combined_sd_um == pytest.approx(np.hypot(np.hypot(read.sd_um, 0.216), 0.4846 / 12**0.5), rel=1e-3)
    assert read.wedge_um == pytest.approx(0.3, abs=0.05)
    assert any("from memory" in note for note in read.notes)
    assert read.notes[-1] == CAUTION


# ---- what a wrong index does


def test_index_half_a_percent_high_reads_low_and_leaves_no_trace(spots):
    nu, T = spots.seen(72.0, wedge_um=0.0)
    effects = {(e.of, e.factor): e for e in index_errors(nu, T)}
    assert effects["n", 1.005].change == pytest.approx(-0.004975, abs=2e-6)  # closed form 1/1.005 - 1
    assert effects["n", 0.995].change == pytest.approx(1 / 0.995 - 1, abs=2e-6)
    assert effects["bands", 1.1].change == pytest.approx(0, abs=0.001)
    assert effects["bands", 0.0].change is None


@pytest.mark.parametrize("strength", [0.0, 0.4, 0.6, 1.4, 1.7, 2.0])
@pytest.mark.parametrize("wedge", [0.1, 0.3, 0.4])
def test_wrong_dispersion_is_refused_never_read_an_order_off(spots, strength, wedge):
    rng = np.random.default_rng(int(10 * strength + 100 * wedge))
    for d in (66.0, 70.7, 79.0):
        nu, T = spots.seen(d, wedge, rng=rng)
        with pytest.raises(BadValue, match=r"^(thickness_um|visibility) "):
            thickness(nu, T, PP.stronger(strength))


def test_an_index_is_calibrated_on_a_weighed_film(spots):
    wrong = PP.stronger(0.6).scaled(1.004)
    nu, T = spots.seen(72.0, wedge_um=0.1, rng=np.random.default_rng(1))
    film = calibrated(nu, T, 72.0, 0.1, wrong, "sample 1")
    assert film.bands[0].strength.value == pytest.approx(15_600, rel=0.1)
    assert "sample 1" in film.n0.source
    assert film.relative_sd.value == pytest.approx(0.1 / 72)
    other_nu, other_T = spots.seen(66.5, rng=np.random.default_rng(2))
    assert thickness(other_nu, other_T, film).thickness_um == pytest.approx(66.5, abs=0.05)
    with pytest.raises(BadValue, match="an order is 1"):
        calibrated(nu, T, 72.0, 0.5, wrong, "micrometer")


# ---- refusals


def test_wedge_too_large_is_refused_with_the_cure(spots):
    with pytest.raises(BadValue, match=r"visibility = 0\.0\d+: .*smaller spot"):
        thickness(*spots.seen(72.0, wedge_um=0.6, rng=np.random.default_rng(3)))


def test_faint_fringes_are_refused_however_little_noise(spots):
    nu, T = spots.seen(72.0, wedge_um=0.45, flat=True, noise=2e-4, rng=np.random.default_rng(3))
    with pytest.raises(BadValue, match=r"below 0\.1 they cannot be read"):
        thickness(nu, T)


def test_noise_alone_is_refused():
    rng, nu = np.random.default_rng(6), np.arange(2000.0, 2701.0, 2.0)
    for _ in range(10):
        with pytest.raises(BadValue, match=r"^(visibility|thickness_um|sought_um) "):
            thickness(nu, 0.92 + rng.normal(0, 0.01, nu.size))


def test_noise_that_could_pass_for_fringes_is_refused():
    rng, nu = np.random.default_rng(9), np.arange(2000.0, 2701.0, 2.0)
    with pytest.raises(BadValue, match="do not stand out of the noise"):
        thickness(nu, 0.8 + rng.normal(0, 0.05, nu.size))


def test_neighbouring_order_is_refused_where_noise_hides_the_choice(spots):
    with pytest.raises(BadValue, match="fits nearly as well"):
        thickness(*spots.seen(72.0, noise=0.05, rng=np.random.default_rng(10)))


def _with(row: Floats, at: int, value: float) -> Floats:
    changed = row.copy()
    changed[at] = value
    return changed


BAD: dict[str, Any] = {
    "too short": (lambda nu, T: (nu[:80], T[:80]), "fringes of 40 um"),
    "too few": (lambda nu, T: (nu[:20], T[:20]), "40 are the least"),
    "outside": (lambda nu, T: (nu + 2000, T), "points lie in the window"),
    "too coarse": (lambda nu, T: (nu[::8], T[::8]), "needs a point every"),
    "unsorted": (lambda nu, T: (_with(nu, 7, nu[3] + 1), T), "not in order"),
    "twice": (lambda nu, T: (_with(nu, 7, nu[6]), T), "stands twice"),
    "wavelengths": (lambda nu, T: (1e4 / nu, T), "wavelengths in um"),
    "percent": (lambda nu, T: (nu, 100 * T), "divide by 100"),
    "above one": (lambda nu, T: (nu, 1.3 * T), "0 to 1 through"),
    "absorbance": (lambda nu, T: (nu, -np.log10(T)), "10.-absorbance"),
    "dead": (lambda nu, T: (nu, np.full(T.size, 0.9)), "dead detector"),
    "no number": (lambda nu, T: (nu, _with(T, 9, np.nan)), "row 10 is no number"),
    "infinite": (lambda nu, T: (_with(nu, 9, np.inf), T), "row 10 is no number"),
    "clipped": (lambda nu, T: (nu, np.minimum(T, np.quantile(T, 0.8))), "saturated or stuck"),
    "opaque": (lambda nu, T: (nu, T * 1e-3), "nothing comes through"),
    "unequal": (lambda nu, T: (nu, T[1:]), "each wavenumber has one"),
}


@pytest.mark.parametrize("kind", BAD)
def test_bad_spectra_each_get_their_own_error(good, kind):
    spoil, said = BAD[kind]
    with pytest.raises(BadValue, match=said):
        thickness(*spoil(*good))


def test_too_coarse_too_short_for_the_film_sought_says_what_it_needs(good):
    nu, T = good
    with pytest.raises(BadValue, match="must rise"):
        thickness(nu, T, sought_um=(80, 60))
    with pytest.raises(BadValue, match="must rise"):
        Window(2700, 2000)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Input(1.48, " "), "without a source"),
        (lambda: Input(float("nan"), "x"), "finite"),
        (lambda: replace(PP, n0=Input(1.0, "x")), "no surface"),
        (lambda: replace(PP, relative_sd=Input(0.5, "x")), "between 0 and 0.2"),
        (lambda: Lorentz(Input(0.0, "x"), Input(1.0, "x"), Input(1.0, "x")), "above 0"),
        (lambda: Lorentz(Input(1.0, "x"), Input(-1.0, "x"), Input(1.0, "x")), "amplifies"),
        (lambda: PP.n([0.0]), "above 0"),
        (lambda: transmittance([2350.0], 0.0, PP), "thicker than 0"),
        (lambda: contrast(np.array([2350.0]), 70.0, PP, -0.1), "not negative"),
        (lambda: from_fringes(0, 2000, 2700, 1.5), "above 0"),
        (lambda: from_fringes(9, 2000, 2000, 1.5), "two ends"),
    ],
)
def test_impossible_inputs_are_refused(make, said):
    with pytest.raises(BadValue, match=said):
        make()


# ---- absorption gauge

BAND = Input(0.5 / 72, "made up for this test")


def test_fringe_swing_and_averaging_of_the_notes():
    """Own earlier computation (film notes, section 3): n = 1.48, 72 um."""
    for absorbance, swing in ((0.3, 0.185), (0.5, 0.091), (1.0, 0.028)):
        assert fringe_swing(absorbance, 1.48) == pytest.approx(swing, abs=6e-4)
    for width, left in ((40, 0.167), (100, 0.060), (200, 0.055)):
        assert averaging(72.0, 1.48, width) == pytest.approx(left, abs=6e-4)


def _film(n: float, k: float, d: float, angle: float = 0.0, pol: str = "s") -> float:
    wavenumber = 2350.0
    return tmm.coh_tmm(pol, [1, complex(n, k), 1], [np.inf, d, np.inf], np.radians(angle), 1e4 / wavenumber)["T"]  # type: ignore[no-any-return]


def test_brewster_angle_has_no_reflection_and_the_longer_path():
    angle = brewster_deg(1.48)
    assert angle == pytest.approx(55.954, abs=5e-4)  # arctan 1.48
    assert brewster_path(1.48) == pytest.approx(1.20687, abs=5e-6)
    lossless = tmm.coh_tmm("p", [1, 1.48, 1], [np.inf, 72.0, np.inf], np.radians(angle), 4.3)
    assert lossless["R"] < 1e-25
    k = 0.5 / (4 * np.pi * 0.235 * 72)  # a d = 0.5 straight through
    assert -np.log(_film(1.48, k, 72.0, angle, "p")) == pytest.approx(0.5 * brewster_path(1.48), rel=1e-4)


def test_swing_stated_is_the_swing_tmm_shows_and_the_cure_has_none():
    k = 0.5 / (4 * np.pi * 0.235 * 72)
    films = np.linspace(70.5, 73.5, 61)  # two orders
    plain = [absorption(_film(1.48, k, d), BAND, 2350.0, FLAT) for d in films]
    share = np.array([one.thickness_um for one in plain]) / films - 1
    assert np.abs(share).max() == pytest.approx(0.091, abs=0.004)
    assert all(one.fringe_um >= abs(one.thickness_um - d) * 0.9 for one, d in zip(plain, films, strict=True))
    angle = brewster_deg(1.48)
    cured = [absorption(_film(1.48, k, d, angle, "p"), BAND, 2350.0, FLAT, brewster=True) for d in films]
    assert [one.thickness_um for one in cured] == pytest.approx(list(films), rel=2e-4)
    assert all(one.fringe_um == 0 for one in cured)
    wide = absorption(_film(1.48, k, 72.0), BAND, 2350.0, FLAT, width_cm1=100)
    assert wide.fringe_um < 0.2 * plain[30].fringe_um
    assert wide.sd_um == pytest.approx(0.005 / _film(1.48, k, 72.0) / BAND.value)


def test_absorption_allows_for_the_light_the_faces_turn_back():
    """tmm.inc_tmm: the film without interference, as a filter much wider than a fringe sees it."""
    n = complex(1.48, 0.5 / (4 * np.pi * 0.235 * 72))
    T = tmm.inc_tmm("s", [1, n, 1], [np.inf, 72.0, np.inf], ["i", "i", "i"], 0, 1e4 / 2350)["T"]
    assert absorption(T, BAND, 2350.0, FLAT).thickness_um == pytest.approx(72.0, rel=1e-5)


def test_saturated_ch_band_is_refused():
    """The CH band at 2919 1/cm through 65 um and more lets 1e-8 and less through; a detector shows stray light."""
    assert through(PP, 65.0, np.array([2919.0]))[0] < 1e-7
    with pytest.raises(BadValue, match=r"saturated.*CH at 3\.4 um"):
        absorption(0.004, Input(float(PP.absorption_per_um(2919.0)), "model"), 2919.0, PP)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: absorption(89.0, BAND, 2350.0, PP), "between 0 and 1"),
        (lambda: absorption(0.99, BAND, 2350.0, PP), "takes nothing"),
        (lambda: absorption(0.86, BAND, 2350.0, PP), r"fringes move.*p-polarised"),
        (lambda: absorption(0.5, Input(0.0, "x"), 2350.0, PP), "a band absorbs"),
        (lambda: absorption(0.5, BAND, 2350.0, PP, noise=0.0), "every detector"),
        (lambda: fringe_swing(0.0, 1.48), "no thickness"),
        (lambda: averaging(72.0, 1.48, -1.0), "not negative"),
    ],
)
def test_absorption_refuses(call, said):
    with pytest.raises(BadValue, match=said):
        call()


# ---- on the command line


@pytest.fixture(scope="module")
def file(spots, tmp_path_factory):
    """72 um with the air's carbon dioxide on it, as an instrument's file."""
    nu, T = spots.seen(72.0, rng=np.random.default_rng(12))
    at = tmp_path_factory.mktemp("spectra") / "s.csv"
    rows = zip(nu, with_air(nu, T, 0.4), strict=True)
    at.write_text("wavenumber_cm1,transmittance\n" + "".join(f"{v},{t}\n" for v, t in rows), encoding="utf-8")
    return at


def command(at: Any, *words: str, code: int = 0) -> Any:
    done = subprocess.run(
        [sys.executable, "-m", "reelmark", "film", "spectrum", str(at), *words, "--json"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == code, done.stdout + done.stderr
    return json.loads(done.stdout)


def test_the_command_leaves_out_finds_and_takes_another_index(file):
    for words in ((), ("--leave-out", "2280-2400"), ("--leave-out", "2300-2390", "--leave-out", "2010-2020")):
        told = command(file, *words)
        assert told["thickness_um"] == pytest.approx(72.0, abs=0.05)
        assert told["sought_um"] == [40, 200]
    half = command(file, "--index", "n0=1.4874", "--leave-out", "2280-2400")  # 0.5 % higher: reads 0.4975 % lower
    same = command(file, "--leave-out", "2280-2400")
    assert half["thickness_um"] / same["thickness_um"] == pytest.approx(1 / 1.005, abs=3e-4)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--thinnest", "80 um", "--thickest", "150 um"), "80 to 150 um"),
        (("--thinnest", "80 um", "--thickest", "70 um"), "the thinnest first"),
        (("--thickest", "200"), "no unit"),
        (("--leave-out", "2400-2280"), "lower first"),
        (("--leave-out", "2349"), "no stretch"),
        (("--leave-out", "none", "--leave-out", "2280-2400"), "none stands beside"),
        (("--leave-out", "nan-2400"), "does not rise"),
        (("--window", "2000"), "no stretch"),
        (("--index", "n0=0.5"), "between 1 and 3"),
        (("--index", "n0=inf"), "finite"),
        (("--index", "colour=1"), "take one of n0"),
    ],
)
def test_the_command_refuses_odd_questions(file, words, says):
    assert says in command(file, *words, code=1)["error"]

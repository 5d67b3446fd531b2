"""Traps of OpenCV 5.0 that the window station must not step into; and its threshold against pictures from outside.

Each trap was met and measured first in the project's notes on vision, 4b.  Where a later release mends one, the test
fails and says so: then the way round it may go.
"""

from typing import Any

import cv2
import numpy as np
import pytest
import skimage as _skimage

from reelmark.stations.window.inspect.find import otsu, patches

skimage: Any = _skimage  # it has no types of its own
data, filters = skimage.data, skimage.filters
measure, registration = skimage.measure, skimage.registration


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_phase_correlate_spoils_its_pictures_unless_given_copies(kind):
    rng = np.random.default_rng(1)
    a, b = rng.normal(size=(64, 64)).astype(kind), rng.normal(size=(64, 64)).astype(kind)
    kept = a.copy()
    window = cv2.createHanningWindow((64, 64), cv2.CV_32F if kind is np.float32 else cv2.CV_64F)
    cv2.phaseCorrelate(a.copy(), b.copy(), window)
    assert np.array_equal(a, kept)
    cv2.phaseCorrelate(a, b, window)
    assert not np.array_equal(a, kept), "phaseCorrelate no longer multiplies its input: copies are not needed"


def _shifted_ramp(kind: type, how: int, by: float) -> Any:
    ramp: Any = np.tile(np.arange(64, dtype=kind), (16, 1))
    move = np.array([[1, 0, -by], [0, 1, 0]], dtype=np.float64)
    return cv2.warpAffine(ramp, move, (64, 16), flags=how)[8, 20:40] - np.arange(20, 40)


def test_only_float32_linear_moves_a_ramp_rightly():
    """Closed form: a ramp moved by 0.1 px is 0.1 larger everywhere."""
    assert np.abs(_shifted_ramp(np.float32, cv2.INTER_LINEAR, 0.1) - 0.1).max() < 1e-4
    assert np.abs(_shifted_ramp(np.float32, cv2.INTER_CUBIC, 0.1) - 0.1).max() > 0.02
    assert np.abs(_shifted_ramp(np.float64, cv2.INTER_LINEAR, 0.1) - 0.1).max() > 1e-3


def test_find_non_zero_has_two_columns_in_5_and_three_axes_before():
    got = cv2.findNonZero(np.eye(3, dtype=np.uint8))
    assert got.reshape(-1, 2).shape == (3, 2)  # what to write, for both
    assert got.shape == (3, 2)


@pytest.mark.parametrize("gone", ["ml", "HOGDescriptor", "logPolar"])
def test_gone_in_5(gone):
    assert not hasattr(cv2, gone)


def test_put_text_refuses_float_pictures():
    with pytest.raises(cv2.error):
        cv2.putText(np.zeros((20, 40), np.float32), "1", (2, 15), cv2.FONT_HERSHEY_SIMPLEX, 0.5, 1.0)


def test_phase_correlate_iterative_is_kept_away_from():
    """opencv #29849: in float32 it may return -N/2; so nothing of ours calls it."""
    from pathlib import Path

    import reelmark

    files = list(Path(reelmark.__file__).parent.rglob("*.py"))
    assert files
    assert not [one for one in files if "cv2.phaseCorrelate" in one.read_text(encoding="utf-8")]


def test_otsu_as_scikit_image_has_it():
    """Coins of scikit-image: 107 in both packages (also the project's notes on vision, 8)."""
    for name in ("coins", "page", "camera"):
        picture = getattr(data, name)()
        ours = otsu(np.bincount(picture.ravel(), minlength=256).astype(float))
        assert ours == filters.threshold_otsu(picture)
    assert otsu(np.bincount(data.coins().ravel(), minlength=256).astype(float)) == 107


def test_patches_are_those_of_scikit_image_labels():
    """Coins, above Otsu: every labelled region of at least 3 x 3 px and no hole is a patch, area and middle alike."""
    picture: Any = cv2.GaussianBlur(data.coins(), (5, 5), 0)
    ours = patches(picture, 107.0, 1)
    theirs = [one for one in measure.regionprops(measure.label(picture > 107, connectivity=2)) if one.euler_number == 1]
    large = [one for one in theirs if one.area > 300]
    assert len(large) >= 10
    for one in large:
        off = np.hypot(ours.middle[:, 0] - one.centroid[1], ours.middle[:, 1] - one.centroid[0])
        assert off.min() < 0.35
        assert ours.area[off.argmin()] == pytest.approx(one.area, rel=0.03)


def test_documented_registration_example():
    """scikit-image's own example (plot_register_translation): camera moved by -22.4, 13.32 is found as 22.4, -13.32."""
    from scipy.ndimage import fourier_shift

    picture = data.camera().astype(float)
    moved = np.fft.ifftn(fourier_shift(np.fft.fftn(picture), (-22.4, 13.32))).real
    shift = registration.phase_cross_correlation(picture, moved, upsample_factor=100)[0]
    assert shift == pytest.approx([22.4, -13.32], abs=0.011)


def _slanted(spread: float, degrees: float) -> Any:
    """An edge through the middle of 64 x 64 px, its normal so many degrees off the rows; the pixel is a square."""
    from scipy.special import ndtr

    fine = (np.arange(64 * 8) + 0.5) / 8 - 32
    turn = np.radians(degrees)
    far = fine * np.cos(turn) + fine[:, None] * np.sin(turn)
    return 20 + 160 * ndtr(far / spread).reshape(64, 8, 64, 8).mean(axis=(1, 3))


def _mtf50_by_fourfold_bins(picture: Any, degrees: float) -> float:
    """ISO 12233's way: quarter-pixel bins along the normal, difference, Fourier; the bin and difference taken off."""
    at = np.arange(64) - 31.5
    turn = np.radians(degrees)
    far = at * np.cos(turn) + at[:, None] * np.sin(turn)
    bins = np.floor(4 * far + 0.5).astype(int) + 60
    near = (bins >= 0) & (bins <= 120)
    edge = np.bincount(bins[near], picture[near], 121) / np.maximum(np.bincount(bins[near], minlength=121), 1)
    f = np.linspace(0.02, 0.8, 400)
    line = np.diff(edge)
    mtf = np.abs(np.exp(-2j * np.pi * f[:, None] * np.arange(len(line)) / 4) @ line) / line.sum()
    mtf /= np.sinc(f / 4) ** 2
    return float(f[np.argmax(mtf < 0.5)])


@pytest.mark.parametrize("spread", [0.6, 0.8, 1.2])
def test_the_fitted_width_tells_the_mtf50_of_a_slanted_edge(spread):
    """Closed form: Gaussian sd s times the pixel's sinc; for the Gaussian alone sqrt(ln 2 / 2) / (pi s).

    The fitted s2 holds the pixel's 1/12; 2 % for that stand-in, and for the bins (project's notes on vision, 4: 0.8 %).
    """
    from scipy.optimize import brentq

    from reelmark.stations.window.inspect import mtf50
    from reelmark.stations.window.inspect.edges import fit_edges

    degrees = 5.0
    picture = _slanted(spread, degrees)
    truth = brentq(lambda f: np.exp(-2 * np.pi**2 * spread**2 * f**2) * np.sinc(f) - 0.5, 0.01, 0.9)
    start = np.rint(31.5 - (np.arange(64) - 31.5) * np.tan(np.radians(degrees))).astype(int)
    profiles = np.array([picture[r, start[r] - 9 : start[r] + 10] for r in range(64)])
    fitted = np.sqrt(fit_edges(profiles).var.mean()) * np.cos(np.radians(degrees))
    assert mtf50(fitted) == pytest.approx(truth, rel=0.02)
    assert _mtf50_by_fourfold_bins(picture, degrees) == pytest.approx(truth, rel=0.02)

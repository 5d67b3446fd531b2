"""Gauge studies: the 10 x 3 x 3 example of the AIAG manual, readings and results as public files carry them."""

import numpy as np
import pytest

from reelmark.errors import BadValue
from reelmark.measure.grr import average_range, crossed, nested

# Readings of the AIAG MSA manual's study (4th edition, by public files that carry it identically): a line is a part,
# three trials each of operators A, B, C.
STUDY = np.array(
    [
        [0.29, 0.41, 0.64, 0.08, 0.25, 0.07, 0.04, -0.11, -0.15],
        [-0.56, -0.68, -0.58, -0.47, -1.22, -0.68, -1.38, -1.13, -0.96],
        [1.34, 1.17, 1.27, 1.19, 0.94, 1.34, 0.88, 1.09, 0.67],
        [0.47, 0.50, 0.64, 0.01, 1.03, 0.20, 0.14, 0.20, 0.11],
        [-0.80, -0.92, -0.84, -0.56, -1.20, -1.28, -1.46, -1.07, -1.45],
        [0.02, -0.11, -0.21, -0.20, 0.22, 0.06, -0.29, -0.67, -0.49],
        [0.59, 0.75, 0.66, 0.47, 0.55, 0.83, 0.02, 0.01, 0.21],
        [-0.31, -0.20, -0.17, -0.63, 0.08, -0.34, -0.46, -0.56, -0.49],
        [2.26, 1.99, 2.01, 1.80, 2.12, 2.19, 1.77, 1.45, 1.87],
        [-1.36, -1.25, -1.31, -1.68, -1.62, -1.50, -1.49, -1.77, -2.16],
    ]
).reshape(10, 3, 3)


def test_crossed_study_gives_the_published_table() -> None:
    """Reference notes 2.2: SS, F, p, pooled components, % study variation, % of tolerance 8, ndc."""
    found = crossed(STUDY)
    assert [t.sum_squares for t in found.terms] == pytest.approx([88.3619, 3.1673, 0.3590, 2.7589], abs=6e-5)
    assert [t.df for t in found.terms] == [9, 2, 18, 60]
    assert found.f_interaction == pytest.approx(0.434, abs=6e-4)
    assert found.p_interaction == pytest.approx(0.974, abs=6e-4)
    assert found.pooled
    sizes = [found.repeat**2, found.reproduce**2, found.gauge**2, found.parts**2, found.total**2]
    assert sizes == pytest.approx([0.03997, 0.05146, 0.09143, 1.08645, 1.17788], abs=6e-6)
    assert 100 * found.of_total == pytest.approx(27.86, abs=6e-3)
    assert 100 * found.of_tolerance(8) == pytest.approx(22.68, abs=6e-3)
    assert found.categories == pytest.approx(4.86, abs=6e-3)


def test_average_and_range_gives_the_published_sheet() -> None:
    """Reference notes 2.2; the printed sheet rounds K1, K2, K3: .0002 of PV."""
    found = average_range(STUDY)
    assert np.ptp(STUDY, axis=2).mean() == pytest.approx(0.3417, abs=6e-5)
    assert np.ptp(STUDY.mean(axis=(0, 2))) == pytest.approx(0.4447, abs=6e-5)
    sigmas = (found.repeat, found.reproduce, found.gauge, found.parts, found.total)
    assert sigmas == pytest.approx((0.2019, 0.2297, 0.3058, 1.1046, 1.1461), abs=2e-4)
    assert 100 * found.of_total == pytest.approx(26.7, abs=0.05)
    assert int(found.categories) == 5


def test_unpooled_study_keeps_the_interaction() -> None:
    found = crossed(STUDY, pool_above=1)
    assert not found.pooled
    named = {c.name: c for c in found.components}
    assert named["interaction"].raw < 0  # F below 1: shown, not hidden
    assert found.reproduce**2 == pytest.approx(named["operator"].variance)


def test_nested_sums_are_those_of_the_crossed_study_added() -> None:
    """Identity: parts within operators hold the parts' and the interaction's sums, 88.3619 + .3590 on 9 + 18."""
    found = nested(np.swapaxes(STUDY, 0, 1))
    who, part, rest = found.terms
    assert who.sum_squares == pytest.approx(3.1673, abs=6e-5)
    assert part.sum_squares == pytest.approx(88.3619 + 0.3590, abs=1.1e-4)
    assert part.df == 27
    assert rest.sum_squares == pytest.approx(2.7589, abs=6e-5)


def test_sums_make_the_total() -> None:
    total = ((STUDY - STUDY.mean()) ** 2).sum()
    for found in (crossed(STUDY), nested(np.swapaxes(STUDY, 0, 1))):
        assert sum(t.sum_squares for t in found.terms) == pytest.approx(total, rel=1e-12)


def test_planted_sigmas_come_back() -> None:
    """Means over 150 studies of planted sigmas: repeat .2, operator .3, interaction .25, part 1 (variances, 10 %)."""
    sums = np.zeros(3)
    for seed in range(150):
        rng = np.random.default_rng(seed)
        x = rng.normal(0, 1, (12, 1, 1)) + rng.normal(0, 0.3, (1, 8, 1)) + rng.normal(0, 0.25, (12, 8, 1))
        found = crossed(x + rng.normal(0, 0.2, (12, 8, 3)))
        sums += found.repeat**2, found.reproduce**2, found.parts**2
    assert sums / 150 == pytest.approx([0.04, 0.09 + 0.0625, 1.0], rel=0.1)


def test_what_is_not_a_balanced_study_is_refused() -> None:
    holed = STUDY.copy()
    holed[3, 1, 0] = np.nan
    for x in (holed, STUDY[:, :, :1], STUDY[0]):
        with pytest.raises(BadValue, match="study"):
            crossed(x)

"""Analysis of variance against certified sets, closed forms, an independent library and planted components."""

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import scipy
from scipy import stats

from reelmark.errors import BadValue
from reelmark.measure.anova import one_way, two_way

STRD = Path(scipy.__file__).parent / "stats/tests/data/nist_anova"
SETS = ["SiRstv", "AtmWtAg", *(f"SmLs0{i}" for i in range(1, 10))]


@dataclass(frozen=True)
class Certified:
    """A set of the NIST Statistical Reference Datasets as it ships, values and groups with what is certified."""

    groups: np.ndarray
    values: np.ndarray
    between: float
    within: float
    f: float
    r_squared: float
    sd: float


def certified(name: str) -> Certified:
    file = STRD / f"{name}.dat"
    if not file.exists():
        pytest.skip("missing component: the NIST StRD files in the installed scipy (scipy/stats/tests/data/nist_anova)")
    lines = file.read_text(encoding="ascii", errors="replace").splitlines()
    head = "\n".join(lines[:60])
    numbers = [line.split()[-4:] for line in lines[40:60] if re.match(r"(Between|Within)", line)]
    data = np.array([line.split() for line in lines[60:] if line.strip()], dtype=float)
    r2, sd = (float(re.findall(rf"{what}\s+(\S+)", head)[0]) for what in ("R-Squared", "Deviation"))
    return Certified(data[:, 0], data[:, 1], float(numbers[0][1]), float(numbers[1][-2]), float(numbers[0][-1]), r2, sd)


def digits(found: float, true: float) -> float:
    return 15.0 if found == true else -np.log10(abs(found - true) / abs(true))


@pytest.mark.parametrize("name", SETS)
def test_certified_sets(name: str) -> None:
    """At least 10 digits up to SmLs06, 4 for SmLs07-09, whose data lose the rest when read as doubles."""
    true = certified(name)
    found = one_way(true.values, true.groups)
    wanted = 4 if name in ("SmLs07", "SmLs08", "SmLs09") else 10
    for got, want in [
        (found.within.sum_squares, true.within),
        (found.f, true.f),
        (found.r_squared, true.r_squared),
        (np.sqrt(found.within.mean_square), true.sd),
    ]:
        assert digits(got, want) >= wanted, (name, got, want)


@pytest.mark.parametrize("name", ["SiRstv", "AtmWtAg", "SmLs04", "SmLs05", "SmLs07", "SmLs08"])
def test_nothing_is_lost_but_what_the_doubles_lost(name: str) -> None:
    """Exact rational arithmetic on the data as read: 12 digits of both sums, where certified agree to 4 or 10."""
    true = certified(name)
    found = one_way(true.values, true.groups)
    parts: dict[float, list[Fraction]] = {}
    for label, value in zip(true.groups, true.values, strict=True):
        parts.setdefault(label, []).append(Fraction(float(value)))
    grand = sum((one for x in parts.values() for one in x), Fraction(0)) / len(true.values)
    means = {label: sum(x, Fraction(0)) / len(x) for label, x in parts.items()}
    between = sum(len(x) * (means[label] - grand) ** 2 for label, x in parts.items())
    within = sum((one - means[label]) ** 2 for label, x in parts.items() for one in x)
    assert digits(found.between.sum_squares, float(between)) >= 12
    assert digits(found.within.sum_squares, float(within)) >= 12


def test_sums_of_squares_taken_in_one_pass_fail_the_same_sets() -> None:
    """The check can fail: reference notes 2.2 give 1.5 digits at SmLs04-06 to the one-pass formula."""
    true = certified("SmLs05")
    labels, index = np.unique(true.groups, return_inverse=True)
    sums, sizes = np.bincount(index, true.values), np.bincount(index)
    between = np.sum(sums**2 / sizes) - true.values.sum() ** 2 / len(true.values)
    assert digits(between, true.between) < 4
    assert len(labels) == 9


def test_one_way_agrees_with_an_independent_library_for_unequal_groups() -> None:
    rng = np.random.default_rng(4)
    parts = [rng.normal(m, 1, n) for m, n in ((0, 5), (0.5, 9), (1, 3), (0, 12))]
    found = one_way(np.concatenate(parts), np.repeat(list("abcd"), [5, 9, 3, 12]))
    f, p = stats.f_oneway(*parts)
    assert (found.f, found.p) == pytest.approx((f, p), rel=1e-12)


def planted(m: int, n: int, seed: int, sd: tuple[float, float, float]) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return 75 + sd[0] * rng.normal(size=(m, 1)) + sd[1] * rng.normal(size=n) + sd[2] * rng.normal(size=(m, n))


def test_two_way_sums_are_the_definitions() -> None:
    """Reference notes 1.2, term by term, and the identity: the three sums make the total."""
    x = planted(7, 5, 1, (1, 1, 1))
    found = two_way(x)
    scan, lane, all_ = x.mean(axis=1), x.mean(axis=0), float(x.mean())
    rest = math.fsum((x[i, j] - scan[i] - lane[j] + all_) ** 2 for i in range(7) for j in range(5)) / (6 * 4)
    assert found.along.mean_square == pytest.approx(5 * ((scan - all_) ** 2).sum() / 6, rel=1e-12)
    assert found.across.mean_square == pytest.approx(7 * ((lane - all_) ** 2).sum() / 4, rel=1e-12)
    assert found.residual.mean_square == pytest.approx(rest, rel=1e-12)
    total = found.along.sum_squares + found.across.sum_squares + found.residual.sum_squares
    assert total == pytest.approx(((x - all_) ** 2).sum(), rel=1e-12)
    assert found.mean == pytest.approx(all_, rel=1e-15)
    assert found.two_sigma_scans == pytest.approx(2 * np.std(scan, ddof=1))
    assert found.two_sigma_lanes == pytest.approx(2 * np.std(lane, ddof=1))


def test_a_large_offset_costs_no_digits() -> None:
    x = np.round(planted(30, 8, 2, (0.5, 0.5, 0.2)) * 64) / 64  # exact in binary, and after the shift too
    plain, far = two_way(x), two_way(x + 2.0**40)
    for a, b in zip(plain.components, far.components, strict=True):
        assert b.raw == pytest.approx(a.raw, rel=1e-11)


def test_components_come_back_on_average() -> None:
    """200 tables of planted components: .09, .04, .01; each mean within 4 standard errors."""
    raws = np.array([[c.raw for c in two_way(planted(40, 20, s, (0.3, 0.2, 0.1))).components] for s in range(200)])
    error = raws.std(axis=0) / np.sqrt(200)
    assert (abs(raws.mean(axis=0) - [0.09, 0.04, 0.01]) < 4 * error).all()


def test_intervals_hold_as_often_as_they_say() -> None:
    """95 % of 400 tables; binomial sd 1.1 %.  Satterthwaite's are approximate."""
    hits = np.zeros(3)
    for s in range(400):
        found = two_way(planted(25, 12, s, (0.3, 0.2, 0.1))).components
        hits += [c.low <= true <= c.high for c, true in zip(found, (0.09, 0.04, 0.01), strict=True)]
    assert (hits / 400 > 0.92).all()
    assert (hits / 400 < 0.985).all()


def test_residual_interval_is_the_exact_one() -> None:
    found = two_way(planted(25, 12, 1, (0.3, 0.2, 0.1)))
    term, part = found.residual, found.components[2]
    low, high = (term.sum_squares / stats.chi2.ppf(p, 24 * 11) for p in (0.975, 0.025))
    assert (part.low, part.high) == pytest.approx((low, high), rel=1e-12)


def test_a_negative_component_is_shown_with_an_upper_end() -> None:
    """Tables without lane differences: half their raw components are negative; the upper end still covers 0."""
    found = [two_way(planted(20, 6, s, (0.3, 0.0, 0.1))).components[1] for s in range(60)]
    below = [one for one in found if one.raw < 0]
    assert 15 < len(below) < 50
    assert all(c.variance == 0 and c.low == 0 and c.high >= 0 and c.method == "Williams-Tukey" for c in below)
    assert any(c.high > 0 for c in below)


@pytest.mark.parametrize("sd", [0.01, 0.025, 0.05, 0.1])
def test_intervals_of_small_components_hold_as_often_as_they_say(sd: float) -> None:
    """Lane component sd^2 under a residual of .01, on 5 degrees of freedom: of 400 tables about 95 % must hold it."""
    held = [two_way(planted(20, 6, s, (0.3, sd, 0.1))).components[1] for s in range(400)]
    assert 0.92 < sum(c.low <= sd**2 <= c.high for c in held) / 400 < 0.985


def test_fewer_effective_scans_widen_the_along_interval_only() -> None:
    x = planted(60, 10, 3, (0.3, 0.2, 0.1))
    all_, few = two_way(x), two_way(x, scans=20)
    assert few.components[0].high > all_.components[0].high
    assert few.components[0].raw == all_.components[0].raw
    assert few.components[1:] == all_.components[1:]


def test_a_rotating_die_falls_into_the_residual() -> None:
    """Reference notes 1.3: a mark that wanders over the lanes is neither along nor across."""
    scan, lane = np.arange(120)[:, None], np.arange(40)
    die = 0.4 * np.cos(2 * np.pi * (lane / 40 + scan / 60))
    found = two_way(75 + die)
    assert found.components[2].raw == pytest.approx(0.08, rel=0.05)
    assert max(found.components[0].variance, found.components[1].variance) < 1e-12


@pytest.mark.parametrize(
    ("x", "said"), [(np.full((4, 4), np.nan), "not finite"), (np.ones((1, 9)), "needs 2"), (np.ones(9), "two direct")]
)
def test_tables_that_cannot_be_parted_are_refused(x: np.ndarray, said: str) -> None:
    with pytest.raises(BadValue, match=said):
        two_way(x)


def test_a_dead_detector_has_no_variance_and_no_test() -> None:
    found = two_way(np.full((5, 4), 75.0))
    assert [c.raw for c in found.components] == [0, 0, 0]
    assert np.isnan(found.p_along)


def test_one_group_or_single_readings_are_refused() -> None:
    for labels in (["a"] * 4, ["a", "b", "c", "d"], ["a", "b"]):
        with pytest.raises(BadValue, match="groups"):
            one_way([1.0, 2.0, 3.0, 4.0], labels)

"""Spectrum and waves: an independent library, closed forms of the errors, planted waves, noise that holds none."""

import numpy as np
import pytest
from scipy.signal import lfilter, lombscargle

from reelmark.errors import BadValue
from reelmark.measure import spectrum as sp
from reelmark.measure import waves
from reelmark.measure.elements import alias, elements


def uneven(n: int, seed: int, stretch: float = 1000.0) -> tuple[np.ndarray, np.random.Generator]:
    rng = np.random.default_rng(seed)
    return np.sort(rng.uniform(0, stretch, n)), rng


@pytest.mark.parametrize("n", [30, 400, 4000])
@pytest.mark.parametrize("weighted", [False, True])
def test_power_is_that_of_the_independent_library(n: int, weighted: bool) -> None:
    """scipy.signal.lombscargle sums directly, with floating mean and weights."""
    t, rng = uneven(n, n)
    y = np.sin(2 * np.pi * t / 37) + rng.normal(size=n) + 40
    w = rng.uniform(0.2, 3, n) if weighted else None
    seen = sp.spectrum(t + 1.7e9, y, 6, w=w)  # clock times: stamps since 1970
    true = lombscargle(t, y, 2 * np.pi * seen.frequency, weights=w, floating_mean=True, normalize=True)
    assert abs(seen.power - true).max() < 2e-6  # the stamps themselves are rounded to 2e-7 s
    here = sp.spectrum(t, y, 6, w=w)
    assert abs(here.power - lombscargle(t, y, 2 * np.pi * here.frequency, weights=w, floating_mean=True,
                                        normalize=True)).max() < 1e-8  # fmt: skip


def test_a_pure_wave_has_power_one_at_its_period() -> None:
    t, _ = uneven(500, 1)
    seen = sp.spectrum(t, 75 + 0.3 * np.cos(2 * np.pi * t / 50), 10, oversample=80)
    assert seen.power.max() == pytest.approx(1, abs=1e-4)
    assert seen.period[seen.power.argmax()] == pytest.approx(50, rel=0.005)


def test_false_alarm_level_is_met_as_often_as_asked() -> None:
    """300 rows of white noise, 10 % asked: Baluev's is an upper bound, tight here; binomial sd 1.7 %."""
    met = 0
    for seed in range(300):
        t, rng = uneven(150, seed)
        seen = sp.spectrum(t, rng.normal(size=150), 10)
        met += seen.power.max() > sp.false_alarm_level(seen, 0.1)
    assert 0.03 < met / 300 < 0.15
    assert sp.false_alarm(sp.false_alarm_level(seen, 0.1), seen) == pytest.approx(0.1, rel=1e-6)


def test_false_alarm_of_one_place_is_the_beta_law() -> None:
    """Power of white noise at one frequency is Beta(1, (n - 3)/2), closed form: the spectrum's own scale."""
    powers = []
    for seed in range(400):
        t, rng = uneven(60, seed)
        powers.append(sp.spectrum(t, rng.normal(size=60), 100, 400).power[3])
    assert np.mean(powers) == pytest.approx(2 / 59, rel=0.15)


def test_period_and_its_error_are_the_closed_form() -> None:
    """Montgomery & O'Donoghue 1999: se = sqrt(6/n) sigma P^2/(pi T A); 60 rows scatter as much as they say."""
    found = []
    for seed in range(60):
        t, rng = uneven(800, seed)
        (one,) = waves.fit(t, 75 + 0.5 * np.cos(2 * np.pi * t / 37 - 1) + rng.normal(0, 0.4, 800), [37.3])
        found.append(one)
    theory = np.sqrt(6 / 800) * 0.4 * 37**2 / (np.pi * 1000 * 0.5)
    assert np.mean([one.period_se for one in found]) == pytest.approx(theory, rel=0.05)
    assert np.std([one.period for one in found]) == pytest.approx(theory, rel=0.3)
    assert np.mean([one.amplitude for one in found]) == pytest.approx(0.5, abs=0.01)
    assert np.std([one.amplitude for one in found]) == pytest.approx(found[0].amplitude_se, rel=0.35)
    assert found[0].amplitude_se == pytest.approx(0.4 * np.sqrt(2 / 800), rel=0.08)  # closed form


def test_harmonics_and_two_waves_come_back_together() -> None:
    t, rng = uneven(3000, 5)
    shape = 0.5 * np.cos(2 * np.pi * t / 37) + 0.2 * np.sin(4 * np.pi * t / 37)
    one, two = waves.fit(t, shape + rng.normal(0, 0.1, 3000) + 0.3 * np.cos(2 * np.pi * t / 61), [37.2, 60.5], 2)
    assert one.period == pytest.approx(37, abs=4 * one.period_se)
    assert two.period == pytest.approx(61, abs=4 * two.period_se)
    assert np.hypot(one.cosines[1], one.sines[1]) == pytest.approx(0.2, abs=0.015)
    assert one.variance == pytest.approx(0.5**2 / 2 + 0.2**2 / 2, abs=0.01)
    assert one.at(t) == pytest.approx(shape, abs=0.03)


def test_the_phase_is_the_place_of_the_crest() -> None:
    t = np.linspace(0, 1000, 2001)
    (one,) = waves.fit(t, np.cos(2 * np.pi * (t - 12) / 40), [40.3])
    crest = one.origin + one.phase / (2 * np.pi) * one.period
    assert (crest - 12) % 40 == pytest.approx(0, abs=1e-6) or (crest - 12) % 40 == pytest.approx(40, abs=1e-6)


def zigzag(scans: int = 240, lanes: int = 40) -> tuple[np.ndarray, np.ndarray]:
    """Stamps and lanes of a head that takes 20 s to cross and 2 s to turn (reference notes 1.4, assumed figures)."""
    there = np.arange(lanes)
    t = np.concatenate([22 * i + (there + 0.5) * 0.5 for i in range(scans)])
    lane = np.concatenate([there if i % 2 == 0 else there[::-1] for i in range(scans)])
    return t, lane


def test_the_wave_that_scan_means_show_at_a_wrong_period_is_found_at_its_own() -> None:
    """Reference notes 1.4: 37 s is found from the stamps; scan means, Nyquist period 44 s, show 54.3 s."""
    t, lane = zigzag()
    rng = np.random.default_rng(1)
    slow = np.asarray(lfilter([1], [1, -0.97], rng.normal(size=240)))
    y = 75 + 0.45 * np.cos(2 * np.pi * t / 37) + 0.12 * slow[(t // 22).astype(int)] + rng.normal(0, 0.18, len(t))
    (one,) = waves.find(t, y, 10, 400).waves
    assert one.period == pytest.approx(37.00, abs=max(0.02, 4 * one.period_se))
    assert one.amplitude == pytest.approx(0.45, abs=4 * one.amplitude_se)
    means = y.reshape(240, 40).mean(axis=1)
    shown = sp.spectrum(22.0 * np.arange(240) + 11, means - np.convolve(means, np.ones(9) / 9, "same"), 45, 80)
    assert shown.period[shown.power.argmax()] == pytest.approx(alias(37, 22), rel=0.01)
    assert alias(37, 22) == pytest.approx(54.3, abs=0.05)
    assert alias(60, 22) == pytest.approx(60)
    assert alias(11, 22) == np.inf  # locked to the scan: looks like a profile
    assert lane.max() == 39


def test_waves_are_taken_away_one_after_another() -> None:
    t, rng = uneven(6000, 8, 6000)
    truth = {37.0: 0.45, 11.3: 0.3, 143.0: 0.2}
    y = sum(a * np.cos(2 * np.pi * t / p + p) for p, a in truth.items()) + rng.normal(0, 0.3, 6000)
    found = waves.find(t, y, 8)
    assert len(found.waves) == 3
    for one in found.waves:
        true = min(truth, key=lambda p, one=one: abs(p - one.period))  # type: ignore[misc]
        assert abs(one.period - true) < 4 * one.period_se
        assert abs(one.amplitude - truth[true]) < 4 * one.amplitude_se
    assert found.sigma == pytest.approx(0.3, rel=0.03)


def test_thinned_readings_give_the_wave_of_all_readings() -> None:
    """100 000 readings in bins of an eighth of 5 s: amplitude put right for the bins."""
    rng = np.random.default_rng(4)
    t = np.arange(100_000) * 0.02
    found = waves.find(t, 0.4 * np.cos(2 * np.pi * t / 6) + rng.normal(0, 0.1, len(t)), 5)
    (one,) = found.waves
    assert found.width == pytest.approx(5 / 8)
    assert one.amplitude == pytest.approx(0.4, abs=4 * one.amplitude_se)
    assert one.period == pytest.approx(6, abs=4 * one.period_se)
    assert found.sigma == pytest.approx(0.1, rel=0.01)


@pytest.mark.parametrize("kind", ["white", "walk", "slow"])
def test_noise_holds_no_waves(kind: str) -> None:
    """30 rows at 1 % each; drifts are what a film line does, and no wave."""
    called = 0
    for seed in range(30):
        t, rng = uneven(4000, seed, 4000)
        e = rng.normal(size=4000)
        drift = {"white": 0 * e, "walk": 0.05 * np.cumsum(rng.normal(size=4000)),
                 "slow": 0.4 * np.asarray(lfilter([1], [1, -0.97], rng.normal(size=4000)))}[kind]  # fmt: skip
        called += len(waves.find(t, e + drift, 5).waves) > 0
    assert called <= 3


@pytest.mark.parametrize("seed", [23, 27])
def test_a_drift_that_peaks_at_the_longest_period_is_no_wave(seed: int) -> None:
    """Two random walks that pass the levels of blocks alone (own computation) and not the median just below them."""
    t, rng = uneven(4000, seed, 4000)
    y = rng.normal(size=4000) + 0.05 * np.cumsum(rng.normal(size=4000))
    assert waves.find(t, y, 5, 1000).waves == ()


def test_errors_are_widened_to_the_noise_at_the_wave() -> None:
    """Slow noise under a slow wave: the white error is far too small; the local one holds 9 of 10 within 2.5."""
    within = white = 0
    for seed in range(40):
        t, rng = uneven(4000, seed, 4000)
        slow = 0.3 * np.asarray(lfilter([1], [1, -0.98], rng.normal(size=4000)))
        y = 1.5 * np.cos(2 * np.pi * t / 150) + slow + rng.normal(0, 0.1, 4000)
        near = [w for w in waves.find(t, y, 20, most=1).waves if abs(w.period - 150) < 3]
        assert near
        within += abs(near[0].period - 150) < 2.5 * near[0].period_se
        (plain,) = waves.fit(t, y, [150.0])
        white += abs(plain.period - 150) < 2.5 * plain.period_se
    assert within >= 36
    assert white < within


def test_thinning_keeps_means_and_counts() -> None:
    t = np.array([0.0, 0.1, 0.9, 5.0, 1e6])
    when, what, count = sp.thin(t, [1.0, 2.0, 6.0, 4.0, 7.0], 1.0)
    assert when == pytest.approx([1 / 3, 5, 1e6])
    assert what == pytest.approx([3, 4, 7])
    assert count.tolist() == [3, 1, 1]


ROLLS = {"cast roll": 2.0, "nip": 0.785, "haul-off": 1.25}


def test_elements_are_named_by_circumference_and_speed() -> None:
    """Closed form: C/v; 25 m/min of film, 1/6 of it before the stretch."""
    speeds = {"cast roll": 25 / 60 / 6, "nip": 25 / 60, "haul-off": 25 / 60}
    turn = 2.0 / (25 / 60 / 6)
    names = [(c.name, c.order) for c in elements([turn * 1.004, 0.785 / (25 / 60) / 2, 999.0], speeds, ROLLS)]
    assert names == [("cast roll", 1), ("nip", 2)]
    (one,) = elements([3.0], 25 / 60, {"haul-off": 1.25})
    assert one.expected == pytest.approx(3.0)
    assert one.off == pytest.approx(0, abs=1e-12)
    assert elements([3.05], 25 / 60, {"haul-off": 1.25}) == ()


@pytest.mark.parametrize(
    "call",
    [
        lambda: sp.spectrum(np.zeros(20), np.arange(20.0), 5),
        lambda: sp.spectrum(np.arange(20.0), np.arange(19.0), 5),
        lambda: sp.spectrum(np.arange(20.0), np.arange(20.0), 50),
        lambda: sp.spectrum(np.arange(20.0), np.arange(20.0), 5, w=np.zeros(20)),
        lambda: waves.fit(np.arange(20.0), np.arange(20.0), [50.0]),
        lambda: waves.fit(np.arange(100.0), np.arange(100.0), [20.0, 20.1]),
        lambda: waves.find(np.arange(100.0), np.arange(100.0), 0),
        lambda: elements([5.0], {"a": 1.0}, {"b": 1.0}),
        lambda: elements([0.0], 1.0, {"b": 1.0}),
    ],
)
def test_what_has_no_answer_is_refused(call) -> None:
    with pytest.raises(BadValue):
        call()


def test_a_constant_row_has_no_power() -> None:
    assert not sp.spectrum(np.arange(50.0), np.full(50, 75.0), 5).power.any()
    assert waves.find(np.arange(50.0), np.full(50, 75.0), 5).waves == ()

"""How many to start: exact cases, sums by hand, published fits, and what is refused.

"Our own prototype" below means figures of an earlier computation of this project by other means (Monte Carlo,
transition matrices); they are not from outside, the closed forms and the independent sums are.
"""

import json
import math
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from reelmark.errors import BadValue, Problem
from reelmark.io.config import read_stages
from reelmark.plan.chain import chained
from reelmark.plan.past import fit
from reelmark.plan.starts import least_start, perfect_sheets, starts
from reelmark.plan.yields import chance, mean_yield, sd_yield
from reelmark.plant import PastRuns, Spread, StageYield

BETAS = (15, 30, 5, 15, 40, 20)
MEANS, CONCENTRATIONS = (0.985, 0.970, 0.995, 0.985, 0.960, 0.980), (300, 200, 800, 300, 150, 400)
REALISTIC = [Spread(m, c) for m, c in zip(MEANS, CONCENTRATIONS, strict=True)]


def chain(alpha: float, betas: tuple[float, ...]) -> list[Spread]:
    """Stages whose product is Beta(alpha, sum of betas): each begins with the sum that the last ended with."""
    found = []
    for beta in betas:
        found.append(Spread.of(alpha, beta))
        alpha += beta
    return found


def named(spreads: list[Spread]) -> list[StageYield]:
    return [StageYield(f"S{at}", one) for at, one in enumerate(spreads)]


def reelmark(*words: str, code: int = 0) -> Any:
    done = subprocess.run(
        [sys.executable, "-m", "reelmark", *words, "--json"], capture_output=True, text=True, check=False
    )
    assert done.returncode == code, done.stdout + done.stderr
    return json.loads(done.stdout)


# The product of the chain is Beta(950, 125), so scipy's beta-binomial is an independent answer.
@pytest.mark.parametrize(("start", "probability"), [(11643, 0.990094), (11642, 0.989920), (11316, 0.512)])
def test_chained_stages_are_one_beta(start, probability):
    found = chance(start, 10_000, chain(950, BETAS))
    assert abs(found.value - stats.betabinom(start, 950, 125).sf(9_999)) < 1e-8
    assert abs(found.value - probability) < (6e-7 if probability > 0.9 else 6e-4)  # the digits that the issue gives
    assert "exact" in found.method
    assert found.error < 1e-8


def test_the_chain_is_found_in_any_order_and_only_where_there_is_one():
    assert chained(chain(950, BETAS)[::-1]) == [(950.0, 125.0)]
    assert len(chained(REALISTIC)) == 6
    assert len(chained([*chain(950, BETAS), Spread.of(40, 1)])) == 2


def test_the_exact_start_of_the_issue():
    found = starts(10_000, 0.99, named(chain(950, BETAS)), pile=500)
    assert found.least.start == 11_643
    assert found.naive.start == math.ceil(10_000 * 1075 / 950) == 11_316
    assert found.rounded.start == 12_000
    assert found.rounded.chance.value > found.least.chance.value
    assert found.as_dict()["expected_surplus"] == pytest.approx(11_643 * 950 / 1075 - 10_000)


# Stage by stage with beta-binomial transition matrices, in the test, against the closed form; our own prototype gave
# 0.99811594 for this chain.
def test_a_walk_through_the_stages_gives_the_same():
    n, spreads = 160, chain(95, tuple(b / 10 for b in BETAS))
    at = np.zeros(n + 1)
    at[n] = 1.0
    for one in spreads:
        after = np.zeros(n + 1)
        for many in range(n + 1):
            if at[many] > 1e-300:
                after[: many + 1] += at[many] * stats.betabinom(many, one.alpha, one.beta).pmf(np.arange(many + 1))
        at = after
    assert abs(chance(n, 120, spreads).value - at[120:].sum()) < 1e-12
    assert chance(n, 120, spreads).value == pytest.approx(0.99811594, abs=5e-9)


# Our own prototype: 12,118 by Monte Carlo, naive 11,352 with P .526, as if alike 11,443 with P .649.
def test_the_realistic_case():
    found = starts(10_000, 0.99, named(REALISTIC))
    assert found.least.start == pytest.approx(12_118, abs=3)
    assert (found.naive.start, round(found.naive.chance.value, 3)) == (11_352, 0.526)
    assert (found.alike.start, round(found.alike.chance.value, 3)) == (11_443, 0.649)
    assert (round(found.mean, 5), round(found.sd, 4)) == (0.88098, 0.0214)
    assert max(found.spread_costs, key=lambda k: found.spread_costs[k]) == "S4"  # mean .96, concentration 150
    assert list(found.at_levels.values()) == sorted(found.at_levels.values())


def test_the_integral_is_what_it_says_for_two_stages_by_quadrature():
    """E[P(Bin >= k)] over one Beta times another, by an adaptive double integral of scipy's."""
    one, two = Spread.of(20, 3), Spread.of(9, 2)

    def inner(y: float, x: float) -> float:
        return float(stats.binom.sf(29, 50, x * y) * stats.beta.pdf(x, 20, 3) * stats.beta.pdf(y, 9, 2))

    by_hand, error = integrate.dblquad(inner, 0, 1, 0, 1, epsabs=1e-9)
    found = chance(50, 30, [one, two])
    assert abs(found.value - by_hand) < error + found.error + 1e-8


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.5, 0.999), st.floats(5, 2000)), min_size=1, max_size=5),
    st.integers(1, 400), st.integers(0, 300), st.integers(0, 2**32 - 1),
)  # fmt: skip
def test_the_chance_is_that_of_a_simulation(stages, order, overs, seed):
    spreads = [Spread(m, c) for m, c in stages]
    n = order + overs
    rng = np.random.default_rng(seed)
    p = np.prod([rng.beta(one.alpha, one.beta, 4000) for one in spreads], axis=0)
    draws = stats.binom.sf(order - 1, n, p)  # the chance given the batch: less noise than drawing sheets too
    found = chance(n, order, spreads)
    assert abs(found.value - draws.mean()) < 6 * draws.std() / 4000**0.5 + found.error + 2e-3
    assert 0 <= found.value <= 1


@settings(max_examples=40, deadline=None)
@given(st.floats(0.6, 0.999), st.floats(20, 5000), st.integers(1, 3000), st.sampled_from([0.5, 0.9, 0.99]))
def test_the_least_start_is_the_least(mean, concentration, order, level):
    spreads = [Spread(mean, concentration), Spread(0.99)]
    found = least_start(order, level, spreads)
    assert chance(found.start, order, spreads).value >= level
    assert chance(found.start - 1, order, spreads).value < level


# With very many sheets only the spread is left: P(good >= k n) -> P(P >= k), a Beta tail of scipy's.
def test_very_many_sheets_leave_only_the_spread():
    n = 10**12
    found = chance(n, int(0.88 * n), chain(950, BETAS))
    assert found.value == pytest.approx(stats.beta(950, 125).sf(0.88), abs=1e-7)
    assert found.error < 1e-7
    just = chance(100_001, 88_001, chain(950, BETAS))  # the first that is no longer summed
    assert just.method.startswith("integral")
    assert abs(just.value - stats.betabinom(100_001, 950, 125).sf(88_000)) < 1e-8


def test_batches_that_do_not_vary_are_binomial():
    found = chance(105, 100, [Spread(0.99), Spread(0.98)])
    assert found.value == pytest.approx(stats.binom.sf(99, 105, 0.99 * 0.98), abs=1e-12)
    assert chance(10, 10, [Spread(1.0)]).value == 1


def test_the_mean_over_batches_keeps_the_mean_and_divides_the_variance():
    one = Spread(0.97, 300)
    assert one.averaged(16).mean == one.mean
    assert one.averaged(16).variance == pytest.approx(one.variance / 16)
    assert sd_yield([one]) == pytest.approx(stats.beta(291, 9).std())
    assert mean_yield([one, Spread(0.5)]) == pytest.approx(0.485)


# (1 - 0.001)^45 by hand: exp(45 ln 0.999) = exp(-0.0450225) = 0.95598.
def test_sheets_without_a_bad_note():
    assert perfect_sheets(0.001, 45) == pytest.approx(0.95598, abs=5e-6)
    with pytest.raises(BadValue):
        perfect_sheets(1.2, 45)


# Boys among the first 12 children of 6,115 families of 13 in Saxony (Geissler 1889; as in J. K. Lindsey and P. M. E.
# Altham, Appl. Stat. 47, 149, 1998).  Maximum likelihood 34.096, 31.572: from memory, so to a part in a thousand.
def test_a_published_fit():
    families = (3, 24, 104, 286, 670, 1033, 1343, 1112, 829, 478, 181, 45, 7)
    good = tuple(boys for boys, many in enumerate(families) for _ in range(many))
    found = fit(PastRuns("families", (12,) * len(good), good))
    assert found.spread.alpha == pytest.approx(34.096, rel=1e-3)
    assert found.spread.beta == pytest.approx(31.572, rel=1e-3)

    def log_likelihood(a: float, b: float) -> float:
        return float(np.dot(families, stats.betabinom(12, a, b).logpmf(np.arange(13))))

    best = log_likelihood(found.spread.alpha, found.spread.beta)
    assert all(log_likelihood(found.spread.alpha * k, found.spread.beta * k) < best for k in (0.98, 1.02))
    assert all(log_likelihood(found.spread.alpha * k, found.spread.beta) < best for k in (0.999, 1.001))


def test_intervals_hold_the_truth_about_as_often_as_they_say():
    rng, hits = np.random.default_rng(5), np.zeros(2)
    for _ in range(100):
        tried = rng.integers(4000, 6000, 40)
        good = rng.binomial(tried, rng.beta(0.96 * 150, 0.04 * 150, 40))
        found = fit(PastRuns("s", tuple(map(int, tried)), tuple(map(int, good))))
        assert found.mean_interval is not None
        assert found.concentration_interval is not None
        pairs = ((found.mean_interval, 0.96), (found.concentration_interval, 150))
        hits += [low <= true <= high for (low, high), true in pairs]
    # 95 of 100 wanted; below 86 has a chance under 1e-3 (binomial)
    assert hits.min() >= 86


def test_batches_that_vary_no_more_than_chance_have_no_spread():
    tried = (1000,) * 20
    good = tuple(990 + one % 2 for one in range(20))
    found = fit(PastRuns("s", tried, good))
    assert found.spread.sure
    assert found.concentration_interval is None
    low, high = stats.binomtest(sum(good), sum(tried)).proportion_ci(0.95, method="exact")
    assert found.mean_interval == pytest.approx((low, high), abs=1e-9)
    assert fit(PastRuns("s", (10, 10, 10), (10, 10, 10))).spread.mean == 1


@pytest.mark.parametrize(
    ("tried", "good", "said"),
    [
        ((10, 10), (9, 9), "fewest"),
        ((10, 10, 10), (9, 9), "each batch"),
        ((10, 10, 10), (9, 11, 9), "batch 2"),
        ((10, 10), (9, 11), "batch 2"),
        ((10, 0, 10), (9, 0, 9), "batch 2"),
        ((10, 10, 10), (0, 0, 0), "nothing ever"),
    ],
)
def test_past_batches_that_tell_nothing_are_refused(tried, good, said):
    with pytest.raises(BadValue, match=said):
        fit(PastRuns("s", tried, good))


def stages_file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "stages.toml"
    path.write_text(text, encoding="utf-8")
    return path


CHAIN = "".join(
    f'[[stages]]\nname = "S{at}"\nalpha = {950 + sum(BETAS[:at])}\nbeta = {beta}\n' for at, beta in enumerate(BETAS)
)


def test_the_command_gives_the_exact_start(tmp_path):
    path = stages_file(tmp_path, CHAIN)
    answer = reelmark("plan", "yield", str(path), "--order", "10000", "--level", "0.99")
    assert answer["start"] == 11_643
    assert answer["probability"] == pytest.approx(0.990094, abs=6e-7)
    piles = reelmark("plan", "yield", str(path), "--order", "10000", "--level", "0.99", "--pile", "500")
    assert piles["rounded_start"] == 12_000
    assert [one["start"] for one in piles["starts"]] == sorted(one["start"] for one in piles["starts"])


def test_the_three_ways_to_write_a_stage(tmp_path):
    text = (
        "[[stages]]\nmean = 0.97\nconcentration = 200\n[[stages]]\na = 98\nb = 2\n"
        '[[stages]]\nmean = "99 %"\n[[stages]]\nname = "press"\ntried = [100, 100, 100]\ngood = [97, 91, 99]\n'
    )
    first, second, third, past = read_stages(stages_file(tmp_path, text))
    assert first == StageYield("stage 1", Spread(0.97, 200))
    assert second == StageYield("stage 2", Spread.of(98, 2))
    assert isinstance(third, StageYield)
    assert third.spread.sure
    assert past == PastRuns("press", (100, 100, 100), (97, 91, 99))
    answer = reelmark("plan", "yield", str(stages_file(tmp_path, text)), "--order", "500")
    assert answer["stages"][3]["fit"]["batches"] == 3


BAD = {
    "alpha 0": ("[[stages]]\nalpha = 0\nbeta = 1\n", "stages[0].alpha"),
    "beta below 0": ("[[stages]]\nalpha = 1\nbeta = -1\n", "stages[0].beta"),
    "yield 0": ("[[stages]]\nmean = 0\n", "stages[0].mean"),
    "yield above 1": ("[[stages]]\nmean = 1.2\nconcentration = 9\n", "stages[0].mean"),
    "concentration 0": ("[[stages]]\nmean = 0.9\nconcentration = 0\n", "stages[0].concentration"),
    "half": ("[[stages]]\nalpha = 1\n", "stages[0]"),
    "two ways": ("[[stages]]\nalpha = 1\nbeta = 1\nmean = 0.5\n", "stages[0]"),
    "none": ("[[stages]]\nname = 'a'\n", "stages[0]"),
    "next to nothing": ("[[stages]]\nalpha = 1e-300\nbeta = 1e-300\n", "stages[0].concentration"),
    "a yield next to nothing": ("[[stages]]\nalpha = 1e-300\nbeta = 5\n", "stages[0].mean"),
    "without measure": ("[[stages]]\nalpha = 1e300\nbeta = 1e300\n", "stages[0].concentration"),
    "infinite": ("[[stages]]\nalpha = inf\nbeta = 1\n", "stages[0].alpha"),
    "misspelt": ("[[stages]]\nalfa = 1\nbeta = 1\n", "alfa"),
    "empty": ("stages = []\n", "stages"),
}


@pytest.mark.parametrize(("text", "field"), BAD.values(), ids=BAD)
def test_a_bad_stage_is_named(tmp_path, text, field):
    with pytest.raises(BadValue) as told:
        read_stages(stages_file(tmp_path, text))
    assert field in told.value.field
    assert told.value.cure


def test_what_is_not_finite_is_said_to_be_so(tmp_path):
    with pytest.raises(BadValue) as told:
        read_stages(stages_file(tmp_path, "[[stages]]\nalpha = nan\nbeta = 1\n"))
    assert told.value.true == "it is not a finite number"


@pytest.mark.parametrize(
    ("order", "level"), [("0", "0.99"), ("-5", "0.99"), ("10", "0"), ("10", "1"), ("10", "1.5"), ("10", "nan")]
)
def test_an_order_or_level_that_cannot_be_is_refused(tmp_path, order, level):
    said = reelmark("plan", "yield", str(stages_file(tmp_path, CHAIN)), f"--order={order}", f"--level={level}", code=1)
    assert said["field"] == ("order" if level == "0.99" else "level")
    assert said["cure"]


def test_a_yield_so_wild_that_no_start_does_it_is_said():
    with pytest.raises(Problem, match="lower the level"):
        least_start(100, 0.999, [Spread.of(0.05, 5)])


def test_the_limits_of_what_is_believed_reckon_without_a_warning():
    """Warnings are errors in these tests: at the edges nothing overflows."""
    edge = [Spread(0.5, 0.01), Spread(0.9, 1e12), Spread(0.95, 300)]
    assert 0 <= chance(1000, 100, edge).value <= 1
    with pytest.raises(Problem, match="lower the level"):
        least_start(100, 0.4, [Spread(1e-9, 50)] * 5)


# A nearly sure stage fails rarely and far: its tail is long beside its standard deviation.  scipy's beta-binomial is
# independent; a second stage of mean 1 - 1e-9 keeps the answer from being the sum.
@pytest.mark.parametrize(("mean", "concentration"), [(0.97, 1), (0.9999, 300), (0.999, 3), (0.97, 0.1), (0.5, 0.1)])
@pytest.mark.parametrize(("start", "wanted"), [(1000, 900), (20_000, 19_000), (1000, 10)])
def test_long_tails_are_reckoned_as_well_as_is_said(mean, concentration, start, wanted):
    one = Spread(mean, concentration)
    found = chance(start, wanted, [one, Spread(1 - 1e-9)])
    assert "integral" in found.method
    true = stats.betabinom(start, one.alpha, one.beta).sf(wanted - 1)
    assert abs(found.value - true) <= found.error + 1e-7  # a share of 1e-9 is missing, and scipy's own rounding


def test_stages_of_one_name_are_refused_and_sure_ones_need_no_overs():
    with pytest.raises(BadValue, match="twice"):
        starts(10, 0.9, [StageYield("a", Spread(0.9)), StageYield("a", Spread(0.9))])
    sure = starts(10, 0.9, [StageYield("a", Spread(1.0))]).as_dict()
    assert (sure["start"], sure["probability"], sure["costliest_spread"]) == (10, 1.0, None)


def test_a_stage_that_varies_less_needs_fewer():
    found = [least_start(1000, 0.99, [Spread(0.95, c)]).start for c in (50, 200, 1000, math.inf)]
    assert all(more > fewer for more, fewer in pairwise(found))

"""White coats: opacity, coats for a target, draw-downs.  Check values: film.md 4.1 to 4.3 of our notes, our own earlier
computation from the formulas unless another source stands beside; the equations are held against their own ODE."""

from dataclasses import replace
from math import inf, isnan, log, nan
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from reelmark.errors import BadValue
from reelmark.stations.coat import cover, drawdown, layers, surface
from reelmark.stations.coat.cover import Coated
from reelmark.stations.coat.drawdown import DrawDowns, reflected
from reelmark.stations.coat.layers import Coat, Layer, layer, over, stack
from reelmark.stations.coat.opacity import Backings, Definition, lightness, opacity

S, K = 0.25e6, 500.0  # 1/m, film.md 4.1
ONE = Coat(S, K, 2.5e-6)
NOTES = Coated(ONE)
coats = st.builds(Coat, st.floats(1e4, 1e6), st.floats(0, 1e5), st.floats(1e-7, 3e-5))
dark = st.builds(Coat, st.floats(1e4, 1e6), st.floats(1, 1e5), st.floats(1e-7, 3e-5))  # some light is taken
shares = st.floats(0, 1)


def by_ode(coat: Coat, ground: float) -> float:
    """dR/dX = S - 2 (K + S) R + S R^2, integrated by scipy: nothing of the closed form is in it."""
    s, k = coat.scattering, coat.absorption
    found = solve_ivp(lambda _, r: s - 2 * (k + s) * r + s * r * r, (0, coat.thickness), [ground],
                      method="LSODA", rtol=1e-11, atol=1e-13)  # fmt: skip
    return float(found.y[0, -1])


@settings(deadline=None)  # the machine may be busy with others
@given(coats, shares)
def test_a_coat_over_a_ground_is_its_own_differential_equation(coat, ground):
    assert over(layer(coat), ground) == pytest.approx(by_ode(coat, ground), abs=1e-8)


def test_the_coat_of_the_notes():
    whole = layer(Coat(S, K, 12.5e-6))
    assert whole.front == pytest.approx(0.75405683, abs=5e-9)  # film.md 4.1
    assert whole.down == pytest.approx(0.23973281, abs=5e-9)  # film.md 4.1
    assert over(whole, 0.89) == pytest.approx(0.90957997, abs=5e-9)  # film.md 4.1
    assert layers.endless(S, K) == pytest.approx(0.93872283, abs=5e-9)  # film.md 4.1
    assert layers.thickness_of(whole.front, K / S) == pytest.approx(3.125, rel=1e-9)  # film.md 4.1, SX
    assert layers.ratio_of(layers.endless(S, K)) == pytest.approx(K / S, rel=1e-9)  # closed form
    assert (layer(Coat(S, 0, 8e-6)).front, layer(Coat(S, 0, 8e-6)).down) == pytest.approx((2 / 3, 1 / 3))  # SX = 2


@given(coats, st.integers(2, 7))
def test_a_coat_in_parts_is_the_coat_by_the_stack_rule(coat, parts):
    thin = layer(replace(coat, thickness=coat.thickness / parts))
    whole, summed = layer(coat), stack([thin] * parts)
    assert (summed.front, summed.down) == pytest.approx((whole.front, whole.down), abs=1e-11)


@settings(deadline=None)  # the machine may be busy with others
@given(st.lists(coats, min_size=2, max_size=5), shares)
def test_light_passes_unlike_layers_both_ways_alike_and_none_is_made(many, ground):
    one = stack(layer(coat) for coat in many)
    assert one.down == pytest.approx(one.up, rel=1e-9)  # Helmholtz reciprocity
    assert max(one.front, one.back) + one.down <= 1 + 1e-12
    turned = stack(layer(coat) for coat in reversed(many))
    assert (turned.front, turned.back) == pytest.approx((one.back, one.front), abs=1e-12)
    by_hand = ground
    for coat in reversed(many):
        by_hand = by_ode(coat, by_hand)
    assert over(one, ground) == pytest.approx(by_hand, abs=1e-7)


@settings(deadline=None)  # the machine may be busy with others
@given(st.lists(dark, min_size=1, max_size=3))
def test_a_pile_is_what_many_sheets_come_to(many):
    one = stack(layer(coat) for coat in many)
    many_sheets = one
    for _ in range(30):  # 2^30 sheets, twice as many each time
        many_sheets = stack([many_sheets, many_sheets])
    assert layers.pile(one) == pytest.approx(many_sheets.front, abs=1e-5)
    pile = layers.pile(one)
    assert over(one, pile) == pytest.approx(pile, abs=1e-9)  # one sheet more changes nothing
    if len(many) == 1:
        r, t = one.front, one.down
        assert pile + 1 / pile == pytest.approx((1 + r * r - t * t) / r, rel=1e-9)  # film.md 4.2, for like faces


def test_layers_without_end_without_light_and_of_the_wrong_unit():
    assert layer(Coat(1e7, 0, 1e-3)).front == pytest.approx(1, abs=1e-3)
    black = layer(Coat(S, 1e7, 1e-3))
    assert black.front == pytest.approx(layers.endless(S, 1e7), rel=1e-12)
    assert black.down == 0
    assert layer(Coat(0, 0, 1e-5)) == Layer(0, 0, 1, 1)
    assert (layers.endless(0, 1), isnan(layers.endless(0, 0))) == (0, True)
    assert layers.thickness_of(1.0, 0) == inf
    with pytest.raises(BadValue, match="scattering"):
        Coat(0.25e12, K, 1e-6)
    with pytest.raises(BadValue, match="coat"):
        Coat(S, K, 2.5)
    with pytest.raises(BadValue, match="reflects"):
        layers.thickness_of(0.99, 0.01)
    with pytest.raises(BadValue, match="absorption"):
        stack([Layer(1, 1, 0, 0), Layer(1, 1, 0, 0)])


def test_one_film_has_several_opacities_and_each_says_which():
    sheet = layer(Coat(S, K, 12.5e-6))
    white, paper = (opacity(sheet, d) for d in (Definition.WHITE_BACKING, Definition.PAPER_BACKING))
    assert white.percent == pytest.approx(82.902, abs=5e-4)  # film.md 4.2
    assert paper.percent == pytest.approx(80.328, abs=5e-4)  # film.md 4.2
    assert "C0.89" in white.definition.value
    assert "ISO 2471" in paper.definition.value
    ratio = opacity(sheet, Definition.RATIO, Backings(0.02, 0.85))
    assert ratio.percent == pytest.approx(100 * by_ode(Coat(S, K, 12.5e-6), 0.02) / by_ode(Coat(S, K, 12.5e-6), 0.85))
    assert opacity(sheet, Definition.PRINTING).percent == paper.percent  # film.md 4.2: the same formula


def test_lightness_is_that_of_the_cie():
    assert lightness(0.184187) == pytest.approx(50, abs=1e-4)  # CIE 15:2004, closed form: ((50 + 16) / 116)^3
    assert lightness(216 / 24389) == pytest.approx(8, abs=1e-12)  # CIE 15:2004: the two branches meet at 8


def test_coats_of_the_notes_on_both_sides_and_on_one():
    both = [cover.percent(NOTES, n) for n in range(1, 6)]
    one = [cover.percent(Coated(ONE, sides=1), n) for n in range(1, 6)]
    assert both == pytest.approx([61.648, 78.491, 86.066, 90.247, 92.834], abs=5e-4)  # film.md 4.3
    assert one == pytest.approx([42.928, 61.648, 71.997, 78.491, 82.902], abs=5e-4)  # film.md 4.3


def test_coats_for_a_target_of_the_notes():
    ninety, most = cover.reach(NOTES, 90, 5), cover.reach(NOTES, 95, 5)
    assert (ninety.thickness, ninety.coats) == pytest.approx((19.623e-6, 7.85), rel=2e-4)  # film.md 4.3
    assert (ninety.coats_a_side, ninety.reachable) == (4, True)  # film.md 4.3
    assert most.thickness == pytest.approx(31.638e-6, abs=5e-10)  # film.md 4.3
    assert most.coats == pytest.approx(12.7, abs=0.05)  # film.md 4.3
    assert not most.reachable
    for absorption, need in ((0, 20.492e-6), (2000, 17.745e-6), (5000, 15.486e-6)):  # film.md 4.3
        assert cover.thickness_for(Coated(Coat(S, absorption, 2.5e-6)), 90) == pytest.approx(need, abs=5e-10)


def test_each_way_out_of_a_target_that_is_not_reached_does_reach_it():
    found = cover.reach(NOTES, 95, 5)
    assert found.coats_a_side is not None
    assert found.grey is not None
    ways: list[Any] = [
        {"thickness": found.thicker_coat},
        {"scattering": found.scattering},
        {"absorption": found.absorption},
    ]
    for way in ways:
        changed = replace(NOTES, coat=replace(ONE, **way))
        assert cover.percent(changed, 5) == pytest.approx(95, abs=1e-6)
    assert cover.percent(NOTES, found.coats_a_side) >= 95 > cover.percent(NOTES, found.coats_a_side - 1)
    assert found.grey.white < cover.shade(NOTES, 5).white  # and it is told that it is less white


@settings(deadline=None)  # the machine may be busy with others
@given(st.floats(1e5, 1e6), st.floats(0, 2e3), st.floats(5e-7, 4e-6), st.floats(0, 2e4), st.integers(1, 5))
def test_greyer_is_more_opaque_and_less_white(s, k, x, more, n):
    pale, grey = cover.grounds(Coated(Coat(s, k, x)), n, (k, k + more + 10))
    assert grey.percent > pale.percent
    assert grey.white < pale.white
    assert grey.lightness < pale.lightness


def test_a_darker_coat_hidden_under_white_ones_hides_more_at_little_cost_of_white():
    dim = Coat(0.15e6, 2e4, 2.5e-6)
    hidden = replace(NOTES, under=dim)
    bare = cover.sheet(hidden, 3)
    by_hand = stack([layer(Coat(S, K, 5e-6)), layer(dim), layer(dim), layer(Coat(S, K, 5e-6))])
    assert (bare.front, bare.down) == pytest.approx((by_hand.front, by_hand.down), rel=1e-12)
    grey_out = replace(NOTES, coat=replace(ONE, absorption=2e4))
    assert cover.percent(hidden, 3) > cover.percent(NOTES, 3)
    assert cover.shade(hidden, 3).black > cover.shade(grey_out, 3).black


@pytest.mark.parametrize("target", [100, 0, 9000, -5, nan])
def test_a_target_of_no_film_is_refused(target):
    with pytest.raises(BadValue) as refused:
        cover.reach(NOTES, target, 5)
    assert refused.value.field == "target"


def test_what_no_coat_reaches_is_said_not_sought_for_ever():
    thin = Coated(Coat(2e3, 0.0, 1e-7))
    found = cover.reach(thin, 99.9, 5)
    assert (found.reachable, found.coats, found.thicker_coat) == (False, None, None)


def walsh(n: float) -> float:
    """Diffuse reflectance of a smooth face from outside, closed form of Walsh 1926 as Duntley gives it, from memory."""
    return (0.5 + (n - 1) * (3 * n + 1) / (6 * (n + 1) ** 2)
            + n**2 * (n**2 - 1) ** 2 / (n**2 + 1) ** 3 * log((n - 1) / (n + 1))
            - 2 * n**3 * (n**2 + 2 * n - 1) / ((n**2 + 1) * (n**4 - 1))
            + 8 * n**4 * (n**4 + 1) / ((n**2 + 1) * (n**4 - 1) ** 2) * log(n))  # fmt: skip


@pytest.mark.parametrize("n", [1.33, 1.5, 1.6])
def test_the_face_to_the_air_is_fresnels_over_the_hemisphere(n):
    assert surface.outside(n) == pytest.approx(walsh(n), abs=2e-6)
    assert surface.outside(n) == pytest.approx(quad(lambda s: surface._fresnel(s, n), 0, 1)[0], abs=2e-6)
    critical = 1 / n**2  # from inside, beyond this sine squared all is thrown back
    inner = quad(lambda s: surface._fresnel(s * n**2, n), 0, critical)[0] + 1 - critical
    assert surface.inside(n) == pytest.approx(inner, abs=2e-6)
    assert surface.inside(1.5) == pytest.approx(0.596, abs=5e-4)  # k2 for 1.5, Judd 1942, from memory


def test_faces_lower_the_opacity_of_thick_coats_and_the_layer_rule_is_saunderson():
    k1, k2, body = surface.outside(1.5), surface.inside(1.5), over(layer(Coat(S, K, 25e-6)), 0.0)
    by_form = k1 * 0.5 + (1 - k1) * (1 - k2) * body / (1 - k2 * body)  # Saunderson 1942, from memory
    assert surface.corrected(body, 1.5, 0.5) == pytest.approx(by_form, rel=1e-12)
    assert cover.percent(replace(NOTES, index=1.5), 5) < cover.percent(NOTES, 5) - 3
    assert cover.percent(replace(NOTES, index=1.0), 5) == cover.percent(NOTES, 5)


THICK = np.array([2.5, 5, 10, 15, 25]) * 1e-6
GROUNDS = np.full(5, 0.04), np.full(5, 0.84)


def draw_downs(rng: np.random.Generator | None = None, noise: float = 0.0, k: float = K) -> DrawDowns:
    seen = [reflected(S, k, THICK, ground) for ground in GROUNDS]
    if rng is not None:
        seen = [one + rng.normal(0, noise, 5) for one in seen]
    return DrawDowns(THICK, seen[0], seen[1], *GROUNDS)


def test_the_fast_form_over_grounds_is_that_of_the_layers():
    by_layers = [over(layer(Coat(S, K, float(x))), 0.84) for x in THICK]
    assert reflected(S, K, THICK, GROUNDS[1]) == pytest.approx(by_layers, abs=1e-12)
    assert reflected(S, 0.0, THICK, GROUNDS[0]) == pytest.approx(
        [over(layer(Coat(S, 0, float(x))), 0.04) for x in THICK], abs=1e-8
    )


def test_draw_downs_without_noise_give_back_the_ink():
    found = drawdown.fit(draw_downs())
    assert (found.scattering, found.absorption) == pytest.approx((S, K), rel=1e-3)
    low, high = found.scattering_interval
    assert high - low < 5e-3 * S


def test_intervals_hold_the_truth_as_often_as_they_say():
    rng, held, trials = np.random.default_rng(11), np.zeros(2), 60
    for _ in range(trials):
        found = drawdown.fit(draw_downs(rng, 0.003))
        ends = ((found.scattering_interval, S), (found.absorption_interval, K))
        held += [low <= truth <= high for (low, high), truth in ends]
    # binomial: 51 or fewer of 60 at 95 % come by chance once in 350
    assert held.min() >= 52
    assert held.sum() < 2 * trials  # nor are they so wide that they always hold


def test_an_ink_that_hardly_absorbs_says_that_k_is_not_told_from_none():
    found = drawdown.fit(draw_downs(np.random.default_rng(3), 0.004, k=0.0))
    assert found.absorption_interval[0] == 0
    assert any("not told from 0" in note for note in found.notes)


def test_a_thickness_scale_that_is_off_goes_into_both_and_is_said():
    thin = drawdown.fit(replace(draw_downs(), thickness=THICK * 1.01))
    assert (thin.scattering, thin.absorption) == pytest.approx((S / 1.01, K / 1.01), rel=1e-3)  # S X, K X are told
    assert any("weigh" in note for note in thin.notes)


def test_draw_downs_with_faces_are_read_with_the_faces():
    inner = [(g - surface.face(1.5).front) for g in GROUNDS]
    one = surface.face(1.5)
    body = [i / (one.down * one.up + one.back * i) for i in np.maximum(inner, 0.0)]
    grounds = [np.array([surface.corrected(float(b), 1.5) for b in part]) for part in body]
    seen = [np.array([surface.corrected(float(r), 1.5) for r in reflected(S, K, THICK, part)]) for part in body]
    data = DrawDowns(THICK, seen[0], seen[1], grounds[0], grounds[1])
    assert drawdown.fit(data, index=1.5).scattering == pytest.approx(S, rel=1e-3)
    assert abs(drawdown.fit(data).scattering / S - 1) > 0.1  # left out, S is wrong by more than a tenth


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"over_black": np.full(5, 75.0)}, "row 1: over_black"),  # percent
        ({"over_white": np.array([0.9, 0.9, nan, 0.9, 0.9])}, "row 3: over_white"),
        ({"thickness": np.array([2.5e-6, 0, 1e-5, 1e-5, 1e-5])}, "row 2: coat_um"),
        ({"thickness": THICK * 1e6}, "row 1: coat_um"),
        ({"black": np.full(5, 0.8)}, "row 1: white"),
        ({"over_black": np.full(5, 0.95)}, "row 1: over_black"),  # columns exchanged
    ],
)
def test_draw_downs_that_cannot_be_are_refused_by_row_and_column(changed, field):
    with pytest.raises(BadValue) as refused:
        replace(draw_downs(), **changed)
    assert refused.value.field == field


def test_one_row_and_rows_that_tell_nothing_are_refused():
    with pytest.raises(BadValue, match="two thicknesses"):
        DrawDowns(THICK[:1], THICK[:1] * 1e4, THICK[:1] * 1e4, GROUNDS[0][:1], GROUNDS[1][:1])
    opaque = np.full(5, 0.9)
    with pytest.raises(BadValue, match="hide about a half"):
        drawdown.fit(DrawDowns(np.full(5, 100e-6), opaque, opaque, *GROUNDS))

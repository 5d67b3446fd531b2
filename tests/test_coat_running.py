"""Ink, solvent, air, heat, web, register and pigment of the coater.  Check values: film.md 4.4 to 5 of our notes, our
own earlier computation from the formulas unless another source stands beside."""

from dataclasses import replace
from math import e, inf, isfinite

import chemicals
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelmark.errors import BadValue
from reelmark.measure.material import POLYPROPYLENE
from reelmark.stations.coat import register, titania, vapour, web
from reelmark.stations.coat.cover import Coated
from reelmark.stations.coat.drying import DRYER, drying_heat
from reelmark.stations.coat.layers import Coat
from reelmark.stations.coat.recipe import Recipe
from reelmark.stations.coat.settings import settings
from reelmark.stations.coat.solvents import SOLVENTS, blend_of
from reelmark.stations.coat.vapour import SEVENTY_F, air_for
from reelmark.stations.coat.web import WEB
from reelmark.stations.coat.weight import INK, ink_for, weight

HOUR = 3600.0
ACETATE = blend_of({"ethyl acetate": 1.0})
WEIGHT = weight(INK, 2.5e-6)
RATE = WEIGHT.solvent * 0.97 * 2.5  # kg/s on 1 m at 150 m/min, film.md 4.6
CAS = {
    "ethyl acetate": "141-78-6", "n-propyl acetate": "109-60-4", "2-propanol": "67-63-0", "1-propanol": "71-23-8",
    "ethanol": "64-17-5", "acetone": "67-64-1", "2-butanone": "78-93-3", "toluene": "108-88-3", "water": "7732-18-5",
}  # fmt: skip


def test_weight_ink_and_cells_of_the_notes():
    assert (WEIGHT.dry, WEIGHT.wet, WEIGHT.solvent) == pytest.approx((4.125e-3, 8.250e-3, 4.125e-3))  # film.md 4.5
    assert WEIGHT.cells == pytest.approx(14.348e-6, abs=5e-10)  # film.md 4.5
    assert ink_for(INK, 2.5e-6, 8000, 1.0) == pytest.approx(64.02, abs=5e-3)  # film.md 4.5, a coat; 640.2 for ten


@given(st.floats(1e-7, 2e-5), st.floats(0.1, 0.9), st.floats(1, 1e5), st.floats(0.1, 3))
def test_what_is_laid_wet_is_dry_coat_and_solvent(x, solids, length, width):
    ink = INK.over("test", solids=solids)
    one, area = weight(ink, x), length * width * (1 - INK.windows.value)
    assert one.dry + one.solvent == pytest.approx(one.wet, rel=1e-12)
    assert ink_for(ink, x, length, width) * solids == pytest.approx(area * x * 1650, rel=1e-12)


@pytest.mark.parametrize("name", sorted(SOLVENTS))
def test_solvents_are_those_of_an_independent_package(name):
    one, cas = SOLVENTS[name], CAS[name]
    assert one.molar_mass.value * 1000 == pytest.approx(chemicals.MW(cas), rel=1e-6)
    limit = chemicals.LFL(CASRN=cas, method="IEC 60079-20-1 (2010)") if isfinite(one.lfl.value) else None
    assert limit == (one.lfl.value if limit else None)
    assert (name == "water") == (limit is None)
    boiling = chemicals.phase_change.Hvap_data_CRC.at[cas, "HvapTb"]
    assert one.heat.value * one.molar_mass.value == pytest.approx(boiling, rel=1e-6)  # CRC table of the package
    liquid = chemicals.heat_capacity.CRC_standard_data.at[cas, "Cpl"]
    assert one.cp.value * one.molar_mass.value == pytest.approx(liquid, rel=1e-6)  # CRC table of the package


def test_air_of_the_notes_in_si():
    air = air_for(RATE, ACETATE, 293.15, 0.25)
    assert pytest.approx(36.011, abs=5e-4) == RATE * HOUR  # film.md 4.6
    assert air.vapour * HOUR == pytest.approx(9.832, abs=5e-4)  # film.md 4.6
    assert air.air * HOUR == pytest.approx(1966.4, abs=0.05)  # film.md 4.6
    assert air_for(RATE, ACETATE, 293.15, 0.25, hot=0.7).air * HOUR == pytest.approx(2809.2, abs=0.05)  # film.md 4.6
    assert vapour.concentration(0.08810512, 0.02, 0.25, 293.15) == pytest.approx(18.31e-3, abs=5e-6)  # film.md 4.6
    assert air.vapour / air.air == pytest.approx(0.25 * 0.02, rel=1e-12)  # a quarter of the limit, by volume


def test_air_is_checked_by_the_published_volume_form():
    at_70f = air_for(RATE, ACETATE, SEVENTY_F, 0.25)
    assert at_70f.air * HOUR == pytest.approx(1973.9, abs=0.05)  # film.md 4.6
    assert at_70f.checked * HOUR == pytest.approx(1971.5, abs=0.05)  # film.md 4.6, 1160.37 cfm
    assert abs(at_70f.apart) < 0.002  # 403 as published at eng.utoledo.edu against 403.48
    litre_pound = vapour.PINT * 1000 / 0.45359237  # pints of water in pounds; the pound is exact
    molar = vapour.molar_volume(SEVENTY_F) / vapour.CUBIC_FOOT * 453.59237  # cubic feet a pound-mole
    assert litre_pound * molar == pytest.approx(403.48, abs=1e-2)  # film.md 4.6, recomputed


def copied_form(rate: float, molar_g: float, limit: float) -> float:
    """Cfm by the copy of granhotelsantacruz.com: 0.85 SG (cc/min) m / (MW LEL), which prints "LEL in %"."""
    return 0.85 * rate * 60e3 * 4 / (molar_g * limit)


def test_the_copy_of_the_form_that_is_a_hundred_times_wrong_is_told_apart():
    ours = vapour.volume_form(RATE, 0.08810512, 2.0, 0.25) * 60 / vapour.CUBIC_FOOT
    assert ours == pytest.approx(1160.37, rel=1e-5)  # film.md 4.6
    as_printed, as_share = copied_form(RATE, 88.10512, 2.0), copied_form(RATE, 88.10512, 0.02)
    assert (as_printed, as_share) == pytest.approx((11.6, 1158), rel=2e-3)  # film.md 4.6
    assert ours / as_printed == pytest.approx(100, rel=0.01)  # as printed it is wrong by 100
    assert ours == pytest.approx(as_share, rel=0.01)
    with pytest.raises(BadValue, match=r"0\.02 for 2 %"):
        SOLVENTS["ethyl acetate"].over("the same mistake", lfl=2.0)


def test_a_blend_needs_the_air_of_its_parts_and_water_none():
    both = blend_of({"ethyl acetate": 0.6, "water": 0.4})
    assert air_for(RATE, both, 293.15, 0.25).air == pytest.approx(air_for(0.6 * RATE, ACETATE, 293.15, 0.25).air)
    mixed = air_for(RATE, blend_of({"ethanol": 0.5, "acetone": 0.5}), 293.15, 0.25)
    moles = {n: 0.5 / SOLVENTS[n].molar_mass.value for n in ("ethanol", "acetone")}
    total = sum(moles.values())
    limit = 1 / sum(m / total / SOLVENTS[n].lfl.value for n, m in moles.items())  # Le Chatelier's rule, from memory
    assert mixed.vapour / mixed.air == pytest.approx(0.25 * limit, rel=1e-12)
    assert air_for(RATE, blend_of({"water": 1.0}), 293.15, 0.25).air == 0


@pytest.mark.parametrize(
    ("shares", "word"),
    [
        ({"benzine": 1.0}, "take of"),
        ({"ethanol": 0.5}, "0.5"),
        ({"ethanol": 1.2, "acetone": -0.2}, "above 0"),
        ({}, "none"),
    ],
)
def test_a_blend_that_is_none_is_refused(shares, word):
    with pytest.raises(BadValue, match=word):
        blend_of(shares)


def test_drying_heat_of_the_notes_and_the_air_is_the_most_of_it():
    own = blend_of({"ethyl acetate": 1.0}, {"ethyl acetate": SOLVENTS["ethyl acetate"].over("film.md 4.6", cp=1950)})
    heat = drying_heat(DRYER, RATE, own, 905 * 75e-6 * 2.5, 1900, air_for(RATE, own, 293.15, 0.25).air)
    parts = [one / 1000 for one in (heat.latent, heat.solvent, heat.web, heat.air)]
    assert parts == pytest.approx([3.626, 0.722, 11.929, 26.464], abs=3e-3)  # film.md 4.6
    assert heat.total / 1000 == pytest.approx(42.741, abs=3e-3)  # film.md 4.6
    assert heat.air > heat.latent + heat.solvent + heat.web


def test_the_mean_of_a_table_is_its_integral():
    table = POLYPROPYLENE.solid_cp
    at = np.linspace(296.15, 333.15, 200001)
    ours = np.trapezoid(np.interp(at, *np.array(table.points).T), at) / 37  # numpy
    assert table.mean(296.15, 333.15) == pytest.approx(ours, rel=1e-9)
    assert table.mean(400, 500) == table.points[-1][1]


@pytest.mark.parametrize(
    ("tension", "ppm", "mm"), [(100, 666.7, 0.4), (150, 1000, 0.6), (200, 1333.3, 0.8), (10, 66.67, 0.04)]
)
def test_strain_and_stretch_of_the_notes(tension, ppm, mm):
    eps = web.strain(tension, 2e9, 75e-6)
    assert eps * 1e6 == pytest.approx(ppm, abs=0.05)  # film.md 5
    assert web.stretch(600, eps) == pytest.approx(mm, abs=5e-4)  # film.md 5


def test_heat_draw_neck_in_and_pitch_of_the_notes():
    assert web.expansion(600, 1e-4, 5) == pytest.approx(0.300)  # film.md 5, mm
    assert web.held_tension(2e9, 75e-6, 1e-4, 5) == pytest.approx(75)  # film.md 5, N/m
    assert web.pull(2e9, 75e-6, 5e-4) == pytest.approx(75)  # film.md 5, N on 1 m for a draw of 0.05 %
    assert web.neck_in(1.0, 1e-3, 0.4) == pytest.approx(0.4e-3)  # film.md 5, with nu 0.4
    pitch = web.between_passes(0.6, 1e-3, 5e-4, 2e9 * 75e-6)
    assert (pitch.relaxed * 1e3, pitch.shrunk * 1e3) == pytest.approx((599.4006, 599.1009), abs=5e-5)  # film.md 5
    assert pitch.fit * 1e6 == pytest.approx(1500.75, abs=5e-3)  # film.md 5
    assert pitch.tension == pytest.approx(225, abs=0.5)  # film.md 5


@given(st.floats(0.1, 2), st.floats(0, 5e-3), st.floats(0, 5e-3))
def test_a_web_pulled_by_the_tension_to_fit_does_fit(repeat, eps, shrink):
    pitch = web.between_passes(repeat, eps, shrink, 150e3)
    assert web.between_passes(repeat, eps, shrink, 150e3, 4.0, pitch.fit).off == pytest.approx(0, abs=1e-12)
    assert web.between_passes(repeat, eps, 0.0, 150e3).off == pytest.approx(0, abs=1e-12)  # the same pull, no shrink


def test_a_web_that_would_yield_is_refused():
    with pytest.raises(BadValue, match="Hooke"):
        web.strain(5000, 2e9, 75e-6)


def test_register_after_a_step_of_the_notes():
    one = register.step(3, 2.5, 1e-4)
    assert one.time_constant == pytest.approx(1.2)  # film.md 5
    assert one.peak * 1e6 == pytest.approx(110.364, abs=5e-4)  # film.md 5; closed form L d / e
    assert one.peak == pytest.approx(3 * 1e-4 / e)
    assert register.transient(3, 2.5, 1e-4, 2.4) * 1e6 == pytest.approx(40.601, abs=5e-4)  # film.md 5
    assert register.transient(3, 2.5, 1e-4, 0.6) * 1e6 == pytest.approx(31.959, abs=5e-4)  # film.md 5
    assert register.step(3, 2.5, 10 / 150e3).peak * 1e6 == pytest.approx(73.6, abs=0.05)  # film.md 5, 10 N/m
    followed = [1e6 * x for x in register.simulated(3, 2.5, 1e-3, 1e-4, [0.6, 1.2, 2.4])]
    assert followed == pytest.approx([31.924, 110.243, 40.560], abs=1e-3)  # film.md 5, another program of ours


def by_marks(span: float, speed: float, before: float, change: float, at: float) -> float:
    """Marks struck every 0.5 ms and moved on with the web, uniform strain in the span: no integral, no root."""
    tick = 2e-4
    strain, marks, t, start = before, [], -1.5 * span / speed, 0.0
    while t < at:
        flows = speed / (1 + strain)  # of slack web, out of the second nip
        marks.append((t, start))  # slack web that had gone in when it was struck
        enters = speed / (1 + before + (change if t >= 0 else 0.0))
        content = span / (1 + strain) + (enters - flows) * tick
        start, strain, t = start + enters * tick, span / content - 1, t + tick
    gone = start - span / (1 + strain)  # slack web that has gone out
    births, ins = np.array(marks).T
    return float(speed * (t - np.interp(gone, ins, births)) - span)


@pytest.mark.parametrize("at", [0.6, 1.2, 2.0])
def test_the_transport_is_what_marks_moved_step_by_step_do(at):
    assert register.simulated(3, 2.5, 1e-3, 5e-4, [at])[0] == pytest.approx(by_marks(3, 2.5, 1e-3, 5e-4, at), abs=2e-7)


@given(st.floats(0.5, 20), st.floats(0.2, 10), st.floats(1e-6, 1e-4))
def test_the_error_is_greatest_after_one_time_constant_and_then_goes(span, speed, change):
    one = register.step(span, speed, change)
    at = [register.transient(span, speed, change, x * one.time_constant) for x in (0, 0.9, 1, 1.1, 25)]
    assert at[2] == pytest.approx(one.peak, rel=1e-12)
    assert at[2] > max(at[1], at[3])
    assert at[0] == 0
    assert at[4] < 1e-9 * span


def test_register_budget_of_the_notes():
    one = register.budget([15e-6, 37e-6, 10e-6, 20e-6, 30e-6])
    assert (one.together * 1e6, one.worst * 1e6) == pytest.approx((54.72, 112), abs=5e-3)  # film.md 5
    assert register.budget([], [3e-6, 4e-6]).together == pytest.approx(7e-6)  # what moves together adds
    with pytest.raises(BadValue, match="below 1 m"):
        register.budget([15.0])


def test_mie_is_the_sphere_of_the_book_and_rayleigh_when_small():
    book = titania.mie(1.55, 2 * np.pi * 0.525 / 0.6328)
    assert book.scattering == pytest.approx(3.10543, abs=1e-5)  # Bohren and Huffman 1983, appendix A, from memory
    m, x = 1.33, 0.01
    rayleigh = 8 / 3 * x**4 * ((m**2 - 1) / (m**2 + 2)) ** 2  # closed form
    small = titania.mie(m, x)
    assert small.scattering == pytest.approx(rayleigh, rel=1e-4)
    assert abs(small.asymmetry) < 1e-4
    assert titania.mie(1.5, 3000).scattering == pytest.approx(2, abs=0.05)  # extinction paradox, closed form


def test_the_bound_on_scattering_of_the_notes():
    assert titania.rutile_index(550e-9) == pytest.approx(2.6479, abs=5e-5)  # Devore 1951, refractiveindex.info
    each = [titania.dilute(titania.RUTILE, d) / 1e3 for d in (0.20e-6, 0.25e-6, 0.30e-6)]
    assert each == pytest.approx([1.895, 1.631, 1.470], abs=5e-4)  # film.md 4.4, with miepython
    crowded = [titania.bound(titania.RUTILE, 0.25e-6, phi) / 1e6 for phi in (0.05, 0.10, 0.15, 0.20)]
    assert crowded == pytest.approx([0.204, 0.336, 0.427, 0.488], abs=5e-4)  # film.md 4.4
    with pytest.raises(BadValue):
        titania.bound(titania.RUTILE, 0.25e-6, 0.9)


NOTES = Recipe(Coated(Coat(0.25e6, 500.0, 2.5e-6)), width=1.0, speed=2.5, length=8000.0)


def test_one_answer_holds_every_part_with_units_cautions_and_what_it_rests_on():
    told = settings(NOTES)
    assert told["opacity_white_backing"] == [61.648, 78.491, 86.066, 90.247, 92.834]  # film.md 4.3
    assert told["ink_kg_per_roll"] == pytest.approx(640.2)  # film.md 4.5
    assert told["air_m3_h"] == pytest.approx(1966.4, abs=0.05)  # film.md 4.6
    assert told["pass_air_m3_h"] == pytest.approx(5 * told["air_m3_h"])
    assert (told["passes"], told["hours_per_roll"]) == (2, pytest.approx(2 * 8000 / 9000))
    cautions = " ".join(told["cautions"])
    assert all(word in cautions for word in ("vapour", "Static", "nips", "licensed", "local codes"))
    assert {"ink.transfer", "web.tension", "dryer.hot_factor"} <= {one["name"] for one in told["from_memory"]}
    assert "estimate" in told["notes"]["dryer"][0]


def test_what_was_given_is_no_longer_from_memory():
    mine = replace(NOTES, ink=INK.over("data sheet", transfer=0.6), web=WEB.over("measured", tension=120))
    names = {one["name"] for one in settings(mine)["from_memory"]}
    assert not {"ink.transfer", "web.tension"} & names
    assert settings(mine)["cell_cm3_m2"] == pytest.approx(14.348 * 0.5 / 0.6, abs=1e-3)


def test_a_hot_dryer_takes_more_air_and_says_so():
    hot = settings(replace(NOTES, dryer=DRYER.over("test", dryer_temperature=403.15)))
    assert hot["air_m3_h"] == pytest.approx(2809.2, abs=0.05)  # film.md 4.6, B 0.7
    assert any("hot dryer" in note for note in hot["notes"]["dryer"])
    wild = settings(replace(NOTES, dryer=DRYER.over("test", limit_share=0.4)))
    assert any("licensed" in note for note in wild["notes"]["dryer"])


def test_without_width_and_speed_the_dryer_is_left_empty_and_says_what_to_give():
    told = settings(replace(NOTES, width=None))
    assert (told["air_m3_h"], told["ink_kg_per_roll"]) == (None, None)
    assert "--width" in told["notes"]["dryer"][0]


def test_a_coater_of_fewer_units_takes_more_passes():
    few = replace(NOTES, web=WEB.over("test", units=2))
    assert (few.passes, replace(few, coats=4).passes, replace(few, coats=1).passes) == (6, 4, 2)


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"coats": 6}, "coats"), ({"coats": 0}, "coats"), ({"coats": 2.5}, "coats"), ({"width": 1000.0}, "width"),
        ({"speed": -1.0}, "speed"), ({"length": inf}, "length"), ({"gauge": 75.0}, "gauge"),
    ],
)  # fmt: skip
def test_a_recipe_that_cannot_be_is_refused_by_its_field(changed, field):
    with pytest.raises(BadValue) as refused:
        replace(NOTES, **changed)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("part", "changed"),
    [
        (INK, {"solids": 0.0}), (INK, {"solids": 50.0}), (INK, {"windows": 1.0}), (INK, {"transfer": 0.0}),
        (WEB, {"units": 2.5}), (WEB, {"tension": -5.0}), (WEB, {"repeat": 600.0}), (DRYER, {"dryer_temperature": 60.0}),
        (SOLVENTS["acetone"], {"lfl": 2.5}), (INK, {"no_such": 1.0}),
    ],
)  # fmt: skip
def test_values_known_better_must_be_possible(part, changed):
    with pytest.raises(BadValue):
        part.over("test", **changed)

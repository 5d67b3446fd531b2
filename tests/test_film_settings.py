"""All settings from one recipe.  Check values: the command line of the issue and film.md 1 and 2 of our notes."""

import json
from dataclasses import fields, replace
from math import inf, isfinite, nan
from typing import Any

import pytest

from reelmark.errors import BadValue
from reelmark.stations.film.material import POLYPROPYLENE, Known, Table
from reelmark.stations.film.predict import LINE, Recipe, Settings, TubeAsk, rolled, settings, sweep

NOTES = Recipe(gauge=75e-6, width=2.8, speed=25 / 60)


@pytest.fixture(scope="module")
def answer():
    return settings(replace(NOTES, order_length=100_000.0)).as_dict()


@pytest.mark.parametrize(
    ("key", "value", "last"),
    [
        ("output_kg_h", 570.150, 5e-4),  # the issue, film.md 1.1
        ("cast_wall_mm", 3.150, 5e-4),  # the issue, film.md 1.1
        ("tube_radius_mm", 127.324, 5e-4),  # the issue, film.md 1.1
        ("bubble_radius_mm", 891.268, 5e-4),  # film.md 1.1
        ("tube_speed_m_min", 4.1667, 5e-5),  # film.md 1.1
        ("draw_down", 1.0902, 5e-5),  # film.md 1.1: die 2.1 tube radii wide, gap 4 mm
        ("gauge_tolerance_percent", 0.648, 5e-4),  # film.md 1.1
        ("bubble_pressure_pa", 2103.745, 5e-4),  # film.md 1.2
        ("bubble_pressure_mbar", 21.04, 5e-3),  # film.md 1.2
        ("wall_force_n", 10_500, 1e-6),  # film.md 1.2
        ("haul_off_force_n", 5_250, 1e-6),  # film.md 1.2
        ("total_heat_kj_kg", 631.887, 5e-4),  # film.md 1.3
        ("cooling_duty_kw", 100.075, 5e-4),  # film.md 1.3
        ("water_flow_m3_h", 17.238, 5e-4),  # film.md 1.3
        ("biot", 15.75, 1e-9),  # film.md 1.4
        ("cooling_time_s", 131.2, 0.06),  # film.md 1.4
        ("series_time_s", 144.00, 6e-3),  # film.md 1.4
        ("series_bath_m", 10.00, 6e-3),  # film.md 1.4
        ("bubble_dwell_s", 15.4808, 5e-5),  # film.md 1.1
        ("hours_per_roll", 5.3333, 5e-5),  # film.md 1.1
        ("roll_mass_kg", 1520.4, 0.05),  # film.md 1.1
        ("roll_laps", 4898.84, 5e-3),  # film.md 2
        ("roll_diameter_m", 0.88723, 5e-6),  # film.md 2
        ("roll_inertia_kg_m2", 154.0156, 5e-5),  # film.md 2
        ("roll_mass_tolerance_percent", 1.06, 5e-3),  # film.md 2
        ("hardening_pressure", 0.52631755, 5e-9),  # film.md 1.6
        ("gauge_to_pressure", -0.3877, 5e-5),  # film.md 1.6
        ("order_hours", 100_000 / (2 * 25) / 60, 1e-9),  # by hand: two webs at 25 m/min
        ("order_film_kg", 100_000 * 0.067875 * 2.8, 1e-6),  # by hand: 67.875 g/m2
        ("cast_dwell_s", 12 / (25 / 6 / 60), 1e-6),  # by hand
        ("gauge_to_die_s", 12 / (25 / 6 / 60) + 15.4808 + 14 / (25 / 60), 1e-4),  # by hand, and film.md 1.1
        ("melt_residence_s", 740 * 0.02 / 0.158375, 1e-4),  # film.md 1.1: rho_m V / mdot
    ],
)
def test_the_line_of_the_notes(answer, key, value, last):
    assert answer[key] == pytest.approx(value, abs=last)


def test_the_answer_is_plain_and_whole(answer):
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    whole = settings(NOTES)
    parts = [getattr(whole, f.name) for f in fields(Settings) if f.name not in ("from_memory", "cautions")]
    figures = [f.name for block in parts for f in fields(block) if f.name != "notes"]
    assert len(figures) == len(set(figures)), "a key stands in two blocks"
    assert set(figures) <= answer.keys()
    assert answer["gauge_to_speed"] == -1  # exactly
    assert all(answer["notes"].values()), "each block says where it holds"
    for word in ("melt", "nip", "bubble", "rolls", "Static", "replace neither"):
        assert any(word in caution for caution in answer["cautions"])


@pytest.mark.parametrize("found", ["gauge", "width", "speed", "output"])
def test_any_three_of_four_give_the_same_line(found):
    four = {"gauge": 75e-6, "width": 2.8, "speed": 25 / 60, "output": 570.15 / 3600}
    given: dict[str, Any] = {name: value for name, value in four.items() if name != found}
    again, whole = settings(Recipe(**given)).figures(), settings(NOTES).figures()
    assert [again[k] for k in whole if whole[k] is not None] == pytest.approx(
        [v for v in whole.values() if v is not None], rel=1e-6
    )


def test_trim_leaves_less_in_the_roll_than_the_extruder_gave():
    done: dict[str, Any] = settings(replace(NOTES, trim=0.05, order_length=8000.0)).figures()
    assert done["output_kg_h"] == pytest.approx(570.15)
    assert done["roll_mass_kg"] == pytest.approx(0.95 * 1520.4)
    # Conservation: what the extruder gives in the time of the order is film and trim.
    assert done["output_kg_h"] * done["order_hours"] == pytest.approx(done["order_resin_kg"])
    assert done["order_film_kg"] == pytest.approx(0.95 * done["order_resin_kg"])


def test_gauge_swept_against_speed_keeps_their_product():
    fixed = replace(NOTES, gauge=None, output=570.15 / 3600)
    rows = sweep(fixed, "speed", [0.3, 0.4, 0.5])
    assert [row["gauge_um"] * row["speed"] for row in rows] == pytest.approx([75 * 25 / 60] * 3, rel=1e-12)


def test_a_row_that_cannot_be_run_says_why_and_the_others_stand(monkeypatch):
    monkeypatch.setattr(rolled, "COARSE_LAPS", 20)
    rows = sweep(NOTES, "draw_across", [6.0, 11.0, nan])
    assert rows[0]["cast_wall_mm"] == pytest.approx(2.7)
    assert "draw limit is 10" in rows[1]["refused"]
    assert "finite" in rows[2]["refused"]
    warm = sweep(NOTES, "line.water_temperature", [280.0, 310.0])
    assert warm[0]["cooling_time_s"] < 131
    assert "water" in warm[1]["refused"]
    assert sweep(NOTES, "material.density", [890.0])[0]["output_kg_h"] == pytest.approx(570.15 * 890 / 905)


@pytest.mark.parametrize("field", ["colour", "material", "material.solid_cp", "material.colour", "line.", "tube"])
def test_only_a_number_of_the_recipe_is_swept(field):
    with pytest.raises(BadValue, match="no such number"):
        sweep(NOTES, field, [1.0])


def _moved(known: Known | Table) -> Any:
    return tuple((t, v * 1.01) for t, v in known.points) if isinstance(known, Table) else known.value * 1.01


@pytest.mark.parametrize(
    ("part", "name"), [(p, n) for p, one in (("material", POLYPROPYLENE), ("line", LINE)) for n, _ in one.items()]
)
def test_each_value_listed_is_one_the_answer_rests_on(part, name, monkeypatch):
    monkeypatch.setattr(rolled, "COARSE_LAPS", 10)
    held = getattr(NOTES, part)
    if name == "draw_limit":  # it moves no figure, only what is refused
        assert "refused" in sweep(NOTES, "material.draw_limit", [6.9])[0]
        return
    moved = replace(NOTES, **{part: held.over("moved by a test", **{name: _moved(dict(held.items())[name])})})
    before, after = (settings(r).figures() for r in (NOTES, moved))
    assert [k for k in before if before[k] != after[k]], f"{part}.{name} moves nothing"


def test_values_read_nowhere_are_listed_and_the_users_own_are_not():
    listed = {one.name: one for one in settings(NOTES).from_memory}
    assert "material.fusion" in listed
    assert listed["line.draw_stress"].value == 25e6
    assert not {"material.density", "material.solid_cp"} & listed.keys()
    assert all(one.source.startswith(("from memory", "assumed", "common practice")) for one in listed.values())
    ours = replace(NOTES, material=POLYPROPYLENE.over("our laboratory, lot 12", fusion=190e3))
    again = settings(ours)
    assert "material.fusion" not in {one.name for one in again.from_memory}
    assert again.cooling.latent_heat_kj_kg == pytest.approx(0.45 * 190)


def test_notes_speak_where_a_model_is_used_at_its_edge():
    done = settings(replace(NOTES, draw_across=9.0, draw_along=8.5)).as_dict()
    assert done["hardening_pressure"] is None
    assert any("cannot be stretched" in note for note in done["notes"]["hardening"])
    assert any("usual for oriented film" in note for note in done["notes"]["balance"])
    assert any("Biot number" in note and "Warning" in note for note in done["notes"]["cooling"])
    assert any("beyond its last point" in note for note in done["notes"]["cooling"])
    assert any("buckle" in note for note in done["notes"]["wound"])
    thin = replace(NOTES, gauge=5e-6, line=LINE.over("a test", water_coefficient=20.0))
    assert not any("Biot" in note for note in settings(thin).cooling.notes)
    narrow = replace(NOTES, line=LINE.over("a test", die_gap=2e-3, cast_path=5.0))
    said = settings(narrow).as_dict()["notes"]
    assert any("below 1" in note for note in said["balance"])
    assert any("more than the 5 m" in note for note in said["times"])


def test_the_thin_film_tube_is_answered_where_it_is_asked_and_refuses_in_a_note():
    asked = settings(replace(NOTES, tube=TubeAsk(2.18998471, 1.77161030, 5.0))).tube
    assert (asked.tube_pressure, asked.tube_force) == pytest.approx((0.20, 1.2), rel=1e-6)  # film.md 1.5
    assert asked.tube_gauge_to_pressure == pytest.approx(3.8476, abs=5e-5)  # film.md 1.5
    assert asked.tube_gauge_to_speed_at_blow_up == pytest.approx(-1, abs=1e-8)
    none = settings(replace(NOTES, tube=TubeAsk(7, 6, 5))).tube
    assert none.tube_pressure is None
    assert any("no steady tube" in note for note in none.notes)
    assert any("Not asked" in note for note in settings(NOTES).tube.notes)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"gauge": 75.0}, "gauge"),
        ({"gauge": inf}, "gauge"),
        ({"width": 2800.0}, "width"),
        ({"speed": 25 * 60.0}, "speed"),
        ({"output": 0.158}, "flow"),
        ({"speed": None}, "flow"),
        ({"draw_along": 60.0}, "draw_along"),
        ({"trim": 2.0}, "trim"),
        ({"air": 3.0}, "air"),
        ({"roll_length": 8.0}, "roll_length"),
        ({"core_diameter": 152.4}, "core_diameter"),
        ({"order_length": nan}, "order_length"),
        ({"cooled_sides": 3}, "cooled_sides"),
        ({"gauge": 4e-4, "width": 0.2}, "gauge"),
    ],
)
def test_a_bad_recipe_gets_its_own_error(change, field):
    with pytest.raises(BadValue) as refused:
        settings(replace(NOTES, **change))
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"density": 0.905}, "density"),
        ({"crystallinity": 45.0}, "crystallinity"),
        ({"conductivity": -0.2}, "conductivity"),
        ({"fusion": nan}, "fusion"),
        ({"freezing": 115.0}, "freezing"),
        ({"solid_cp": ((300.0, 1700.0), (290.0, 1800.0))}, "points"),
        ({"colour": 1.0}, "property"),
    ],
)
def test_a_bad_material_gets_its_own_error(values, field):
    with pytest.raises(BadValue) as refused:
        POLYPROPYLENE.over("a test", **values)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("values", "field"), [({"melt_temperature": 250.0 - 1}, "melt_temperature"), ({"die_gap": -1.0}, "die_gap")]
)
def test_a_bad_line_gets_its_own_error(values, field):
    with pytest.raises(BadValue) as refused:
        replace(NOTES, line=LINE.over("a test", **values))
    assert refused.value.field == field


def test_every_value_of_the_material_and_the_line_names_unit_and_source():
    for one in (POLYPROPYLENE, LINE):
        for name, known in one.items():
            assert known.unit, name
            assert len(known.source) > 5, name
            assert not isinstance(known, Known) or isfinite(known.value)

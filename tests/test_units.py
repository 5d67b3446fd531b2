"""Units: what is written becomes the SI number exactly, or is refused with what to write instead."""

from decimal import Decimal
from fractions import Fraction as Ratio
from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from reelmark import fields, units
from reelmark.errors import BadValue

# Factors from the SI Brochure, 9th edition, and NIST SP 811; each line worked by hand.
WORKED = [
    ("65 um", units.LENGTH, "0.000065"),
    ("50 um", units.LENGTH, "0.00005"),
    ("8 km", units.LENGTH, "8000"),
    ("1.5 t", units.MASS, "1500"),
    ("2.5 m/s", units.SPEED, "2.5"),
    ("150 m/min", units.SPEED, "2.5"),  # 150 / 60
    ("36 km/h", units.SPEED, "10"),  # 36 000 / 3600
    ("190 degC", units.TEMPERATURE, "463.15"),  # 190 + 273.15
    ("-40 degC", units.TEMPERATURE, "233.15"),
    ("5 K", units.TEMPERATURE_STEP, "5"),
    ("6 bar", units.PRESSURE, "600000"),
    ("0.91 g/cm3", units.DENSITY, "910"),  # 0.91e-3 kg / 1e-6 m3
    ("12 g/m2", units.GRAMMAGE, "0.012"),
    ("360 kg/h", units.MASS_FLOW, "0.1"),
    ("2 kWh", units.ENERGY, "7200000"),
    ("2.5 %", units.FRACTION, "0.025"),
    ("0.97", units.FRACTION, "0.97"),
    ("1.5 d", units.TIME, "129600"),
]


@pytest.mark.parametrize(("text", "dimension", "si"), WORKED)
def test_written_quantities_worked_by_hand(text, dimension, si):
    assert units.parse(text, dimension) == Decimal(si)


@pytest.mark.parametrize(
    "text", ["65 um", "65um", " 65  um ", "65 µm", "65 \u03bcm", "65\u00a0µm", "6.5e1 um", "+65. um"]
)
def test_the_micro_sign_and_the_space_do_not_matter(text):
    assert units.parse(text, units.LENGTH) == Decimal("0.000065")


@pytest.mark.parametrize(
    ("text", "dimension", "plain"),
    [("910 kg/m³", units.DENSITY, 910), ("20 °C", units.TEMPERATURE, "293.15"), ("9 Pa·s", units.VISCOSITY, 9)],
)
def test_raised_figures_degree_sign_and_dot_are_read(text, dimension, plain):
    assert units.parse(text, dimension) == Decimal(plain)


REFUSED = [
    ("8 t", "is a mass; a length is wanted, such as '8 km'"),
    ("5214", "has no unit; write '5214 m'"),
    (5214, "has no unit; write '5214 m'"),
    (65e-6, "has no unit; write '0.000065 m'"),
    ("5,214 m", "write '5214 m', or '5.214 m' if the comma is a decimal point"),
    ("1,234,567 m", "write '1234567 m'"),
    ("5 214 m", "write '5214 m'"),
    ("5\u202f214 m", "write '5214 m'"),
    ("5'214.5 m", "write '5214.5 m'"),
    ("5_214 m", "write '5214 m'"),
    ("1,5 m", "write '1.5 m'"),
    ("1.234,5 m", "at most one decimal point"),
    ("1.234.567 m", "not a number"),
    ("8 KM", "'KM' is no unit known here; for a length write one of nm, um, mm, cm, m, km"),
    ("10\u2075 m", "no unit known here"),  # ten to the fifth must not become 105
    ("\u0663 m", "does not begin with a number"),
    ("", "empty; write a number and a unit"),
    ("   ", "empty"),
    ("m", "does not begin with a number"),
    ("nan m", "does not begin with a number"),
    ("inf m", "does not begin with a number"),
    (float("nan"), "does not begin with a number"),
    ("1e999 m", "larger than any length"),
    ("1e1000 m", "not a number of at most 30 digits"),
    ("8 m\n9 m", "no unit known here"),
    ("--8 m", "does not begin with a number"),
    (True, "is not a number with a unit"),
    (None, "is not a number with a unit"),
    (b"8 m", "is not a number with a unit"),
]


@pytest.mark.parametrize(("text", "said"), REFUSED)
def test_what_is_no_length_is_refused_with_the_cure(text, said):
    with pytest.raises(BadValue) as refused:
        units.parse(text, units.LENGTH, field="roll.length")
    assert said in str(refused.value)
    assert refused.value.field == "roll.length"


def test_a_step_of_temperature_is_no_temperature():
    with pytest.raises(BadValue, match="is a temperature; a temperature difference is wanted, such as '5 K'"):
        units.parse("5 degC", units.TEMPERATURE_STEP)


def test_nothing_is_colder_than_zero_kelvin():
    with pytest.raises(BadValue, match="below the least temperature, 0 K"):
        units.parse("-273.16 degC", units.TEMPERATURE)


def test_whole_units_are_exact_and_never_rounded():
    assert units.whole("5214.25 m", "um") == 5_214_250_000
    assert units.whole("1.5 min", "s") == 90
    assert units.whole("1.5 t", "g") == 1_500_000
    with pytest.raises(BadValue, match="finer than 1 um"):
        units.whole("0.0000015 m", "um")
    with pytest.raises(BadValue, match="more than 9223372036854775807 um"):
        units.whole("1e13 m", "um")


@given(st.integers(-(2**63) + 1, 2**63 - 1))
def test_micrometres_come_back_from_text(um):
    assert units.whole(units.metres(um), "um") == um
    assert units.parse(units.metres(um), units.LENGTH) == Decimal(um).scaleb(-6)


@given(st.decimals(allow_nan=False, allow_infinity=False, places=6, min_value=0, max_value=10**9), st.data())
def test_every_unit_agrees_with_plain_fractions(number, data):
    one = data.draw(st.sampled_from(units.UNITS))
    if one.symbol == "1":
        return
    exact = Ratio(number) * Ratio(one.times) / Ratio(one.over) + Ratio(one.offset)
    read = Ratio(units.parse(f"{number} {one.symbol}", one.dimension))
    assert abs(read - exact) <= abs(exact) / 10**100


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_never_else(text):
    for dimension in units.DIMENSIONS:
        try:
            assert units.parse(text, dimension).is_finite()
        except BadValue:
            continue


def test_shown_as_the_reader_wants_it():
    assert units.metres(5_214_250_000) == "5214.250 m"
    assert units.metres(-1) == "-0.000001 m"
    assert units.show(463.15, "degC", 1) == "190.0 degC"
    assert units.show(2.5, "m/min", 0) == "150 m/min"
    assert units.show(-0.0001, "m", 2) == "0.00 m"
    assert units.show(0.025, "1", 3) == "0.025"
    assert units.show(float("nan"), "m", 2) == "not known"


def test_every_unit_has_one_factor_and_a_source():
    assert len({(one.symbol, one.dimension) for one in units.UNITS}) == len(units.UNITS)
    assert all(one.source.startswith(("SI Brochure", "NIST SP 811")) for one in units.UNITS)
    assert all(units.parse(one.example, one) for one in units.DIMENSIONS)


class Slip(BaseModel):
    """A small record with each kind of field."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)
    thickness: fields.Length
    length: fields.Micrometres
    wound: fields.Seconds = 0
    lost: Annotated[fields.Fraction, Field(ge=0, le=1)] = 0.0
    melt: fields.Temperature | None = None


def test_fields_hold_si_and_whole_numbers():
    slip = Slip.model_validate(
        {"thickness": "65 um", "length": "5214.25 m", "wound": "2 h", "lost": "3 %", "melt": "190 °C"}
    )
    assert (slip.thickness, slip.length, slip.wound, slip.lost, slip.melt) == (
        6.5e-05,
        5_214_250_000,
        7200,
        0.03,
        463.15,
    )


@given(st.floats(-1e299, 1e299), st.integers(0, 10**15), st.integers(0, 10**9), st.floats(0, 1))
def test_a_model_comes_back_from_its_own_json(thickness, length, wound, lost):
    slip = Slip.model_construct(thickness=thickness, length=length, wound=wound, lost=lost)
    assert Slip.model_validate_json(slip.model_dump_json()) == slip


@pytest.mark.parametrize(
    ("record", "said"),
    [
        (
            {"thickness": "8 t", "length": "1 m"},
            "thickness = '8 t': that is a mass; a length is wanted, such as '8 km'",
        ),
        ({"thickness": "8 um", "length": 1}, "length = 1: that has no unit; write '1 m'"),
        ({"thickness": "8 um", "length": "1 m", "lost": "300 %"}, "lost = '300 %'"),
        ({"thickness": "8 um"}, "add the field"),
        ({"thickness": "8 um", "length": "1 m", "lenght": "1 m"}, "correct its spelling"),
    ],
)
def test_a_refused_field_says_where_and_what_to_do(record, said):
    with pytest.raises(ValidationError) as refused:
        Slip.model_validate(record)
    assert said in str(fields.refusal(refused.value))


def test_the_schema_names_the_unit_kept_inside():
    shape = Slip.model_json_schema()["properties"]
    assert (shape["thickness"]["type"], shape["thickness"]["x-unit"]) == ("string", "m")
    assert (shape["length"]["x-unit"], shape["wound"]["x-unit"]) == ("um", "s")

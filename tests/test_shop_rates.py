"""Shop rates, as common practice with no source: what a works of this kind does, against the demo's records.

A film roll is over 8 km and about 1.5 t; a numbering press does about 2.5 million notes in one shift of 8 h.
"""

from datetime import datetime
from itertools import pairwise

import pytest

from reelmark.demo import FULL, simulate
from reelmark.units import AREA, DENSITY, LENGTH, MASS, parse


def test_a_roll_of_8_km_and_a_ton_and_a_half_is_207_mm2_across() -> None:
    # common practice, no source: 8 km, 1.5 t; density 905 kg/m3 is from memory (polypropylene film).
    across = parse("1.5 t", MASS) / parse("905 kg/m3", DENSITY) / parse("8 km", LENGTH)
    assert abs(across - parse("207 mm2", AREA)) < parse("0.5 mm2", AREA)


def test_the_demo_s_full_rolls_are_about_8_km() -> None:
    rolls = [r for shift in simulate(FULL, 1).records for r in shift if r["kind"] == "roll"]
    full = [float(r["length"].removesuffix(" m")) for r in rolls if float(r["length"].removesuffix(" m")) > 7000]
    assert len(full) >= 4
    assert all(length == pytest.approx(8000, abs=50) for length in full)


def test_the_demo_s_numbering_press_does_millions_of_notes_in_8_hours_not_more() -> None:
    passes = [r for shift in simulate(FULL, 1).records for r in shift if r["kind"] == "number"]
    hours = [
        (datetime.fromisoformat(b["at"]) - datetime.fromisoformat(a["at"])).total_seconds() / 3600
        for a, b in pairwise(passes)
    ]
    fastest = max(b["ticks"] * 45 / h * 8 for b, h in zip(passes[1:], hours, strict=True) if h > 0.2)
    assert 1.0e6 < fastest < 4.0e6  # notes a shift; common practice, no source: about 2.5 million

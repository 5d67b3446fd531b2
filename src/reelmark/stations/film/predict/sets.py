"""The blocks of an answer: flat figures with their unit in the name, and notes on where they hold.

A key stands in one block only, so that blocks lie flat beside each other in one table.  None stands for what was not
asked, or what a model refuses; then the notes say so.
"""

from dataclasses import dataclass

__all__ = [
    "BalanceSet",
    "BubbleSet",
    "CoolingSet",
    "HardeningSet",
    "Notes",
    "RollSet",
    "TimesSet",
    "TubeSet",
    "WoundSet",
]

Notes = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BalanceSet:
    """Mass along the line; gauge_to_* are d ln gauge / d ln cause."""

    gauge_um: float
    width_m: float
    speed_m_min: float
    output_kg_h: float
    wound_kg_h: float
    cast_wall_mm: float
    tube_radius_mm: float
    tube_speed_m_min: float
    bubble_radius_mm: float
    die_diameter_mm: float
    die_speed_m_min: float
    draw_down: float
    film_metres_per_tube_metre: float
    gauge_to_output: float
    gauge_to_width: float
    gauge_to_speed: float
    gauge_tolerance_percent: float
    notes: Notes


@dataclass(frozen=True, slots=True)
class BubbleSet:
    """The membrane above the freeze line."""

    bubble_pressure_pa: float
    bubble_pressure_mbar: float
    wall_force_n: float
    end_force_n: float
    haul_off_force_n: float
    bubble_volume_m3: float
    notes: Notes


@dataclass(frozen=True, slots=True)
class HardeningSet:
    """The ring stretched as a solid; pressure in G h0 / r0, the others d ln / d ln."""

    hardening_pressure: float | None
    pressure_to_width: float | None
    gauge_to_pressure: float | None
    notes: Notes


@dataclass(frozen=True, slots=True)
class CoolingSet:
    """Heat to lose, water, and time in the bath."""

    solid_heat_kj_kg: float
    melt_heat_kj_kg: float
    latent_heat_kj_kg: float
    total_heat_kj_kg: float
    cooling_duty_kw: float
    water_flow_m3_h: float
    biot: float
    cooling_time_s: float
    bath_length_m: float
    inner_face_degc: float
    series_time_s: float | None
    series_bath_m: float | None
    lumped_bound_s: float
    notes: Notes


@dataclass(frozen=True, slots=True)
class TimesSet:
    """How long the material is where; and metres of film made before the gauge sees a change at the die."""

    cast_dwell_s: float
    bubble_dwell_s: float
    melt_residence_s: float
    gauge_to_die_s: float
    gauge_to_die_film_m: float
    notes: Notes


@dataclass(frozen=True, slots=True)
class RollSet:
    """One roll, and the order."""

    roll_length_m: float
    roll_width_m: float
    roll_diameter_m: float
    roll_laps: float
    roll_mass_kg: float
    roll_inertia_kg_m2: float
    roll_mass_tolerance_percent: float
    hours_per_roll: float
    order_hours: float | None
    order_film_kg: float | None
    order_resin_kg: float | None
    order_rolls: float | None
    notes: Notes


@dataclass(frozen=True, slots=True)
class WoundSet:
    """Pressure and pull in the roll; None where every lap is still pulled."""

    wound_core_kpa: float
    wound_middle_kpa: float
    wound_least_hoop_mpa: float
    wound_pressed_below_mm: float | None
    notes: Notes


@dataclass(frozen=True, slots=True)
class TubeSet:
    """The thin-film model of a tube of melt; *_to_* are d ln / d ln."""

    tube_pressure: float | None = None
    tube_force: float | None = None
    tube_thinning: float | None = None
    tube_blow_up_to_pressure: float | None = None
    tube_gauge_to_pressure: float | None = None
    tube_gauge_to_speed_at_pressure: float | None = None
    tube_gauge_to_speed_at_blow_up: float | None = None
    notes: Notes = ()

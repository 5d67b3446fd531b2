"""SI physics into the blocks of an answer, from the die to the nip; ``rolled`` does it for the winder."""

from math import isfinite

from reelmark.errors import BadValue
from reelmark.measure.material import KELVIN
from reelmark.stations.film.predict import balance, bubble, cooling, heat, rubber, tube
from reelmark.stations.film.predict.recipe import Recipe
from reelmark.stations.film.predict.sets import (
    BalanceSet,
    BubbleSet,
    CoolingSet,
    HardeningSet,
    Notes,
    TimesSet,
    TubeSet,
)

__all__ = ["balance_of", "bubble_of", "cooling_of", "hardening_of", "times_of", "tube_of"]

MINUTE, HOUR = 60.0, 3600.0
UNUSUAL = 0.5  # of a limit of the line, from which a note says so; our own choice
USUAL_DRAW = (4.5, 8.0)  # "usually 4.5:1 and 8.0:1" for flat-line film, boppfilms.blogspot.com 2021/03


def balance_of(recipe: Recipe, flow: balance.Running, cast: balance.Cast) -> BalanceSet:
    """Mass, die, leans and tolerance."""
    line, lean = recipe.line, balance.GAUGE_LEANS
    diameter = 2 * cast.radius * line.die_over_tube.value
    believed = (line.draw_down_least.value, line.draw_down_limit.value)
    die = balance.die(flow.output, cast, recipe.material.melt_density.value, diameter, line.die_gap.value, believed)
    tolerance = balance.gauge_tolerance(
        output=line.output_tolerance.value,
        width=line.width_tolerance.value,
        density=line.density_tolerance.value,
        speed=line.speed_tolerance.value,
    )
    return BalanceSet(
        gauge_um=flow.gauge * 1e6,
        width_m=flow.width,
        speed_m_min=flow.speed * MINUTE,
        output_kg_h=flow.output * HOUR,
        wound_kg_h=flow.output * HOUR * (1 - recipe.trim),
        cast_wall_mm=cast.wall * 1e3,
        tube_radius_mm=cast.radius * 1e3,
        tube_speed_m_min=cast.speed * MINUTE,
        bubble_radius_mm=cast.bubble_radius * 1e3,
        die_diameter_mm=die.diameter * 1e3,
        die_speed_m_min=die.speed * MINUTE,
        draw_down=die.draw_down,
        film_metres_per_tube_metre=recipe.draw_along,
        gauge_to_output=lean["output"],
        gauge_to_width=lean["width"],
        gauge_to_speed=lean["speed"],
        gauge_tolerance_percent=tolerance * 100,
        notes=_balance_notes(recipe, die.draw_down, cast.wall),
    )


def bubble_of(recipe: Recipe, flow: balance.Running, cast: balance.Cast) -> BubbleSet:
    """Pressure, pull and volume for the draw stress."""
    line = recipe.line
    pressure = bubble.pressure_for(line.draw_stress.value, cast.bubble_radius, flow.gauge)
    pull = bubble.pull(line.draw_stress.value, cast.bubble_radius, flow.gauge, pressure)
    air = bubble.volume(cast.radius, cast.bubble_radius, line.draw_length.value, line.hold_length.value)
    notes = (
        "Membrane, balanced film (one stress both ways), on the cylinder above the freeze line; no weight.",
        "The set-point is the volume of air, that is the width; the pressure follows from it.",
        "The volume takes the draw zone as a straight cone.",
    )
    return BubbleSet(pressure, pressure / 100, pull.wall, pull.end, pull.haul_off, air.total, notes)


def hardening_of(recipe: Recipe) -> HardeningSet:
    """The reduced model; None and the reason where its law ends."""
    note = (
        "Reduced model of one ring with the stretch along held; pressure in G h0/r0; no time and no heat in it.  It "
        "hardens, so pressure rises with width; in a tube of melt it falls.  Either way hold the air, not the pressure."
    )
    try:
        held = rubber.held(recipe.draw_across, recipe.draw_along, recipe.material.hardening.value)
    except BadValue as refused:
        return HardeningSet(None, None, None, (note, str(refused)))
    if not isfinite(held.pressure_to_width):
        return HardeningSet(
            held.pressure, None, None, (note, "Nothing is stretched: no pressure, and it has no slope.")
        )
    return HardeningSet(held.pressure, held.pressure_to_width, held.gauge_to_pressure, (note,))


def cooling_of(recipe: Recipe, flow: balance.Running, cast: balance.Cast) -> CoolingSet:
    """Heat and time, three ways."""
    line, made = recipe.line, recipe.material
    hot, cold = line.melt_temperature.value, line.cast_temperature.value
    lost = heat.heat(made, hot, cold)
    bath = cooling.Bath(line.water_temperature.value, line.water_coefficient.value, recipe.cooled_sides)
    wall = cooling.wall_time(made, bath, cast.wall, hot, cold)
    cp, theta = lost.total / (hot - cold), (cold - bath.temperature) / (hot - bath.temperature)
    length = _bath(recipe, wall.time, cast)
    bi = cooling.biot(bath, cast.wall, made.conductivity.value)
    series, said = _series(recipe, bath, cast.wall, cp, theta)
    lumped = cooling.lumped_bound(made, bath, cast.wall, hot, cold)
    water = heat.water_flow(lost.total * flow.output, line.water_rise.value, line.water_cp.value)
    return CoolingSet(
        solid_heat_kj_kg=lost.solid / 1e3,
        melt_heat_kj_kg=lost.melt / 1e3,
        latent_heat_kj_kg=lost.latent / 1e3,
        total_heat_kj_kg=lost.total / 1e3,
        cooling_duty_kw=lost.total * flow.output / 1e3,
        water_flow_m3_h=water / line.water_density.value * HOUR,
        biot=bi,
        cooling_time_s=wall.time,
        bath_length_m=length,
        inner_face_degc=wall.inner - KELVIN,
        series_time_s=series,
        series_bath_m=None if series is None else series * cast.speed,
        lumped_bound_s=lumped,
        notes=(*_cooling_notes(bi, lumped, wall.time, lost.beyond), *_long(length, line.bath_limit.value), *said),
    )


def times_of(recipe: Recipe, flow: balance.Running, cast: balance.Cast, bath_length: float) -> TimesSet:
    """Dwells, and the dead time from die to gauge."""
    line = recipe.line
    drawn = bubble.dwell(line.draw_length.value, cast.speed, flow.speed)
    tube_time = bubble.dwell(line.cast_path.value, cast.speed, cast.speed)
    dead = tube_time + drawn + (line.hold_length.value + line.gauge_path.value) / flow.speed
    notes: Notes = (
        "Draw zone: the speed rises straight with the length.  Residence is the mean; the slowest melt stays longer.",
        "From the die to the gauge the melt's fall between lips and cast speed is left out.",
    )
    if line.cast_path.value < bath_length:
        notes += (
            f"The bath needs {bath_length:.3g} m, more than the {line.cast_path.value:g} m from die to draw zone.",
        )
    residence = recipe.material.melt_density.value * line.melt_volume.value / flow.output
    return TimesSet(tube_time, drawn, residence, dead, dead * flow.speed, notes)


def tube_of(recipe: Recipe) -> TubeSet:
    """The thin-film model, where it was asked."""
    note = "Isothermal Newtonian film: a model of melt, not of film drawn as a solid.  B and F without units."
    ask = recipe.tube
    if ask is None:
        return TubeSet(notes=("Not asked: give a tube of melt to have its pressure and pull.", note))
    try:
        made = tube.for_shape(ask.blow_up, ask.draw, ask.length)
        lean = tube.leans(made)
    except BadValue as refused:
        return TubeSet(notes=(note, str(refused)))
    return TubeSet(
        made.pressure,
        made.force,
        made.thinning,
        lean.blow_up_to_pressure_at_draw,
        lean.gauge_to_pressure_at_draw,
        lean.gauge_to_speed_at_pressure,
        lean.gauge_to_speed_at_blow_up,
        (note,),
    )


def _balance_notes(recipe: Recipe, draw_down: float, wall: float) -> Notes:
    notes: Notes = ("Steady running; one density of the solid (a quenched tube is about 1 % less dense: from memory).",)
    for name, ratio in (("across", recipe.draw_across), ("along", recipe.draw_along)):
        if not USUAL_DRAW[0] <= ratio <= USUAL_DRAW[1]:
            notes += (f"Draw {name} {ratio:g} lies outside the 4.5 to 8.0 that is usual for oriented film.",)
    if draw_down < 1:
        notes += (f"Draw-down {draw_down:.3g} is below 1: the melt would pile up under the die; take a wider gap.",)
    line = recipe.line
    for said, value, limit in (
        (f"Draw-down {draw_down:.3g}", draw_down, line.draw_down_limit.value),
        (f"A cast wall of {wall * 1e3:.3g} mm", wall, line.cast_wall_limit.value),
    ):
        if value > UNUSUAL * limit:
            notes += (f"{said} is unusual: more than half of the most that a line is built for.",)
    return notes


def _bath(recipe: Recipe, time: float, cast: balance.Cast) -> float:
    """Metres of bath; BadValue where no line has so many."""
    length, most = time * cast.speed, recipe.line.bath_limit.value
    if length > most:
        true = f"{time:,.0f} s in the water at {cast.speed * MINUTE:.3g} m/min need that, and {most:g} m is the most"
        cure = "run slower, cast thinner, cool both sides, or give the line's own bath_limit"
        raise BadValue("bath_length", f"{length:,.3g} m", true, cure)
    return length


def _long(length: float, most: float) -> Notes:
    if length <= UNUSUAL * most:
        return ()
    return (f"A bath of {length:.3g} m is unusual: more than half of the {most:g} m that is the most.",)


def _series(recipe: Recipe, bath: cooling.Bath, wall: float, cp: float, theta: float) -> tuple[float | None, Notes]:
    made = recipe.material
    try:
        return cooling.series_time(bath, wall, made.diffusivity(cp), made.conductivity.value, theta), ()
    except BadValue as refused:
        return None, (f"Series: {refused}",)


def _cooling_notes(bi: float, lumped: float, time: float, beyond: float) -> Notes:
    notes: Notes = (
        "Cooling time is by finite differences with the latent heat in its melting range, to a mean temperature; the "
        "inner face is hotter.  The series takes one mean heat capacity and is good to about 10 %.",
    )
    if bi > cooling.LUMPED_BIOT:
        notes += (
            f"Warning: Biot number {bi:.3g} is above 0.1, so the lumped time is only a bound from below: "
            f"{lumped / time:.0%} of the cooling time.",
        )
    if beyond > 0:
        notes += (f"The cp table of the solid was gone on with for {beyond:.3g} K beyond its last point.",)
    return notes

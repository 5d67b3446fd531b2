"""SI physics into the blocks of an answer, at the winder: the roll, the order, and what is wound in."""

from reelmark.stations.film.predict import balance, roll, wound
from reelmark.stations.film.predict.recipe import Recipe
from reelmark.stations.film.predict.sets import Notes, RollSet, WoundSet

__all__ = ["roll_of", "wound_of"]

HOUR = 3600.0
USUAL_MASS = 1500.0  # kg; common practice, no source
COARSE_LAPS = 300  # and twice as many; 1200 and 2400 change the core pressure of an 8 km roll by 0.1 %


def roll_of(recipe: Recipe, flow: balance.Running) -> tuple[RollSet, roll.Roll]:
    """The roll and the order; and the roll itself for what is wound into it."""
    wide, line = flow.width * (1 - recipe.trim), recipe.line
    one = roll.roll(
        recipe.air,
        length=recipe.roll_length,
        core=recipe.core_diameter,
        gauge=flow.gauge,
        density=recipe.material.density.value,
        width=wide,
    )
    tolerance = roll.mass_tolerance(
        length=line.roll_length_tolerance.value,
        width=line.roll_width_tolerance.value / wide,
        density=line.density_tolerance.value,
        gauge=line.roll_gauge_tolerance.value,
    )
    order, film = recipe.order_length, one.grammage * wide
    hours = None if order is None else order / (2 * flow.speed) / HOUR
    kilograms = None if order is None else order * film
    resin = None if kilograms is None else kilograms / (1 - recipe.trim)
    rolls = None if order is None else order / one.length
    notes: Notes = (
        "Even web; core and shaft are not in mass and inertia.  The tube is slit into two webs, wound at once.",
        "Order hours are running hours: no start-up, changeover or rejects.",
    )
    if one.mass > 2 * USUAL_MASS:
        notes += (
            f"A roll of {one.mass:,.0f} kg is far above the {USUAL_MASS:,.0f} kg that are usual (common practice, no "
            "source): shafts, cranes and chocks must be rated for it.",
        )
    return RollSet(
        one.length,
        wide,
        one.diameter,
        one.laps,
        one.mass,
        one.inertia,
        tolerance * 100,
        one.length / flow.speed / HOUR,
        hours,
        kilograms,
        resin,
        rolls,
        notes,
    ), one


def wound_of(recipe: Recipe, one: roll.Roll) -> WoundSet:
    """Stress in that roll."""
    made, line = recipe.material, recipe.line
    stack = wound.Stack(
        one.core / 2,
        one.diameter / 2,
        line.winding_stress.value,
        made.youngs_modulus.value,
        line.core_modulus.value,
        made.poisson.value,
        wound.pfeiffer(made.stack_k1.value, made.stack_k2.value),
    )
    done = wound.wound(stack, COARSE_LAPS)
    pressed = done.buckles_below
    notes: Notes = (
        f"Constant winding stress, no air or slip; from {COARSE_LAPS} and {2 * COARSE_LAPS} lumped laps, extrapolated, "
        f"which moved the core pressure by {done.spread / 1e3:.2g} kPa.",
        "The stack's K1 and K2 are not known for this film unless you measured them.",
    )
    notes += (wound.CAUTION,) if pressed is not None else ()
    middle = done.pressure_at((stack.core_radius + stack.radius) / 2)
    least = float(done.hoop.min())
    return WoundSet(
        done.pressure_at(stack.core_radius) / 1e3,
        middle / 1e3,
        least / 1e6,
        None if pressed is None else pressed * 1e3,
        notes,
    )

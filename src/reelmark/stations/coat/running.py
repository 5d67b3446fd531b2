"""What the running coater asks for, as blocks: solvent, air, heat, the web and its register."""

from math import isfinite
from typing import Any, Final

from reelmark.stations.coat import register, web
from reelmark.stations.coat.blocks import Block
from reelmark.stations.coat.drying import drying_heat
from reelmark.stations.coat.recipe import Recipe
from reelmark.stations.coat.vapour import SEVENTY_F, air_for, concentration
from reelmark.stations.coat.weight import weight

__all__ = ["dryer_of", "passes_of", "register_of", "web_of"]

HOUR: Final = 3600.0
MM, UM, PPM, KW = 1e3, 1e6, 1e6, 1e-3
NOT_ASKED: Final = "give --width and --speed for the solvent load, its air and the heat"
STEADY: Final = "an estimate for steady running of one unit; spills, washing and start-up are worse"


def dryer_of(recipe: Recipe) -> Block:
    """Solvent load, air and heat of one unit with its dryer, and of all units that run at once."""
    keys = (
        "solvent_kg_h", "vapour_m3_h", "air_m3_h", "air_70f_m3_h", "air_volume_form_m3_h", "volume_form_apart_percent",
        "pass_solvent_kg_h", "pass_air_m3_h", "limit_percent", "limit_share_g_m3", "heat_kw", "heat_latent_kw",
        "heat_solvent_kw", "heat_web_kw", "heat_air_kw",
    )  # fmt: skip
    if recipe.width is None or recipe.speed is None:
        return Block("dryer", dict.fromkeys(keys), (NOT_ASKED,))
    dryer, swept = recipe.dryer, recipe.width * recipe.speed
    rate = weight(recipe.ink, recipe.made.coat.thickness).solvent * (1 - recipe.clear) * swept
    share, cold = dryer.limit_share.value, dryer.air_temperature.value
    air = air_for(rate, recipe.solvent, cold, share, dryer.hot)
    film = recipe.material.density.value * recipe.gauge * swept
    cp = recipe.material.solid_cp.mean(*sorted((dryer.web_in.value, dryer.dryer_temperature.value + 1e-9)))
    heat = drying_heat(dryer, rate, recipe.solvent, film, cp, air.air)
    at_once = min(recipe.coats, int(recipe.web.units.value))
    limits = [(one.lfl.value, one.molar_mass.value) for _, one, _ in recipe.solvent]
    lone = limits[0] if len(limits) == 1 and isfinite(limits[0][0]) else None
    at_70f = air_for(rate, recipe.solvent, SEVENTY_F, share, dryer.hot)
    values = (
        rate * HOUR, air.vapour * HOUR, air.air * HOUR, at_70f.air * HOUR,
        air.checked * HOUR, air.apart * 100, rate * HOUR * at_once, air.air * HOUR * at_once,
        lone[0] * 100 if lone else None, concentration(lone[1], lone[0], share, cold) * 1e3 if lone else None,
        *(x * KW for x in (heat.total, heat.latent, heat.solvent, heat.web, heat.air)),
    )  # fmt: skip
    return Block("dryer", dict(zip(keys, values, strict=True)), _air_notes(recipe))


def _air_notes(recipe: Recipe) -> tuple[str, ...]:
    share = recipe.dryer.limit_share.value
    notes = [STEADY, f"air for {share:.0%} of the lower flammable limit, counted at the temperature it is drawn in at"]
    if share > 0.25:
        notes.append("above 25 % of the limit NFPA 86 asks for more than steady air: ask a licensed designer")
    if recipe.dryer.hot < 1:
        notes.append(f"hot dryer: the limit is taken as {recipe.dryer.hot:g} of itself")
    if not any(isfinite(one.lfl.value) for _, one, _ in recipe.solvent):
        notes.append("this solvent does not burn: no air for a limit; the dryer still needs air to dry, not told here")
    return tuple(notes)


def web_of(recipe: Recipe) -> Block:
    """Strain, pitch and what is left for the next pass."""
    one, stuff = recipe.web, recipe.material
    modulus, repeat = stuff.youngs_modulus.value, one.repeat.value
    eps = web.strain(one.tension.value, modulus, recipe.gauge)
    pitch = web.between_passes(repeat, eps, one.dryer_shrink.value, modulus * recipe.gauge, recipe.repeats_a_sheet)
    figures: dict[str, Any] = {
        "strain_ppm": eps * PPM, "repeat_stretch_mm": web.stretch(repeat, eps) * MM,
        "stretch_for_10_n_m_mm": web.stretch(repeat, 10 / (modulus * recipe.gauge)) * MM,
        "neck_in_mm": None if recipe.width is None else web.neck_in(recipe.width, eps, stuff.poisson.value) * MM,
        "heat_growth_mm": web.expansion(repeat, one.expansion.value, one.heat_step.value) * MM,
        "heat_held_n_m": web.held_tension(modulus, recipe.gauge, one.expansion.value, one.heat_step.value),
        "relaxed_repeat_mm": pitch.relaxed * MM, "shrunk_repeat_mm": pitch.shrunk * MM,
        "next_pass_off_mm": pitch.off * MM, "next_pass_off_a_sheet_mm": pitch.sheet * MM,
        "fit_strain_ppm": pitch.fit * PPM, "fit_tension_n_m": pitch.tension,
    }  # fmt: skip
    notes = ("steady pull gives no error between units of equal cylinders; from pass to pass the pitch is left",)
    return Block("web", figures, notes)


def register_of(recipe: Recipe) -> Block:
    """After a step of the pull, and the budget."""
    one = recipe.web
    keys = ("register_time_s", "register_peak_um", "register_peak_simulated_um")
    change = one.tension_step.value / (recipe.material.youngs_modulus.value * recipe.gauge)
    parts = [one.error_cylinder.value, one.error_drive.value, one.error_sensor.value, one.error_across.value]
    peak = register.step(one.span.value, recipe.speed or 1.0, change)
    both = register.budget([*parts, peak.peak])
    figures: dict[str, Any] = dict.fromkeys(keys)
    figures |= {"register_peak_um": peak.peak * UM, "register_budget_um": both.together * UM,
                "register_worst_um": both.worst * UM}  # fmt: skip
    if recipe.speed is not None:
        eps = web.strain(one.tension.value, recipe.material.youngs_modulus.value, recipe.gauge)
        seen = register.simulated(one.span.value, recipe.speed, eps, change, [peak.time_constant])[0]
        figures |= {"register_time_s": peak.time_constant, "register_peak_simulated_um": seen * UM}
    note = f"a step of {one.tension_step.value:g} N/m, small strains; the error goes back to 0 by itself"
    return Block("register", figures, (note, "the budget takes its parts as independent, the step's peak among them"))


def passes_of(recipe: Recipe) -> Block:
    """Passes and hours of a roll and of all web, set-ups and stops left out."""
    figures: dict[str, Any] = {"passes": recipe.passes, "coats_a_pass": min(recipe.coats, int(recipe.web.units.value))}
    for key, length in (("roll", recipe.length), ("order", recipe.order_length)):
        known = length is not None and recipe.speed is not None
        figures[f"hours_per_{key}"] = recipe.passes * (length or 0) / (recipe.speed or 1) / HOUR if known else None
    return Block("passes", figures, ("hours at full speed; set-ups and stops come on top",))

"""The coater, for whoever sets it: opacity and its coats, an ink lot fitted, passes and hours of an order."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from math import ceil
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import BadValue, NotThere
from ..measure.known import unread
from ..order import Order
from ..plan.backward import StageNeed, backward
from ..plan.needs import hours_on
from ..plant import Plant
from ..stations.coat import cover, drawdown
from ..stations.coat.layers import Coat
from ..stations.coat.opacity import Backings
from ..stations.coat.recipe import Recipe
from ..stations.coat.settings import settings
from ..stations.coat.titania import RUTILE, bound
from ..stations.coat.weight import weight

__all__ = ["LotFit", "coat_order", "coat_settings", "fit_lots", "lot_of", "order_needs"]

UM: Final = 1e6
Column = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LotFit:
    """What the draw-downs of one ink lot tell.  assumed : its grounds were not measured, but taken as given."""

    lot: str
    fitted: drawdown.Fitted
    assumed: bool

    def as_dict(self) -> dict[str, Any]:
        """For JSON: S and K per um of dry coat, with their intervals."""
        one = self.fitted
        notes = list(one.notes)
        if self.assumed:
            notes.append("the file has no columns black and white: the grounds are taken as the backings given")
        return {
            "lot": self.lot, "scattering_per_um": one.scattering / UM,
            "scattering_interval_per_um": [x / UM for x in one.scattering_interval],
            "absorption_per_um": one.absorption / UM,
            "absorption_interval_per_um": [x / UM for x in one.absorption_interval],
            "level": one.level, "residual": one.residual, "readings": one.readings, "notes": notes,
        }  # fmt: skip


def fit_lots(
    lots: Mapping[str, Mapping[str, Column]], backings: Backings, index: float = 1.0, level: float = 0.95
) -> tuple[LotFit, ...]:
    """Each lot of a file of draw-downs.  BadValue names lot and row."""
    return tuple(_lot(name, columns, backings, index, level) for name, columns in lots.items())


def _lot(name: str, columns: Mapping[str, Column], backings: Backings, index: float, level: float) -> LotFit:
    thick = columns["coat_um"] / UM
    assumed = not {"black", "white"} <= columns.keys()
    grounds = [columns.get(one, np.full(len(thick), getattr(backings, one))) for one in ("black", "white")]
    try:
        data = drawdown.DrawDowns(thick, columns["over_black"], columns["over_white"], *grounds)
        return LotFit(name, drawdown.fit(data, index, level), assumed)
    except BadValue as bad:
        raise BadValue(f"{name}: {bad.field}" if name else bad.field, bad.value, bad.true, bad.cure) from bad


def lot_of(fits: Sequence[LotFit], name: str | None) -> LotFit:
    """The lot of that name; without one the only lot there is."""
    if name is None and len(fits) == 1:
        return fits[0]
    listed = ", ".join(one.lot or "one without a name" for one in fits)
    for one in fits:
        if one.lot == name:
            return one
    raise NotThere("--lot", name, f"the file holds {listed}", "name one of them")


def coat_settings(
    recipe: Recipe, fit: LotFit | None = None, pigment: tuple[float, float] | None = None
) -> dict[str, Any]:
    """All that the recipe settles, flat, keys with their units.

    fit : the lot that S and K of the recipe come from; then also the opacity at the ends of both intervals
    pigment : (diameter m, share of the dry coat by volume); then also the most S that rutile of that size can have
    """
    answer = settings(recipe) | {"scattering_bound_per_um": None}
    if pigment is not None:
        answer |= _bounded(recipe, answer, *pigment)
    if fit is None:
        return answer | {"fit": None}
    low, high = (_at(recipe, fit.fitted, end) for end in (0, 1))
    note = "lowest and highest opacity of S and K in their intervals, both at once: wider than one interval alone"
    answer["notes"]["fit"] = [note, *fit.as_dict()["notes"]]
    return answer | {"fit": fit.as_dict(), "opacity_low": low, "opacity_high": high}


def _bounded(recipe: Recipe, answer: Mapping[str, Any], diameter: float, share: float) -> dict[str, Any]:
    most, given = bound(RUTILE, diameter, share), recipe.made.coat.scattering
    notes = ["a bound for single spheres of rutile; real coats lie below it, so S is fitted to draw-downs"]
    if given > most:
        true = f"S of {given / UM:.3g} /um lies above it: look at thickness scale, pigment share and size"
        notes.append(true)
    rests = [*answer["from_memory"], *(asdict(one) for one in unread({"pigment": RUTILE}))]
    return {
        "scattering_bound_per_um": most / UM, "notes": answer["notes"] | {"pigment": notes}, "from_memory": rests,
    }  # fmt: skip


def _at(recipe: Recipe, one: drawdown.Fitted, end: int) -> list[float]:
    """Opacity with S and K both at one end; it rises with both."""
    coat = Coat(one.scattering_interval[end], one.absorption_interval[end], recipe.made.coat.thickness)
    made = replace(recipe.made, coat=coat)
    return [round(cover.percent(made, n), 3) for n in range(1, recipe.coats + 1)]


def order_needs(order: Order, plant: Plant) -> dict[str, float]:
    """What order and works already say of a recipe, SI: width, roll length, gauge, solids, windows, speed of coater."""
    stuff = plant.material
    said = {
        "width": order.lanes * stuff.lane_width, "length": stuff.roll_length, "gauge": stuff.gauge,
        "solids": stuff.solids, "windows": 1 - stuff.coverage,
    }  # fmt: skip
    rates = [plant.machine(name).rate for one in plant.stages if one.station == "coat" for name in one.machines]
    metres = [one.per_hour for one in rates if one.measure == "m"]
    return said | ({"speed": min(metres) / 3600} if metres else {})


def coat_order(recipe: Recipe, order: Order, plant: Plant, level: float | None = None) -> dict[str, Any]:
    """Coats, passes, metres, hours and ink of a whole order, by the rates, yields and losses of works.toml.

    Passes go back from what the last coat of the route must give; each is like the route's own coat of that place.
    """
    route = [one for one in backward(order, plant, level).stages if one.stage.station == "coat"]
    if not route:
        cure = 'add [[plant.stages]] with station = "coat" to works.toml'
        raise BadValue("plant.stages", "no coat", "the route of this works lays none", cure)
    each = _passes(recipe, order, plant, route)
    units = int(recipe.web.units.value)
    laid = [
        min(units, recipe.coats - units * (at % (recipe.passes // recipe.made.sides))) for at in range(recipe.passes)
    ]
    one = weight(recipe.ink, recipe.made.coat.thickness)
    area = order.lanes * plant.material.lane_width * (1 - recipe.clear)
    wet = sum(metres * area * one.wet * coats for (metres, _), coats in zip(each, laid, strict=True))
    return {
        "order": order.name, "coats_a_side": recipe.coats, "sides": recipe.made.sides, "passes": recipe.passes,
        "coats_in_each_pass": laid, "web_m_in_each_pass": [metres for metres, _ in each],
        "hours": sum(hours for _, hours in each), "hours_in_each_pass": [hours for _, hours in each],
        "ink_wet_kg": wet, "ink_dry_kg": wet * recipe.ink.solids.value,
        "route_passes": len(route), "says": _says(recipe, route, one.dry),
    }  # fmt: skip


def _passes(recipe: Recipe, order: Order, plant: Plant, route: Sequence[StageNeed]) -> list[tuple[int, float]]:
    """(m of web, hours with set-up) of each pass, first to last."""
    out, found = route[-1].out, []
    for at in reversed(range(recipe.passes)):
        need = route[min(at, len(route) - 1)]
        runs = ceil(out / need.stage.good.mean) + need.make_ready
        alone = [hours_on(plant.machine(name), runs, need.stage, order) for name in need.stage.machines]
        found.append((runs, 1 / sum(1 / h for h in alone) + need.stage.setup))
        out = runs
    return found[::-1]


def _says(recipe: Recipe, route: Sequence[StageNeed], dry: float) -> list[str]:
    told = []
    if recipe.passes != len(route):
        told.append(
            f"works.toml plans {len(route)} passes through the coater and this needs {recipe.passes}: "
            "correct [[plant.stages]] before you plan with it"
        )
    planned, needed = sum(one.stage.coat for one in route), recipe.made.sides * recipe.coats * dry
    if abs(planned - needed) > 0.05 * needed:
        told.append(
            f"works.toml plans {planned * 1e3:.3g} g/m2 of dry coat in all and this needs {needed * 1e3:.3g}: "
            "correct coat of these stages"
        )
    return told

"""From a recipe to all settings of the film line, and any one input swept.

>>> from reelmark.stations.film.predict import Recipe, settings
>>> answer = settings(Recipe(gauge=75e-6, width=2.8, speed=25 / 60)).as_dict()
>>> round(answer["output_kg_h"], 3), round(answer["cast_wall_mm"], 3), round(answer["tube_radius_mm"], 3)
(570.15, 3.15, 127.324)
"""

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from typing import Any, Final

from reelmark.errors import BadValue
from reelmark.measure.known import Known, Sourced, Unread, unread
from reelmark.stations.film.predict import balance, blocks, rolled, sets
from reelmark.stations.film.predict.recipe import Recipe

__all__ = ["CAUTIONS", "Settings", "settings", "sweep"]

CAUTIONS: Final = (
    "Hot melt sticks and burns deep: face shield and long gloves; nobody in front of a die at start-up; never open a "
    "plugged die under pressure.",
    "In-running nips and winders: guards before motion, jog with hold-to-run only, lock off before threading; "
    "stretched film that snaps can lash or cut.",
    "The bubble's pressure is low but its area large: let it down before cutting.",
    "Heavy rolls: rated lifting gear, checked core shafts, chocks; nobody in line with a rolling roll or under a "
    "hanging one; never stop one by hand.",
    "Static: earth rolls, people and containers; ionise at the winder and check the ionisers.",
    "Estimates for engineers: they replace neither local codes nor the maker's limits, nor the site's risk assessment.",
)
FLOW: Final = ("gauge", "width", "speed", "output")


@dataclass(frozen=True, slots=True)
class Settings:
    """All blocks of one answer.  ``as_dict`` lays them flat."""

    balance: sets.BalanceSet
    bubble: sets.BubbleSet
    hardening: sets.HardeningSet
    cooling: sets.CoolingSet
    times: sets.TimesSet
    roll: sets.RollSet
    wound: sets.WoundSet
    tube: sets.TubeSet
    from_memory: tuple[Unread, ...]
    cautions: tuple[str, ...] = CAUTIONS

    def figures(self) -> dict[str, float | None]:
        """Every figure by its key with the unit in it; None where it was not asked or a note refuses it."""
        return {name: value for _, block in self._blocks() for name, value in _flat(block) if name != "notes"}

    def notes(self) -> dict[str, list[str]]:
        """Where each block holds, by the block's name."""
        return {name: list(block.notes) for name, block in self._blocks()}

    def as_dict(self) -> dict[str, Any]:
        """Figures, notes by block, the values from memory, and cautions: plain, for JSON."""
        unread = [dict(_flat(one)) for one in self.from_memory]
        rest = {"notes": self.notes(), "from_memory": unread, "cautions": list(self.cautions)}
        return {**self.figures(), **rest}

    def _blocks(self) -> list[tuple[str, Any]]:
        return [(f.name, getattr(self, f.name)) for f in fields(self) if f.name not in ("from_memory", "cautions")]


def settings(recipe: Recipe) -> Settings:
    """All that the recipe settles.  BadValue, naming the field, where it cannot be run or lies outside a model."""
    flow = balance.solve(
        balance.Flow(recipe.gauge, recipe.width, recipe.speed, recipe.output), recipe.material.density.value
    )
    most, thickest = recipe.material.draw_limit.value, recipe.line.cast_wall_limit.value
    cast = balance.cast(flow, recipe.draw_across, recipe.draw_along, most, thickest)
    cooled = blocks.cooling_of(recipe, flow, cast)
    roll, one = rolled.roll_of(recipe, flow)
    return Settings(
        balance=blocks.balance_of(recipe, flow, cast),
        bubble=blocks.bubble_of(recipe, flow, cast),
        hardening=blocks.hardening_of(recipe),
        cooling=cooled,
        times=blocks.times_of(recipe, flow, cast, cooled.bath_length_m),
        roll=roll,
        wound=rolled.wound_of(recipe, one),
        tube=blocks.tube_of(recipe),
        from_memory=unread({"material": recipe.material, "line": recipe.line}),
    )


def sweep(recipe: Recipe, field: str, values: Iterable[float]) -> list[dict[str, Any]]:
    """One row for each value of one input: {field: value, **figures}, or {field: value, "refused": why}.

    field : one of Recipe's numbers, or a property of its material or line, plain or as "material.<property>" or
    "line.<property>", in SI.  BadValue for another.
    """
    found = _swept(recipe, field)
    return [_row(recipe, field, found, value) for value in values]


def _row(recipe: Recipe, field: str, found: str, value: float) -> dict[str, Any]:
    try:
        return {field: value, **settings(_with(recipe, found, value)).figures()}
    except BadValue as refused:
        return {field: value, "refused": str(refused)}


def _swept(recipe: Recipe, field: str) -> str:
    """The number of that name, with the part that holds it; a test holds that no two parts share a name."""
    numbers = [f.name for f in fields(recipe) if f.name not in ("material", "line", "tube")]
    for part in ("material", "line"):
        numbers += [f"{part}.{name}" for name, known in getattr(recipe, part).items() if isinstance(known, Known)]
    found = [one for one in numbers if field in (one, one.rpartition(".")[2])]
    if not found:
        raise BadValue("sweep", field, "the recipe has no such number", f"take one of {', '.join(numbers)}")
    three = [one for one in FLOW if getattr(recipe, one) is not None]
    if found[0] in FLOW and found[0] not in three and len(three) == 3:
        raise BadValue("sweep", field, f"it is found from {', '.join(three)}", "sweep one of these, or leave one out")
    return found[0]


def _with(recipe: Recipe, field: str, value: float) -> Recipe:
    part, _, name = field.rpartition(".")
    if not part:
        one: dict[str, Any] = {field: value}
        return replace(recipe, **one)
    held: Sourced = getattr(recipe, part)
    whole: dict[str, Any] = {part: held.over("swept", **{name: value})}
    return replace(recipe, **whole)


def _flat(block: Any) -> list[tuple[str, Any]]:
    return [(f.name, getattr(block, f.name)) for f in fields(block)]

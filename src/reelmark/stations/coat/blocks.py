"""SI physics into the blocks of an answer: figures with their unit in the key, and where they hold."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from reelmark.stations.coat import cover
from reelmark.stations.coat.layers import endless
from reelmark.stations.coat.opacity import Definition
from reelmark.stations.coat.recipe import Recipe
from reelmark.stations.coat.weight import ink_for, weight

__all__ = ["Block", "greyer_of", "opacity_of", "target_of", "weight_of"]

UM: Final = 1e6
GREYER: Final = (0.0, 1.0, 4.0, 10.0)  # times K; where K is 0, of 0.0005/um
LITTLE: Final = 500.0  # 1/m


@dataclass(frozen=True, slots=True)
class Block:
    """name, figures flat by key, notes."""

    name: str
    figures: Mapping[str, Any]
    notes: tuple[str, ...] = ()


def opacity_of(recipe: Recipe) -> Block:
    """Opacity by every definition, coat by coat."""
    made, counts = recipe.made, range(1, recipe.coats + 1)
    shades = [cover.shade(made, n) for n in counts]
    by = {d: [round(cover.percent(made, n, d), 3) for n in counts] for d in Definition}
    figures = {
        "scattering_per_um": made.coat.scattering / UM, "absorption_per_um": made.coat.absorption / UM,
        "coat_um": made.coat.thickness * UM, "sides": made.sides, "coats_a_side": list(counts),
        "coat_in_all_um": [round(made.sides * UM * _side(recipe, n), 6) for n in counts],
        "opacity_white_backing": by[Definition.WHITE_BACKING], "definition": Definition.WHITE_BACKING.value,
        "opacity_paper_backing": by[Definition.PAPER_BACKING], "opacity_ratio": by[Definition.RATIO],
        "definitions": {f"opacity_{d.name.lower()}": d.value for d in Definition if d is not Definition.PRINTING},
        "backings": {"black": made.backings.black, "white": made.backings.white},
        "reflectance_over_white": [round(one.white, 5) for one in shades],
        "reflectance_over_black": [round(one.black, 5) for one in shades],
        "lightness_over_white": [round(one.lightness, 3) for one in shades],
        "endless_reflectance": endless(made.coat.scattering, made.coat.absorption),
    }  # fmt: skip
    return Block("opacity", figures, _faces(recipe))


def _side(recipe: Recipe, n: int) -> float:
    made = recipe.made
    return n * made.coat.thickness + (made.under.thickness - made.coat.thickness if made.under else 0.0)


def _faces(recipe: Recipe) -> tuple[str, ...]:
    index = recipe.made.index
    model = "diffuse light, even coats, coats and film of one index, no fluorescence"
    if index == 1:
        return (model, "the faces to the air are left out; --index 1.5 puts them in (Saunderson) and shows how much")
    return (model, f"the faces to the air are in (Saunderson), index {index:g}, gloss seen {recipe.made.gloss:g}")


def greyer_of(recipe: Recipe) -> Block:
    """The same coats with less and more absorption."""
    made = recipe.made
    k = made.coat.absorption
    asked = tuple(sorted({k, *(times * (k or LITTLE) for times in GREYER)}))
    rows = [
        {"absorption_per_um": one.absorption / UM, "opacity_percent": one.percent, "reflectance_over_white": one.white,
         "lightness_over_white": one.lightness}
        for one in cover.grounds(made, recipe.coats, asked) if one.absorption <= max(k, made.coat.scattering)
    ]  # fmt: skip
    return Block("greyer", {"greyer": rows}, ("greyer is more opaque and less white: judge the two together",))


def target_of(recipe: Recipe) -> Block:
    """Coats needed, or what would reach it; all None where nothing was asked."""
    if recipe.target is None:
        return Block("target", {"target": None})
    found = cover.reach(recipe.made, recipe.target, int(recipe.web.most_coats.value))
    told = {
        "percent": found.target, "definition": recipe.made.definition.value, "reachable": found.reachable,
        "most_coats_a_side": found.most, "coats_a_side": found.coats_a_side, "coats_needed": found.coats,
        "thickness_needed_um": _times(found.thickness), "says": _says(recipe, found),
        "would_reach": None if found.reachable else _would(found),
    }  # fmt: skip
    return Block("target", {"target": told})


def _would(found: cover.Reach) -> dict[str, Any]:
    grey = found.grey
    return {
        "more_coats_a_side": found.coats_a_side, "thicker_coat_um": _times(found.thicker_coat),
        "higher_scattering_per_um": _over(found.scattering), "greyer_absorption_per_um": _over(found.absorption),
        "greyer_reflectance_over_white": grey.white if grey else None,
        "greyer_lightness_over_white": grey.lightness if grey else None,
    }  # fmt: skip


def _times(value: float | None) -> float | None:
    return None if value is None else value * UM


def _over(value: float | None) -> float | None:
    return None if value is None else value / UM


def _says(recipe: Recipe, found: cover.Reach) -> str:
    where = "a side" if recipe.made.sides == 2 else "on the one side"
    if found.reachable:
        return f"{found.target:g} % is reached with {_coats(found.coats_a_side or 1)} {where}"
    ways = [
        (found.thicker_coat, "coats of {:.3g} um", UM), (found.scattering, "S of {:.3g} /um", 1 / UM),
        (found.absorption, "a greyer ink, K of {:.3g} /um, which is less white", 1 / UM),
    ]  # fmt: skip
    told = [text.format(value * times) for value, text, times in ways if value is not None]
    if found.coats_a_side is not None:
        told.append(f"{_coats(found.coats_a_side)} {where}")
    would = " or ".join(told) or "nothing of thickness, S or K that a white coat has"
    return f"{found.target:g} % is not reachable with {_count(found.most)} {where}; {would} would reach it"


def _coats(n: int) -> str:
    return f"{n} coat" if n == 1 else f"{n} coats"


def _count(n: int) -> str:
    return {1: "one", 2: "two", 3: "three", 4: "four", 5: "five"}.get(n, str(n))


def weight_of(recipe: Recipe) -> Block:
    """Weights of one coat and of all; ink by roll and by order."""
    ink, coat = recipe.ink, recipe.made.coat.thickness
    one, times = weight(ink, coat), recipe.made.sides * _side(recipe, recipe.coats) / coat
    figures: dict[str, Any] = {
        "dry_g_m2": one.dry * 1e3, "wet_g_m2": one.wet * 1e3, "solvent_g_m2": one.solvent * 1e3,
        "cell_cm3_m2": one.cells * UM, "all_coats_dry_g_m2": one.dry * 1e3 * times,
        "all_coats_wet_g_m2": one.wet * 1e3 * times, "windows_share": recipe.clear,
    }  # fmt: skip
    for key, length in (("roll", recipe.length), ("order", recipe.order_length)):
        known = length is not None and recipe.width is not None
        kg = ink_for(ink, coat, length or 0.0, recipe.width or 1.0) if known else None
        figures[f"ink_kg_a_coat_per_{key}"] = kg
        figures[f"ink_kg_per_{key}"] = None if kg is None else kg * times
    notes = ["ink is what lies on the web; pans, pipes and washing come on top"]
    if recipe.made.under:
        notes.append("the coat that is laid first is weighed as if it were of the same ink")
    return Block("weight", figures, tuple(notes))

"""What is written on the command line of the coater, as numbers: inks, coats, solvents, values known better."""

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from ..errors import BadValue
from .film_given import in_si, named

if TYPE_CHECKING:  # slow to load: only a command that asks the coater waits for it
    from ..stations.coat.cover import Coated
    from ..stations.coat.layers import Coat
    from ..stations.coat.opacity import Definition
    from ..stations.coat.recipe import Recipe
    from ..stations.coat.solvents import Blend

__all__ = ["blend", "definition_of", "grains", "lengths", "per_um", "recipe_of", "together", "under_of"]

USER = "given by the user"
UM = 1e6


def per_um(option: str, value: float) -> float:
    """S or K written in 1/um, as 1/m."""
    if not math.isfinite(value) or value < 0:
        raise BadValue(option, value, "it must be finite, 0 or more", "write it in 1/um of dry coat, as 0.25")
    return value * UM


def under_of(text: str | None) -> "Coat | None":
    """Thickness, S, K: '1 um,0.1,0.02'."""
    from ..stations.coat.layers import Coat

    if text is None:
        return None
    thick, *rates = (part.strip() for part in text.split(","))
    try:
        scattering, absorption = (float(one) for one in rates)
    except ValueError as error:
        cure = 'write thickness, S and K of its ink in 1/um: "1 um,0.1,0.02"'
        raise BadValue("--under", text, "it is not a thickness and two numbers", cure) from error
    rates_m = per_um("--under, S", scattering), per_um("--under, K", absorption)
    return Coat(*rates_m, in_si("under", thick, "LENGTH") or 0.0)


def definition_of(text: str) -> "Definition":
    """white-backing, paper-backing, ratio or printing."""
    from ..stations.coat.opacity import Definition

    names = {one.name.lower().replace("_", "-"): one for one in Definition}
    if text not in names:
        true = "opacity is defined in several ways that differ by points"
        raise BadValue("--definition", text, true, f"take of {', '.join(names)}")
    return names[text]


def blend(given: list[str] | None, data: list[str] | None) -> "Blend":
    """--solvent NAME or NAME=SHARE, --solvent-data NAME.PROPERTY=NUMBER."""
    from ..stations.coat.solvents import SOLVENTS, blend_of

    texts = given or ["ethyl acetate"]
    alone = len(texts) == 1 and "=" not in texts[0]
    shares = {texts[0].strip(): 1.0} if alone else named("--solvent", texts)
    own: dict[str, dict[str, float]] = {}
    for name, value in named("--solvent-data", data).items():
        solvent, _, prop = name.rpartition(".")
        if solvent not in shares or solvent not in SOLVENTS:
            true = f"the solvents here are {', '.join(shares)}"
            raise BadValue("--solvent-data", name, true, "write it as ethyl acetate.lfl=0.02, in SI")
        own.setdefault(solvent, {})[prop] = value
    return blend_of(shares, {name: SOLVENTS[name].over(USER, **values) for name, values in own.items()})


def together(option: str, given: list[str] | None, plain: Mapping[str, float | None]) -> dict[str, float]:
    """NAME=NUMBER pairs and options of their own, which must not name one thing twice."""
    found: dict[str, Any] = named(option, given)
    for name, value in plain.items():
        if value is not None and name in found:
            raise BadValue(
                option, f"{name}={found[name]:g}", f"it is given by an option of its own, {value:g}", "give one"
            )
        if value is not None:
            found[name] = value
    return found


def lengths(texts: Mapping[str, str | None]) -> dict[str, float | None]:
    """Lengths in m by their options, as the recipe names them."""
    return {name.replace("-", "_"): in_si(name, text, "LENGTH") for name, text in texts.items()}


def grains(share: str | None, size: str) -> tuple[float, float] | None:
    """--pigment and --pigment-size: (diameter in m, share of the dry coat by volume)."""
    part = in_si("pigment", share, "FRACTION")
    return None if part is None else (in_si("pigment-size", size, "LENGTH") or 0.0, part)


def recipe_of(
    made: "Coated", said: Mapping[str, float], sizes: Mapping[str, float | None], ink: Mapping[str, float],
    web: Mapping[str, float], dryer: Mapping[str, float], material: Mapping[str, float], *, target: float | None,
    **rest: Any,
) -> "Recipe":  # fmt: skip
    """The recipe: what order and works say, and over it what the user gave.  target : a share of 1."""
    from ..measure.material import POLYPROPYLENE
    from ..stations.coat.drying import DRYER
    from ..stations.coat.recipe import Recipe
    from ..stations.coat.web import WEB
    from ..stations.coat.weight import INK

    told: dict[str, Any] = {name: said[name] for name in sizes if name in said}
    stuff = {name: said[name] for name in ("solids", "windows") if name in said}
    return Recipe(
        made, target=None if target is None else target * 100,
        **told | {name: value for name, value in sizes.items() if value is not None},
        ink=INK.over("works.toml", **stuff).over(USER, **ink), web=WEB.over(USER, **web),
        dryer=DRYER.over(USER, **dryer), material=POLYPROPYLENE.over(USER, **material), **rest,
    )  # fmt: skip

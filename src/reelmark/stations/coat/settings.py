"""From a recipe to all that the coater needs, in one flat answer.

>>> from reelmark.stations.coat.settings import example
>>> example()["opacity_white_backing"]
[61.648, 78.491, 86.066, 90.247, 92.834]
"""

from dataclasses import asdict
from typing import Any, Final

from reelmark.measure.known import unread
from reelmark.stations.coat import blocks, running
from reelmark.stations.coat.cover import Coated
from reelmark.stations.coat.layers import Coat
from reelmark.stations.coat.recipe import Recipe

__all__ = ["CAUTIONS", "example", "settings"]

CAUTIONS: Final = (
    "Ventilation and drying figures are estimates, no safety design: local codes and a licensed designer decide.",
    "Solvent vapour burns: run the coater only with proven exhaust, alarm well below 25 % of the lower limit and stop "
    "above it; no entry to a dryer before it is purged; spills and washing are the worst cases.",
    "Health limits lie far below the flammable limit: measure the air where people stand.",
    "Static near coating heads lights vapour: earth rolls, operators and containers, ionise at unwind, head and "
    "rewind, and check the ionisers.",
    "In-running nips at impression rolls: guards before motion, jog with hold-to-run only, lock off before threading "
    "or wiping; a doctor blade cuts.",
    "Heavy rolls: rated lifting gear, nobody under a hanging roll or in line with a rolling one.",
)


def settings(recipe: Recipe) -> dict[str, Any]:
    """Figures of every block by key, notes by block, values read nowhere, cautions.  BadValue names the field."""
    made = [
        blocks.opacity_of(recipe), blocks.greyer_of(recipe), blocks.target_of(recipe), blocks.weight_of(recipe),
        running.passes_of(recipe), running.dryer_of(recipe), running.web_of(recipe), running.register_of(recipe),
    ]  # fmt: skip
    answer: dict[str, Any] = {}
    for one in made:
        answer |= one.figures
    parts = {"ink": recipe.ink, "web": recipe.web, "dryer": recipe.dryer}
    parts |= {f"solvent {name}": one for name, one, _ in recipe.solvent}
    resting = [asdict(one) for one in unread(parts)]
    resting += [asdict(one) for one in unread({"material": recipe.material}) if one.name in RESTS]
    notes = {one.name: list(one.notes) for one in made}
    return answer | {"notes": notes, "from_memory": resting, "cautions": list(CAUTIONS)}


RESTS: Final = ("material.poisson", "material.density", "material.youngs_modulus", "material.solid_cp")


def example() -> dict[str, Any]:
    """Five coats of 2.5 um a side with S 0.25/um and K 0.0005/um."""
    return settings(Recipe(Coated(Coat(0.25e6, 500.0, 2.5e-6))))

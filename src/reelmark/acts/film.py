"""The film line, for whoever stands at it: the settings of a recipe, one input swept, a spectrum as a thickness."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..measure.material import POLYPROPYLENE
from ..stations.film.predict import LINE, Recipe, TubeAsk, settings, sweep
from ..stations.film.spectrum import CAUTION, PP, SOUGHT_UM, Window, thickness

__all__ = ["film_settings", "film_spectrum", "film_sweep", "recipe_of"]

USER = "given by the user"
WINDOW: Final = Window()


def recipe_of(
    wanted: Mapping[str, Any],
    material: Mapping[str, float] | None = None,
    line: Mapping[str, float] | None = None,
    tube: tuple[float, float, float] | None = None,
) -> Recipe:
    """A recipe; material and line : the properties that the works knows better than the defaults, SI."""
    stuff = POLYPROPYLENE.over(USER, **material) if material else POLYPROPYLENE
    machine = LINE.over(USER, **line) if line else LINE
    given = {name: value for name, value in wanted.items() if value is not None}
    return Recipe(**given, material=stuff, line=machine, tube=TubeAsk(*tube) if tube else None)


def film_settings(recipe: Recipe) -> dict[str, Any]:
    """All that the recipe settles, flat; keys carry their units; notes say where each block holds."""
    return settings(recipe).as_dict()


def film_sweep(recipe: Recipe, field: str, values: Iterable[float]) -> dict[str, Any]:
    """The same for each value of one input; a value outside a range of validity has `refused` in place of figures.

    Where every value is refused, `error` says why the first was.
    """
    rows = sweep(recipe, field, values)
    answer = {"swept": field, "rows": rows}
    if all("refused" in row for row in rows):
        answer["error"] = f"no value of {field} can be run; {rows[0][field]:g}: {rows[0]['refused']}"
    return answer


def film_spectrum(
    columns: Mapping[str, NDArray[np.float64]],
    sought_um: tuple[float, float] = SOUGHT_UM,
    window: Window = WINDOW,
    index: Mapping[str, float] | None = None,
) -> dict[str, Any]:
    """Thickness of one spectrum, with what it rests on.

    sought_um : thinnest and thickest film looked for; index : n0, relative_sd, birefringence, `strength` of all bands
    """
    film = PP.over(USER, **index) if index else PP
    reading = thickness(columns["wavenumber_cm1"], columns["transmittance"], film, window=window, sought_um=sought_um)
    told = asdict(reading) | {"sought_um": list(sought_um)}
    notes = [one for one in told.pop("notes") if one != CAUTION]
    return {**told, "combined_sd_um": reading.combined_sd_um, "notes": notes, "cautions": [CAUTION]}

"""From what is wanted to how the film line is set.  All SI inside; units stand in the names of the answer's keys.

recipe     what is wanted, and what the line is
balance    mass: gauge, width, speed, output; cast tube, die; tolerance
bubble     membrane: pressure, pull, volume; dwell on a path
rubber     why pressure does not hold the gauge of film drawn as a solid
tube       the isothermal thin-film model of a tube of melt; shoot, its backward integration
heat       what the film must lose, and the water for it
cooling    how long that takes: series, finite differences with latent heat, and a bound
roll       length, diameters, gauge, laps, mass, inertia: five settle the rest
wound      pressure between the laps and pull left in them
sets       the blocks of an answer: figures with units in their names, and notes
blocks     physics into those blocks, die to nip; rolled, at the winder
settings   all of it from one recipe; one input swept
"""

from reelmark.stations.film.predict.recipe import LINE, Line, Recipe, TubeAsk
from reelmark.stations.film.predict.settings import Settings, settings, sweep

__all__ = ["LINE", "Line", "Recipe", "Settings", "TubeAsk", "settings", "sweep"]

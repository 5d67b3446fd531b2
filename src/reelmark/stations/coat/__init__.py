"""Coat.  Takes: film roll.  Gives: coated roll, its windows left clear.  Before: film.  Next: window.

layers     what a coat does to diffuse light, and any pile of unlike layers
surface    what the film's own faces add (Saunderson)
opacity    opacity with its definition, lightness
cover      coats needed for a target, or what would reach it; greyer or whiter
drawdown   S and K of an ink lot from draw-downs over black and white, with intervals
titania    the most that a pigment can scatter (Mie)
weight     coat weight wet and dry, ink, cells
solvents   their vapours' limits and heats;  vapour: air that keeps them below a share of the lower limit
drying     heat of a dryer, an estimate
web        strain, heat, shrink, pitch and repeat;  register: after a step of tension;  budget: errors together
recipe     what is wanted;  settings: all of it in one answer

The answers are estimates for engineers.  They replace neither local codes nor the maker's limits.
"""

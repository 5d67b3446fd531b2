"""What every gauge and camera shares: how far to believe a number, and when to stop the machine.

known       values with unit and source, each open to change; material, the polymer's; given, looked at before physics
series      what any row of readings is asked first: finite, long enough, its sigma, its lag-one correlation
anova       one-way and two-way analysis of variance with components and intervals
grr         gauge repeatability and reproducibility, crossed and nested, by ANOVA and by average and range
constants   control-chart constants, from their integrals
charts      individuals, residuals, EWMA, CUSUM, spread; limits hold for correlated readings or are refused
runlength   average run length by numerical integration; limits for an asked run length; a family of charts
capability  Cp, Cpk with intervals, tolerance factors
spectrum    Lomb-Scargle on true time stamps, false-alarm level, local background
waves       harmonic fit with its period's standard error; several waves by cleaning; machine elements; aliases
changes     level shifts afterwards, with their places and how sure those are

All pure: arrays in, frozen answers out; units are the caller's unless a name holds one.  scipy is loaded only by the
functions that need it.
"""

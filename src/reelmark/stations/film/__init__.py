"""Film.  Takes: resin.  Gives: film roll.  Before: nothing.  Next: coat.

predict    target gauge and width -> settings of the line: flows, bubble, heat, cooling, roll, order
spectrum   infrared spectrum -> thickness
gauge      records of the scanning gauge -> map, shares of variance, waves, alarms, verdict on a roll

The answers are estimates for engineers.  They replace neither local codes nor the maker's limits.
"""

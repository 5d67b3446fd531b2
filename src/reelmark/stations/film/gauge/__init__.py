"""Read a scanning gauge: records of a head that zig-zags over the running web -> model, map, marks, verdict.

records   check and clean the columns; what is lost is noted, what cannot be read is refused
believed  ranges of gauge, width, speed and head, as inputs; columns in another unit told by them
detector  readings that are no film: dead, flickering, at a stop
clocks    time, metre and head against each other: coarse stamps, steps of the clock, jumps of the counter
passes    where one pass of the head ends and the next begins
die       the die's angle over a place of the web: rotating die or oscillating haul-off; its period found
solve     the additive model's normal equations, from counts of cells
model     scan level + lane + die angle + waves + residual, fitted; conditions and refusals
periods   waves one after the other, their periods fitted; a found die's with them
shares    variance by cause with intervals, beside the plain two-way ANOVA; forward against reverse passes
waves     periodic parts on true time stamps, and the machine elements that could make them
map       the whole roll, metre x lane, with its own standard deviation
live      the same, scan by scan while it runs
lines     narrow lines that stay: on the die, or at a place across
bursts    short upsets of the whole web
drifts    slow, lasting changes of the level
marks     all of these as marks in metres and millimetres
verdict   the roll: mean, spread, Cpk, area out, ridges; what to keep, downgrade, cut out
reading   all in one, as `reelmark film read` prints it

The infrared source or radiometric head of a scanning gauge, nips and heavy rolls stay under the maker's and the
site's rules: nothing here replaces them.
"""

from reelmark.stations.film.gauge.believed import Believed, Span
from reelmark.stations.film.gauge.die import Die, find_die
from reelmark.stations.film.gauge.live import Live
from reelmark.stations.film.gauge.map import RollMap, roll_map
from reelmark.stations.film.gauge.marks import GaugeMark, find_marks
from reelmark.stations.film.gauge.model import Model, fit
from reelmark.stations.film.gauge.reading import Reading, Settings, as_json, read_roll
from reelmark.stations.film.gauge.records import Records, clean
from reelmark.stations.film.gauge.verdict import Costs, Limits, Verdict, judge
from reelmark.stations.film.gauge.waves import Wave

__all__ = [
    "Believed",
    "Costs",
    "Die",
    "GaugeMark",
    "Limits",
    "Live",
    "Model",
    "Reading",
    "Records",
    "RollMap",
    "Settings",
    "Span",
    "Verdict",
    "Wave",
    "as_json",
    "clean",
    "find_die",
    "find_marks",
    "fit",
    "judge",
    "read_roll",
    "roll_map",
]

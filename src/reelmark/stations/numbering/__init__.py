"""Numbering.  Takes: printed pile, sheets.  Gives: numbered pile.  Before: press.  Next: finish.

serial     text on the note <-> index in the series
plan       tick and position <-> index; settings of the boxes, packs, bundles
check      check characters for labels and documents
diagnose   numbers read -> which box failed, since when, which numbers that concerns; each read against the plan
look       the first bad sheet of a pile, in few looks

A wrong number is one of three things, and diagnose keeps them apart: a note to be withdrawn, a number that stands
twice or outside the plan, and a number of the plan that nobody bears.  Its inner files go from reads to numbers:
segments (where a level holds), finding (what it is called), tally and concerned (what it does to the numbers).
"""

from reelmark.stations.numbering.check import DOCUMENTS, LABELS, System
from reelmark.stations.numbering.diagnose import Residual, diagnose, residuals
from reelmark.stations.numbering.finding import Finding, Kind
from reelmark.stations.numbering.look import first_bad, next_look
from reelmark.stations.numbering.plan import (
    BUNDLE,
    PACK,
    Numbering,
    Numbers,
    Setting,
    bundles,
    descending_for,
    packs,
    settings_by_hand,
    settings_sheet,
)
from reelmark.stations.numbering.serial import Format

__all__ = [
    "BUNDLE",
    "DOCUMENTS",
    "LABELS",
    "PACK",
    "Finding",
    "Format",
    "Kind",
    "Numbering",
    "Numbers",
    "Residual",
    "Setting",
    "System",
    "bundles",
    "descending_for",
    "diagnose",
    "first_bad",
    "next_look",
    "packs",
    "residuals",
    "settings_by_hand",
    "settings_sheet",
]

"""The ledger: how many, and in whose hands.

Takes: postings of extents.  Gives: accounts that partition every unit, integer by integer, and what is wrong if not.
"""

from .books import Books, Line
from .proof import Fault, faults

__all__ = ["Books", "Fault", "Line", "faults"]

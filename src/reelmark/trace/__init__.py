"""The trace: where.

Takes: runs and ties in journal order.  Gives: for any extent, where it may be and where it surely is, for every unit
up and down the way; lengths of units; and the counts that contradict each other.
"""

from .lengths import Difference
from .strikes import Strikes
from .thread import Thread
from .walk import Answer

__all__ = ["Answer", "Difference", "Strikes", "Thread"]

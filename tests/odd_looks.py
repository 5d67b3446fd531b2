"""Detectors for tests of the workers: they look at nothing, and do what the first point's grey tells them to.

Beside the tests that use them, so that a worker which is sent one imports nothing else of the tests.
"""

import os
import signal
import time

import numpy as np

from reelmark.stations.window.inspect.looked import Health, Looked, Nodes

DIES, SLEEPS, FAILS = 77, 79, 78
NONE = np.empty(0)
WHOLE = np.empty(0, np.int64)


class Odd:
    """Dies, sleeps or fails where the first point says so; else answers with the picture's mean grey as phase."""

    def look(self, picture):
        if picture[0, 0] == DIES:
            os.kill(os.getpid(), signal.SIGKILL)
        if picture[0, 0] == SLEEPS:
            time.sleep(600)
        if picture[0, 0] == FAILS:
            raise ValueError("a fault of ours")
        nodes = Nodes(WHOLE, WHOLE, WHOLE, *[NONE] * 9)
        return Looked(float(picture.mean()), 1.0, 0.0, nodes, (), Health(1.0, 200.0, 20.0, 1.0), NONE)

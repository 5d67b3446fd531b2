"""Frames through the detector, in processes of their own where that pays, and back in order.

stream    a folder or a camera, frame by frame          look_at, look_live, learnt, kept …
crew      the processes, and the line of frames         Crew
ring      pictures between processes                    Ring
looking   one frame looked at                           look_at_one
"""

from .stream import kept, learnt, learnt_ahead, look_at, look_live, workers_for

__all__ = ["kept", "learnt", "learnt_ahead", "look_at", "look_live", "workers_for"]

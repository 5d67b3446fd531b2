"""Pictures handed to other processes through shared memory: a ring of buffers of one size, each taken and given back.

ring = Ring(buffers=6, nbytes=picture.nbytes)
start = ring.put(picture)                    copied into a free buffer
attached(ring.name).picture(start, shape)    in the other process, not copied
ring.back(start)                             nobody looks at it any more
"""

from collections import deque
from functools import lru_cache
from multiprocessing.shared_memory import SharedMemory

import numpy as np
from numpy.typing import NDArray

from ..frames import Picture

__all__ = ["Ring", "attached"]


class Ring:
    """Buffers of `nbytes` each; a buffer is known by its first byte."""

    def __init__(self, buffers: int, nbytes: int) -> None:
        self.nbytes = max(nbytes, 1)
        self._memory = SharedMemory(create=True, size=self.nbytes * buffers)
        self._free = deque(range(0, self.nbytes * buffers, self.nbytes))

    @property
    def name(self) -> str:
        """What another process attaches it by."""
        return self._memory.name

    @property
    def free(self) -> int:
        """Buffers that no picture lies in."""
        return len(self._free)

    def fits(self, picture: Picture) -> bool:
        """Whether it is a grey picture of 8 bits, no larger than a buffer."""
        return picture.dtype == np.uint8 and picture.ndim == 2 and picture.nbytes <= self.nbytes

    def put(self, picture: Picture) -> int:
        """The picture copied into a free buffer; IndexError where none is free."""
        start = self._free.pop()
        _view(self._memory, start, picture.shape)[:] = picture
        return start

    def back(self, start: int) -> None:
        """Nobody looks at that buffer any more."""
        self._free.append(start)

    def close(self) -> None:
        """Away with it; the memory itself goes as the last process that attached it does."""
        self._memory.close()
        self._memory.unlink()


class Attached:
    """The other end: reads the buffers."""

    def __init__(self, name: str) -> None:
        self._memory = SharedMemory(name)

    def picture(self, start: int, shape: tuple[int, int]) -> Picture:
        """What lies from that byte on; a view, so that it must not outlive the looking."""
        return _view(self._memory, start, shape)


@lru_cache(maxsize=1)
def attached(name: str) -> Attached:
    """The ring of that name, attached once in a process."""
    return Attached(name)


def _view(memory: SharedMemory, start: int, shape: tuple[int, ...]) -> Picture:
    made: NDArray[np.uint8] = np.ndarray(shape, np.uint8, memory.buf, start)
    return made

"""The kept readings of a works: read once while they do not change; the pictures of one, handed out by checksum.

GET  …/windows/picture/READING/NAME.png
"""

from collections import OrderedDict
from pathlib import Path
from threading import RLock
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends
from fastapi import Path as InPath
from fastapi.responses import Response

from ...acts.window_posted import Placed, placed
from ...errors import Clash
from ...io.windowkept import FOLDER, Kept, Listed, listed_as, read_kept, readings
from ...reading import Reading
from ..page import AskedNow
from ..roles import Role
from ..sign import Needs

__all__ = ["KEPT", "KeptReadings", "ReadingName", "router", "stamp_text"]

MOST: Final = 4  # readings held as read
ReadingName = Annotated[str, InPath(max_length=128)]
router = APIRouter()


def stamp_text(one: Listed) -> str:
    """What a form says of the reading that it was made of."""
    return f"{one.stamp[0]}-{one.stamp[1]}"


class KeptReadings:
    """Readings of any works."""

    def __init__(self) -> None:
        self._lock, self._read = RLock(), OrderedDict[tuple[Path, Listed], Kept]()
        self._placed = OrderedDict[tuple[Any, ...], tuple[Kept, Reading, list[Placed]]]()

    def listed(self, works: Path) -> list[Listed]:
        """Those of a works, newest first."""
        return readings(works)

    def of(self, works: Path, name: str) -> tuple[Listed, Kept]:
        """One of them; NotThere for another name, Problem where it cannot be read."""
        one = listed_as(works, name)
        folder = works / FOLDER / one.name
        with self._lock:
            if (folder, one) not in self._read:
                self._read[folder, one] = read_kept(folder)
                while len(self._read) > MOST:
                    self._read.popitem(last=False)
            self._read.move_to_end((folder, one))
            return one, self._read[folder, one]

    def placed(self, kept: Kept, reading: Reading, core_m: float, column: int) -> list[Placed]:
        """Its marks against the journal as read; the last few are held, as they may be thousands."""
        key = (kept.folder, core_m, column)
        with self._lock:
            held = self._placed.get(key)
            if held is None or held[0] is not kept or held[1] is not reading:
                made = placed(reading, kept.roll, kept.answer["marks"], core_m, column)
                held = self._placed[key] = (kept, reading, made)
                while len(self._placed) > MOST:
                    self._placed.popitem(last=False)
            return held[2]

    def same(self, works: Path, name: str, stamp: str) -> tuple[Listed, Kept]:
        """The reading that a form was made of; Clash where another has come in its place."""
        one, kept = self.of(works, name)
        if stamp != stamp_text(one):
            raise Clash("reading", name, "it was read anew since the page was made", "look at the page again")
        return one, kept


KEPT: Final = KeptReadings()


@router.get("/orders/{order}/windows/picture/{reading}/{name:path}", dependencies=[Depends(Needs(Role.READ))],
            summary="A picture kept of a window", response_class=Response)  # fmt: skip
def picture(asked: AskedNow, reading: ReadingName, name: Annotated[str, InPath(max_length=256)]) -> Response:
    """A crop or a thumbnail: only names that the reading keeps, and only bytes that are the ones kept."""
    _, kept = KEPT.of(asked.live.folder, reading)
    return Response(kept.picture(name), media_type="image/png")

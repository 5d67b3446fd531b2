"""The gauge files of a works, in its folder `gauge/`: read once while they do not change, rolls kept as drawn."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from pathlib import Path
from threading import RLock
from typing import Any, Final, TypeVar

from ..acts.gauge_view import Columns, RollView, roll_view
from ..errors import NotThere, Problem
from ..io.gauge import read_gauge
from ..stations.film.gauge import Settings

__all__ = ["FOLDER", "GaugeFiles"]

T = TypeVar("T")
FOLDER: Final = "gauge"
ENDINGS: Final = {".csv", ".parquet", ".pq"}
MOST_BYTES: Final = 256 * 2**20  # of a file that a page reads: some five million points
MOST_FILES: Final = 1_000  # listed, the newest
VIEWS, FILES = 24, 1  # rolls kept as drawn; files kept as read


class _Kept:
    """The last few of what was made."""

    def __init__(self, most: int) -> None:
        self.most, self.made = most, OrderedDict[Any, Any]()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        if key in self.made:
            self.made.move_to_end(key)
        else:
            self.made[key] = make()
            while len(self.made) > self.most:
                self.made.popitem(last=False)
        return self.made[key]  # type: ignore[no-any-return]


class GaugeFiles:
    """Gauge files of any works.  One lock: two who ask for the same roll wait for one reading."""

    def __init__(self) -> None:
        self._lock, self._files, self._views = RLock(), _Kept(FILES), _Kept(VIEWS)

    def names(self, folder: Path) -> list[str]:
        """The files of a works, newest first."""
        found = [one for one in self._at(folder).glob("*") if one.suffix.lower() in ENDINGS and one.is_file()]
        return [one.name for one in sorted(found, key=lambda one: (-_written(one), one.name))][:MOST_FILES]

    def rolls(self, folder: Path, name: str) -> list[str]:
        """The rolls of a file, in its order."""
        return list(self._read(folder, name))

    def columns(self, folder: Path, name: str, roll: str) -> Columns:
        """The records of a roll; NotThere where the file has none."""
        rolls = self._read(folder, name)
        if roll not in rolls:
            true = f"{name} has {', '.join(list(rolls)[:8])}"
            raise NotThere("roll", roll, true, "choose one of them, or another file")
        return rolls[roll]

    def view(self, folder: Path, name: str, roll: str, settings: Settings, spot_mm: float) -> RollView:
        """A roll as it is drawn; what the station refuses is refused."""
        with self._lock:
            key = (self._key(folder, name), roll, repr(settings), spot_mm)
            return self._views.get(key, lambda: roll_view(roll, self.columns(folder, name, roll), settings, spot_mm))

    def beside(self, folder: Path, name: str) -> list[RollView]:
        """Rolls of that file that were looked at since it last changed, newest last; one view of each."""
        with self._lock:
            key = self._key(folder, name)
            return list({view.roll: view for made, view in self._views.made.items() if made[0] == key}.values())

    @staticmethod
    def _at(folder: Path) -> Path:
        return folder / FOLDER

    def _key(self, folder: Path, name: str) -> Hashable:
        """What changes when the file does."""
        if name not in self.names(folder):
            shown = ", ".join(self.names(folder)[:8]) or "no file"
            raise NotThere("file", name, f"{FOLDER}/ holds {shown}", "choose one of them")
        state = (self._at(folder) / name).stat()
        return str(self._at(folder) / name), state.st_mtime_ns, state.st_size

    def _read(self, folder: Path, name: str) -> dict[str, dict[str, Any]]:
        with self._lock:
            key, path = self._key(folder, name), self._at(folder) / name
            if path.stat().st_size > MOST_BYTES:
                true = f"it is larger than the {MOST_BYTES >> 20} MiB that a page reads"
                raise Problem(f"gauge records {name}", true, "read it with `reelmark film read`, or split it by roll")
            return self._files.get(key, lambda: read_gauge(path))


def _written(path: Path) -> int:
    """When it was written; 0 where it went away just now."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0

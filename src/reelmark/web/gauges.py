"""The gauge files of a works, in its folder `gauge/`: read once while they do not change, rolls kept as drawn.

The rolls before the one that is looked at are read beside, in a thread of their own: a page does not wait for them.
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace
from pathlib import Path
from threading import RLock, Thread
from typing import Any, Final, TypeVar

from ..acts.gauge_view import Columns, RollView, roll_view
from ..errors import NotThere, Problem
from ..io.gauge import read_gauge
from ..stations.film.gauge import Settings, read_roll
from ..stations.film.gauge.shares import Share

__all__ = ["FOLDER", "MOST_BEFORE", "Before", "GaugeFiles"]

T = TypeVar("T")
FOLDER: Final = "gauge"
ENDINGS: Final = {".csv", ".parquet", ".pq"}
MOST_BYTES: Final = 256 * 2**20  # of a file that a page reads: some five million points
MOST_FILES: Final = 1_000  # listed, the newest
MOST_BEFORE: Final = 10  # rolls shown beside the one looked at
VIEWS, FILES, ROWS = 24, 1, 400  # rolls kept as drawn; files kept as read; rolls and files kept as a row or names


@dataclass(frozen=True, slots=True)
class Before:
    """A roll wound before.  parts : empty where it cannot be read, and why stands in refused"""

    file: str
    roll: str
    mean_um: float | None
    parts: tuple[Share, ...]
    refused: str = ""


class _Kept:
    """The last few of what was made."""

    def __init__(self, most: int) -> None:
        self.most, self.made = most, OrderedDict[Any, Any]()

    def put(self, key: Hashable, made: Any) -> None:
        self.made[key] = made
        while len(self.made) > self.most:
            self.made.popitem(last=False)

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        if key in self.made:
            self.made.move_to_end(key)
        else:
            self.put(key, make())
        return self.made[key]  # type: ignore[no-any-return]


class GaugeFiles:
    """Gauge files of any works.  One lock: two who ask for the same roll wait for one reading."""

    def __init__(self) -> None:
        self._lock, self._files, self._views = RLock(), _Kept(FILES), _Kept(VIEWS)
        self._names, self._rows = _Kept(ROWS), _Kept(ROWS)
        self._worker: Thread | None = None

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

    def before(self, folder: Path, name: str, roll: str, settings: Settings) -> tuple[list[Before], bool]:
        """The rolls before that one, newest last, as far as they are read, and whether that is all of them.

        In the order of the files as they were written, and of the rolls in each.  The rest is read in a thread.
        """
        asked = replace(settings, limits=None, costs=None)
        with self._lock:
            rows, missing = self._before(folder, name, roll, asked)
            if missing is not None and (self._worker is None or not self._worker.is_alive()):
                self._worker = Thread(target=self._work, args=(folder, name, roll, asked), daemon=True)
                self._worker.start()
            return rows, missing is None

    def settle(self) -> None:
        """Wait for the thread that reads the rolls before."""
        if self._worker is not None:
            self._worker.join()

    def _before(
        self, folder: Path, name: str, roll: str, asked: Settings
    ) -> tuple[list[Before], tuple[str, str | None] | None]:
        """Rows that are known, oldest first, and the first (file, roll) that is missing; roll None: its names too."""
        rows: list[Before] = []
        files = self.names(folder)
        for file in files[files.index(name) :] if name in files else ():
            names = self._names.made.get(self._key(folder, file))
            if names is None:
                return rows[::-1], (file, None)
            for one in reversed(names[: names.index(roll)] if file == name and roll in names else names):
                row = self._rows.made.get((self._key(folder, file), one, repr(asked)))
                if row is None:
                    return rows[::-1], (file, one)
                rows.append(row)
                if len(rows) == MOST_BEFORE:
                    return rows[::-1], None
        return rows[::-1], None

    def _work(self, folder: Path, name: str, roll: str, asked: Settings) -> None:
        """Read what is missing, newest first; a file goes away or is no gauge's: then it holds no roll."""
        held: tuple[str, dict[str, dict[str, Any]]] = ("", {})
        while True:
            try:
                with self._lock:
                    missing = self._before(folder, name, roll, asked)[1]
                    if missing is None:
                        return
                    key = self._key(folder, missing[0])
                if held[0] != missing[0]:
                    held = missing[0], self._quietly(folder, missing[0])
                row = None if missing[1] is None else _row(missing[0], missing[1], held[1], asked)
                with self._lock:
                    self._names.put(key, list(held[1]))
                    if row is not None:
                        self._rows.put((key, row.roll, repr(asked)), row)
            except (OSError, Problem):
                return

    def _quietly(self, folder: Path, name: str) -> dict[str, dict[str, Any]]:
        try:
            return _open(self._at(folder) / name)
        except Problem:
            return {}

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
            rolls = self._files.get(key, lambda: _open(path))
            self._names.put(key, list(rolls))
            return rolls


def _open(path: Path) -> dict[str, dict[str, Any]]:
    """The rolls of a file.  What is wrong with it is told by its name alone: a page shows no folders of the server."""
    if path.stat().st_size > MOST_BYTES:
        true = f"it is larger than the {MOST_BYTES >> 20} MiB that a page reads"
        raise Problem(f"gauge records {path.name}", true, "read it with `reelmark film read`, or split it by roll")
    try:
        return read_gauge(path)
    except Problem as problem:
        told = (problem.asked, problem.true, problem.cure)
        said = [_nowhere(one, path) for one in told]
        if said == [*told]:
            raise
        raise Problem(*said) from problem


def _nowhere(text: str, path: Path) -> str:
    """The text without the folder; a message that was cut short inside the path ends before it."""
    text = text.replace(str(path), path.name)
    at = text.find(str(path.parent)[:16])
    return text if at < 0 else text[:at].rstrip(" '\"")


def _row(file: str, roll: str, rolls: dict[str, dict[str, Any]], asked: Settings) -> Before:
    """One roll in a row; why not, where it cannot be read."""
    try:
        one = read_roll(roll, **rolls[roll], settings=asked)
    except (Problem, KeyError) as problem:
        return Before(file, roll, None, (), str(problem))
    return Before(file, roll, one.verdict.mean_um, one.shares.shares)


def _written(path: Path) -> int:
    """When it was written; 0 where it went away just now."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0

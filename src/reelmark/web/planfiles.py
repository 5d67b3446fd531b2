"""The plan of a works as it lies in its folder, read once while it does not change."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from threading import RLock
from typing import Any, Final

from ..acts.plan_kept import from_dict, to_dict
from ..errors import NotThere, Problem
from ..io.planfile import read_plan, stamp_of, write_plan
from ..plan.planned import Planned
from .live import Live
from .words import zone_of

__all__ = ["PLANS", "Kept", "PlanFiles", "Stamp", "Told", "turn_of"]

CURRENT, BEFORE = "current", "before"
Told = dict[str, Any]
Stamp = tuple[int, int]
MOST: Final = 40  # plans kept as read, of all works


@dataclass(frozen=True)
class Kept:
    """A plan and what is told beside it.

    told : at, by, seconds, orders, revision, p_on_time line by line, entries of the journal that it knows, and whatever
        else the page shows
    stamp : what changes when the file does
    """

    planned: Planned
    told: Told
    stamp: Stamp
    made: dict[Any, Any] = field(default_factory=dict, repr=False)

    @property
    def orders(self) -> list[str]:
        """Orders in it."""
        return [str(one) for one in self.told.get("orders", ())]

    @property
    def by(self) -> str:
        """Who asked for it."""
        return str(self.told.get("by", ""))

    @property
    def revision(self) -> int:
        """How many plans there were before it."""
        return int(self.told.get("revision", 0))

    @property
    def entries(self) -> int | None:
        """How many entries of the journal it knows; None where the file does not say."""
        many = self.told.get("entries")
        return many if isinstance(many, int) and many >= 0 else None

    @property
    def turn(self) -> str:
        """Another after each change that open pages show at once."""
        return f"turn-{int(self.told.get('turn', 0))}"

    @property
    def at(self) -> datetime:
        """When it was made; the begin of computer time where the file does not say."""
        try:
            at = datetime.fromisoformat(str(self.told.get("at")))
        except ValueError:
            return datetime.fromtimestamp(0, UTC)
        return at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)

    def once(self, key: Any, make: Any) -> Any:
        """What is worked out of it, at the first asking."""
        if key not in self.made:
            if len(self.made) > MOST:
                self.made.clear()
            self.made[key] = make()
        return self.made[key]


def turn_of(kept: Kept | None) -> str:
    """What an open page shows; another name for no plan."""
    return kept.turn if kept else "turn-none"


class PlanFiles:
    """Plans of any works."""

    def __init__(self) -> None:
        self._lock, self._read = RLock(), dict[tuple[Path, str], Kept]()

    def current(self, live: Live) -> Kept | None:
        """The plan; None where there is none; Problem where its file is damaged."""
        return self._of(live, CURRENT)

    def before(self, live: Live) -> Kept | None:
        """The plan before it."""
        return self._of(live, BEFORE)

    def has_before(self, live: Live) -> bool:
        """Is there a plan to be taken back?"""
        return stamp_of(live.folder, BEFORE) is not None

    def _of(self, live: Live, name: str) -> Kept | None:
        with self._lock:
            key, stamp = (live.folder, name), stamp_of(live.folder, name)
            found = self._read.get(key)
            if stamp is None:
                self._read.pop(key, None)
                return None
            if found is None or found.stamp != stamp:
                kept = read_plan(live.folder, name)
                if kept is None:
                    return None
                if len(self._read) >= MOST:
                    self._read.clear()
                begins = datetime.fromisoformat(kept["begins"]).astimezone(zone_of(live.works.zone))
                found = self._read[key] = Kept(from_dict(kept, begins), kept["told"], stamp)
            return found

    def write(self, live: Live, planned: Planned, told: Told, over: Stamp | None = None) -> bool:
        """A new plan; what was the plan becomes the one before.  over : see `replace`"""
        with self._lock:
            old = read_quietly(live.folder)
            if not self._still(live, over):
                return False
            if old is not None:
                write_plan(live.folder, BEFORE, old)
            self._put(live, planned, told, old)
            return True

    def replace(self, live: Live, planned: Planned, told: Told, over: Stamp | None = None, quiet: bool = False) -> bool:
        """A better one in its place: the one before stays what it was.

        over : stamp of the plan it was made from: where another has come meanwhile nothing is written, and False
        quiet : open pages need not show it at once
        """
        with self._lock:
            if not self._still(live, over):
                return False
            self._put(live, planned, told, read_quietly(live.folder), quiet)
            return True

    def _still(self, live: Live, over: Stamp | None) -> bool:
        return over is None or stamp_of(live.folder, CURRENT) == over

    def _put(self, live: Live, planned: Planned, told: Told, old: Told | None, quiet: bool = False) -> None:
        was = (old or {}).get("told", {})
        count = {"revision": 1 + int(was.get("revision", -1)), "turn": int(was.get("turn", 0)) + (not quiet)}
        write_plan(live.folder, CURRENT, to_dict(planned) | {"told": told | count})

    def back(self, live: Live) -> None:
        """The one before and the plan change places; the revision counts on."""
        with self._lock:
            old, new = read_plan(live.folder, BEFORE), read_plan(live.folder, CURRENT)
            if old is None or new is None:
                raise NotThere("plan before", live.key, "there is none", "plan again to have one")
            for count in ("revision", "turn"):
                old["told"][count] = 1 + int(new["told"].get(count, 0))
            write_plan(live.folder, BEFORE, new)
            write_plan(live.folder, CURRENT, old)


def read_quietly(folder: Path) -> dict[str, Any] | None:
    """The plan that is to be replaced; None too where it is damaged."""
    try:
        return read_plan(folder, CURRENT)
    except Problem:
        return None


PLANS: Final = PlanFiles()

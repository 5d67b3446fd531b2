"""What waits for a second person: asked by one, confirmed or refused by another, or taken back.

    waiting -> posting -> done          confirmed; `posting` is held while the records go into the journal
               posting -> waiting       the journal would not have them
    waiting -> refused, taken back

What was asked is never altered and nothing is deleted; the file's own rules hold that, and that the second is another.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from reelmark.errors import Clash, NotAllowed, NotThere
from reelmark.io.peoplefile import PeopleFile, stamp

__all__ = ["Proposal", "Proposals"]

State = Literal["waiting", "posting", "done", "refused", "taken back"]
_COLUMNS = "id, order_key, title, kind, bodies, why, by1, at, state, by2, at2, outcome"


@dataclass(frozen=True, slots=True)
class Proposal:
    """bodies : the records to be written.  by, at : who asked, when.  by2, at2 : who decided, when."""

    id: int
    order: str
    title: str
    kind: str
    bodies: tuple[dict[str, Any], ...]
    why: str
    by: str
    at: str
    state: State
    by2: str | None
    at2: str | None
    outcome: str


def _made(row: tuple[Any, ...]) -> Proposal:
    number, order, title, kind, bodies, *rest = row
    return Proposal(number, order, title, kind, tuple(json.loads(bodies)), *rest)


class Proposals:
    """All that was ever asked, and what became of it."""

    def __init__(self, file: PeopleFile) -> None:
        self._file = file

    def ask(
        self, order: str, kind: str, title: str, bodies: Sequence[dict[str, Any]], why: str, by: str, at: datetime
    ) -> int:
        """A new one, waiting; its number."""
        into = "INSERT INTO proposal (order_key, title, kind, bodies, why, by1, at, state, outcome)"
        with self._file.changing("asking"):
            values = order, title, kind, json.dumps(list(bodies), ensure_ascii=False), why, by, stamp(at)
            done = self._file.do(f"{into} VALUES (?, ?, ?, ?, ?, ?, ?, 'waiting', '')", *values)
        return int(done.lastrowid or 0)

    def waiting(self) -> list[Proposal]:
        """What waits, oldest first; with what is being posted."""
        return self._where("state IN ('waiting', 'posting') ORDER BY id")

    def decided(self) -> list[Proposal]:
        """What is decided, newest first."""
        return self._where("state NOT IN ('waiting', 'posting') ORDER BY at2 DESC, id DESC")

    def count(self) -> int:
        """How many wait."""
        return int(self._file.rows("SELECT count(*) FROM proposal WHERE state IN ('waiting', 'posting')")[0][0])

    def one(self, number: int) -> Proposal:
        """The proposal of that number."""
        found = self._where("id = ?", number) if 0 < number < 2**63 else []
        if not found:
            raise NotThere("proposal", number, "nothing of that number was asked", "choose one of the list on Waiting")
        return found[0]

    def _where(self, which: str, *values: Any) -> list[Proposal]:
        return [_made(row) for row in self._file.rows(f"SELECT {_COLUMNS} FROM proposal WHERE {which}", *values)]  # noqa: S608

    def claim(self, number: int, by2: str, at2: datetime) -> Proposal:
        """Take it up to be posted: waiting -> posting.  NotAllowed for who asked, Clash if it does not wait."""
        return self._decide(number, "posting", by2, at2, "")

    def refuse(self, number: int, by2: str, at2: datetime, why: str) -> Proposal:
        """Not to be done, as a second person says."""
        return self._decide(number, "refused", by2, at2, why)

    def _decide(self, number: int, state: State, by2: str, at2: datetime, outcome: str) -> Proposal:
        with self._file.changing(f"{state} {number}"):
            one = self._must_wait(number)
            if one.by == by2:
                true = "that person asked for it, and the second must be another"
                raise NotAllowed("second person", by2, true, "have another person sign, or take it back")
            self._step(number, state, by2, stamp(at2), outcome)
        return self.one(number)

    def take_back(self, number: int, by: str, at2: datetime) -> Proposal:
        """Not wanted any more, as who asked says."""
        with self._file.changing(f"taking back {number}"):
            one = self._must_wait(number)
            if one.by != by:
                raise NotAllowed("person", by, f"{one.by} asked for it", "refuse it, with the reason")
            self._step(number, "taken back", None, stamp(at2), "")
        return self.one(number)

    def done(self, number: int, outcome: str) -> Proposal:
        """What was taken up stands in the journal."""
        with self._file.changing(f"done {number}"):
            one = self.one(number)
            self._step(number, "done", one.by2, one.at2, outcome)
        return self.one(number)

    def let_go(self, number: int, outcome: str) -> None:
        """What was taken up could not be posted: it waits again, and says why."""
        with self._file.changing(f"letting go {number}"):
            self._step(number, "waiting", None, None, outcome)

    def _step(self, number: int, state: State, by2: str | None, at2: str | None, outcome: str) -> None:
        change = "UPDATE proposal SET state = ?, by2 = ?, at2 = ?, outcome = ? WHERE id = ?"
        self._file.do(change, state, by2, at2, outcome, number)

    def _must_wait(self, number: int) -> Proposal:
        one = self.one(number)
        if one.state != "waiting":
            by = f" by {one.by2}" if one.by2 else ""
            true = f"it is {one.state}{by}"
            raise Clash("proposal", number, true, "look at the list on Waiting; nothing was done now")
        return one

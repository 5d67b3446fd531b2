"""The people of a house, at rest in one SQLite file: who may come in, what they may do, what waits for a second one.

    people = People.open(path)
    link = people.invite({"read", "sign"}, "A. Moss", now)      a word that opens the door once
    people.join(link, "B. Reed", hash, now)
    token = people.begin("B. Reed", now);  people.seen(token, now)

The file holds no passphrase, no token and no link, only what they hash to.  Nobody is deleted: who signed once must be
found for ever.  Times are given by the caller.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path
from secrets import token_urlsafe
from typing import Final, Self

from reelmark.errors import Clash, NotThere
from reelmark.io.peoplefile import IDLE, PeopleFile, stamp
from reelmark.io.persons import Known, Persons, folded, roles_text, tidy
from reelmark.io.proposals import Proposals

__all__ = ["LINK", "SHIFT", "Invitation", "People"]

SHIFT: Final = timedelta(hours=12)  # the longest a person is signed in
LINK: Final = timedelta(days=3)  # how long a link is good
STEP: Final = timedelta(minutes=1)  # last seen is kept to this, so that looking does not write each time


@dataclass(frozen=True, slots=True)
class Invitation:
    """A link not yet used.  person : whose passphrase it renews; None = it is for somebody new."""

    roles: frozenset[str]
    person: str | None


def _hashed(token: str) -> bytes:
    return sha256(token.encode()).digest()


class People(Persons):
    """Everybody known, their sessions and links; ``proposals``: what waits for a second person."""

    def __init__(self, file: PeopleFile) -> None:
        super().__init__(file)
        self.proposals = Proposals(file)

    @classmethod
    def open(cls, path: Path) -> Self:
        """The people in a file, made if there is none."""
        return cls(PeopleFile.open(Path(path)))

    # --- sessions ----------------------------------------------------------------------------------------------

    def begin(self, name: str, now: datetime) -> str:
        """A session; the token that is its key."""
        token = token_urlsafe(32)
        into = "INSERT INTO session (hash, person, began, seen, ends) VALUES (?, ?, ?, ?, ?)"
        with self._file.changing("signing in"):
            self._file.do(into, _hashed(token), name, stamp(now), stamp(now), stamp(now + SHIFT))
        return token

    def seen(self, token: str, now: datetime) -> Known | None:
        """Whose session that is, while it lasts; None once it has ended, was idle too long, or never was."""
        ask = "SELECT person, seen FROM session WHERE hash = ? AND ended IS NULL AND ends > ? AND seen > ?"
        found = self._file.rows(ask, _hashed(token), stamp(now), stamp(now - IDLE))
        who = self.person(found[0][0]) if found else None
        if who is None or not who.active:
            return None
        if found[0][1] < stamp(now - STEP):
            with self._file.changing("last seen"):
                mark = "UPDATE session SET seen = ? WHERE hash = ? AND ended IS NULL AND seen < ?"
                self._file.do(mark, stamp(now), _hashed(token), stamp(now))
        return who

    def end(self, token: str, now: datetime) -> None:
        """That session is over."""
        with self._file.changing("signing out"):
            self._file.do("UPDATE session SET ended = ? WHERE hash = ? AND ended IS NULL", stamp(now), _hashed(token))

    def end_all(self, name: str, by: str, now: datetime) -> int:
        """Every session of a person is over; how many were open."""
        with self._file.changing(f"ending the sessions of {name}"):
            self._must(name)
            self._did(now, by, f"sessions of {name} ended")
            return self._end_of(name, now)

    # --- links -------------------------------------------------------------------------------------------------

    def invite(self, roles: Iterable[str], by: str | None, now: datetime) -> str:
        """A link for somebody new.  by : None = for the first keeper, good only while there is none."""
        text = roles_text(roles)
        return self._link(text, None, by, now, f"a link for somebody who may {', '.join(text.split())}")

    def renew(self, name: str, by: str, now: datetime) -> str:
        """A link for somebody known to choose a new passphrase; who was retired comes back with it."""
        one = self._must(name)
        return self._link(roles_text(one.roles), name, by, now, f"a link for {name} to choose a new passphrase")

    def _link(self, roles: str, person: str | None, by: str | None, now: datetime, what: str) -> str:
        token = token_urlsafe(32)
        into = "INSERT INTO invitation (hash, roles, person, by1, began, ends) VALUES (?, ?, ?, ?, ?, ?)"
        with self._file.changing(what):
            self._file.do(into, _hashed(token), roles, person, by, stamp(now), stamp(now + LINK))
            self._did(now, by, what)
        return token

    def invited(self, token: str, now: datetime) -> Invitation | None:
        """What a link is good for; None once it was used, has ended, or who gave it keeps the people no more."""
        ask = "SELECT roles, person, by1 FROM invitation WHERE hash = ? AND used_at IS NULL AND ends > ?"
        found, keepers = self._file.rows(ask, _hashed(token), stamp(now)), self.keepers()
        good = found and (found[0][2] in keepers if found[0][2] else not keepers)
        return Invitation(frozenset(found[0][0].split()), found[0][1]) if good else None

    def join(self, token: str, name: str, hash_: str, now: datetime) -> str:
        """A person comes in by a link, or renews the passphrase; the link is used up.  The name as it is kept."""
        with self._file.changing("joining"):
            link = self.invited(token, now)
            if link is None:
                true = "it was used, has ended, or was never given"
                raise NotThere("link", "to come in", true, "ask a keeper of the people for a new one")
            kept = self._renewed(link.person, hash_, now) if link.person else self._added(name, link, hash_, now)
            use = "UPDATE invitation SET used_by = ?, used_at = ? WHERE hash = ?"
            self._file.do(use, kept, stamp(now), _hashed(token))
        return kept

    def _added(self, name: str, link: Invitation, hash_: str, now: datetime) -> str:
        kept = tidy(name)
        if there := self.person(kept):
            raise Clash("name", kept, f"{there.name} is known here already", "choose a name that is told from it")
        into = "INSERT INTO person (name, folded, roles, hash, active, began) VALUES (?, ?, ?, ?, 1, ?)"
        self._file.do(into, kept, folded(kept), roles_text(link.roles), hash_, stamp(now))
        self._did(now, kept, f"{kept} came in, and may {', '.join(roles_text(link.roles).split())}")
        return kept

    def _renewed(self, name: str, hash_: str, now: datetime) -> str:
        self._file.do("UPDATE person SET hash = ?, active = 1 WHERE name = ?", hash_, name)
        self._end_of(name, now)
        self._did(now, name, f"{name} chose a new passphrase")
        return name

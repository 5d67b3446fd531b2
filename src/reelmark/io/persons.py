"""The persons of a house: their names, what they may do, and what was done about them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from unicodedata import normalize

from pydantic import TypeAdapter, ValidationError

from reelmark.errors import BadValue, Clash, NotThere
from reelmark.io.peoplefile import IDLE, PeopleFile, stamp
from reelmark.records import Name

__all__ = ["ROLES", "Deed", "Known", "Persons", "folded", "roles_text", "tidy"]

ROLES: Final = ("read", "write", "sign", "keep")
_NAME: Final = TypeAdapter(Name)
_PERSON: Final = "SELECT name, roles, active, hash, (SELECT max(seen) FROM session WHERE person = name) FROM person"


@dataclass(frozen=True, slots=True)
class Known:
    """A person as kept.  seen : when last, or None."""

    name: str
    roles: frozenset[str]
    active: bool
    hash: str
    seen: str | None


@dataclass(frozen=True, slots=True)
class Deed:
    """What was done about people.  by : None = by who runs the server."""

    at: str
    by: str | None
    what: str


def tidy(name: str) -> str:
    """A person's name as it is written in records; BadValue where it cannot be."""
    plain = " ".join(normalize("NFC", name).split())
    try:
        return _NAME.validate_python(plain)
    except ValidationError as error:
        true = "a name has 1 to 64 letters, figures, spaces and . : / + # -, and begins with a letter or a figure"
        raise BadValue("name", name, true, "write it as it shall stand in the records, as A. Moss") from error


def folded(name: str) -> str:
    """Names that a reader would take for one another are one."""
    return " ".join(normalize("NFKC", name).casefold().split())


def roles_text(roles: Iterable[str]) -> str:
    """Roles as they are kept; BadValue for none, and for what is no role."""
    given = set(roles)
    if unknown := given - set(ROLES):
        raise BadValue("roles", ", ".join(sorted(unknown)), f"the roles are {', '.join(ROLES)}", "choose among them")
    if not given:
        raise BadValue("roles", "", "none is chosen", "choose at least one; retire who shall have none")
    return " ".join(one for one in ROLES if one in given)


def _known(row: tuple[str, str, int, str, str | None]) -> Known:
    return Known(row[0], frozenset(row[1].split()), bool(row[2]), row[3], row[4])


class Persons:
    """Everybody known."""

    def __init__(self, file: PeopleFile) -> None:
        self._file, self.path = file, file.path

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def persons(self) -> list[Known]:
        """Everybody, by name."""
        return [_known(row) for row in self._file.rows(f"{_PERSON} ORDER BY folded")]

    def person(self, name: str) -> Known | None:
        """The person of that name, however it is spelled in capitals and spaces."""
        found = self._file.rows(f"{_PERSON} WHERE folded = ?", folded(name))
        return _known(found[0]) if found else None

    def keepers(self) -> list[str]:
        """Who keeps the people now."""
        return [one.name for one in self.persons() if one.active and "keep" in one.roles]

    def rehash(self, name: str, hash_: str) -> None:
        """The same passphrase, hashed anew."""
        with self._file.changing("passphrase"):
            self._file.do("UPDATE person SET hash = ? WHERE name = ?", hash_, name)

    def set_roles(self, name: str, roles: Iterable[str], by: str, now: datetime) -> None:
        """What a person may do from now on; Clash where nobody would keep the people."""
        text = roles_text(roles)
        with self._file.changing(f"roles of {name}"):
            self._stays_kept(name, "keep" in text)
            self._file.do("UPDATE person SET roles = ? WHERE name = ?", text, name)
            self._did(now, by, f"{name} may now {', '.join(text.split())}")

    def retire(self, name: str, by: str, now: datetime) -> None:
        """A person who may not come in any more; Clash for the last keeper."""
        with self._file.changing(f"retiring {name}"):
            self._stays_kept(name, False)
            self._file.do("UPDATE person SET active = 0 WHERE name = ?", name)
            self._end_of(name, now)
            self._did(now, by, f"{name} retired")

    def _stays_kept(self, name: str, keeps: bool) -> None:
        self._must(name)
        if not keeps and self.keepers() == [name]:
            raise Clash("keeper", name, "nobody else keeps the people", "give another person the role keep first")

    def _must(self, name: str) -> Known:
        one = self.person(name)
        if one is None or one.name != name:
            raise NotThere("person", name, "nobody of that name is known", "choose one of the list on People")
        return one

    def _did(self, now: datetime, by: str | None, what: str) -> None:
        self._file.do("INSERT INTO deed (at, by1, what) VALUES (?, ?, ?)", stamp(now), by, what)

    def deeds(self) -> list[Deed]:
        """What was done about people, newest first."""
        return [Deed(*row) for row in self._file.rows("SELECT at, by1, what FROM deed ORDER BY id DESC")]

    def _end_of(self, name: str, now: datetime) -> int:
        close = "UPDATE session SET ended = ? WHERE person = ? AND ended IS NULL AND ends > ? AND seen > ?"
        return self._file.do(close, stamp(now), name, stamp(now), stamp(now - IDLE)).rowcount

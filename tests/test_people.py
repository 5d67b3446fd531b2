"""The file of people: what its own rules refuse, what it never holds, and what two at once may do."""

import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Barrier

import pytest

from reelmark.errors import BadValue, Broken, Clash, NotAllowed, NotThere, Problem
from reelmark.io.people import LINK, SHIFT, People
from reelmark.io.peoplefile import IDLE
from reelmark.io.persons import ROLES, tidy
from reelmark.web.roles import Role

NOW = datetime(2027, 3, 1, 8, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
BODIES = [{"kind": "move", "unit": "P1", "start": 5, "sheets": 2, "source": "held", "target": "good", "why": "ok"}]


@pytest.fixture
def people(tmp_path: Path) -> Iterator[People]:
    """A. Moss may do everything, B. Reed signs, C. Fern writes."""
    kept = People.open(tmp_path / "people.db")
    kept.join(kept.invite(ROLES, None, NOW), "A. Moss", "h1", NOW)
    for name, roles in (("B. Reed", ["read", "sign"]), ("C. Fern", ["read", "write"])):
        kept.join(kept.invite(roles, "A. Moss", NOW), name, "h2", NOW)
    yield kept
    kept.close()


@pytest.fixture
def raw(people: People) -> Iterator[sqlite3.Connection]:
    """The same file by another hand, with nothing of ours in between but the file's own rules."""
    with closing(sqlite3.connect(people.path, isolation_level=None)) as db:
        db.execute("PRAGMA recursive_triggers = 1")
        db.execute("PRAGMA foreign_keys = 1")
        yield db


def ask(people: People, by: str = "C. Fern") -> int:
    return people.proposals.ask("TM-20-1", "release", "release 2 sheets", BODIES, "looked at", by, NOW)


# ---- the file


def test_file_is_kept_between_openings_and_read_by_its_owner_alone(people: People):
    ask(people)
    again = People.open(people.path)
    assert [one.name for one in again.persons()] == ["A. Moss", "B. Reed", "C. Fern"]
    assert again.proposals.waiting()[0].bodies == tuple(BODIES)
    assert people.path.stat().st_mode & 0o077 == 0
    again.close()


def test_no_other_file_is_taken(tmp_path: Path):
    text, other = tmp_path / "notes.txt", tmp_path / "other.db"
    text.write_text("not a database at all, but some words that are long enough\n" * 40)
    with closing(sqlite3.connect(other)) as db:
        db.execute("CREATE TABLE mine (x)")
    for path, before in ((text, text.read_bytes()), (other, other.read_bytes())):
        with pytest.raises(Problem, match="people file"):
            People.open(path)
        assert path.read_bytes() == before


def test_a_trigger_taken_away_is_told(people: People, raw: sqlite3.Connection):
    raw.execute("DROP TRIGGER proposal_stays_as_asked")
    with pytest.raises(Broken, match="proposal_stays_as_asked is missing"):
        People.open(people.path)


def test_file_holds_hashes_only(people: People):
    link = people.invite(["read"], "A. Moss", NOW)
    token = people.begin("B. Reed", NOW)
    assert len(token) >= 43  # 256 bits in base 64
    held = b"".join(one.read_bytes() for one in people.path.parent.glob("people.db*"))
    assert b"B. Reed" in held
    assert token.encode() not in held
    assert link.encode() not in held


# ---- persons


def test_roles_are_those_of_the_web_face():
    assert set(ROLES) == {role.value for role in Role} - {"anyone", "signed in"}


@pytest.mark.parametrize("name", ["a. moss", " A.  Moss ", "A.\u00a0Moss", "Ａ. Moss"])
def test_nobody_passes_for_another(people: People, name: str):
    link = people.invite(["read"], "A. Moss", NOW)
    with pytest.raises(Clash, match=r"A\. Moss is known here already"):
        people.join(link, name, "h", NOW)
    assert people.invited(link, NOW) is not None  # what failed did not use it up


@pytest.mark.parametrize("name", ["", "   ", "-x", "<b>", "series TM20", "x" * 65, "a;b"])
def test_a_name_must_fit_the_records(name: str):
    with pytest.raises(BadValue, match="name"):
        tidy(name)


def test_the_last_keeper_stays(people: People, raw: sqlite3.Connection):
    with pytest.raises(Clash, match="nobody else keeps the people"):
        people.retire("A. Moss", "A. Moss", NOW)
    with pytest.raises(Clash, match="nobody else keeps the people"):
        people.set_roles("A. Moss", ["read"], "A. Moss", NOW)
    for change in ("active = 0", "roles = 'read'"):
        with pytest.raises(sqlite3.IntegrityError, match="last keeper"):
            raw.execute(f"UPDATE person SET {change} WHERE name = 'A. Moss'")
    people.set_roles("B. Reed", ["keep"], "A. Moss", NOW)
    people.retire("A. Moss", "B. Reed", NOW)
    assert people.keepers() == ["B. Reed"]


def test_two_keepers_cannot_both_go_at_once(people: People):
    people.set_roles("B. Reed", ["keep"], "A. Moss", NOW)
    other, start = People.open(people.path), Barrier(2)

    def go(kept: People, name: str) -> bool:
        start.wait()
        try:
            kept.retire(name, name, NOW)
        except Clash:
            return False
        return True

    with ThreadPoolExecutor(2) as pool:
        gone = list(pool.map(go, (people, other), ("A. Moss", "B. Reed")))
    other.close()
    assert sorted(gone) == [False, True]
    assert len(people.keepers()) == 1


@pytest.mark.parametrize("roles", [[], ["read", "boss"]])
def test_only_known_roles(people: People, roles: list[str]):
    with pytest.raises(BadValue, match="roles"):
        people.set_roles("B. Reed", roles, "A. Moss", NOW)


def test_deeds_tell_who_gave_what(people: People):
    people.set_roles("C. Fern", ["read"], "A. Moss", NOW)
    newest = people.deeds()[0]
    assert (newest.by, newest.what) == ("A. Moss", "C. Fern may now read")
    assert people.deeds()[-1].by is None  # the first link, by who runs the server


# ---- sessions


def test_a_session_ends(people: People):
    token = people.begin("B. Reed", NOW)
    who = people.seen(token, NOW)
    assert who is not None
    assert who.name == "B. Reed"
    assert people.seen(token + "x", NOW) is None
    assert people.seen(token, NOW + IDLE) is None  # idle too long
    people.end(token, NOW)
    assert people.seen(token, NOW) is None


def test_a_session_in_use_ends_with_the_shift(people: People):
    token, at = people.begin("B. Reed", NOW), NOW
    while at + 90 * MINUTE < NOW + SHIFT:
        at += 90 * MINUTE
        assert people.seen(token, at) is not None
    assert people.seen(token, NOW + SHIFT) is None


def test_last_seen_is_told(people: People):
    token = people.begin("B. Reed", NOW)
    people.seen(token, NOW + 5 * MINUTE)
    who = people.person("b. reed")
    assert who is not None
    assert who.seen == "2027-03-01T08:05:00.000000+00:00"


def test_sessions_end_at_once_for_who_is_retired_or_sent_out(people: People):
    tokens = [people.begin(name, NOW) for name in ("B. Reed", "B. Reed", "C. Fern")]
    assert people.end_all("B. Reed", "A. Moss", NOW) == 2
    people.retire("C. Fern", "A. Moss", NOW)
    assert [people.seen(token, NOW) for token in tokens] == [None] * 3
    assert people.seen(people.begin("C. Fern", NOW), NOW) is None  # begun while the other hand retired the person


# ---- links


def test_a_link_opens_once(people: People):
    link = people.invite(["read"], "A. Moss", NOW)
    people.join(link, "D. Ash", "h", NOW)
    with pytest.raises(NotThere, match="it was used"):
        people.join(link, "E. Elm", "h", NOW)
    who = people.person("D. Ash")
    assert who is not None
    assert who.roles == {"read"}


def test_a_link_used_by_many_at_once_opens_once(people: People):
    link, start = people.invite(["read"], "A. Moss", NOW), Barrier(6)

    def come(i: int) -> bool:
        start.wait()
        try:
            people.join(link, f"D{i}", "h", NOW)
        except NotThere:
            return False
        return True

    with ThreadPoolExecutor(6) as pool:
        assert sum(pool.map(come, range(6))) == 1
    assert len(people.persons()) == 4


def test_a_link_ends(people: People):
    link = people.invite(["read"], "A. Moss", NOW)
    assert people.invited(link, NOW + LINK - MINUTE) is not None
    assert people.invited(link, NOW + LINK) is None


def test_a_link_falls_with_who_gave_it(people: People):
    people.set_roles("B. Reed", ["keep"], "A. Moss", NOW)
    link = people.invite(["keep"], "B. Reed", NOW)
    people.set_roles("B. Reed", ["read"], "A. Moss", NOW)
    assert people.invited(link, NOW) is None


def test_the_first_link_is_good_until_there_is_a_keeper(tmp_path: Path):
    kept = People.open(tmp_path / "people.db")
    one, two = kept.invite(ROLES, None, NOW), kept.invite(ROLES, None, NOW)
    kept.join(one, "A. Moss", "h", NOW)
    assert kept.invited(two, NOW) is None
    kept.close()


def test_a_new_passphrase_ends_sessions_and_brings_back(people: People):
    token = people.begin("B. Reed", NOW)
    assert people.join(people.renew("B. Reed", "A. Moss", NOW), "ignored", "new", NOW) == "B. Reed"
    people.retire("C. Fern", "A. Moss", NOW)
    people.join(people.renew("C. Fern", "A. Moss", NOW), "", "newer", NOW)
    assert people.seen(token, NOW) is None
    assert {(one.name, one.hash, one.active) for one in people.persons()} == {
        ("A. Moss", "h1", True), ("B. Reed", "new", True), ("C. Fern", "newer", True),
    }  # fmt: skip


# ---- what waits


def test_the_second_must_be_another(people: People, raw: sqlite3.Connection):
    people.set_roles("A. Moss", ROLES, "A. Moss", NOW)
    number = ask(people, "A. Moss")
    with pytest.raises(NotAllowed, match="the second must be another"):
        people.proposals.claim(number, "A. Moss", NOW)
    with pytest.raises(NotAllowed, match="the second must be another"):
        people.proposals.refuse(number, "A. Moss", NOW, "no")
    for state in ("posting", "refused"):
        change = f"UPDATE proposal SET state = '{state}', by2 = 'A. Moss', at2 = 'x' WHERE id = ?"
        with pytest.raises(sqlite3.IntegrityError, match="two_persons"):
            raw.execute(change, (number,))


def test_the_second_must_hold_sign_when_signing(people: People):
    number = ask(people)
    people.set_roles("B. Reed", ["read"], "A. Moss", NOW)
    with pytest.raises(Clash, match="the second may not sign"):
        people.proposals.claim(number, "B. Reed", NOW)


def test_steps_of_a_proposal(people: People):
    kept, number = people.proposals, ask(people)
    assert kept.claim(number, "B. Reed", NOW).state == "posting"
    kept.let_go(number, "not so")
    one = kept.one(number)
    assert (one.state, one.by2, one.at2, one.outcome) == ("waiting", None, None, "not so")
    kept.claim(number, "A. Moss", NOW)
    assert kept.done(number, "1 record, entry 7").outcome == "1 record, entry 7"
    with pytest.raises(Clash, match=r"it is done by A\. Moss"):
        kept.claim(number, "B. Reed", NOW)
    with pytest.raises(Clash, match=r"it is done by A\. Moss"):
        kept.refuse(number, "B. Reed", NOW, "no")
    with pytest.raises(Clash, match=r"it is done by A\. Moss"):
        kept.take_back(number, "C. Fern", NOW)


def test_only_who_asked_takes_back(people: People):
    kept, number = people.proposals, ask(people)
    with pytest.raises(NotAllowed, match=r"C\. Fern asked for it"):
        kept.take_back(number, "B. Reed", NOW)
    assert kept.take_back(number, "C. Fern", NOW).state == "taken back"
    assert kept.count() == 0


def test_claimed_once_by_many_at_once(people: People):
    number, start = ask(people), Barrier(6)

    def claim(i: int) -> bool:
        start.wait()
        try:
            people.proposals.claim(number, ("A. Moss", "B. Reed")[i % 2], NOW)
        except Clash:
            return False
        return True

    with ThreadPoolExecutor(6) as pool:
        assert sum(pool.map(claim, range(6))) == 1


@pytest.mark.parametrize("number", [0, -1, 99, 2**70])
def test_a_proposal_that_is_not_there(people: People, number: int):
    with pytest.raises(NotThere, match="nothing of that number"):
        people.proposals.one(number)


REFUSED = {
    "DELETE FROM proposal": "never deleted",
    "DELETE FROM person": "never deleted",
    "DELETE FROM session": "never deleted",
    "DELETE FROM invitation": "never deleted",
    "DELETE FROM deed": "append only",
    "UPDATE deed SET what = 'nothing'": "append only",
    "UPDATE proposal SET bodies = '[1]'": "what was asked stays",
    "UPDATE proposal SET by1 = 'B. Reed'": "what was asked stays",
    "UPDATE proposal SET why = 'x', state = 'posting', by2 = 'B. Reed', at2 = 'x'": "what was asked stays",
    "UPDATE proposal SET state = 'done', by2 = 'B. Reed', at2 = 'x'": "no such step",
    "UPDATE proposal SET state = 'posting', by2 = 'C. Fern', at2 = 'x'": "two_persons|may not sign",
    "REPLACE INTO proposal SELECT * FROM proposal": "never deleted",
    "UPDATE session SET person = 'A. Moss'": "not to be altered",
    "UPDATE session SET ends = '2099'": "not to be altered",
    "UPDATE invitation SET used_by = NULL, used_at = NULL": "used once",
    "UPDATE person SET name = 'X' WHERE name = 'B. Reed'": "the name stays",
    "UPDATE person SET roles = 'boss' WHERE name = 'B. Reed'": "roles_known",
    "INSERT INTO session VALUES ('token in clear', 'B. Reed', 'a', 'a', 'b', NULL)": "session_is_hashed|BLOB",
}


@pytest.mark.parametrize("statement", REFUSED)
def test_the_file_refuses(people: People, raw: sqlite3.Connection, statement: str):
    ask(people)
    people.begin("B. Reed", NOW)
    with pytest.raises(sqlite3.IntegrityError, match=REFUSED[statement]):
        raw.execute(statement)

"""A works' folder at work: its order, plant, journal and key, and the reading of them.

    folder/order.toml  works.toml     what is wanted, what there is
    folder/journal.db                 the facts, append-only, and the seals over them
    folder/key  key.vkey              the key that seals, and what verifiers keep

Both faces (command line, web) go through here; it holds no rule of the trade, only the order of doing things.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, Self

from . import records as rec
from .errors import BadValue, Clash, Problem
from .io import Row, Store, create_key, read_key, read_order, read_records, read_works, row, template
from .io.intake import Line, Refusal
from .journal import Seal, Tree, canonical
from .note import sign_seal
from .reading import Reading, Refused, Tell

__all__ = ["Desk", "Taken", "sealed_at"]


@dataclass
class Taken:
    """What became of the records of some files.  repeated : (machine, seq) sent before with the same bytes."""

    taken: int = 0
    repeated: list[tuple[str, int, str]] = field(default_factory=list)
    refused: list[tuple[str, Refusal]] = field(default_factory=list)
    refused_lines: dict[str, list[int]] = field(default_factory=dict)


@dataclass(frozen=True)
class _Candidate:
    """A line that reads well, on its way into the journal."""

    line: Line
    record: rec.Record


@dataclass
class _Sorted:
    """The lines of a file.  others : those under a used number with other bytes, to be kept as refused."""

    new: list[_Candidate]
    bad: list[Refusal]
    repeated: list[tuple[str, int]]
    others: list[_Candidate]


class Desk:
    """An open works folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        missing = [name for name in ("order.toml", "works.toml", "journal.db", "key") if not (folder / name).exists()]
        if missing:
            raise Problem(
                f"works folder {folder}", f"it has no {', '.join(missing)}", f"make one: reelmark new {folder}"
            )
        self.order, self.works = read_order(folder / "order.toml"), read_works(folder / "works.toml")
        self.store = Store.open(folder / "journal.db")
        self.tell: Tell | None = None  # told while a person's records are judged; what it raises ends that
        self._next: Reading | None = None

    @classmethod
    def create(cls, folder: Path, order: str | None = None, works: str | None = None) -> Self:
        """A new works folder; the templates where no text is given.  Never over one that is there."""
        folder.mkdir(parents=True, exist_ok=True)
        if (folder / "journal.db").exists():
            raise Problem(f"new works in {folder}", "there is a journal already", "choose an empty folder")
        for name, text in (("order.toml", order), ("works.toml", works)):
            if not (folder / name).exists():
                (folder / name).write_text(text or template(name), encoding="utf-8")
        read_order(folder / "order.toml")
        origin = read_works(folder / "works.toml").origin
        Store.create(folder / "journal.db").close()
        if not (folder / "key").exists():
            create_key(folder / "key", origin)
        return cls(folder)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.store.close()

    # --- reading -----------------------------------------------------------------------------------------------

    @cached_property
    def records(self) -> tuple[rec.Record, ...]:
        """Every record of the journal, in order."""
        adapter = rec.adapter()
        return tuple(adapter.validate_json(body) for body in self.store.entries())

    @cached_property
    def reading(self) -> Reading:
        """The reading of the whole journal."""
        return Reading.of(self.order, self.works, self.records)

    def reading_at(self, size: int | None) -> Reading:
        """The reading as known when the journal held `size` entries; None = all of it."""
        if size is not None and not 0 <= size <= len(self.records):
            raise BadValue("at", size, f"the journal holds {len(self.records)} entries", "give a number up to that")
        return self.reading if size is None else self.reading.upto(size)

    def grown(self) -> bool:
        """Has somebody else written since this desk last read?  What was read is then forgotten."""
        if self.store.size == len(self.records):
            return False
        self._forget()
        return True

    def _forget(self) -> None:
        for name in ("records", "reading"):
            self.__dict__.pop(name, None)

    # --- writing -----------------------------------------------------------------------------------------------

    def take(self, paths: Iterable[Path], skip_bad: bool = False, tell: Tell | None = None) -> Taken:
        """Records of each file into the journal, a file whole or not at all (skip_bad: all but its bad lines).

        tell : told often what is being done; what it raises ends the work, and nothing of that file is taken
        """
        done = Taken()
        for path in paths:
            self._take_file(path, skip_bad, done, tell)
        return done

    def _take_file(self, path: Path, skip_bad: bool, done: Taken, tell: Tell | None) -> None:
        lines = self._sorted_out(path, skip_bad, tell)
        new, bad, repeated = lines.new, lines.bad, lines.repeated
        hopeless = any(one.field in {"file", "header"} for one in bad)
        if not hopeless and (skip_bad or not bad):
            new, more = self._that_hold(new, skip_bad, tell)
            bad += more
        for other in lines.others:  # only now: from here on nothing is told, so nothing can end it half way
            self._keep_refused(other)
        if bad:
            done.refused += [(str(path), one) for one in bad]
            done.refused_lines[str(path)] = sorted({one.line for one in bad})
        if hopeless or (bad and not skip_bad):
            return
        self._append([(one.record, one.line.body) for one in new])
        done.taken += len(new)
        done.repeated += [(machine, seq, str(path)) for machine, seq in repeated]

    def _sorted_out(self, path: Path, skip_bad: bool, tell: Tell | None) -> _Sorted:
        """Lines new, refused, and sent before."""
        new: dict[tuple[str, int], _Candidate] = {}
        found = _Sorted([], [], [], [])
        many = _lines_in(path) if tell else 0
        for line in read_records(path, skip_bad):
            if tell:
                tell("reading", line.number, many)
            found.bad += line.refused
            if line.record is None:
                continue
            key = line.record.machine, line.record.seq
            there = new[key].line.body if key in new else self.store.body_of(*key)
            if there is None:
                new[key] = _Candidate(line, line.record)
            elif there == line.body:
                found.repeated.append(key)
            else:
                found.others.append(_Candidate(line, line.record))
                found.bad.append(_other_bytes(line, line.record))
        found.new = list(new.values())
        return found

    def _keep_refused(self, other: _Candidate) -> None:
        """The same machine and number with other bytes: kept as refused."""
        record, line = other.record, other.line
        self.store.refuse(record.machine, record.seq, record.at.isoformat(), _wrote_else(record), line.body)

    def _that_hold(
        self, new: list[_Candidate], skip_bad: bool, tell: Tell | None = None
    ) -> tuple[list[_Candidate], list[Refusal]]:
        """Those that can be true beside all before; the others as refusals.

        One refused may be what another stands on, so what is left is judged again until it holds.
        """
        bad: list[Refusal] = []
        while True:
            found = self._found_bad(new, skip_bad, tell)
            if not found:
                return new, bad
            bad += [_refusal(new[at].line.number, problem) for at, problem in found]
            if not skip_bad:
                return [], bad
            gone = {at for at, _ in found}
            new = [one for i, one in enumerate(new) if i not in gone]

    def _found_bad(self, new: list[_Candidate], skip_bad: bool, tell: Tell | None = None) -> list[tuple[int, BadValue]]:
        """Places among the new that cannot be; when there are none, the reading they make is kept."""
        start, every = len(self.records), [*self.records, *(one.record for one in new)]
        try:
            if skip_bad and (bad := Reading.sift(self.order, self.works, every, start, tell)):
                return [(seq - start, problem) for seq, problem in bad]
            reading = Reading.of(self.order, self.works, every, self.__dict__.get("reading"), tell)
            reading.posted(tell)  # the books must hold too
        except Refused as refused:
            return [(self._blamed(refused.seq - start, new), refused.problem)]
        self._next = reading
        return []

    @staticmethod
    def _blamed(at: int, new: Sequence[_Candidate]) -> int:
        """Which new line is to blame; an old entry fails only because of a correction among the new ones."""
        if at >= 0:
            return at
        return next(i for i in range(len(new) - 1, -1, -1) if isinstance(new[i].record, rec.Correct))

    def _append(self, records: Sequence[tuple[rec.Record, bytes]]) -> None:
        if not records:
            return
        reading = self._next
        assert reading is not None
        rows = [self._row(record, body, reading) for record, body in records]
        self.store.append(rows, after=len(self.records))
        self._forget()
        self.__dict__["records"], self.__dict__["reading"] = reading.records, reading

    @staticmethod
    def _row(record: rec.Record, body: bytes, reading: Reading) -> Row:
        if isinstance(record, rec.Allocate):
            numbers = reading.shop.numbers(record)
            return row(record, body, (record.series, numbers.first, numbers.stop))
        return row(record, body)

    def post(self, bodies: Iterable[dict[str, Any]], machine: str, by: str, by2: str | None, at: str) -> int:
        """Records that a person makes at the desk, written as that machine's next; how many were taken."""
        held = self._held_against(bodies, machine, by, by2, at)
        self._append([(one.record, one.line.body) for one in held])
        return len(held)

    def judge(self, bodies: Iterable[dict[str, Any]], machine: str, by: str, by2: str | None, at: str) -> None:
        """Clash where they could not be posted as the journal stands; nothing is written."""
        self._held_against(bodies, machine, by, by2, at)
        self._next = None

    def _held_against(
        self, bodies: Iterable[dict[str, Any]], machine: str, by: str, by2: str | None, at: str
    ) -> list[_Candidate]:
        """Records of those bodies that can be true beside the journal; Clash where one cannot."""
        last = max((one.seq for one in self.records if one.machine == machine), default=0)
        who = {"machine": machine, "by": by, "at": at} | ({"by2": by2} if by2 else {})
        new = []
        for seq, body in enumerate(bodies, last + 1):
            whole = {**body, **who, "seq": seq}
            record, bytes_ = rec.adapter().validate_python(whole), canonical(whole)
            new.append(_Candidate(Line(seq, record, bytes_), record))
        held, bad = self._that_hold(new, skip_bad=False, tell=self.tell)
        if bad:
            raise Clash(bad[0].field, bad[0].value, bad[0].cure, "nothing was posted")
        return held

    # --- sealing -----------------------------------------------------------------------------------------------

    def checkpoint(self, at: int | None = None) -> dict[str, Any]:
        """What an answer holds up to: the signed seal over the journal as it stands, or an earlier size within it.

        For an earlier size the root is of that size, and `consistency` proves that the signed seal goes on from it.
        """
        seal = self._sealed()
        return seal if at is None else sealed_at(seal, self.store.leaves(), at)

    def _sealed(self) -> dict[str, Any]:
        """The newest seal, made anew when the last one is older than the journal."""
        size, last = self.store.size, self.store.last_seal()
        if size == 0:
            return {"origin": self.works.origin, "size": 0, "root": "", "note": ""}
        if last is None or last.size < size:
            tree = Tree(self.store.leaves())
            seal = Seal(self.works.origin, size, tree.root(size))
            before = Seal(self.works.origin, last.size, last.root) if last else None
            proof = tree.consistency(last.size, size) if last else ()
            note = sign_seal(seal, read_key(self.folder / "key").private, before, proof)
            self.store.add_seal(size, seal.root, note)
            last = self.store.last_seal()
        assert last is not None
        return {"origin": self.works.origin, "size": last.size, "root": last.root.hex(), "note": last.note}


def _lines_in(path: Path) -> int:
    """How many lines a file has, for the report of how far reading is; 0 where nobody can say."""
    if not path.is_file():
        return 0
    try:
        with path.open("rb") as file:
            return sum(part.count(b"\n") for part in iter(lambda: file.read(2**20), b""))
    except OSError:  # reading it will tell
        return 0


def _wrote_else(record: rec.Record) -> str:
    return f"{record.machine} wrote something else under number {record.seq}"


def _other_bytes(line: Line, record: rec.Record) -> Refusal:
    """The same machine and number with other bytes: refused."""
    cure = "send a correct record that names it, or give the new record its own number"
    return Refusal(line.number, "seq", str(record.seq), f"{_wrote_else(record)}; {cure}")


def sealed_at(seal: dict[str, Any], leaves: Sequence[bytes], at: int) -> dict[str, Any]:
    """A signed seal as it bears on an earlier size: the root then, and the proof that the seal goes on from it."""
    if at == seal["size"]:
        return seal
    tree = Tree(leaves)
    proof = [one.hex() for one in tree.consistency(at, seal["size"])] if at else []
    return {**seal, "size": at, "root": tree.root(at).hex(), "sealed_size": seal["size"], "consistency": proof}


def _refusal(line: int, problem: BadValue) -> Refusal:
    return Refusal(line, problem.field, str(problem.value), f"{problem.true}; {problem.cure}")

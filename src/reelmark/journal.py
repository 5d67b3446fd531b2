r"""The journal: facts in the order they were written, each sealed with all before it.

Takes: records as they are written, entries as they stand at rest.  Gives: one way to write a record as bytes, a
hash tree over the entries, and short proofs.  Pure: no file and no clock here; the only place that knows SHA-256.

                    root of 7             Every hash stands for all the entries below it, so whoever keeps a
                 /            \           Seal (one root, 32 bytes) holds all that came before it to account:
              0..3            4..6          inclusion    entry 5 is in it: the hashes beside its way up
             /    \          /    \         consistency  the journal of 7 begins with the journal of 4
           0,1    2,3      4,5     6
           0 1    2 3      4 5     6

The tree shows order and that nothing was altered.  It does not show that what was keyed is true, nor that nothing
was withheld: for that the entries carry the sequence numbers of their machine, and a gap is seen.

Source: Laurie, Langley, Kasper, RFC 6962, 2013, section 2.1; the same tree in RFC 9162, 2021, section 2.1.
"""

import json
from base64 import b64encode
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from hashlib import sha256
from itertools import zip_longest

from reelmark.errors import BadValue, Broken, NotThere

__all__ = [
    "HASH_BYTES",
    "Journal",
    "Seal",
    "Tree",
    "canonical",
    "digest",
    "find_change",
    "leaf",
    "node",
    "verify_consistency",
    "verify_inclusion",
]

HASH_BYTES = 32


def digest(data: bytes) -> bytes:
    """SHA-256 of the bytes, 32 bytes."""
    return sha256(data).digest()


def leaf(entry: bytes) -> bytes:
    """Hash of one entry; the leading 00 keeps an entry from passing for a node."""
    return digest(b"\x00" + entry)


def node(left: bytes, right: bytes) -> bytes:
    """Hash over two hashes side by side."""
    return digest(b"\x01" + left + right)


def canonical(record: Mapping[str, object]) -> bytes:
    """The one way to write a record: JSON, keys sorted by code point, no spaces, UTF-8, no newline.

    Holds text, whole numbers, true, false, null, lists and mappings with text keys.  What is sealed afterwards is
    the stored bytes, never a second writing of them.
    Raises BadValue, with the place in the record, for any float (1.10 and 1.1 would seal differently, and nan and
    infinity are not JSON), for a key that is not text, for any other type, and for text that has no UTF-8.

    >>> canonical({"roll": "F7", "at": 41_200})
    b'{"at":41200,"roll":"F7"}'
    """
    text = json.dumps(_plain(record, "record"), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    try:
        return text.encode()
    except UnicodeEncodeError as error:
        bad = text[error.start : error.end]
        raise BadValue("record", bad, "half of a character pair, which has no UTF-8", "correct the text") from error


def _plain(value: object, place: str) -> object:
    match value:
        case None | bool() | int() | str():
            return value
        case float():
            raise BadValue(place, value, "a float is not sealed", "give a whole number of small units (um, g) or text")
        case Mapping():
            return {_key(key, place): _plain(inner, f"{place}.{key}") for key, inner in value.items()}
        case list() | tuple():
            return [_plain(inner, f"{place}[{i}]") for i, inner in enumerate(value)]
    raise BadValue(place, value, f"{type(value).__name__} is not sealed", "give text, int, bool, None, list or mapping")


def _key(key: object, place: str) -> str:
    if isinstance(key, str):
        return key
    raise BadValue(f"key in {place}", key, "a key must be text", "write it as text")


def _siblings(index: int, size: int) -> Iterator[tuple[int, int]]:
    """(level, number) of each node beside the way from leaf `index` up to the root of `size` leaves.

    Node (level, n) stands over leaves n * 2**level to (n + 1) * 2**level, cut off at size; level 0 is the leaves.
    An odd last node has nothing beside it and goes up as it is.  An even number lies on the left of the way.
    """
    last = size - 1
    return ((k, (index >> k) ^ 1) for k in range(last.bit_length()) if (index >> k) ^ 1 <= last >> k)


def _last_peak(size: int) -> int:
    """Level of the last full subtree that a tree of `size` >= 1 leaves ends with."""
    return (size & -size).bit_length() - 1


class Tree:
    """Hashes of every full subtree, level by level, so that any earlier size is still at hand.

    append : about two hashes, whatever the size
    root, inclusion, consistency : of any size up to the present one, about log2(size) hashes
    """

    __slots__ = ("_levels",)

    def __init__(self, leaf_hashes: Iterable[bytes] = ()) -> None:
        self._levels: list[list[bytes]] = [[]]
        for one in leaf_hashes:
            self.append(one)

    def __len__(self) -> int:
        return len(self._levels[0])

    @property
    def leaves(self) -> Sequence[bytes]:
        """Hash of each entry, in order."""
        return self._levels[0]

    def append(self, leaf_hash: bytes) -> int:
        """Add the hash of one entry and say its index; BadValue if it is not 32 bytes."""
        if len(leaf_hash) != HASH_BYTES:
            raise BadValue("leaf hash", leaf_hash, f"it has {len(leaf_hash)} bytes, not 32", "give leaf(entry)")
        index = len(self)
        self._levels[0].append(leaf_hash)
        for level in range(1, (index ^ (index + 1)).bit_length()):  # one level for each 1 that index ends with
            if level == len(self._levels):
                self._levels.append([])
            self._levels[level].append(node(*self._levels[level - 1][-2:]))
        return index

    def root(self, size: int | None = None) -> bytes:
        """Root over the first `size` entries, or over all; SHA-256 of nothing for none; NotThere beyond the end."""
        size = len(self) if size is None else size
        self._within(size, 0)
        return self._over(0, size) if size else digest(b"")

    def inclusion(self, index: int, size: int) -> tuple[bytes, ...]:
        """Hashes that lead from entry `index` to root(size), lowest first; NotThere unless index < size <= len."""
        self._within(size, 1)
        if not 0 <= index < size:
            raise NotThere("index", index, f"the journal of {size} holds 0 to {size - 1}", "ask for one of these")
        return tuple(self._cut(level, number, size) for level, number in _siblings(index, size))

    def consistency(self, old: int, new: int) -> tuple[bytes, ...]:
        """Hashes that show root(new) grew from root(old); none if old = new.  NotThere unless 1 <= old <= new <= len.

        The way up is that of entry old - 1, entered where the last full subtree of the old tree stands.
        """
        self._within(new, 1)
        if not 1 <= old <= new:
            raise NotThere("old size", old, f"proofs to size {new} start from 1 to {new}", "ask for one of these")
        if old == new:
            return ()
        low = _last_peak(old)
        start = () if old == 1 << low else (self._levels[low][(old >> low) - 1],)
        return start + tuple(self._cut(k, number, new) for k, number in _siblings(old - 1, new) if k >= low)

    def _cut(self, level: int, number: int, size: int) -> bytes:
        return self._over(number << level, min((number + 1) << level, size))

    def _over(self, start: int, stop: int) -> bytes:
        """Root over leaves [start, stop), not empty; start is a multiple of a power of two >= stop - start."""
        peaks = []
        while start < stop:
            level = (stop - start).bit_length() - 1
            peaks.append(self._levels[level][start >> level])
            start += 1 << level
        return reduce(lambda right, left: node(left, right), reversed(peaks))

    def _within(self, size: int, least: int) -> None:
        if not least <= size <= len(self):
            raise NotThere("size", size, f"the journal has {len(self)} entries", f"ask for {least} to {len(self)}")


def verify_inclusion(leaf_hash: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> None:
    """Return if the entry hashed in `leaf_hash` is number `index` of the journal of `size` entries with that root.

    Raises Broken otherwise.  Size is known only from a signed seal: a proof fits all sizes that give it one shape.
    """
    asked = f"entry {index} in the journal of {size}"
    if not 0 <= index < size:
        raise _refused(asked, f"a journal of {size} has no entry {index}")
    sides = [number % 2 == 0 for _, number in _siblings(index, size)]
    _same_length(asked, proof, len(sides), (leaf_hash, root))
    found = leaf_hash
    for on_left, beside in zip(sides, proof, strict=True):
        found = node(beside, found) if on_left else node(found, beside)
    if found != root:
        raise _refused(asked, f"the hashes lead to root {found.hex()}, sealed is {root.hex()}")


def verify_consistency(old: int, new: int, proof: Sequence[bytes], old_root: bytes, new_root: bytes) -> None:
    """Return if the journal of `new` entries with new_root begins with the journal of `old` with old_root.

    Raises Broken otherwise, and always for old = 0: nothing is shown about a journal by a journal of nothing.
    """
    asked = f"the journal of {new} grown from that of {old}"
    if not 1 <= old <= new:
        raise _refused(asked, f"the old size must be 1 to {new}")
    low = _last_peak(old)
    sides = [number % 2 == 0 for level, number in _siblings(old - 1, new) if level >= low] if old < new else []
    given = old in (new, 1 << low)  # the old root is itself where the way begins
    _same_length(asked, proof, len(sides) + (not given), (old_root, new_root))
    first, *rest = [old_root, *proof] if given else proof
    before = after = first
    for on_left, beside in zip(sides, rest, strict=True):
        before = node(beside, before) if on_left else before
        after = node(beside, after) if on_left else node(after, beside)
    for size, found, sealed in ((old, before, old_root), (new, after, new_root)):
        if found != sealed:
            raise _refused(asked, f"the hashes lead to root {found.hex()} of {size}, sealed is {sealed.hex()}")


def _same_length(asked: str, proof: Sequence[bytes], wanted: int, ends: tuple[bytes, bytes]) -> None:
    if len(proof) != wanted:
        raise _refused(asked, f"the proof has {len(proof)} hashes, {wanted} belong there")
    if any(len(one) != HASH_BYTES for one in (*ends, *proof)):
        raise _refused(asked, "a hash in it has not 32 bytes")


def _refused(asked: str, true: str) -> Broken:
    return Broken(asked, true, "fetch proof and seal again; if they still disagree, keep both and ask why")


@dataclass(frozen=True, slots=True)
class Seal:
    """What a journal was: whose (origin), how many entries (size), and the root over them (32 bytes).

    Raises BadValue if the origin is empty or has control characters, or the root cannot belong to the size.
    """

    origin: str
    size: int
    root: bytes

    def __post_init__(self) -> None:
        if not self.origin or any(c < " " for c in self.origin):
            raise BadValue("origin", self.origin, "it must be one line of text", "name it as works.example/main")
        if self.size < 0:
            raise BadValue("size", self.size, "a journal has 0 entries or more", "give the number of entries")
        if len(self.root) != HASH_BYTES or (self.size == 0 and self.root != digest(b"")):
            raise BadValue("root", self.root.hex(), f"no root over {self.size} entries", "take it from Tree.root")

    @property
    def text(self) -> str:
        """Origin, decimal size and base64 root, a line each.  Source: C2SP tlog-checkpoint, Note text."""
        return f"{self.origin}\n{self.size}\n{b64encode(self.root).decode()}\n"


class Journal:
    """Entries in order, as bytes, and the tree over them; grows at the end and nowhere else."""

    __slots__ = ("_entries", "tree")

    def __init__(self, entries: Iterable[bytes] = ()) -> None:
        self._entries: list[bytes] = []
        self.tree = Tree()
        for entry in entries:
            self.append(entry)

    def __len__(self) -> int:
        return len(self._entries)

    @property
    def entries(self) -> Sequence[bytes]:
        """The entries as written; to read only."""
        return self._entries

    def append(self, entry: bytes) -> int:
        """Write one entry at the end and say its index."""
        self._entries.append(entry)
        return self.tree.append(leaf(entry))

    def seal(self, origin: str, size: int | None = None) -> Seal:
        """Seal of the first `size` entries, or of all; NotThere beyond the end."""
        size = len(self) if size is None else size
        return Seal(origin, size, self.tree.root(size))


def find_change(entries: Iterable[bytes], leaf_hashes: Iterable[bytes]) -> int | None:
    """Index of the first entry that is not the one hashed, or that one side lacks; None if all agree.

    If Tree(leaf_hashes).root(size) is the sealed root, the entry was changed; if not, the hashes were.
    """
    pairs = zip_longest(entries, leaf_hashes)
    return next((i for i, (entry, kept) in enumerate(pairs) if entry is None or leaf(entry) != kept), None)

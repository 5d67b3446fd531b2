"""The journal: bytes, tree, proofs.

Hash vectors: transparency-dev/merkle at 417fb0c, testonly/constants.go and rfc6962 tests (Apache-2.0; the numbers
only).  The shapes of proofs for 7 entries: RFC 6962, section 2.1.3.  The rules of the table of bad proofs follow the
kinds in testdata/inclusion and testdata/consistency there; the proofs themselves are made here.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from itertools import pairwise
from types import MappingProxyType
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelmark.errors import BadValue, Broken, NotThere
from reelmark.journal import (
    Journal,
    Tree,
    canonical,
    digest,
    find_change,
    leaf,
    node,
    verify_consistency,
    verify_inclusion,
)

ENTRIES = [
    bytes.fromhex(one)
    for one in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
]
ROOTS = (
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)
FROM_0_OR_1_TO_8 = (
    "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
    "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
    "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
)
MOST = 130


def dull_root(hashes: list[bytes]) -> bytes:
    """RFC 6962, section 2.1, as it is written: split at the largest power of two below the size."""
    if len(hashes) < 2:
        return hashes[0] if hashes else digest(b"")
    split = max(1 << k for k in range(64) if 1 << k < len(hashes))
    return node(dull_root(hashes[:split]), dull_root(hashes[split:]))


@pytest.fixture(scope="module")
def tree() -> Tree:
    return Tree(leaf(b"%d" % i) for i in range(MOST))


# Bytes


def test_a_record_is_written_one_way_whatever_the_order_of_its_keys() -> None:
    record = {"roll": "F7", "at": [41_200, -1], "ok": True, "by": None, "what": {"µ": "ß/\n"}}
    wanted = '{"at":[41200,-1],"by":null,"ok":true,"roll":"F7","what":{"µ":"ß/\\n"}}'.encode()
    assert canonical(record) == wanted
    assert canonical(MappingProxyType(dict(reversed(record.items())))) == wanted


@pytest.mark.parametrize(
    ("record", "place"),
    [
        ({"width": 1.5}, "record.width"),
        ({"width": 2.0}, "record.width"),
        ({"width": float("nan")}, "record.width"),
        ({"scan": [1, float("inf")]}, "record.scan[1]"),
        ({"scan": {"a": (0, {"b": -float("inf")})}}, "record.scan.a[1].b"),
        ({"raw": b"bytes"}, "record.raw"),
        ({"set": {1, 2}}, "record.set"),
        ({1: "one"}, "key in record"),
        ({"a": {None: 1}}, "key in record.a"),
        ({"text": "\ud800"}, "record"),
    ],
)
def test_what_has_no_single_way_to_be_written_is_refused_with_its_place(
    record: Mapping[str, object], place: str
) -> None:
    with pytest.raises(BadValue) as caught:
        canonical(record)
    assert caught.value.field == place


plain = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**63), 2**63) | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=10,
)


@given(st.dictionaries(st.text(), plain))
def test_what_was_written_reads_back_and_is_written_the_same_again(record: dict[str, object]) -> None:
    assert json.loads(canonical(record)) == record
    assert canonical(json.loads(canonical(record))) == canonical(record)


# Tree, against published hashes


def test_published_hash_of_a_leaf_and_of_a_node() -> None:
    assert leaf(b"L123456").hex() == "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"
    assert node(b"N123", b"N456").hex() == "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb"


def test_published_roots_of_no_entry_to_eight_from_one_tree() -> None:
    journal = Journal(ENTRIES)
    assert [journal.tree.root(size).hex() for size in range(9)] == list(ROOTS)
    assert journal.tree.root() == journal.tree.root(8)


def test_published_proof_of_entry_0_in_8_is_also_that_from_1_to_8() -> None:
    tree = Journal(ENTRIES).tree
    assert tuple(one.hex() for one in tree.inclusion(0, 8)) == FROM_0_OR_1_TO_8
    assert tree.consistency(1, 8) == tree.inclusion(0, 8)


#   The tree of RFC 6962, section 2.1.3:       hash
#                                           k        l
#                                         g   h    i   j
#                                        a b c d  e f  d6
def test_worked_proofs_of_the_standard_for_seven_entries() -> None:
    a, b, c, d, e, f, j = (leaf(b"d%d" % i) for i in range(7))
    g, h, i = node(a, b), node(c, d), node(e, f)
    k, l_ = node(g, h), node(i, j)
    tree = Tree((a, b, c, d, e, f, j))
    assert tree.root(7) == node(k, l_)
    assert [tree.inclusion(m, 7) for m in (0, 3, 4, 6)] == [(b, h, l_), (c, g, l_), (f, j, k), (i, k)]
    assert [tree.consistency(m, 7) for m in (3, 4, 6)] == [(c, d, g, l_), (l_,), (i, j, k)]


def test_every_earlier_root_is_that_of_the_dull_walk(tree: Tree) -> None:
    for size in range(MOST + 1):
        assert tree.root(size) == dull_root(list(tree.leaves[:size]))


def test_every_entry_is_proved_in_every_size_up_to_130(tree: Tree) -> None:
    for size in range(1, MOST + 1):
        root = tree.root(size)
        for index in range(size):
            verify_inclusion(tree.leaves[index], index, size, tree.inclusion(index, size), root)


def test_every_size_is_proved_to_grow_into_every_later_one_up_to_130(tree: Tree) -> None:
    roots = [tree.root(size) for size in range(MOST + 1)]
    for new in range(1, MOST + 1):
        for old in range(1, new + 1):
            verify_consistency(old, new, tree.consistency(old, new), roots[old], roots[new])


def test_what_is_not_in_the_journal_is_not_proved() -> None:
    tree = Journal(ENTRIES).tree
    for ask in (
        lambda: tree.root(9),
        lambda: tree.root(-1),
        lambda: tree.inclusion(8, 8),
        lambda: tree.inclusion(-1, 8),
        lambda: tree.inclusion(0, 0),
        lambda: tree.inclusion(0, 9),
        lambda: tree.consistency(0, 8),
        lambda: tree.consistency(5, 4),
        lambda: tree.consistency(1, 9),
    ):
        with pytest.raises(NotThere):
            ask()
    with pytest.raises(BadValue):
        tree.append(b"an entry, not its hash")


# Bad proofs: each rule spoils a good proof in one way

NOTHING, OTHER = digest(b""), digest(b"no such thing")


class In(NamedTuple):
    leaf: bytes
    place: int
    size: int
    proof: tuple[bytes, ...]
    root: bytes


class Grown(NamedTuple):
    old: int
    new: int
    proof: tuple[bytes, ...]
    old_root: bytes
    new_root: bytes


def flip(one: bytes, bit: int = 3) -> bytes:
    return (int.from_bytes(one) ^ (1 << bit)).to_bytes(32)


def each_hash(proof: tuple[bytes, ...], change: Callable[[bytes], tuple[bytes, ...]]) -> list[tuple[bytes, ...]]:
    return [(*proof[:i], *change(one), *proof[i + 1 :]) for i, one in enumerate(proof)]


def swaps(proof: tuple[bytes, ...]) -> list[tuple[bytes, ...]]:
    return [(*proof[:i], proof[i + 1], proof[i], *proof[i + 2 :]) for i in range(len(proof) - 1)]


PROOFS: dict[str, Callable[[tuple[bytes, ...]], list[tuple[bytes, ...]]]] = {
    "missing hash": lambda p: each_hash(p, lambda _: ()),
    "doubled hash": lambda p: each_hash(p, lambda h: (h, h)),
    "inserted hash": lambda p: each_hash(p, lambda h: (OTHER, h)),
    "empty hash inserted": lambda p: each_hash(p, lambda h: (b"", h)),
    "one bit": lambda p: each_hash(p, lambda h: (flip(h),)),
    "one other bit": lambda p: each_hash(p, lambda h: (flip(h, 255),)),
    "short hash": lambda p: each_hash(p, lambda h: (h[:31],)),
    "long hash": lambda p: each_hash(p, lambda h: (h + b"\0",)),
    "two hashes as one": lambda p: [(p[0] + p[1], *p[2:])] if len(p) > 1 else [],
    "swapped hashes": swaps,
    "no proof": lambda p: [()] if p else [],
    "cut short": lambda p: [p[:-1]] if p else [],
    "trailing hash": lambda p: [(*p, OTHER)],
    "trailing empty hash": lambda p: [(*p, b"")],
    "trailing nothing": lambda p: [(*p, NOTHING)],
    "preceding hash": lambda p: [(OTHER, *p)],
    "preceding empty hash": lambda p: [(b"", *p)],
    "backwards": lambda p: [p[::-1]] if len(p) > 1 else [],
}
INCLUSION: dict[str, Callable[[In], list[In]]] = {
    "index before": lambda a: [a._replace(place=a.place - 1)],
    "index after": lambda a: [a._replace(place=a.place + 1)],
    "index with another bit": lambda a: [a._replace(place=a.place ^ 2)],
    "index far off": lambda a: [a._replace(place=a.place + 256), a._replace(place=-a.place - 1)],
    "index at the end": lambda a: [a._replace(place=a.size)],
    "size doubled": lambda a: [a._replace(size=a.size * 2)],
    "size halved": lambda a: [a._replace(size=a.size // 2)],
    "size none": lambda a: [a._replace(size=0), a._replace(size=-1)],
    "other entry": lambda a: [a._replace(leaf=leaf(b"other entry"))],
    "empty entry hash": lambda a: [a._replace(leaf=b"")],
    "one bit of the entry hash": lambda a: [a._replace(leaf=flip(a.leaf))],
    "empty root": lambda a: [a._replace(root=b"")],
    "root of nothing": lambda a: [a._replace(root=NOTHING)],
    "other root": lambda a: [a._replace(root=OTHER), a._replace(root=flip(a.root))],
    "entry for root": lambda a: [a._replace(root=a.leaf)] if a.proof else [],
    "root for entry": lambda a: [a._replace(leaf=a.root)] if a.proof else [],
    "root trails": lambda a: [a._replace(proof=(*a.proof, a.root))],
    "root precedes": lambda a: [a._replace(proof=(a.root, *a.proof))],
    "all empty": lambda a: [In(b"", 0, 0, (), b""), In(NOTHING, 0, 0, (), NOTHING), In(b"", 0, 1, (), b"")],
}
CONSISTENCY: dict[str, Callable[[Grown], list[Grown]]] = {
    "from nothing": lambda a: [
        a._replace(old=0),
        a._replace(old=0, old_root=NOTHING),
        a._replace(old=0, old_root=NOTHING, proof=()),
        Grown(0, 0, (), NOTHING, NOTHING),
    ],
    "old size before": lambda a: [a._replace(old=a.old - 1)],
    "old size after": lambda a: [a._replace(old=a.old + 1)],
    "old size with another bit": lambda a: [a._replace(old=a.old ^ 2)],
    "old size below nothing": lambda a: [a._replace(old=-a.old)],
    "new size doubled": lambda a: [a._replace(new=a.new * 2)],
    "new size halved": lambda a: [a._replace(new=a.new // 2)],
    "shrunk": lambda a: [Grown(a.new, a.old, a.proof, a.new_root, a.old_root)] if a.old < a.new else [],
    "old root another": lambda a: [a._replace(old_root=r) for r in (OTHER, NOTHING, b"", flip(a.old_root))],
    "new root another": lambda a: [a._replace(new_root=r) for r in (OTHER, NOTHING, b"", flip(a.new_root))],
    "roots swapped": lambda a: [a._replace(old_root=a.new_root, new_root=a.old_root)] if a.old < a.new else [],
    "root trails": lambda a: [a._replace(proof=(*a.proof, r)) for r in (a.old_root, a.new_root)],
    "root precedes": lambda a: [a._replace(proof=(r, *a.proof)) for r in (a.old_root, a.new_root)],
    "same size with a proof": lambda a: [Grown(a.old, a.old, a.proof or (OTHER,), a.old_root, a.old_root)],
    "same size with two roots": lambda a: [Grown(a.new, a.new, (), a.new_root, OTHER)],
    "grown without a proof": lambda a: [Grown(a.old, a.new, (), a.old_root, a.old_root)] if a.old < a.new else [],
}
PLACES = ((0, 1), (0, 8), (5, 8), (2, 3), (1, 5), (4, 5), (6, 7), (3, 6))  # entry, size
GROWTHS = ((1, 1), (1, 8), (6, 8), (2, 5), (7, 8), (4, 8), (3, 7), (5, 6), (8, 8))  # old size, new size


@pytest.mark.parametrize(("index", "size"), PLACES)
@pytest.mark.parametrize("rule", [*PROOFS, *INCLUSION])
def test_no_spoilt_proof_of_an_entry_passes(rule: str, index: int, size: int) -> None:
    tree = Journal(ENTRIES).tree
    good = In(tree.leaves[index], index, size, tree.inclusion(index, size), tree.root(size))
    verify_inclusion(*good)
    spoil = [good._replace(proof=p) for p in PROOFS[rule](good.proof)] if rule in PROOFS else INCLUSION[rule](good)
    for bad in spoil:
        with pytest.raises(Broken):
            verify_inclusion(*bad)


@pytest.mark.parametrize(("old", "new"), GROWTHS)
@pytest.mark.parametrize("rule", [*PROOFS, *CONSISTENCY])
def test_no_spoilt_proof_of_growth_passes(rule: str, old: int, new: int) -> None:
    tree = Journal(ENTRIES).tree
    good = Grown(old, new, tree.consistency(old, new), tree.root(old), tree.root(new))
    verify_consistency(*good)
    spoil = [good._replace(proof=p) for p in PROOFS[rule](good.proof)] if rule in PROOFS else CONSISTENCY[rule](good)
    for bad in spoil:
        with pytest.raises(Broken):
            verify_consistency(*bad)


def test_two_hashes_run_together_cannot_pass_for_an_entry() -> None:
    tree = Journal(ENTRIES).tree
    with pytest.raises(Broken):
        verify_inclusion(leaf(tree.leaves[0] + tree.leaves[1]), 0, 4, tree.inclusion(0, 8)[1:], tree.root(8))


# Journal and seal


def test_a_seal_is_three_lines() -> None:
    seal = Journal(ENTRIES).seal("works.example/main")
    assert seal.text == "works.example/main\n8\nXcnaeacGWamtVZy3Ad7ZoqudgjqtL0lgz+Nw7/RgQyg=\n"
    assert Journal(ENTRIES).seal("works.example/main", 0).text.split("\n")[1:3] == [
        "0",
        "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=",
    ]


@pytest.mark.parametrize(
    "change", [{"origin": ""}, {"origin": "a\nb"}, {"size": -1}, {"size": 0}, {"root": b""}, {"root": b"\0" * 33}]
)
def test_a_seal_of_nothing_sealable_is_refused(change: dict[str, object]) -> None:
    with pytest.raises(BadValue):
        replace(Journal(ENTRIES).seal("works.example/main"), **change)  # type: ignore[arg-type]


def test_the_seal_of_an_earlier_size_stays_what_it_was() -> None:
    journal, seals = Journal(), []
    for i, entry in enumerate(ENTRIES):
        assert journal.append(entry) == i
        seals.append(journal.seal("works.example/main"))
    assert seals == [journal.seal("works.example/main", size) for size in range(1, 9)]
    assert list(journal.entries) == ENTRIES
    with pytest.raises(NotThere):
        journal.seal("works.example/main", 9)


def test_nothing_changed_is_nothing_found() -> None:
    assert find_change(ENTRIES, Journal(ENTRIES).tree.leaves) is None


def test_an_entry_lost_or_added_at_the_end_is_found_there() -> None:
    leaves = Journal(ENTRIES).tree.leaves
    assert find_change(ENTRIES[:-1], leaves) == 7
    assert find_change([*ENTRIES, b"late"], leaves) == 8


many = st.lists(st.binary(max_size=20), min_size=1, max_size=40)


@given(many.filter(any), st.data())
def test_one_changed_byte_anywhere_is_found_at_its_index_and_breaks_the_seal(
    entries: list[bytes], data: st.DataObject
) -> None:
    journal = Journal(entries)
    index = data.draw(st.sampled_from([i for i, entry in enumerate(entries) if entry]))
    at = data.draw(st.integers(0, len(entries[index]) - 1))
    changed = bytearray(entries[index])
    changed[at] ^= data.draw(st.integers(1, 255))
    stored = [*entries[:index], bytes(changed), *entries[index + 1 :]]
    assert find_change(stored, journal.tree.leaves) == index
    assert Journal(stored).seal("w") != journal.seal("w")
    assert Journal(stored).seal("w", index) == journal.seal("w", index)


@given(many, st.lists(st.integers(0, 40)))
def test_a_journal_that_only_grows_is_consistent_with_all_its_seals(entries: list[bytes], stops: list[int]) -> None:
    journal = Journal(entries)
    seals = [journal.seal("w", size) for size in sorted({min(s, len(entries)) for s in stops} - {0})]
    for old, new in pairwise(seals):
        verify_consistency(old.size, new.size, journal.tree.consistency(old.size, new.size), old.root, new.root)


@given(many, st.data())
def test_a_journal_written_again_with_a_change_is_never_consistent(entries: list[bytes], data: st.DataObject) -> None:
    honest = Journal(entries)
    index = data.draw(st.integers(0, len(entries) - 1))
    forged = Journal([*entries[:index], entries[index] + b"!", *entries[index + 1 :], b"more"])
    for old in range(index + 1, len(entries) + 1):
        for proof in (forged.tree.consistency(old, len(forged)), honest.tree.consistency(old, len(honest))):
            with pytest.raises(Broken):
                verify_consistency(old, len(forged), proof, honest.tree.root(old), forged.tree.root())

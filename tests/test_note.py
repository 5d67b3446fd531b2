"""Signed notes and proofs that travel.

Example key and note, and the body of the example seal: C2SP (github.com/C2SP/C2SP at 5ba5ee8), signed-note and
tlog-checkpoint (CC BY 4.0; the strings only).  Key pair: RFC 8032, section 7.1, test 1.
"""

from base64 import b64encode

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from reelmark.errors import BadValue, Broken
from reelmark.journal import Journal, Seal
from reelmark.note import proof_text, public_key, seal_of, sign, sign_seal, verify, verify_proof, vkey

EXAMPLE_KEY = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k"
EXAMPLE_PUBLIC = (
    "e932791ae6e7a840a46164c904786426d5e7821dd8b29a00d61cae72afdd4da4"  # the key above, without its type byte
)
EXAMPLE_NOTE = (
    "This is an example message.\n\n\u2014 example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZ"
    "XsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=\n"
)
PRIVATE = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
PUBLIC = bytes.fromhex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")
OTHER_PRIVATE = bytes(range(32))
NAME = "works.example/main"
KEY = vkey(NAME, PUBLIC)
TEXT = "Pile 7 counted: 1,000 sheets.\n"

journal = Journal(b"entry %d" % i for i in range(11))


# Keys and notes


def test_the_published_note_is_verified_with_the_published_key() -> None:
    assert verify(EXAMPLE_NOTE, EXAMPLE_KEY) == "This is an example message.\n"


def test_the_published_key_text_is_made_from_name_and_key() -> None:
    assert vkey("example.com/foo", bytes.fromhex(EXAMPLE_PUBLIC)) == EXAMPLE_KEY


def test_the_public_key_of_the_standard() -> None:
    assert public_key(PRIVATE) == PUBLIC


def test_a_note_is_the_text_an_empty_line_and_who_signed() -> None:
    note = sign(TEXT, NAME, PRIVATE)
    assert note.startswith(f"{TEXT}\n\u2014 {NAME} ")
    assert note.count("\n") == 3
    assert note.endswith("\n")
    assert verify(note, KEY) == TEXT


def test_signatures_of_others_are_passed_over() -> None:
    other = sign(TEXT, "witness.example", OTHER_PRIVATE).split("\n\n")[1]
    unknown_type = "\u2014 witness.example AAAAAAEC\n"
    same_name = sign(TEXT, NAME, OTHER_PRIVATE).split("\n\n")[1]
    note = sign(TEXT, NAME, PRIVATE)
    for more in (other, unknown_type, same_name, other * 15):
        assert verify(note + more, KEY) == TEXT
        assert verify(note.replace("\n\n", "\n\n" + more), KEY) == TEXT


NOTE = sign(TEXT, NAME, PRIVATE)
SIGNED = NOTE.split("\n\n")[1]
FORGED = SIGNED[:-10] + ("A" if SIGNED[-10] != "A" else "B") + SIGNED[-9:]


@pytest.mark.parametrize(
    "note",
    [
        "",
        "\n",
        TEXT,
        TEXT + "\n",
        SIGNED,
        "\n" + SIGNED,
        NOTE[:-1],
        NOTE + "\n",
        NOTE.replace("1,000", "1,001"),
        NOTE.replace("\n\n", "\n"),
        NOTE.replace("\n\n", "\n\n\n"),
        NOTE.replace("\n", "\r\n"),
        NOTE.replace("Pile", "Pi\tle"),
        NOTE.replace("Pile", "Pi\ud800le"),
        NOTE.replace("\u2014", "-"),
        NOTE.replace(NAME, "works.example/other"),
        NOTE.replace(f"{NAME} ", f"{NAME}  "),
        NOTE.replace(f"{NAME} ", f"{NAME} AAAA"),
        NOTE + FORGED,  # one good signature of the key does not make up for a bad one
        NOTE.replace(SIGNED, FORGED),
        NOTE + "and more\n",
        NOTE + f"\u2014 {NAME} AAAA\n",
        NOTE + SIGNED * 100,
        sign(TEXT, NAME, OTHER_PRIVATE),
        sign(TEXT, "works.example/other", PRIVATE),
    ],
)
def test_a_note_out_of_form_or_changed_or_signed_by_another_is_refused(note: str) -> None:
    with pytest.raises(Broken):
        verify(note, KEY)


@pytest.mark.parametrize(
    "bad",
    [
        "",
        NAME,
        KEY[:-1],
        KEY + "A",
        KEY.replace(NAME, "works.example/other"),
        KEY.replace("+A", "+B"),
        KEY.replace(NAME, "two words"),
        KEY.upper(),
    ],
)
def test_a_verifier_key_that_does_not_agree_with_itself_is_refused(bad: str) -> None:
    with pytest.raises(BadValue):
        verify(NOTE, bad)


@pytest.mark.parametrize("name", ["", "two words", "a+b", "a\u00a0b", "a\nb", "a\x01b", "a\ud800"])
def test_a_name_that_no_verifier_could_read_is_refused(name: str) -> None:
    with pytest.raises(BadValue):
        sign(TEXT, name, PRIVATE)


@pytest.mark.parametrize("text", ["", "no end of line", "tab\there\n", "\ud800\n", "a\r\n"])
def test_a_text_that_cannot_be_a_note_is_refused(text: str) -> None:
    with pytest.raises(BadValue):
        sign(text, NAME, PRIVATE)


def test_a_key_of_another_length_is_refused_and_not_shown() -> None:
    with pytest.raises(BadValue) as caught:
        sign(TEXT, NAME, PRIVATE[:31])
    assert PRIVATE[:4].hex() not in str(caught.value)
    assert repr(PRIVATE[:4])[2:-1] not in str(caught.value)
    with pytest.raises(BadValue):
        vkey(NAME, PUBLIC[:31])


lines = st.lists(st.text(st.characters(codec="utf-8", min_codepoint=32)), min_size=1).map(
    lambda some: "\n".join(some) + "\n"
)


@given(lines)
def test_every_text_of_whole_lines_comes_back_as_it_was(text: str) -> None:
    assert verify(sign(text, NAME, PRIVATE), KEY) == text


@given(st.data())
def test_one_changed_character_anywhere_is_found(data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(NOTE) - 1))
    other = data.draw(st.characters(codec="utf-8").filter(lambda c: c != NOTE[at]))
    with pytest.raises(Broken):
        verify(NOTE[:at] + other + NOTE[at + 1 :], KEY)


# Seals


def test_the_published_seal_is_read() -> None:
    text = "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n"
    seal = seal_of(text)
    assert (seal.origin, seal.size, seal.root[:4].hex()) == ("example.com/behind-the-sofa", 20852163, "0ac5186a")
    assert seal.text == text
    assert seal_of(text + "one more line\n") == seal


GOOD = journal.seal(NAME).text


@pytest.mark.parametrize(
    "text",
    [
        "",
        GOOD[:-1],
        GOOD + "\n",
        GOOD.replace("11", "011"),
        GOOD.replace("11", "-11"),
        GOOD.replace("11", "1_1"),
        GOOD.replace("11", "\u0661\u0661"),
        GOOD.replace("11", "0"),
        GOOD.replace("11", "1" * 30),
        GOOD.replace("=", ""),
        GOOD.replace("=\n", "\n=\n"),
        GOOD.replace(NAME, ""),
        GOOD.replace(NAME, "a\tb"),
        GOOD[:-3] + "B=\n",  # bits beyond the 32 bytes: a second writing of the same root
    ],
)
def test_a_text_that_is_no_seal_is_refused(text: str) -> None:
    with pytest.raises(Broken):
        seal_of(text)


def seals(old: int, new: int) -> tuple[Seal, Seal, tuple[bytes, ...]]:
    return journal.seal(NAME, old), journal.seal(NAME, new), journal.tree.consistency(old, new)


def test_seals_of_a_growing_journal_are_signed_one_after_the_other() -> None:
    assert seal_of(verify(sign_seal(journal.seal(NAME, 4), PRIVATE, None), KEY)) == journal.seal(NAME, 4)
    for old, new in ((4, 4), (4, 5), (5, 11)):
        last, seal, proof = seals(old, new)
        assert seal_of(verify(sign_seal(seal, PRIVATE, last, proof), KEY)) == seal


def test_a_seal_after_that_of_an_empty_journal_needs_no_proof() -> None:
    empty = journal.seal(NAME, 0)
    assert verify(sign_seal(journal.seal(NAME), PRIVATE, empty), KEY) == GOOD
    with pytest.raises(Broken):
        sign_seal(journal.seal(NAME), PRIVATE, empty, journal.tree.consistency(4, 11))


def test_a_seal_that_does_not_follow_from_the_last_is_not_signed() -> None:
    last, seal, proof = seals(6, 11)
    forged = Journal([*journal.entries[:3], b"another past", *journal.entries[4:]])
    for bad, before, way in (
        (forged.seal(NAME), last, forged.tree.consistency(6, 11)),
        (forged.seal(NAME), last, proof),
        (forged.seal(NAME, 6), last, ()),
        (seal, last, ()),
        (seal, last, proof[1:]),
        (last, seal, proof),
        (last, seal, ()),
        (journal.seal("works.example/other"), last, proof),
        (seal, None, proof),
    ):
        with pytest.raises(Broken):
            sign_seal(bad, PRIVATE, before, way)


def test_a_seal_is_not_signed_as_a_plain_text() -> None:
    with pytest.raises(BadValue, match="sign_seal"):
        sign(GOOD, NAME, PRIVATE)


# Proofs that travel

SEALED = sign_seal(journal.seal(NAME), PRIVATE, None)


def proof_of(index: int) -> str:
    return proof_text(index, journal.tree.inclusion(index, 11), SEALED)


def test_a_proof_is_index_hashes_and_the_signed_seal() -> None:
    head, note = proof_of(10).split("\n\n", 1)
    assert head.split("\n")[:2] == ["c2sp.org/tlog-proof@v1", "index 10"]
    assert len(head.split("\n")) == 2 + len(journal.tree.inclusion(10, 11))
    assert note == SEALED


def test_every_entry_is_proved_without_the_journal() -> None:
    for index, entry in enumerate(journal.entries):
        assert verify_proof(proof_of(index), entry, KEY) == (index, journal.seal(NAME))


def test_the_only_entry_needs_no_hash() -> None:
    one = Journal([b"first"])
    text = proof_text(0, (), sign_seal(one.seal(NAME), PRIVATE, None))
    assert verify_proof(text, b"first", KEY) == (0, one.seal(NAME))


def test_extra_data_are_passed_over() -> None:
    assert verify_proof(proof_of(3).replace("index", "extra cGlsZSA3\nindex"), b"entry 3", KEY)[0] == 3


P3 = proof_of(3)
H = P3.split("\n")[2:6]


@pytest.mark.parametrize(
    "text",
    [
        "",
        SEALED,
        P3.replace("@v1", "@v2"),
        P3.replace("index 3", "index 4"),
        P3.replace("index 3", "index 03"),
        P3.replace("index 3", "index -3"),
        P3.replace("index 3", "index 14"),
        P3.replace("index 3\n", ""),
        P3.replace("index 3", "index 3\nindex 3"),
        P3.replace("index 3", "index 3\nextra cGlsZSA3"),
        P3.replace("\n11\n", "\n12\n"),
        P3.replace(H[0] + "\n", ""),
        P3.replace(H[0] + "\n", H[0] + "\x85"),
        P3.replace(H[0], H[0] + "\n" + H[0]),
        P3.replace(H[0] + "\n" + H[1], H[1] + "\n" + H[0]),
        P3.replace(H[0], H[0][:-1]),
        P3.replace(H[0], "AAAA"),
        P3.replace("\n\n", "\n", 1),
        P3.replace("\n", "\r\n"),
        P3 + "\n",
        P3[:-1],
        P3.replace(SEALED, GOOD),
        P3.replace(SEALED, sign_seal(journal.seal(NAME, 10), PRIVATE, None)),
        P3.replace(SEALED, sign_seal(journal.seal(NAME), OTHER_PRIVATE, None)),
        P3.replace(SEALED, sign_seal(journal.seal("works.example/other"), PRIVATE, None)),
        P3.replace(SEALED, sign(TEXT, NAME, PRIVATE)),
    ],
)
def test_a_spoilt_proof_is_refused(text: str) -> None:
    assert verify_proof(P3, b"entry 3", KEY)[0] == 3
    with pytest.raises(Broken):
        verify_proof(text, b"entry 3", KEY)


def test_a_seal_of_another_journal_under_this_key_proves_nothing() -> None:
    body = journal.seal("works.example/other").text
    blob = bytes.fromhex(KEY.split("+")[1]) + Ed25519PrivateKey.from_private_bytes(PRIVATE).sign(body.encode())
    note = f"{body}\n\u2014 {NAME} {b64encode(blob).decode()}\n"
    assert verify(note, KEY) == body
    with pytest.raises(Broken, match=r"seal is of works\.example/other"):
        verify_proof(P3.replace(SEALED, note), b"entry 3", KEY)


def test_a_proof_of_one_entry_proves_no_other() -> None:
    for entry in (b"entry 4", b"entry 3 ", b"", b"Entry 3"):
        with pytest.raises(Broken):
            verify_proof(P3, entry, KEY)


@given(st.data())
def test_one_changed_character_of_a_proof_is_found(data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(P3) - 1))
    other = data.draw(st.characters(codec="utf-8").filter(lambda c: c != P3[at]))
    with pytest.raises(Broken):
        verify_proof(P3[:at] + other + P3[at + 1 :], b"entry 3", KEY)


def test_a_proof_out_of_range_is_not_written() -> None:
    with pytest.raises(BadValue):
        proof_text(-1, (), SEALED)
    with pytest.raises(BadValue):
        proof_text(0, (b"short",), SEALED)

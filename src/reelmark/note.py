"""Signed notes: a text that people can read, with who stands behind it; and a proof that travels without the log.

Takes: texts, seals, hashes, keys as bytes.  Gives: texts.  Pure: keys are arguments, nothing is read or written.

    works.example/main                                          a seal: origin,
    20852163                                                            size,
    CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=                        root
                                                                the last empty line
    (em dash) works.example/main base64(4 bytes which key, 64 bytes signature)

Ed25519 is signature type 01.  Other types stand in the same line form and are passed over, so that another algorithm
can be added beside this one without a change of form.  The library is imported where it is used, since most who
read the journal sign nothing.

Source: C2SP (github.com/C2SP/C2SP at 5ba5ee8): signed-note, tlog-checkpoint, tlog-proof.
"""

import re
from base64 import b64decode, b64encode
from collections.abc import Sequence
from typing import TYPE_CHECKING

from reelmark.errors import BadValue, Broken
from reelmark.journal import HASH_BYTES, Seal, digest, leaf, verify_consistency, verify_inclusion

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

__all__ = ["proof_text", "public_key", "seal_of", "sign", "sign_seal", "verify", "verify_proof", "vkey"]

DASH = "\u2014"
ED25519 = b"\x01"
MOST_SIGNATURES = 100  # the form asks for a limit, of 16 or more
PROOF_HEAD = "c2sp.org/tlog-proof@v1"

_SEAL = re.compile(r"([^\n]+)\n(0|[1-9][0-9]{0,18})\n([A-Za-z0-9+/]{43}=)\n(?:[^\n]+\n)*")
_SIGNATURE = re.compile(DASH + r" ([^\s+]+) ([A-Za-z0-9+/]+={0,2})")
_VKEY = re.compile(r"([^\s+]+)\+([0-9a-f]{8})\+([A-Za-z0-9+/]{44})")
_PROOF = re.compile(
    re.escape(PROOF_HEAD) + r"\n(?:extra [A-Za-z0-9+/=]+\n)?index (0|[1-9][0-9]{0,18})\n((?:[^\n]+\n)*)\n(.+)",
    re.DOTALL,
)


def public_key(private: bytes) -> bytes:
    """Public Ed25519 key, 32 bytes, of a private one, 32 bytes; BadValue for another length."""
    return _private(private).public_key().public_bytes_raw()


def vkey(name: str, public: bytes) -> str:
    """What a verifier keeps: name+key id+key, for one Ed25519 key of 32 bytes; BadValue for a bad name or length."""
    if not name or any(c.isspace() or c == "+" or not _plain(c) for c in name):
        raise BadValue("key name", name, "it must be text without spaces and plus signs", "as works.example/main")
    if len(public) != 32:
        raise BadValue("public key", public.hex(), f"it has {len(public)} bytes, not 32", "give the raw Ed25519 key")
    return f"{name}+{_key_id(name, public).hex()}+{_base64(ED25519 + public)}"


def sign(text: str, name: str, private: bytes) -> str:
    """The text with one Ed25519 signature under it.

    text : one or more lines, the last ended too; not a seal, since a seal is signed only against the one before it
    private : 32 bytes
    Raises BadValue for a text that is none, for a seal, a bad name and a bad key.
    """
    if _SEAL.fullmatch(text):
        raise BadValue("text", text, "this is a seal", "use sign_seal, which looks at the seal signed before")
    return _signed(text, name, private)


def sign_seal(seal: Seal, private: bytes, last: Seal | None, proof: Sequence[bytes] = ()) -> str:
    """The seal, signed in the name of its origin, if the journal only grew since the last one signed.

    last : the seal this key signed before; None only for the first ever
    proof : Tree.consistency(last.size, seal.size); empty if there was nothing before
    Raises Broken if the seal does not follow from the last.  Source: C2SP tlog-checkpoint, Signatures.
    """
    if last is not None and last.origin != seal.origin:
        raise Broken(f"seal of {seal.origin}", f"the last was of {last.origin}", "give the last seal of this journal")
    if last is not None and last.size:
        verify_consistency(last.size, seal.size, proof, last.root, seal.root)
    elif proof:
        raise Broken(f"first seal of {seal.origin}", f"{len(proof)} hashes lead to it from nothing", "give no proof")
    return _signed(seal.text, seal.origin, private)


def verify(note: str, vkey: str) -> str:
    """The text of the note, if this key signed it.

    Signatures of other keys are passed over; every one of this key must hold.
    Raises Broken for a note out of form, not signed by this key, or changed; BadValue for a bad vkey.
    """
    name, key_id, public = _read_vkey(vkey)
    text, signatures = _read_note(note)
    ours = [rest for signer, which, rest in signatures if (signer, which) == (name, key_id)]
    if not ours:
        raise _bad_note(f"signed by {', '.join(sorted({s for s, _, _ in signatures}))}, not by this key of {name}")
    for signature in ours:
        if not _holds(public, signature, text.encode()):
            raise _bad_note(f"the signature of {name} does not belong to this text")
    return text


def seal_of(text: str) -> Seal:
    """Read the text of a seal; further lines, which the form allows and nobody checks, are passed over.

    Raises Broken if it is none.  The text is to be believed only as it comes from `verify`.
    """
    found = _SEAL.fullmatch(text)
    if not found:
        raise Broken("seal", f"{text[:80]!r} is not origin, size and root, a line each", "fetch the seal again")
    try:
        return Seal(found[1], int(found[2]), _bytes(found[3]))
    except BadValue as error:
        raise Broken("seal", f"{error.asked}, {error.true}", "fetch the seal again") from error


def proof_text(index: int, hashes: Sequence[bytes], signed_note: str) -> str:
    """One text that shows, without the log, that an entry is number `index` under a signed seal.

    hashes : Tree.inclusion(index, size) for the size in the seal.  To be stored as .tlog-proof.
    Raises BadValue for an index below 0 and for hashes that are not 32 bytes.
    """
    if index < 0:
        raise BadValue("index", index, "entries are numbered from 0", "give the index that append gave")
    for one in hashes:
        if len(one) != HASH_BYTES:
            raise BadValue("hash", one.hex(), f"it has {len(one)} bytes, not 32", "take them from Tree.inclusion")
    return "".join(f"{line}\n" for line in (PROOF_HEAD, f"index {index}", *map(_base64, hashes), "")) + signed_note


def verify_proof(text: str, entry: bytes, vkey: str) -> tuple[int, Seal]:
    """(index, seal) under which this entry is proved to stand, signed by the key of the journal.

    The seal must be that of the journal the key is named after.  Extra data in the text are signed by nobody and
    passed over.  Raises Broken if anything disagrees; BadValue for a bad vkey.
    """
    found = _PROOF.fullmatch(text)
    if not found:
        raise _bad_proof("it is not a head line, an index, hashes, an empty line and a signed seal")
    seal = seal_of(verify(found[3], vkey))
    if seal.origin != _read_vkey(vkey)[0]:
        raise _bad_proof(f"the seal is of {seal.origin}, the key of {_read_vkey(vkey)[0]}")
    index, hashes = int(found[1]), [_proof_hash(line) for line in found[2].split("\n")[:-1]]
    verify_inclusion(leaf(entry), index, seal.size, hashes, seal.root)
    return index, seal


def _proof_hash(line: str) -> bytes:
    try:
        return _bytes(line)
    except BadValue as error:
        raise _bad_proof(f"{line[:80]!r} is not a hash in base64") from error


def _signed(text: str, name: str, private: bytes) -> str:
    _check_text(text)
    key = _private(private)
    public = key.public_key().public_bytes_raw()
    vkey(name, public)  # refuses a name that no verifier could read
    return f"{text}\n{DASH} {name} {_base64(_key_id(name, public) + key.sign(text.encode()))}\n"


def _check_text(text: str) -> None:
    if not text.endswith("\n") or not all(c == "\n" or _plain(c) for c in text):
        raise BadValue("text", text, "it must be whole lines without control characters", "end it with a newline")


def _plain(c: str) -> bool:
    """No control character, and not half of a pair, which has no UTF-8."""
    return c >= " " and not "\ud800" <= c <= "\udfff"


def _read_note(note: str) -> tuple[str, list[tuple[str, bytes, bytes]]]:
    """Text, and for each signature (name, key id, signature bytes)."""
    above, empty, below = note.rpartition("\n\n")
    lines = below.split("\n")
    if not empty or lines.pop() or not 1 <= len(lines) <= MOST_SIGNATURES:
        raise _bad_note(f"it must end in an empty line and 1 to {MOST_SIGNATURES} signature lines")
    try:
        _check_text(above + "\n")
        return above + "\n", [_read_signature(line) for line in lines]
    except BadValue as error:
        raise _bad_note(f"{error.asked}, {error.true}") from error


def _read_signature(line: str) -> tuple[str, bytes, bytes]:
    found = _SIGNATURE.fullmatch(line)
    blob = _bytes(found[2]) if found else b""
    if not found or len(blob) < 5:
        raise BadValue("signature line", line, "it is not dash, name and base64", "fetch the note again")
    return found[1], blob[:4], blob[4:]


def _read_vkey(text: str) -> tuple[str, bytes, bytes]:
    found = _VKEY.fullmatch(text)
    name, public = (found[1], _bytes(found[3])[1:]) if found else ("", b"")
    if not found or vkey(name, public) != text:
        raise BadValue("vkey", text, "it is not an Ed25519 name+id+key that agree", "copy it again from its owner")
    return name, _key_id(name, public), public


def _key_id(name: str, public: bytes) -> bytes:
    """Source: C2SP signed-note, Ed25519 signatures."""
    return digest(name.encode() + b"\n" + ED25519 + public)[:4]


def _base64(data: bytes) -> str:
    return b64encode(data).decode()


def _bytes(text: str) -> bytes:
    """Bytes of base64 text that is written as we would write it; BadValue otherwise."""
    try:
        data = b64decode(text, validate=True)
    except ValueError:
        data = b""
    if not text or _base64(data) != text:
        raise BadValue("base64", text, "it is not standard base64", "copy it again")
    return data


def _private(private: bytes) -> "Ed25519PrivateKey":
    if len(private) != 32:  # the key itself is never shown
        raise BadValue("private key length", len(private), "it must be 32 bytes", "give the raw Ed25519 key")
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.from_private_bytes(private)


def _holds(public: bytes, signature: bytes, data: bytes) -> bool:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, data)
    except (InvalidSignature, ValueError):
        return False
    return True


def _bad_note(true: str) -> Broken:
    return Broken("signed note", true, "do not use the text; fetch the note again from its signer")


def _bad_proof(true: str) -> Broken:
    return Broken("proof", true, "fetch the proof again from who holds the journal")

"""The key that signs the journal's seals: one file for its holder alone, and beside it what verifiers keep.

works.key     "<name> <base64 of 32 bytes>", readable by its owner alone
works.vkey    "<name>+<key id>+<base64 of the public key>", for everybody
"""

import base64
import binascii
import os
import secrets
from pathlib import Path
from typing import Final, NamedTuple

from reelmark.errors import Problem
from reelmark.note import public_key, vkey

__all__ = ["Key", "create_key", "read_key", "read_vkey"]

OTHERS: Final = 0o077  # rights of group and everybody


class Key(NamedTuple):
    """A private Ed25519 key, 32 bytes, and the name it signs under."""

    name: str
    private: bytes

    def __repr__(self) -> str:
        return f"Key({self.name!r}, private=...)"  # never in a log

    @property
    def vkey(self) -> str:
        """What verifiers keep."""
        return vkey(self.name, public_key(self.private))


def create_key(path: Path, name: str) -> Key:
    """A new key in a new file, its vkey in <path>.vkey beside it; never over a key that is there."""
    key = Key(name, secrets.token_bytes(32))
    public = key.vkey  # refuses a name that no verifier could read, before anything is written
    _write(path, f"{name} {base64.b64encode(key.private).decode()}\n", 0o600)
    _write(path.with_suffix(".vkey"), public + "\n", 0o644)
    return key


def _write(path: Path, text: str, rights: int) -> None:
    asked = f"new key file {path}"
    try:
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, rights)
    except FileExistsError as error:
        raise Problem(asked, "there is a file of that name", "keep it, or move it to a safe place first") from error
    except OSError as error:
        raise Problem(asked, f"{error.strerror}", "choose a folder that exists and may be written") from error
    with os.fdopen(handle, "w", encoding="ascii", newline="\n") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def read_key(path: Path) -> Key:
    """The key in a file; Problem if others may read it, or if it is none.  What stands in it is never shown."""
    name, _, text = _read(path).strip().partition(" ")
    if os.name == "posix" and path.stat().st_mode & OTHERS:
        true = f"others may read it ({path.stat().st_mode & 0o777:o})"
        raise Problem(f"key {path}", true, f"chmod 600 {path}; if others could have read it, make a new key")
    try:
        private = base64.b64decode(text, validate=True)
    except binascii.Error:
        private = b""
    if len(private) != 32:
        raise Problem(f"key {path}", "it is not a name and a key of 32 bytes", "bring the key file back from its copy")
    return Key(name, private)


def read_vkey(path: Path) -> str:
    """The vkey that stands beside a key, or in a file of its own."""
    return _read(path.with_suffix(".vkey")).strip()


def _read(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return file.read(4096).decode("ascii")
    except OSError as error:
        raise Problem(f"key {path}", f"{error.strerror}", "give the key file, or make one: reelmark new") from error
    except UnicodeDecodeError as error:
        raise Problem(f"key {path}", "it is not a key file", "bring the key file back from its copy") from error

"""Passphrases: what one must be, and whether it is the one that was kept as a hash."""

from functools import cached_property
from threading import BoundedSemaphore
from unicodedata import normalize

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from ..errors import BadValue
from .tries import Tries

__all__ = ["Passphrases"]

LEAST, MOST = 12, 256  # characters
AT_ONCE = 4  # each takes tens of MB while it is worked out


class Passphrases:
    """Argon2id over what was typed.  tries : failures to sign in."""

    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self._hasher, self.tries = hasher or PasswordHasher(), Tries()
        self._room = BoundedSemaphore(AT_ONCE)

    @cached_property
    def _nobody(self) -> str:
        """The hash that stands for an unknown name, so that it takes as long as a known one."""
        return self._hasher.hash("nobody has this passphrase")

    def hash(self, typed: str) -> str:
        """What is kept of a passphrase."""
        with self._room:
            return self._hasher.hash(normalize("NFKC", typed))

    def right(self, hash_: str | None, typed: str) -> bool:
        """Is it the one?  hash_ : None = nobody of that name; takes as long."""
        with self._room:
            try:
                self._hasher.verify(hash_ or self._nobody, normalize("NFKC", typed[: MOST + 1]))
            except (VerificationError, InvalidHashError):
                return False
        return hash_ is not None

    def stale(self, hash_: str) -> bool:
        """Was it hashed with other parameters than now?"""
        return self._hasher.check_needs_rehash(hash_)

    @staticmethod
    def check(name: str, typed: str, again: str) -> None:
        """BadValue where it must not be a passphrase; what was typed is never told."""
        if typed != again:
            raise BadValue("passphrase", "…", "the two are not the same", "type it twice alike")
        if not LEAST <= len(typed) <= MOST:
            true = f"it has {len(typed)} characters; {LEAST} to {MOST} are wanted"
            raise BadValue("passphrase", "…", true, "take four or five words that nobody would guess")
        if len(set(typed)) < 5 or name.casefold() in typed.casefold():
            raise BadValue("passphrase", "…", "it is your name, or few characters over and over", "take other words")

"""Who may do what."""

from enum import Enum

__all__ = ["Role"]


class Role(Enum):
    """A person holds some of the last four; ``ANYONE`` and ``SIGNED_IN`` are for pages."""

    ANYONE = "anyone"  # before signing in
    SIGNED_IN = "signed in"  # any person, whatever they hold
    READ = "read"  # look at orders, numbers, books
    WRITE = "write"  # take in records, mark, hold; ask for what needs two
    SIGN = "sign"  # be the second of two
    KEEP = "keep"  # people and their roles

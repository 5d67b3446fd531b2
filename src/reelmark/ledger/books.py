"""Books kept pointwise: every micrometre, sheet and note is in exactly one account.

An account is (place, kind).  What enters a unit is posted once, from nowhere; after that an extent moves only out of an
account that holds all of it, so nothing can be spoiled twice.  A run `carries` its input out of the unit's frame and
enters what it gave in other frames: between frames not integers but weights agree (a sheet weighs its notes).
"""

from collections.abc import Iterator
from typing import NamedTuple

from ..errors import NotThere
from ..facts import Account, Kind, Posting
from ..spans import EMPTY, Extent, Place, Spans

__all__ = ["Books", "Line"]


class Line(NamedTuple):
    """One line of the balance: so much of a measure (um, sheets, notes) in an account."""

    account: Account
    measure: str
    many: int


class Books:
    """Accounts, and the postings they were made from."""

    def __init__(self) -> None:
        self.postings: list[Posting] = []
        self._held: dict[Place, dict[Account, Spans]] = {}
        self.measures: dict[str, str] = {}

    def enter(self, seq: int, unit: str, measure: str, extent: Extent, account: Account, why: str) -> None:
        """What comes into being, or into a new frame.  measure : what the unit's axis counts: um, sheets, notes."""
        for place, spans in extent.items():
            for holder, held in self.accounts(place).items():
                if twice := held & spans:
                    raise NotThere(unit, _ranges(twice), f"already in {name(holder)}", "enter it once")
        self.measures[unit] = measure
        for place, spans in extent.items():
            accounts = self._held.setdefault(place, {})
            accounts[account] = accounts.get(account, EMPTY) | spans
        if extent:
            self.postings.append(Posting(seq, extent, None, account, why))

    def move(
        self, seq: int, extent: Extent, source: Account, target: Account, why: str, by: tuple[str, ...] = ()
    ) -> None:
        """An extent out of one account that holds all of it into another."""
        for place, spans in extent.items():
            missing = spans - self._held.get(place, {}).get(source, EMPTY)
            if missing:
                raise self._not_there(place, missing, source, target)
        for place, spans in extent.items():
            accounts = self._held[place]
            accounts[source] = accounts[source] - spans
            accounts[target] = accounts.get(target, EMPTY) | spans
        if extent:
            self.postings.append(Posting(seq, extent, source, target, why, by))

    def _not_there(self, place: Place, missing: Spans, source: Account, target: Account) -> NotThere:
        where = [name(a) for a, held in self._held.get(place, {}).items() if held & missing]
        true = f"{name(source)} does not hold {_ranges(missing)}; {' and '.join(where) or 'no account'} does"
        asked = f"{_ranges(missing)} from {name(source)} to {name(target)}"
        return NotThere(place[0], asked, true, "post from there, or correct the earlier record first")

    def gather(self, seq: int, extent: Extent, kind: Kind, target: Kind, why: str, by: tuple[str, ...] = ()) -> None:
        """Move an extent from one kind to another, wherever it is kept; each part stays at its place."""
        for place, spans in extent.items():
            missing = spans
            for held in self.of_kind(place, kind).values():
                missing = missing - held
            if missing:
                raise self._not_there(place, missing, Account("any place", kind), Account("the same place", target))
        for place, spans in extent.items():
            for account, some in self.of_kind(place, kind).items():
                self.move(seq, Extent({place: some & spans}), account, Account(account.place, target), why, by)

    def of_kind(self, place: Place, kind: Kind) -> dict[Account, Spans]:
        """Accounts of one kind that hold anything of a place."""
        return {a: held for a, held in self._held.get(place, {}).items() if a.kind == kind and held}

    def accounts(self, place: Place) -> dict[Account, Spans]:
        """Who holds what of a unit's lane."""
        return {a: held for a, held in self._held.get(place, {}).items() if held}

    def account_of(self, unit: str, lane: int, x: int) -> Account | None:
        """The one account that holds an integer, or None where it never entered."""
        for account, held in self._held.get((unit, lane), {}).items():
            if x in held:
                return account
        return None

    def balance(self) -> list[Line]:
        """What every account holds now, carried left out (it is counted again further on)."""
        totals: dict[tuple[Account, str], int] = {}
        for (unit, _), accounts in self._held.items():
            for account, held in accounts.items():
                if account.kind != "carried" and held:
                    key = account, self.measures[unit]
                    totals[key] = totals.get(key, 0) + held.size
        return [Line(account, measure, many) for (account, measure), many in sorted(totals.items())]

    def places(self) -> Iterator[Place]:
        """Every (unit, lane) anything entered."""
        yield from self._held


def name(account: Account) -> str:
    """As written: place:kind."""
    return f"{account.place}:{account.kind}"


def _ranges(spans: Spans) -> str:
    shown = [f"{a}" if b == a + 1 else f"{a}-{b - 1}" for a, b in list(spans)[:4]]
    return ", ".join(shown) + (f" and {len(spans) - 4} ranges more" if len(spans) > 4 else "")

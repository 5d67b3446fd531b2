"""Search: one match is gone to, several are listed, none is told in words.  And where everything has its page."""

from collections.abc import Sequence
from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends, Query
from fastapi.responses import RedirectResponse

from ...acts.find import LONGEST, MOST, Place, find
from ...errors import NotThere
from ...facts import SERIES
from ..content import Cell, Column, Content, Link, Table
from ..house import House
from ..live import Live
from ..page import AskedNow, Page
from ..roles import Role
from ..sign import Needs

__all__ = [
    "PAGE", "account_link", "address_of", "entry_link", "number_link", "order_address", "pack_address", "router",
    "strips_address", "unit_address", "unit_link",
]  # fmt: skip

What = Annotated[str, Query(max_length=LONGEST, description="a number, roll, pile, lot, pack, mark or #entry")]
Which = Annotated[str | None, Query(max_length=64, description="the order to search; left out, all of them")]
router = APIRouter()


# --- addresses -------------------------------------------------------------------------------------------------


def _asking(address: str, **asked: object) -> str:
    return f"{address}?{urlencode(asked, doseq=True, quote_via=quote, safe='')}"


def order_address(live: Live) -> str:
    """Where an order's pages begin."""
    return f"/orders/{quote(live.key, safe='')}"


def strips_address(base: str, of: Sequence[str]) -> str:
    """The strips with places taken hold of, as acts.follow writes them."""
    return _asking(base, of=list(of))


def unit_address(base: str, name: str) -> str:
    """The page of a roll, pile or lot."""
    return _asking(f"{base}/unit", name=name)


def pack_address(base: str, series: str, first: str, notes: int = 100) -> str:
    """The page of a pack, or a bundle."""
    return _asking(f"{base}/unit", series=series, pack=first, **({"notes": notes} if notes != 100 else {}))


def account_link(base: str, account: str) -> Cell:
    """An account of the books; words for what is in none."""
    if ":" not in account or account.startswith("series:"):
        return account
    return Link(account, _asking(f"{base}/account", account=account))


def entry_link(base: str, seq: int) -> Link:
    """An entry of the journal."""
    return Link(f"#{seq}", f"{base}/entry/{seq}")


def number_link(base: str, number: str) -> Link:
    """A number's page."""
    return Link(number, f"{base}/number/{quote(number, safe='')}")


def unit_link(base: str, name: str) -> Link:
    """A roll's, pile's or lot's page; of a series, the strips."""
    series = name.startswith(SERIES)
    return Link(name, strips_address(base, [name]) if series else unit_address(base, name))


def address_of(base: str, place: Place) -> str:
    """Where a place has its page; a mark and a stretch of a series on the strips, taken hold of."""
    match place.kind:
        case "number":
            return number_link(base, place.first).href
        case "pack" | "bundle":
            return pack_address(base, place.name, place.first, 100 if place.kind == "pack" else 1000)
        case "roll" | "pile" | "lot":
            return unit_address(base, place.name)
        case "entry":
            return f"{base}/entry/{place.entry}"
        case _:
            return strips_address(base, place.of)


# --- searching -------------------------------------------------------------------------------------------------


def _sought(house: House, what: str, order: str | None) -> list[tuple[Live, Place]]:
    """Every place in the orders served that may be meant; NotThere when there is none in any."""
    found: list[tuple[Live, Place]] = []
    missing: list[tuple[Live, NotThere]] = []
    for live in [house.live(order)] if order else list(house.lives.values()):
        with live.looking:
            try:
                found += [(live, place) for place in find(live.now.reading, what)]
            except NotThere as no:
                missing.append((live, no))
    if found:
        return found
    if len(missing) == 1:
        raise missing[0][1]
    true = "; ".join(f"order {live.order.name}: {no.true}" for live, no in missing) or "no order is served"
    raise NotThere("what", what, true, missing[0][1].cure if missing else "start again: reelmark serve FOLDER")


@router.get("/find", dependencies=[Depends(Needs(Role.READ))], status_code=303, response_class=RedirectResponse,
            summary="Search: goes to the one match, or to the list of several")  # fmt: skip
def search(asked: AskedNow, what: What, order: Which = None) -> RedirectResponse:
    """On to the page of what was searched for."""
    found = _sought(asked.house, what, order)
    if len(found) == 1:
        return RedirectResponse(address_of(order_address(found[0][0]), found[0][1]), 303)
    return RedirectResponse(_asking("/found", what=what, **({"order": order} if order else {})), 303)


def build(asked: AskedNow, what: What, order: Which = None) -> Content:
    """The choices."""
    found = _sought(asked.house, what, order)
    rows = [
        [Link(place.words, address_of(order_address(live), place)), place.kind,
         Link(live.order.name, order_address(live)), _on_strips(live, place)]
        for live, place in found
    ]  # fmt: skip
    columns = (Column("found"), Column("kind"), Column("order"), Column("strips"))
    more = f"The first {MOST} of each order; type more of the name to see others." if len(found) >= MOST else ""
    table = Table("found", f"{len(found)} found", columns, rows, note=more)
    return Content(f"Found: {what.strip()}", parts=(table,))


def _on_strips(live: Live, place: Place) -> Link | None:
    return Link("show", strips_address(order_address(live), place.of)) if place.of else None


PAGE = Page("/found", "Found", build)

"""The order as linked strips: take hold anywhere, and every strip shows where it came from and where it went."""

from functools import partial
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Query
from fastapi.responses import JSONResponse

from ...acts.follow import text_of
from ...acts.strips import Strip
from ...acts.told import accounts_of, amounts, number_ranges
from ...errors import BadValue
from ...facts import SERIES
from ...figures.strip import high_of
from ...svg import el, label, picture
from ..content import Column, Content, Figure, Link, Table
from ..page import Asked, AskedNow, Page
from ..roles import Role
from ..sign import Needs
from ..view import View, amount, track_of

__all__ = ["LIST", "PAGE", "router"]

Texts = Annotated[list[str], Query(max_length=64)]
Wide = Annotated[int, Query(ge=200, le=4000)]
LONGEST = 4000  # characters of one part of an address
router = APIRouter()


def _view(asked: Asked, of: list[str], view: list[str], open_: list[str], fit: bool, wide: int) -> View:
    """of : each may name several places, with ; between."""
    if any(len(text) > LONGEST for text in (*of, *view, *open_)):
        longest = max(of + view + open_, key=len)
        raise BadValue("of", longest[:60], f"it is longer than {LONGEST} characters", "take hold anew")
    places = tuple(place.strip() for text in of for place in text.split(";") if place.strip())
    return View(asked.now, asked.base, places, tuple(view), tuple(open_), fit, wide)


def build(
    asked: AskedNow,
    of: Texts = [],  # noqa: B006
    view: Texts = [],  # noqa: B006
    open: Texts = [],  # noqa: B006
    fit: bool = False,
    wide: Wide = 1100,
    done: Annotated[str, Query(max_length=12, pattern="^[a-z]*$")] = "",
) -> Content:
    """The page of strips."""
    look = _view(asked, of, view, open, fit, wide)
    figures = [
        Figure(track.key, f"{strip.station.name}: {track.words}", partial(look.draw, track))
        for strip in look.strips for track in look.shown(strip)
    ]  # fmt: skip
    tables = [_units(look, strip) for strip in look.strips if strip.tracks]
    whole = Figure("strips", "all strips", partial(_whole, look))
    extra = {"look": look, "panel": panel(asked, look, done), "amount": amount,
             "empty": not any(strip.tracks for strip in look.strips)}  # fmt: skip
    order = asked.live.order
    title = f"Order {order.name}"
    return Content(title, (), (whole, *figures, *tables), template="strips.html", extra=extra)


def _units(look: View, strip: Strip) -> Table:
    """The units of a strip and how much of each is touched: the picture, for who does not see it."""
    columns = (
        Column("unit"), Column("handling"), Column("entry", kind="figure"), Column("length"),
        Column("may be touched"), Column("surely touched"),
    )  # fmt: skip

    def rows() -> list[list[Any]]:
        found: list[list[Any]] = []
        for track in look.shown(strip):
            for box in track.boxes if track.measure != "notes" else ():
                may, must = _touched(look, box.unit, box.lanes)
                link = Link(box.unit, f"{look.base}/unit?name={quote(box.unit, safe='')}")
                long = amount(box.length, track.measure)
                found.append([link, track.words, box.entry, long, *(amount(x, track.measure) for x in (may, must))])
        return sorted(found, key=lambda row: row[4].startswith("0")) if look.followed else found

    return Table(f"units-{strip.station.name}", f"Units of {strip.station.name}", columns, rows, "no unit yet", most=60)


def _touched(look: View, unit: str, lanes: tuple[int, ...]) -> tuple[int, int]:
    if look.followed is None:
        return 0, 0
    return tuple(  # type: ignore[return-value]
        sum(one[unit, lane].size for lane in lanes if (unit, lane) in one)
        for one in (look.followed.may, look.followed.must)
    )


def _whole(look: View, alone: bool) -> str:
    """All strips under one another."""
    at, parts = 0, []
    for strip in look.strips:
        for track in look.shown(strip):
            parts.append(label(0, at + 16, f"{strip.station.name}: {track.words}"))
            inner = look.draw(track, True)
            parts.append(el("g", inner, transform=f"translate(0 {at + 20})"))
            at += high_of(track) + 30
    return picture(look.wide, at, parts, title="The strips of the order", says="Station by station.", alone=alone)


def panel(asked: Asked, look: View, done: str = "") -> str:
    """The selection in words, and what can be done with it."""
    if look.followed is None:
        return asked.house.fragment("panel.html", look=look, asked=asked, chosen=None, done="")
    reading, followed = look.now.reading, look.followed
    may, must = (number_ranges(reading, one) for one in (followed.may, followed.must))
    chosen = {
        "amounts": amounts(look.strips, followed),
        "may": may, "must": must,
        "many": sum(r[3] for r in may), "sure": sum(r[3] for r in must),
        "accounts": accounts_of(reading, followed.may),
        "waste": sum(s.size for (unit, _), s in followed.may.items() if unit.endswith("/waste")),
        "web": all(unit in reading.shop.rolls for unit, _ in followed.chosen),
    }  # fmt: skip
    done = _done(asked, chosen, followed, done)
    return asked.house.fragment(
        "panel.html", look=look, asked=asked, chosen=chosen, done=done, amount=amount, writes=asked.may(Role.WRITE)
    )


def _done(asked: Asked, chosen: dict[str, Any], followed: Any, said: str) -> str:
    """What was just done, said only where it is so: an address can be sent by anybody."""
    if said == "held" and any(account.endswith(":held") for account, _, _ in chosen["accounts"]):
        return "Held. The books have it."
    if said == "asked" and asked.house.people.proposals.count():
        return "Asked. It waits for a second person."
    marks = asked.now.reading.shop.marks
    return "Marked." if said == "marked" and any(mark.extent & followed.chosen for mark in marks) else ""


@router.get("/orders/{order}/follow", dependencies=[Depends(Needs(Role.READ))], summary="A selection, followed")
def followed(
    asked: AskedNow,
    of: Texts = [],  # noqa: B006
    view: Texts = [],  # noqa: B006
    open: Texts = [],  # noqa: B006
    track: Annotated[str, Query(max_length=64)] = "",
    start: Annotated[int, Query(ge=0, le=2**50)] = 0,
    stop: Annotated[int, Query(ge=0, le=2**50)] = 0,
    lanes: Annotated[str, Query(max_length=200, pattern=r"^[0-9,]*$")] = "",
    wide: Wide = 1100,
    fit: bool = False,
) -> JSONResponse:
    """What of every track shown the selection touches, as SVG to lay over it; and the panel."""
    with asked.live.looking:
        look = _view(asked, of, view, open, fit, wide)
        if track:
            rows = [int(one) for one in lanes.split(",") if one]
            taken = View(look.now, look.base).taken(track, start, stop, rows)
            look = _view(asked, text_of(look.now.reading, taken), view, open, fit, wide)
        drawn = {one.key: look.draw(one, False) if fit else look.overlay(one) for one in look.tracks}
        shapes = {one.key: look.shape(one) for one in look.tracks} if fit else {}
        answer = {"of": list(look.of), "tracks": drawn, "shapes": shapes, "panel": panel(asked, look),
                  "address": look.address(), "order": asked.live.key, "entries": look.now.reading.size}  # fmt: skip
    return JSONResponse(answer)


@router.get("/orders/{order}/track/{key}", dependencies=[Depends(Needs(Role.READ))], summary="A window of one strip")
def track_window(
    asked: AskedNow,
    key: str,
    start: Annotated[int, Query(ge=0, le=2**50)] = 0,
    stop: Annotated[int, Query(ge=0, le=2**50)] = 0,
    of: Texts = [],  # noqa: B006
    wide: Wide = 1100,
) -> JSONResponse:
    """The picture of a window of a track's axis, columns by maximum and mean, and the window as it was drawn."""
    with asked.live.looking:
        look = _view(asked, of, [f"{key}:{start}-{stop}"], [], False, wide)
        track = track_of(look.now, key)
        return JSONResponse({"svg": look.draw(track, False), "shape": look.shape(track)})


def listed(asked: AskedNow, of: Texts = []) -> Content:  # noqa: B006
    """A selection as a list to print or to take away."""
    look = _view(asked, of, [], [], False, 1100)
    if look.followed is None:
        raise BadValue("of", "", "nothing was taken hold of", "take hold of something on the strips first")
    reading, touched = look.now.reading, look.followed
    columns = (Column("series"), Column("first"), Column("last"), Column("notes", kind="figure"))
    numbers = [
        Table(name, title, columns, partial(number_ranges, reading, extent), "no number", most=10_000)
        for name, title, extent in (
            ("may", "Numbers that may be touched: recall these", touched.may),
            ("must", "Numbers surely touched: book these", touched.must),
        )
    ]
    places = (Column("unit"), Column("lane", kind="figure"), Column("from"), Column("to"), Column("surely"))
    return Content(
        "List of a selection", (f"Taken hold of: {', '.join(look.said)}.",),
        (
            *numbers,
            Table("accounts", "In which accounts", (Column("account"), Column("of"), Column("holds", kind="figure")),
                  partial(accounts_of, reading, touched.may), "in none yet"),
            Table("places", "Rolls and piles", places, partial(_places, look), "none", most=10_000),
        ),
    )  # fmt: skip


def _places(look: View) -> list[list[Any]]:
    assert look.followed is not None
    rolls = look.now.reading.shop.rolls
    rows: list[list[Any]] = []
    for (unit, lane), spans in look.followed.may.items():
        sure = look.followed.must.get((unit, lane))
        measure = "um" if unit in rolls else "notes" if unit.startswith(SERIES) else "sheets"
        if measure != "notes":
            for a, b in spans:
                must = sure is not None and any(c <= a and b <= d for c, d in sure)
                rows.append([unit, lane or None, amount(a, measure), amount(b, measure), must])
    return rows


PAGE = Page("/orders/{order}", "Strips", build, menu="order")
LIST = Page("/orders/{order}/list", "List of a selection", listed)

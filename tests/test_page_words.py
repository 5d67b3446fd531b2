"""What the pages of orders, way, numbers, units, packs, search and calls say, and where they lead.

The order is that of test_unit_life's hand, served as T-1: 200 notes banded of 400, one pack counted short.
"""

import json
from collections.abc import Iterator
from contextlib import nullcontext
from types import SimpleNamespace
from typing import Any

import pytest
from fastapi import APIRouter, Depends, FastAPI

from model_records import ORDER, WORKS, Hand, packed
from reelmark.errors import BadValue, NotThere, Problem
from reelmark.reading import Reading
from reelmark.way import WAY
from reelmark.web.content import Content, Link, csv_of, json_of
from reelmark.web.live import Now
from reelmark.web.page import add
from reelmark.web.pages import calls, find, number, orders, unit, way
from reelmark.web.roles import Role
from reelmark.web.sign import Needs


def served(reading: Reading, key: str = "T-1") -> Any:
    """An order as the house serves it."""
    return SimpleNamespace(
        now=Now(reading, (), {}), order=reading.order, works=reading.works, key=key, looking=nullcontext()
    )


class House:
    """The orders of a house."""

    def __init__(self, *lives: Any) -> None:
        self.lives = {live.key: live for live in lives}

    def live(self, key: str) -> Any:
        if key not in self.lives:
            raise NotThere("order", key, f"the orders here are {', '.join(self.lives)}", "follow a link")
        return self.lives[key]


def asking(*readings: Reading, app: FastAPI | None = None) -> Any:
    """Who asks, of the first of some orders T-1, T-2 ..."""
    lives = [served(reading, f"T-{n}") for n, reading in enumerate(readings, 1)]
    now = lives[0].now if lives else None
    request = SimpleNamespace(app=app)
    return SimpleNamespace(house=House(*lives), now=now, base="/orders/T-1", request=request)


@pytest.fixture(scope="module")
def asked() -> Any:
    return asking(packed().reading())


def rows(content: Content, name: str) -> list[dict[str, Any]]:
    """A table as machines get it; and it is a table for spreadsheets too."""
    assert len(list(csv_of(content.tables()[name]))) == 1 + len(content.tables()[name].every())
    told: list[dict[str, Any]] = json.loads(json.dumps(json_of(content)))["tables"][name]["rows"]
    return told


def links(content: Content) -> Iterator[str]:
    yield from (one.href for one in content.actions)
    for table in content.tables().values():
        yield from (cell.href for row in table.every() for cell in row if isinstance(cell, Link))


# --- orders, way -----------------------------------------------------------------------------------------------


def test_an_order_in_one_row(asked):
    content = orders.build(asked)
    (row,) = rows(content, "orders")
    assert (row["order"], row["works"], row["ordered"], row["packed good"], row["to make"]) == (
        "T-1", "Nowhere Note Works", 400, 200, 200,
    )  # fmt: skip
    assert (row["books"], row["next delivery"], row["due then"], row["still missing"], row["doubt"]) == (
        "not balanced: 1 difference", "2027-06-30", 400, 200, "none",
    )  # fmt: skip
    notes = {one["where"]: one["holds"] for one in rows(content, "notes")}
    assert (notes["cut, not packed"], notes["held"], notes["on sheets"], notes["on spoiled sheets"]) == (18, 0, 0, 2)
    assert {"/orders/T-1", "/orders/T-1/books", "/way"} <= set(links(content))
    assert [one["state"] for one in rows(content, "deliveries")] == ["next"]


def test_doubt_in_words():
    made = Hand()
    made.pile("P1", 100)
    made.printed("P1", "P2", uncounted=[{"start": 0, "end": 50, "low": 0, "high": 3}])
    (row,) = rows(orders.build(asking(made.reading())), "orders")
    assert row["doubt"] == "3 sheets in difference; 1 pull not counted, 0 to 3 sheets"
    assert row["books"] == "not balanced: doubt"


def test_no_order_says_what_to_do():
    content = orders.build(asking())
    assert (content.tables()["orders"].every(), content.actions) == ([], ())
    assert "reelmark new FOLDER" in content.tables()["orders"].empty
    assert "reelmark serve FOLDER" in content.tables()["orders"].empty
    assert way.build(asking()).tables()["gave"].every() == []


def test_the_way_shows_every_station_and_what_it_gave(asked):
    content = way.build(asked)
    assert [row["station"] for row in rows(content, "stations")] == [one.name for one in WAY]
    drawn = content.figures()["way"].draw(False)
    assert all(f">{one.name}<" in drawn and one.gives in drawn for one in WAY)
    assert "<style" not in drawn
    assert "prefers-color-scheme" in content.figures()["way"].draw(True)
    gave = {row["station"]: row for row in rows(content, "gave")}
    assert (gave["film"]["web"], gave["sheet"]["at least"], gave["finish"]["packed good"]) == (4.4, 110, 200)
    assert (gave["film"]["packed good"], gave["finish"]["web"]) == (None, None)


# --- a number --------------------------------------------------------------------------------------------------


def test_a_number_its_sheet_and_its_film(asked):
    """A026: sheet 25 from the top, position 0; the film of sheet 25 is 1 to 1.04 m."""
    content = number.build(asked, "a0 26")
    assert content.title == "Number A026"
    assert content.lead == ("Series S. Account: packed:good.",)
    (sheet,) = rows(content, "sheet")
    assert (sheet["pile"], sheet["from the top, at least"], sheet["at most"], sheet["position"]) == ("N1", 25, 25, 0)
    (film,) = rows(content, "film")
    assert (film["touch"], film["roll"], film["from"], film["to"], film["length"]) == ("must", "R P1", 1.0, 1.04, 0.04)
    (own,) = rows(content, "own")
    assert own["roll"] == "R P1"
    assert 1.0 <= own["from"] < own["to"] <= 1.04
    assert round(own["to"] - own["from"], 6) == 0.015  # a note is 15 mm along the web
    assert [row["fault"] for row in rows(content, "marks")] == ["pinhole"]
    assert [row["entry"] for row in rows(content, "stations")] == [f"#{n}" for n in (2, 3, 5, 6, 7, 13, 14)]


def test_where_a_number_leads(asked):
    found = set(links(number.build(asked, "A126")))
    assert {
        "/orders/T-1?of=series%20S%40A126-A126", "/orders/T-1/unit?series=S&pack=A101", "/orders/T-1/books",
        "/orders/T-1/unit?name=N1", "/orders/T-1/unit?name=R%20P1", "/orders/T-1/entry/14",
        "/orders/T-1/account?account=packed%3Agood",
    } <= found  # fmt: skip


def test_a_number_that_another_lies_for_and_the_other(asked):
    assert "In its pack RA091 lies in its place (entry #14)." in number.build(asked, "A011").lead
    spare = number.build(asked, "RA091")
    assert "It lies in a pack in place of A011 (entry #14)." in spare.lead
    assert "/orders/T-1/unit?series=S&pack=A001" in set(links(spare))


def test_numbers_not_printed_and_not_given(asked):
    assert number.build(asked, "A301").lead == (
        "Series S. Account: series:allocated (given to the order, not printed yet).",
    )
    free = number.build(asked, "A401")
    assert "not given to the order" in free.lead[0]
    assert not any("pack=" in href for href in links(free))
    with pytest.raises(NotThere):
        number.build(asked, "B")


# --- units and packs -------------------------------------------------------------------------------------------


def test_the_page_of_a_pile(asked):
    content = unit.build(asked, name="N1")
    assert (content.title, content.lead[0]) == ("Pile N1", "100 sheets, counted from the top, 0 the first.")
    assert [(row["way"], row["unit"]) for row in rows(content, "way")] == [
        ("made out of", "P2"), ("went into", "N2"), ("went into", "N2/0"),
    ]  # fmt: skip
    found = set(links(content))
    assert {"/orders/T-1?of=N1", "/orders/T-1/unit?name=N2%2F0", "/orders/T-1/number/A001", "/orders/T-1/entry/7",
            "/orders/T-1/account?account=press%3Acarried"} <= found  # fmt: skip


def test_the_page_of_a_roll(asked):
    content = unit.build(asked, name="R P1")
    assert (content.title, content.lead[0]) == ("Roll R P1", "4.000 m as wound, 0 at the core; lane 1.")
    assert rows(content, "way")[0]["way"] == "made"
    assert "/orders/T-1?of=R%20P1" in set(links(content))


def test_a_pile_in_doubt():
    made = Hand()
    made.pile("P1", 100)
    made.printed("P1", "P2", uncounted=[{"start": 0, "end": 50, "low": 0, "high": 3}])
    content = unit.build(asking(made.reading()), name="P2")
    assert content.lead[0].startswith("97 to 100 sheets")
    assert [row["not in it for sure"] for row in rows(content, "accounts")] == ["", "in it or pulled: nobody counted"]


def test_the_page_of_a_pack(asked):
    content = unit.build(asked, series="S", pack="a001")
    assert content.title == "Pack A001 to A100"
    assert content.lead == ("100 numbers of series S, banded by A. Quennel at banding line (entry #14).",)
    (row,) = rows(content, "replaced")
    assert (row["number"], row["its account"], row["in its place"]) == ("A011", "press:spoiled", "RA091")
    assert len(rows(content, "numbers")) == 100
    assert {"/orders/T-1/unit?series=S&pack=A001&notes=1000", "/orders/T-1?of=series%20S%40A001-A100",
            "/orders/T-1/number/RA091"} <= set(links(content))  # fmt: skip
    (difference,) = rows(unit.build(asked, series="S", pack="A101"), "differences")
    assert (difference["counted"], difference["settled by"]) == (
        99, "not settled: count again, blind, by another person",
    )  # fmt: skip


def test_the_page_of_a_bundle(asked):
    content = unit.build(asked, series="S", pack="A001", notes="1000")
    assert content.title == "Bundle A001 to B001"
    assert [row["pack"] for row in rows(content, "packs")][:2] == ["A001 to A100", "A101 to A200"]
    assert len(rows(content, "packs")) == 10


@pytest.mark.parametrize("question", [
    {}, {"series": "S"}, {"pack": "A001"}, {"name": ""}, {"name": "P9"}, {"name": "series S"},
    {"series": "T", "pack": "A001"}, {"series": "S", "pack": "A050"}, {"series": "S", "pack": "\x00"},
    {"series": "S", "pack": "A101", "notes": "1000"},
])  # fmt: skip
def test_a_unit_asked_for_wrongly(asked, question):
    with pytest.raises(BadValue):
        unit.build(asked, **question)


# --- search ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("what", "where"), [
    ("a026", "/orders/T-1/number/A026"), ("r p1", "/orders/T-1/unit?name=R%20P1"),
    ("n2/0", "/orders/T-1/unit?name=N2%2F0"), ("A001 pack", "/orders/T-1/unit?series=S&pack=A001"),
    ("A001 bundle", "/orders/T-1/unit?series=S&pack=A001&notes=1000"), ("#14", "/orders/T-1/entry/14"),
    ("pinhole", "/orders/T-1?of=R%20P1%401-1.12m"), ("S spare", "/orders/T-1?of=series%20S%20spare"),
    ("P", "/found?what=P"), ("R P", "/found?what=R%20P"),
])  # fmt: skip
def test_a_search_goes_to_the_one_match_or_to_the_list(asked, what, where):
    answer = find.search(asked, what)
    assert (answer.status_code, answer.headers["location"]) == (303, where)


def test_the_list_of_a_search(asked):
    content = find.build(asked, "P")
    assert [(row["found"], row["kind"], row["order"]) for row in rows(content, "found")][:2] == [
        ("P1, pile", "pile", "T-1"), ("P2, pile", "pile", "T-1"),
    ]  # fmt: skip
    assert {"/orders/T-1/unit?name=P1", "/orders/T-1?of=P1"} <= set(links(content))


def test_a_search_in_all_orders_or_in_one():
    other = Hand()
    other.pile("P1", 5)
    both = asking(packed().reading(), Reading.of(ORDER, WORKS, other.records))
    assert find.search(both, "P1").headers["location"] == "/found?what=P1"
    assert find.search(both, "P1", "T-2").headers["location"] == "/orders/T-2/unit?name=P1"
    assert find.search(both, "N1").headers["location"] == "/orders/T-1/unit?name=N1"
    with pytest.raises(NotThere, match=r"order T-1: .*; order T-1: "):  # both are called T-1 by their order.toml
        find.search(both, "Q")
    with pytest.raises(NotThere, match="the orders here are T-1, T-2"):
        find.search(both, "P1", "T-3")
    with pytest.raises(NotThere, match="no order is served"):
        find.search(asking(), "P1")


@pytest.mark.parametrize("what", ["", " ", "Q", "\x00", "😀", "A401", "#99", "A200-A001", "%2e%2e/", "//host"])
def test_a_search_that_finds_nothing_is_told_in_words(asked, what):
    with pytest.raises(Problem) as no:
        find.search(asked, what)
    assert no.value.cure


# --- calls -----------------------------------------------------------------------------------------------------


def test_every_call_with_its_role():
    app, router = FastAPI(), APIRouter()

    @router.post("/orders/{order}/hold", dependencies=[Depends(Needs(Role.WRITE))], summary="Hold numbers")
    def hold(order: str, why: str, at: int | None = None) -> None: ...

    @app.get("/open", summary="Says nothing of a role")
    def unguarded() -> None: ...

    for page in (calls.PAGE, unit.PAGE, orders.PAGE):
        add(app, page)
    app.include_router(router)
    app.include_router(find.router)
    content = calls.build(asking(app=app))
    told = {(row["method"], row["address"]): row for row in rows(content, "calls")}
    assert told["POST", "/orders/{order}/hold"] == {
        "method": "POST", "address": "/orders/{order}/hold", "gives": "Hold numbers", "asks for": "why, [at]",
        "role": "write",
    }  # fmt: skip
    assert told["GET", "/open"]["role"] == "not said"
    for path in ("/", "/api/", "/calls", "/find", "/orders/{order}/unit", "/api/orders/{order}/unit"):
        assert told["GET", path]["role"] == "read", path
    assert told["GET", "/find"]["asks for"] == "what, [order]"
    tables = [row for (_, path), row in told.items() if path.startswith("/orders/{order}/unit/table/")]
    assert [row["role"] for row in tables] == ["read"]
    assert any("/openapi.json" in part for part in content.parts if isinstance(part, str))

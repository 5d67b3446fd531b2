"""The hand that writes a shop's records, for tests that begin with records: each with its machine's number and a time.

    hand = Hand()
    hand.pile("P1", 10)                                        a roll, cut to a pile of 10 sheets
    hand.write("print", unit="P1", to="P2", work="background")
    hand.reading().thread ...

A sheet bears UPS notes; one series, S, and one of replacements, S spare.  All names are invented.
"""

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from reelmark import records as rec
from reelmark.order import Delivery, Layout, Order, Series
from reelmark.reading import Reading
from reelmark.shop import Shop
from reelmark.works import Machine, Works

__all__ = ["CUT_OFF", "ORDER", "UPS", "WORKS", "Hand", "record"]

UPS, CUT_OFF = 2, 40_000  # notes on a sheet; um
ORDER = Order(
    name="T-1",
    issuer="Note Commission of Nowhere",
    notes=400,
    layout=Layout(2, 1, 15_000, 30_000, CUT_OFF, margin_along=5_000),
    lanes=1,
    series=(Series("S", 1, 3), Series("S spare", 1, 3, prefix="R")),
    deliveries=(Delivery(400, "2027-06-30"),),
)
# record kind -> the machine that writes it, and the station it stands at
_BY = {
    "roll": ("film line", "film"), "pass": ("coater", "coat"), "mark": ("viewer", "window"),
    "slit": ("sheeter", "sheet"), "sheet": ("sheeter", "sheet"), "print": ("press", "press"),
    "turn": ("turner", "press"), "pull": ("table", "press"), "split": ("table", "press"), "join": ("table", "press"),
    "number": ("numbering press", "numbering"), "read": ("numbering press", "numbering"),
    "cut": ("guillotine", "finish"), "pack": ("banding line", "finish"), "count": ("counting room", "finish"),
    "destroy": ("counting room", "finish"), "sight": ("table", "press"), "allocate": ("office", "numbering"),
    "move": ("office", "numbering"), "correct": ("office", "numbering"),
}  # fmt: skip
WORKS = Works(
    name="Nowhere Note Works",
    origin="nowhere.example/journal",
    zone="Etc/UTC",
    machines=tuple(Machine(name, station, "") for name, station in dict.fromkeys(_BY.values())),
)
START = datetime(2027, 3, 1, 6, tzinfo=UTC)
TWO = {"allocate", "destroy", "correct"}


def record(kind: str, seq: int, minute: int, **body: Any) -> rec.Record:
    """One record as the intake would hand it on; anything in body stands as given."""
    head: dict[str, Any] = {"kind": kind, "machine": _BY[kind][0], "seq": seq, "by": "A. Quennel"}
    head["at"] = START + timedelta(minutes=minute)
    if kind in TWO:
        head["by2"] = "B. Tarrow"
    made: rec.Record = rec.adapter().validate_python(head | body)
    return made


class Hand:
    """Writes records one after another, a minute apart."""

    def __init__(self) -> None:
        self.records: list[rec.Record] = []
        self._last: Counter[str] = Counter()

    def next(self, kind: str, **body: Any) -> rec.Record:
        """The record that would come next, not yet written."""
        return record(kind, self._last[_BY[kind][0]] + 1, len(self.records), **body)

    def write(self, kind: str, **body: Any) -> rec.Record:
        """Written at the end of the book."""
        self.records.append(self.next(kind, **body))
        self._last[self.records[-1].machine] += 1
        return self.records[-1]

    def pile(self, name: str, sheets: int) -> str:
        """A roll of film of its own, cut to a white pile without waste."""
        length = f"{sheets * CUT_OFF} um"
        self.write("roll", unit=f"R {name}", length=length, lanes=1)
        self.write("sheet", unit=f"R {name}", to=name, first_cut="0 m", sheets=sheets)
        return name

    def printed(self, unit: str, to: str, pulls: Sequence[tuple[int, int]] = (), **more: Any) -> str:
        """Through the press, with sheets pulled at known places: (start, sheets)."""
        body = {"pulls": [{"start": start, "sheets": sheets} for start, sheets in pulls]} | more
        self.write("print", unit=unit, to=to, work="background", **body)
        return to

    def numbered(self, unit: str, to: str, ticks: int, first_tick: int = 0, **more: Any) -> str:
        """Under the boxes of series S, in blocks of 100 that fall."""
        body = {"series": "S", "first": "A001", "first_tick": first_tick, "ticks": ticks, "block": 100}
        self.write("number", **(body | {"unit": unit, "to": to, "descending": True} | more))
        return to

    def shop(self) -> Shop:
        """All records taken in."""
        shop = Shop(ORDER, WORKS)
        for seq, one in enumerate(self.records):
            shop.take(seq, one)
        return shop

    def reading(self) -> Reading:
        """All records read."""
        return Reading.of(ORDER, WORKS, self.records)


def packed() -> Hand:
    """100 sheets numbered, sheet 10 pulled, the rest cut and banded; 10 sheets of replacements, 2 notes put in."""
    hand = Hand()
    hand.write("allocate", series="S", first="A001", last="A400", purpose="order")  # 0
    hand.write("allocate", series="S spare", first="RA001", last="RA200", purpose="replacement")  # 1
    hand.pile("P1", 100)  # 2, 3
    hand.write("mark", unit="R P1", lanes=[1], start="1 m", end="1.12 m", fault="pinhole", seen_by="viewer")  # 4
    hand.printed("P1", "P2")  # 5
    hand.numbered("P2", "N1", 100)  # 6
    hand.write("pull", unit="N1", to="N2", pulls=[{"start": 10, "sheets": 1}], counted_out=99)  # 7
    hand.pile("P3", 10)  # 8, 9
    hand.printed("P3", "P4")  # 10
    hand.numbered("P4", "N3", 10, series="S spare", first="RA001")  # 11
    hand.write("cut", unit="N3")  # 12
    hand.write("cut", unit="N2", counted_in=99)  # 13
    instead = [{"number": "A011", "by": "RA091"}, {"number": "A111", "by": "RA092"}]
    hand.write("pack", series="S", first="A001", last="A200", replaced=instead)  # 14
    hand.write("count", series="S", first="A101", last="A200", counted=99)  # 15
    return hand

"""An order's state in few figures: what each station gave, where the notes are, what is to make, what is doubtful."""

from typing import Any

from ..reading import Reading
from ..way import Station
from .balance import balance
from .recall import numbered_units
from .strips import Track, strips

__all__ = ["state"]

SPOILED = ("spoiled", "sample", "destroyed")  # kinds of account that no note comes out of


def state(reading: Reading) -> dict[str, Any]:
    """The state.  notes : what became of them; stations : in the order of the way; doubt : what is not pinned down."""
    books = balance(reading)
    notes = _notes(reading, books["accounts"])
    ordered, packed = reading.order.notes, notes["packed_good"]
    return {
        "order": reading.order.name,
        "ordered": ordered,
        "to_make": max(0, ordered - packed),
        "notes": notes,
        "stations": _stations(reading, notes),
        "balanced": books["balanced"],
        "differences": len(books["differences"]) + len(books["faults"]),
        "settled": len(books["settled"]),
        "doubt": _doubt(reading, books["accounts"]),
        "deliveries": _deliveries(reading, packed),
    }


def _notes(reading: Reading, lines: list[dict[str, Any]]) -> dict[str, int]:
    """Notes by what became of them.  Every note cut is in one of the first five."""

    def cut(place: str | None, *kinds: str) -> int:
        split = [(*line["account"].split(":"), line) for line in lines if line["measure"] == "notes"]
        return sum(line["holds"] for where, kind, line in split if kind in kinds and place in (None, where))

    on_sheets = _on_sheets(reading)
    return {
        "packed_good": cut("packed", "good"),
        "cut_not_packed": cut(None, "good") - cut("packed", "good"),
        "held": cut(None, "held"),
        "spoiled": cut(None, *SPOILED),
        "in_doubt": cut(None, "difference"),
        **{name: sheets * reading.order.layout.ups for name, sheets in on_sheets.items()},
    }


def _on_sheets(reading: Reading) -> dict[str, int]:
    """Sheets by what they may become: not cut yet, held among them, with numbers among them; spoiled."""
    books, numbered = reading.accounting.books, numbered_units(reading)
    every = [(unit, account.kind, held.size) for unit, lane in books.places() if books.measures[unit] == "sheets"
             for account, held in books.accounts((unit, lane)).items()]  # fmt: skip
    uncut = [(unit, kind, many) for unit, kind, many in every if kind in ("good", "held")]
    return {
        "on_sheets": sum(many for _, _, many in uncut),
        "on_sheets_held": sum(many for _, kind, many in uncut if kind == "held"),
        "on_sheets_numbered": sum(many for unit, _, many in uncut if unit in numbered),
        "on_sheets_spoiled": sum(many for _, kind, many in every if kind in SPOILED),
    }


def _stations(reading: Reading, notes: dict[str, int]) -> list[dict[str, Any]]:
    """What left each station or stands there ready: least and most, where pulls were not counted."""
    rows = []
    for strip in strips(reading):
        web = strip.station.counts_in == "m of web"
        for track in strip.tracks:
            if track.key in (f"{strip.station.name}.rolls", f"{strip.station.name}.piles"):
                rows.append(_gave(strip.station, track))
        if strip.station.name == "finish":
            packed = notes["packed_good"]
            rows.append(_row(strip.station, strip.station.gives, "notes", packed, packed, None))
        elif not any(row["station"] == strip.station.name for row in rows):
            measure = "m" if web else strip.station.counts_in
            rows.append(_row(strip.station, f"{strip.station.gives}s", measure, 0, 0, 0))
    return rows


def _gave(station: Station, track: Track) -> dict[str, Any]:
    if track.measure == "um":  # rolls of one slitting lie side by side: metres of web, not of lanes
        return _row(station, track.words, "m", track.length / 1e6, track.length / 1e6, len(track.boxes))
    low, high = sum(box.sure for box in track.boxes), track.length
    return _row(station, track.words, track.measure, low, high, len(track.boxes))


def _row(station: Station, gives: str, measure: str, low: float, high: float, units: int | None) -> dict[str, Any]:
    return {"station": station.name, "gives": gives, "measure": measure, "low": low, "high": high, "units": units}


def _doubt(reading: Reading, lines: list[dict[str, Any]]) -> dict[str, int]:
    """Sheets and notes booked as a difference; pulls that nobody counted and no count has pinned down since."""
    difference = [line for line in lines if line["account"].endswith(":difference")]
    known = [(low, high) for low, high in reading.thread.lengths.known.values() if low != high]
    return {
        "sheets": sum(line["holds"] for line in difference if line["measure"] == "sheets"),
        "notes": sum(line["holds"] for line in difference if line["measure"] == "notes"),
        "pulls": len(known),
        "pulls_low": sum(low for low, _ in known),
        "pulls_high": sum(high for _, high in known),
    }


def _deliveries(reading: Reading, packed: int) -> list[dict[str, Any]]:
    """Deliveries by their day: what is packed good is counted against each in turn.  next : the first not complete."""
    in_turn = sorted(reading.order.deliveries, key=lambda one: one.by)
    rows, due, open_yet = [], 0, True
    for one in in_turn:
        ready = max(0, min(one.notes, packed - due))
        due += one.notes
        missing = one.notes - ready
        rows.append({"by": one.by, "notes": one.notes, "due": due, "packed": ready, "missing": missing,
                     "next": open_yet and missing > 0})  # fmt: skip
        open_yet = open_yet and missing == 0
    return rows

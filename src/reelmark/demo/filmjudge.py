"""The film's faults: found from the gauge's files alone, then planted against found."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

from ..errors import BadValue
from ..io.gauge import read_gauge
from ..stations.film.gauge import GaugeMark, Model, read_roll
from .filmline import FEWEST, FilmRoll

__all__ = ["film_found", "film_judged"]

Found = dict[str, Any]

# How far off a finding may lie.  Ends of what comes on slowly are known to a share of the roll only; a narrow line is
# told as wide as the gauge's values stand apart, so its depth is not compared.  Our own study, over seeds 0 to 19.
ENDS: Final = {"wave": 0.07, "die line": 0.10, "drift": 0.15}  # share of the roll
DROP_ENDS: Final = 1.0  # m
CLOSE: Final = {"period_s": 0.1, "seconds": 2.4}  # s
SIZE: Final = 0.35  # share of the size planted


def film_found(files: Iterable[Path]) -> tuple[list[Found], list[Found]]:
    """(marks as {"name", "what"}, rolls as they were read), from the gauge's files and nothing else."""
    marks: list[Found] = []
    rolls: list[Found] = []
    for path in files:
        for roll, columns in read_gauge(path).items():
            more, read = _read(roll, columns)
            marks += more
            rolls.append(read)
    return marks, rolls


def _read(roll: str, columns: dict[str, Any]) -> tuple[list[Found], Found]:
    told: Found = {"roll": roll, "values": len(columns["time_s"]), "to_m": float(columns["metre_m"][-1])}
    try:
        reading = read_roll(roll, **columns)
    except BadValue as refused:
        return [], told | {"passes": 1, "mean_um": None, "marks": None, "note": f"too short: {refused.true}"}
    passes, mean = reading.model.records.passes, round(reading.verdict.mean_um, 3)
    told |= {"passes": passes, "mean_um": mean}
    if passes < FEWEST:
        note = f"too short: {passes} passes of the head, marks are looked for from {FEWEST} on"
        return [], told | {"marks": None, "note": note}
    found = [{"name": mark.kind, "what": _what(roll, mark, reading.model)} for mark in reading.marks]
    return found, told | {"marks": len(found), "note": None}


def _what(roll: str, mark: GaugeMark, model: Model) -> Found:
    places = {name: round(float(getattr(mark, name)), 3) for name in ("from_m", "to_m", "from_mm", "to_mm", "size_um")}
    what = {"roll": roll, **places}
    if mark.kind == "wave":
        what["period_s"] = round(min(model.waves, key=lambda w: abs(w.amplitude_um - mark.size_um)).period_s, 3)
    if mark.kind == "pressure drop":
        what["seconds"] = round((mark.to_m - mark.from_m) / model.records.speed_m_s, 1)
    return what | {"text": mark.says}


def film_judged(film: Iterable[FilmRoll], found: list[Found]) -> list[dict[str, Any]]:
    """Each planted fault with the finding that agrees, or None; false alarms after them."""
    left, judged = list(found), []
    for roll in film:
        for one in roll.planted:
            fits = [f for f in left if f["name"] == one.name and _agree(one.name, one.planted, f["what"], roll)]
            if fits:
                left.remove(fits[0])
            what = fits[0]["what"] if fits else None
            judged.append({"name": one.name, "planted": one.planted, "found": what, "agrees": bool(fits)})
    return judged + [{"name": f["name"], "planted": None, "found": f["what"], "agrees": False} for f in left]


def _agree(name: str, planted: Found, found: Found, roll: FilmRoll) -> bool:
    """On the same roll, ends, size and seconds within what the head of this file allows."""
    far = ENDS[name] * roll.length_m if name in ENDS else DROP_ENDS
    near = all(abs(planted[key] - found[key]) <= far for key in ("from_m", "to_m"))
    near &= all(abs(planted[key] - found[key]) <= most for key, most in CLOSE.items() if key in planted)
    if name != "die line":
        near &= abs(planted["size_um"] - found["size_um"]) <= SIZE * abs(planted["size_um"])
    return bool(near and planted["roll"] == found["roll"] and planted["size_um"] * found["size_um"] > 0)

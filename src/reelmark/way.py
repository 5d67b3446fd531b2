"""The way of the material, from resin to packs, as data.

One tuple in the order in which material moves.  The ``way`` command, the manual's picture, the strips and the
test that folders agree with the design are all drawn from it; nothing else in the package lists the stations.
"""

from dataclasses import dataclass

__all__ = ["WAY", "Station", "after", "before", "station"]


@dataclass(frozen=True, slots=True)
class Station:
    """One station: what it takes, what it gives, and the whole number it counts in."""

    name: str
    takes: str
    gives: str
    counts_in: str
    does: str


WAY: tuple[Station, ...] = (
    Station("film", "resin", "film roll", "m of web", "melt, tube, bubble, lay-flat, wound film"),
    Station("coat", "film roll", "white roll", "m of web", "white coats, with windows left clear"),
    Station("window", "white roll", "seen roll", "m of web", "every window looked at"),
    Station("optic", "seen roll", "written roll", "m of web", "diffractive pictures written in the windows"),
    Station("sheet", "written roll", "white pile", "sheets", "slit to lanes, cut to sheets, piled"),
    Station("press", "white pile", "printed pile", "sheets", "background and relief, pass by pass"),
    Station("numbering", "printed pile", "numbered pile", "sheets", "a number at every position"),
    Station("finish", "numbered pile", "packs", "notes", "cut to notes, packs of 100, bundles of 1,000"),
)


def station(name: str) -> Station:
    """The station of that name; KeyError names those there are."""
    for one in WAY:
        if one.name == name:
            return one
    raise KeyError(f"no station {name!r} on the way; there are {', '.join(s.name for s in WAY)}")


def before(name: str) -> Station | None:
    """The station the material comes from, or None at the film line."""
    place = WAY.index(station(name))
    return WAY[place - 1] if place else None


def after(name: str) -> Station | None:
    """The station the material goes to, or None after finishing."""
    place = WAY.index(station(name))
    return WAY[place + 1] if place + 1 < len(WAY) else None

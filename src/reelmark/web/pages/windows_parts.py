"""A kept reading in figures and tables: the roll, trends by lane, repeat and encoder, lamp and focus, what is out."""

from collections.abc import Mapping
from functools import partial
from typing import Any, Final

from ...acts.window_view import QUANTITIES, Beyond, Limit, beyond, health
from ...figures.window_strip import strip_of_roll
from ...figures.window_trends import trend_picture
from ...io.windowkept import Kept
from ..content import Cell, Column, Figure, Table
from .film_figures import fig

__all__ = ["figures_of", "health_of", "left_out", "roll_strip", "trends_of"]

TITLES: Final = {"offset": "Offset of the windows", "size": "Size of the windows", "edge": "Width of their edges"}
NOTES: Final = {
    "offset": "How far the middles lie from the lattice, median of a stretch.",
    "size": "Between opposite edges, median of a stretch.",
    "edge": "Standard deviation of the edge's spread, the wider side: it grows where focus, vibration or register do.",
}
KEYS: Final = {
    "centre_sd": "middles about their lattice, spread", "centre_across_sd": "of them across",
    "centre_along_sd": "of them along", "size_across": "size across", "size_along": "size along",
    "size_across_sd": "size across, spread", "size_along_sd": "size along, spread",
    "edge_across": "edges across, width", "edge_along": "edges along, width", "edge_across_sd": "edges across, spread",
    "edge_along_sd": "edges along, spread",
}  # fmt: skip


# ---- the roll


def roll_strip(kept: Kept) -> Figure:
    """The strip, with the stretches that were not seen as its table."""
    lanes, title = kept.told["layout"]["lanes"], f"Roll {kept.roll}"
    rows = [
        [n, one["from_m"], one["to_m"], one["windows"], ", ".join(f"{why} ({many:,})" for why, many in
                                                                  one["why"].items())]
        for n, one in enumerate(kept.answer["gaps"], 1)
    ]  # fmt: skip
    columns = (fig("Stretch"), fig("From", "m", 3), fig("To", "m", 3), fig("Windows not seen"), Column("Why"))
    under = Table("gaps", "Stretches not seen", columns, rows, "Every stretch was seen: nothing is left out.", most=40)
    note = (
        "Signs are told apart by their shape, one row a kind in each lane; signs that fall together are one. Hatched: "
        "not seen, with the number of the table below. Lanes are the camera's columns, 1 at the picture's left."
    )
    return Figure("roll", title, lambda alone: strip_of_roll(kept.answer, lanes, title=title, alone=alone), under, note)


# ---- trends


def trends_of(kept: Kept, limits: Mapping[str, Limit]) -> list[Figure]:
    """Offset, size and edges, each with its lanes in a table."""
    found = beyond(kept.told["trends"], limits)
    return [_trend(kept, limits, quantity, [one for one in found if one.name.startswith(quantity)])
            for quantity in QUANTITIES]  # fmt: skip


def _trend(kept: Kept, limits: Mapping[str, Limit], quantity: str, lanes: list[Beyond]) -> Figure:
    rows: list[list[Cell]] = [
        [one.name.split("_")[1], one.lane, one.middle, one.least, one.most, limits[one.name].low,
         limits[one.name].high, one.out, one.of, one.first_m]
        for one in lanes
    ]  # fmt: skip
    columns = (Column("Direction"), fig("Lane"), fig("Median", "mm", 3), fig("Least", "mm", 3), fig("Most", "mm", 3),
               fig("Lower limit", "mm", 3), fig("Upper limit", "mm", 3), fig("Stretches beyond"), fig("Of stretches"),
               fig("First beyond at", "m", 1))  # fmt: skip
    title = TITLES[quantity]
    under = Table(f"{quantity}-lanes", f"{title}, lane by lane", columns, rows,
                  "Nothing was measured: no frame was read.")  # fmt: skip
    assumed = any(one.assumed for name, one in limits.items() if name.startswith(quantity))
    said = " Limits assumed, as far as single windows of this roll are judged: give your own below." if assumed else ""
    draw = partial(trend_picture, quantity, kept.told["trends"], limits, lanes, title=title)
    return Figure(f"{quantity}-trend", title, lambda alone: draw(alone=alone), under, NOTES[quantity] + said)


# ---- repeat, encoder, windows


def figures_of(kept: Kept) -> list[Table]:
    """Repeat and encoder in ppm with what that means; the windows in figures; rollers that are suspected."""
    answer = kept.answer
    columns = (Column("What"), Column("Is", kind="figure"), Column("Unit"), Column("That is"))
    rows = [_ppm("repeat, against its nominal", answer["repeat_ppm"], "web", kept),
            _ppm("encoder, against the lattice", answer["encoder_ppm"], "counter", kept)]  # fmt: skip
    return [
        Table("ppm", "Repeat and encoder", columns, rows),
        Table("windows", "The windows in figures", columns[:3], [_figure(*one) for one in answer["windows"].items()],
              note="Spreads are robust standard deviations: the web's own and the reading's together."),
        _rollers(kept),
    ]  # fmt: skip


def _ppm(what: str, value: float | None, of: str, kept: Kept) -> list[Cell]:
    if value is None:
        return [what, None, "ppm", "not measured: too few frames were read"]
    pitch = kept.told["layout"]["pitch_along_mm"]
    repeat = f"{pitch * value / 1e3:+.2f} um a repeat of {pitch:g} mm, {value:+,.0f} mm a km"
    counter = f"it says {value:+,.0f} mm too much a km" if value else "it agrees with the lattice"
    return [what, f"{value:+,.0f}".replace("-", "−"), "ppm", (repeat if of == "web" else counter).replace("-", "−")]


def _figure(key: str, value: float | None) -> list[Cell]:
    name, _, unit = key.rpartition("_")
    said = None if value is None else f"{value:,.3f}" if unit == "mm" else f"{value:,.1f}"
    return [KEYS.get(name, name.replace("_", " ")), said, unit]


def _rollers(kept: Kept) -> Table:
    rows = [[one["roller"], one["circumference_mm"], one["at_mm"], one["z"], one["times"]]
            for one in kept.answer["rollers"]]  # fmt: skip
    columns = (Column("Roller"), fig("Circumference", "mm", 1), fig("Place on it", "mm", 0),
               fig("Stands out by", "sd", 1), fig("Turns looked at", "", 0))  # fmt: skip
    looked = ", ".join(f"{name} {mm:,.1f} mm" for name, mm in kept.told.get("rollers_mm", {}).items())
    empty = (
        f"No roller is suspected; looked for: {looked}." if looked else
        "No circumference was given: name rollers in layout.toml, or with --roller nip=0.628, and read again."
    )  # fmt: skip
    note = "A suspect leaves marks at its own circumference. Look at it with the machine locked off."
    return Table("rollers", "Roller suspects", columns, rows, empty, note)


# ---- lamp and focus


def health_of(kept: Kept) -> list[Table]:
    """How the camera fared."""
    columns = (Column("What"), Column("Is", kind="figure"), Column("Unit"), Column("That is"))
    rows: list[list[Cell]] = [list(one) for one in health(kept.told)]
    return [Table("health", "Lamp and focus", columns, rows)]


# ---- what is left out, and what the count is made of


def left_out(kept: Kept) -> list[Table]:
    """Parts with their counts; frames that were not used; slips."""
    answer: dict[str, Any] = kept.answer
    parts = [[one["part"], one["from_m"], one["to_m"], one["frames"], one["expected"], one["seen"], one["missing"],
              one["not_seen"]] for one in answer["parts"]]  # fmt: skip
    booked = [[one["file"], one["flash"], one["encoder_mm"], one["why"]] for one in answer["booked"]]
    more = answer["frames"]["booked"] - len(booked)
    slips = [[one["metre_m"], one["slip_mm"]] for one in answer["slips"]]
    return [
        Table("parts", "The count, part by part",
              (fig("Part"), fig("From", "m", 1), fig("To", "m", 1), fig("Frames"), fig("Expected"), fig("Seen"),
               fig("Missing"), fig("Not seen")), parts, "No part: no frame was read.",
              "Each count is made by itself: expected = seen + missing + not seen in every row."),
        Table("booked", "Frames not used", (Column("File"), fig("Flash"), fig("Encoder", "mm", 1), Column("Why")),
              booked, "Every frame was used: nothing is booked.",
              f"{more:,} more are counted and not named one by one." if more > 0 else "", most=40),
        Table("slips", "Slips of the encoder", (fig("At", "m", 1), fig("Slip", "mm", 1)), slips,
              "No slip was seen.", most=40),
    ]  # fmt: skip

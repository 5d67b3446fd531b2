"""Set the line: what a gauge and a width ask of it, as a form and its answer."""

from collections.abc import Mapping
from functools import partial
from typing import Any, Final

from ...acts.film import film_settings, film_sweep, recipe_of
from ...errors import BadValue
from ...figures.swept import swept_picture
from ..content import Column, Field, Figure, Form, Rows, Table
from ..page import Asked

__all__ = ["SWEPT", "ask", "set_form", "settings_of", "sweep_of"]

Setting = tuple[float | None, float | None, float | None, float | None, float, float]
CARE: Final = (
    "Hot melt burns deep: face shield, long gloves, nobody before the die at start-up. Nips and winders: guards first, "
    "locked off before threading. The bubble is under pressure: let it down before cutting."
)


def ask(name: str, title: str, value: float | int | str | None, hint: str = "") -> Field:
    """A number asked for; the field is empty where it was not given."""
    text = "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
    return Field(name, title, "text", text, hint, more={"inputmode": "decimal"})


def set_form(asked: Asked, setting: Setting, kept: Mapping[str, str]) -> Form:
    """gauge um, width m, speed m/min, output kg/h, draw ratios; kept : what else stands in the address."""
    gauge, width, speed, output, across, along = setting
    if not any(one is not None for one in setting[:4]):
        gauge, width, speed = 75.0, 2.8, 25.0
    hidden = [Field(name, "", "hidden", value) for name, value in kept.items()]
    fields = (
        ask("gauge", "Gauge, um", gauge, "of the finished film"), ask("width", "Lay-flat width, m", width),
        ask("speed", "Speed, m/min", speed), ask("output", "Output, kg/h", output, "give three of these four"),
        ask("draw_across", "Draw ratio across", across), ask("draw_along", "Draw ratio along", along),
        Field("sweep", "Sweep", "select", choices=(("", "nothing"), *((key, one[0]) for key, one in SWEPT.items()))),
        ask("sweep_from", "From", None, "in the unit above"), ask("sweep_to", "To", None), *hidden,
    )  # fmt: skip
    says = "All other values are set with reelmark film set, where each can be replaced by the works' own."
    return Form("Set the line", f"{asked.base}/film", fields, "Work out", says=says, caution=CARE)


ENDS: Final = (
    ("_kg_m2", "kg m²"), ("_kg_h", "kg/h"), ("_m_min", "m/min"), ("_m3_h", "m³/h"), ("_kj_kg", "kJ/kg"), ("_um", "um"),
    ("_mm", "mm"), ("_m3", "m³"), ("_mbar", "mbar"), ("_pa", "Pa"), ("_kpa", "kPa"), ("_mpa", "MPa"), ("_n", "N"),
    ("_kw", "kW"), ("_degc", "°C"), ("_percent", "%"), ("_kg", "kg"), ("_s", "s"), ("_m", "m"), ("_hours", "h"),
)  # fmt: skip


def _named(key: str) -> tuple[str, str]:
    """(words, unit) of a key that ends in its unit."""
    if key.startswith("hours_"):
        return key.replace("_", " "), "h"
    end, unit = next(((end, unit) for end, unit in ENDS if key.endswith(end)), ("", ""))
    return key.removesuffix(end if end != "_hours" else "").replace("_", " "), unit


def settings_of(asked: Asked, setting: Setting) -> tuple[Table | str, ...]:
    """The settings, what they hold for, and what they rest on."""
    told = asked.now.recent(("film settings", setting), lambda _: film_settings(recipe_of(_wanted(setting))))
    rows = [[*_named(key), _value(value)] for key, value in told.items() if isinstance(value, float | int)]
    memory = [[one["name"], _value(one["value"]), one["unit"], one["source"]] for one in told["from_memory"]]
    notes = [[block, note] for block, some in told["notes"].items() for note in some]
    return (
        Table("settings", "Settings of the line", (Column("What"), Column("Unit"), Column("Is", kind="figure")), rows,
              note="Estimates for engineers. Any other input swept: reelmark film set --sweep."),
        Table("settings-hold", "Where they hold", (Column("Of"), Column("Note")), notes),
        Table("from-memory", "They rest on values that were read nowhere",
              (Column("Value"), Column("Is", kind="figure"), Column("Unit"), Column("Source")), memory,
              note="Put the works' own in their place: reelmark film set --material, --line."),
        f"Caution: {' '.join(told['cautions'])}",
    )  # fmt: skip


SWEPT: Final = {  # what may be swept: words, unit on the page, SI of that unit
    "gauge": ("gauge", "um", 1e-6), "width": ("lay-flat width", "m", 1.0), "speed": ("speed", "m/min", 1 / 60),
    "output": ("output", "kg/h", 1 / 3600), "draw_across": ("draw ratio across", "", 1.0),
    "draw_along": ("draw ratio along", "", 1.0),
}  # fmt: skip
ANSWERS: Final = {
    "output_kg_h": "output, kg/h", "gauge_um": "gauge, um", "cast_wall_mm": "cast wall, mm",
    "bubble_pressure_mbar": "bubble pressure, mbar", "cooling_duty_kw": "cooling duty, kW",
    "bath_length_m": "bath length, m", "hours_per_roll": "hours per roll, h",
}  # fmt: skip
STEPS: Final = 15


def sweep_of(asked: Asked, setting: Setting, field: str, low: float, high: float) -> tuple[Figure, ...]:
    """One input from low to high, in the page's units; BadValue where it is none of those given or runs backwards."""
    words, unit, si = SWEPT[field]
    given = dict(zip(("gauge", "width", "speed", "output"), setting[:4], strict=True))
    if field in given and given[field] is None:
        raise BadValue("sweep", field, f"{field} is found from the others here", "sweep one of those that are given")
    if not low < high:
        raise BadValue("sweep_from, sweep_to", (low, high), "the first is not below the second", "give the lower first")
    values = [low + (high - low) * n / (STEPS - 1) for n in range(STEPS)]
    key = ("film sweep", setting, field, low, high)
    told = asked.now.recent(key, lambda _: film_sweep(recipe_of(_wanted(setting)), field, [v * si for v in values]))
    across = f"{words}, {unit}" if unit else words
    answers = {one: said for one, said in ANSWERS.items() if said != across}
    columns = (Column(across, kind="figure", places=3),
               *(Column(said, kind="figure", places=3) for said in answers.values()), Column("Refused"))  # fmt: skip
    rows: Rows = [
        [value, *(row.get(one) for one in answers), row.get("refused")]
        for value, row in zip(values, told["rows"], strict=True)
    ]
    table = Table("swept", f"Swept: {across}", columns, rows)
    draw = partial(_drawn, across, values, told["rows"], answers)
    note = "A gap where the recipe is refused, with why in the table."
    return (Figure("sweep", f"What {words} does", draw, table, note),)


def _drawn(across: str, values: list[float], rows: list[dict[str, Any]], answers: dict[str, str], alone: bool) -> str:
    return swept_picture(across, values, rows, answers, alone=alone)


def _wanted(setting: Setting) -> dict[str, float | None]:
    gauge, width, speed, output, across, along = setting
    return {
        "gauge": gauge and gauge * 1e-6, "width": width, "speed": speed and speed / 60,
        "output": output and output / 3600, "draw_across": across, "draw_along": along,
    }  # fmt: skip


def _value(value: Any) -> str:
    if not isinstance(value, float | int):
        return str(value)
    return f"{value:,.0f}" if abs(value) >= 1e4 else f"{value:.5g}" if abs(value) < 1000 else f"{value:,.1f}"

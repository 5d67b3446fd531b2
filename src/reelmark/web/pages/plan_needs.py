"""What is to be started for the orders of a plan, back to resin, and what each stage takes and gives."""

from typing import Any, Final

from ...acts.planning import plan_needs
from ...errors import Problem
from ..content import Column, Part, Rows, Table
from ..page import Asked

__all__ = ["needs_parts"]

ENDS: Final = (("_kwh", "kWh"), ("_kg", "kg"), ("_km", "km"), ("_m", "m"), ("_h", "h"))
UNITS: Final = {"notes": "notes", "good_sheets": "sheets", "planned_sheets": "sheets", "running_start_sheets": "sheets",
                "naive_start_sheets": "sheets", "sheets": "sheets", "rolls": "rolls", "pulses": "pulses",
                "shifts": "shifts of 8 h", "total_cost": "money"}  # fmt: skip
WORDS: Final = {"running_start_sheets": "start, with overs that suffice",
                "naive_start_sheets": "start, good over the mean yield", "total_cost": "cost, all of it"}  # fmt: skip
INSIDE: Final = {"forms": ("", "pieces"), "machine_h": ("hours of ", "h"), "cost": ("cost of ", "money")}


def needs_parts(asked: Asked, orders: list[str]) -> tuple[Part, ...]:
    """Two tables; why not, where the plant does not tell enough."""
    plant, lives = asked.live.works.plant, asked.house.lives.values()
    known = [live.order for live in lives if live.order.name in orders] or [asked.live.order]
    assert plant is not None
    try:
        told: dict[str, Any] = asked.now.recent(
            ("plan needs", tuple(one.name for one in known)), lambda _: plan_needs(known, plant)
        )
    except Problem as problem:
        return (f"What the order needs cannot be worked out: {problem}.",)
    names = ", ".join(one.name for one in known)
    return (_starts(told["starts"], names), _stages(told["orders"]))


def _starts(starts: dict[str, Any], names: str) -> Table:
    rows: list[list[Any]] = []
    for key, value in starts.items():
        if isinstance(value, dict):
            before, unit = INSIDE.get(key, (f"{key} ", ""))
            rows += [[f"{before}{name}", unit, many] for name, many in value.items()]
        else:
            rows.append([*_named(key), value])
    columns = (Column("what"), Column("unit"), Column("needed", kind="figure"))
    note = f"For all of {names}, from the beginning; what stands in work already is not taken off. "
    return Table("starts", "What to start", columns, rows, note=f"{note}Prices are those of works.toml.")


def _named(key: str) -> tuple[str, str]:
    """(words, unit) of a key that ends in its unit."""
    if key in UNITS:
        return WORDS.get(key, key.replace("_", " ")), UNITS[key]
    for end, unit in ENDS:
        if key.endswith(end):
            return key.removesuffix(end).replace("_", " "), unit
    return key.replace("_", " "), ""


def _stages(orders: list[dict[str, Any]]) -> Table:
    columns = (Column("order"), Column("stage"), Column("unit"), Column("takes", kind="figure"),
               Column("gives", kind="figure"), Column("spoil", kind="figure"), Column("samples", kind="figure"),
               Column("make-ready", kind="figure"), Column("returned", kind="figure"))  # fmt: skip
    rows: Rows = [
        [one["order"], stage["stage"], stage["unit"],
         *(stage[key] for key in ("into", "out", "spoil", "samples", "make_ready", "returned"))]
        for one in orders for stage in one["stages"]
    ]  # fmt: skip
    chances = [f"{one['order']}: {one['overs_sheets']:,} sheets over, enough with probability {one['probability']:.3f}"
               for one in orders]  # fmt: skip
    return Table("stages", "Stage by stage", columns, rows, note=f"{'; '.join(chances)}.")

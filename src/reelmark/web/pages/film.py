"""The film line: settings for a gauge and a width, and what its gauge says of a roll, in nine things and the strips."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal

from fastapi import Query
from pydantic import BeforeValidator, Field

from ...acts.gauge import CAUTIONS, TOLERANCE, Across, assumed_limits
from ...acts.gauge_view import RollView
from ...errors import BadValue, Problem
from ...stations.film.gauge import Costs, Die, Settings
from ..content import Action, Content, Form, Part
from ..content import Field as Question
from ..gauges import FOLDER, GaugeFiles
from ..page import Asked, AskedNow, Page
from .film_line import ask, set_form, settings_of, sweep_of
from .film_parts import parts_of

__all__ = ["FILES", "PAGE"]

CORE_MM, SPOT_MM, ASSUMED = 152.4, 10.0, "assumed: common practice, no source"

FILES: Final = GaugeFiles()
KINDS: Final = (("find", "look for its motion"), ("still", "it stands"), ("rotating", "it turns"),
                ("oscillating", "it, or the haul-off, swings"))  # fmt: skip

_blank = BeforeValidator(lambda value: None if value == "" else value)
Name = Annotated[str, Query(max_length=128)]


Um = Annotated[Annotated[float, Field(ge=0.001, le=2000, allow_inf_nan=False)] | None, _blank, Query()]
Place = Annotated[Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)] | None, _blank, Query()]
Many = Annotated[Annotated[float, Field(ge=0.01, le=1e6, allow_inf_nan=False)] | None, _blank, Query()]
Core = Annotated[Annotated[float, Field(ge=10, le=1000, allow_inf_nan=False)] | None, _blank, Query()]
Spot = Annotated[Annotated[float, Field(ge=0.1, le=500, allow_inf_nan=False)] | None, _blank, Query()]
Lanes = Annotated[Annotated[int, Field(ge=2, le=400)] | None, _blank, Query()]
Index = Annotated[int, Query(ge=1, le=1000)]


@dataclass(frozen=True, slots=True)
class Asks:
    """What is asked of the gauge, as it was asked; None: not."""

    file: str = ""
    roll: str = ""
    target: float | None = None
    tolerance: float | None = None
    noise: float | None = None
    false_a_week: float | None = None
    lanes: int | None = None
    die: str = "find"
    die_s: float | None = None
    dead_s: float | None = None
    elements: str = ""
    core_m: float | None = None
    left_mm: float | None = None
    right_mm: float | None = None
    core_mm: float | None = None
    spot_mm: float | None = None
    mark: int = 1

    def query(self) -> dict[str, str]:
        """As it stands in an address."""
        given = {name: getattr(self, name) for name in Asks.__dataclass_fields__}
        default = Asks()
        return {name: str(value) for name, value in given.items() if value != getattr(default, name)}


def build(
    asked: AskedNow,
    file: Name = "",
    roll: Name = "",
    target: Um = None,
    tolerance: Um = None,
    noise: Um = None,
    false_a_week: Many = None,
    lanes: Lanes = None,
    die: Literal["find", "still", "rotating", "oscillating"] = "find",
    die_s: Many = None,
    dead_s: Many = None,
    elements: Annotated[str, Query(max_length=400)] = "",
    core_m: Place = None,
    left_mm: Place = None,
    right_mm: Place = None,
    core_mm: Core = None,
    spot_mm: Spot = None,
    mark: Index = 1,
    gauge: Um = None,
    width: Many = None,
    speed: Many = None,
    output: Many = None,
    draw_across: Many = None,
    draw_along: Many = None,
    sweep: Literal["", "gauge", "width", "speed", "output", "draw_across", "draw_along"] = "",
    sweep_from: Many = None,
    sweep_to: Many = None,
) -> Content:
    """One roll of one file, and the settings of the line where they are asked."""
    asks = Asks(file, roll, target, tolerance, noise, false_a_week, lanes, die, die_s, dead_s, elements, core_m,
                left_mm, right_mm, core_mm, spot_mm, mark)  # fmt: skip
    setting = (gauge, width, speed, output, draw_across or 7.0, draw_along or 6.0)
    line: tuple[Part, ...] = settings_of(asked, setting) if any(one is not None for one in setting[:4]) else ()
    if line and sweep:
        if sweep_from is None or sweep_to is None:
            raise BadValue("sweep", sweep, "from and to are not given", "give both, in the unit of the form")
        line = (*sweep_of(asked, setting, sweep, sweep_from, sweep_to), *line)
    form = set_form(asked, setting, asks.query())
    files = FILES.names(asked.live.folder)
    if not files:
        return Content("Film", (_nothing(),), (*line, form, *CAUTIONS_SAID))
    name = file or files[0]
    return _of_roll(asked, asks, name, files, line, form)


CAUTIONS_SAID: Final = (f"Caution: {' '.join(CAUTIONS)}",)


def _nothing() -> str:
    return (
        f"No gauge records yet. Put the gauge's files into the folder {FOLDER}/ of the works, as CSV or Parquet "
        "with the columns roll, time_s, metre_m, across_mm, gauge_um; name a roll as the journal does, and its "
        "marks lie on the strips."
    )


def _of_roll(asked: Asked, asks: Asks, name: str, files: list[str], line: tuple[Part, ...], setting: Form) -> Content:
    """What can be said of the roll; where it cannot be read, why, with the form to ask otherwise."""
    folder = asked.live.folder
    try:
        rolls = FILES.rolls(folder, name)
    except Problem as problem:
        if asks.file or asks.roll:
            raise
        return Content("Film", (f"{problem}.",), (*line, _form(asked, asks, name, files, []), setting, *CAUTIONS_SAID))
    roll = asks.roll or rolls[-1]
    columns, form = FILES.columns(folder, name, roll), _form(asked, asks, name, files, rolls)
    settings = _settings(asked, asks, columns["gauge_um"])
    try:
        view = FILES.view(folder, name, roll, settings, asks.spot_mm or SPOT_MM)
    except Problem as problem:
        return Content(
            "Film", (f"Roll {roll} of {name} cannot be read. {problem}.",), (*line, form, setting, *CAUTIONS_SAID)
        )
    parts = parts_of(asked, view, settings, asks, name, _across(asks, view), FILES.before(folder, name, roll, settings))
    lead = (
        _lead(view, settings, asks),
        *(f"{note[:1].upper()}{note[1:]}." for note in (*view.notes, *view.charts.notes)),
    )
    actions = (Action("Another roll, other limits", "#q-roll-and-limits"), Action("Set the line", "#q-set-the-line"))
    return Content(f"Film roll {roll}", lead, (*line, *parts, form, setting, *CAUTIONS_SAID), actions)


def _lead(view: RollView, settings: Settings, asks: Asks) -> str:
    limits = settings.limits
    assert limits is not None
    target = "" if asks.target is not None else ", the middle of its own readings as none was given"
    tolerance = "" if asks.tolerance is not None else " (assumed: give your own)"
    marks = len(view.marks)
    return (
        f"{view.told['from_m']:,.1f} to {view.told['to_m']:,.1f} m, {len(view.pass_metre_m):,} passes of the head; "
        f"{marks:,} {'mark' if marks == 1 else 'marks'}. Target {limits.target_um:,.2f} um{target}; tolerance "
        f"±{limits.tolerance_um:g} um{tolerance}."
    )


def _settings(asked: Asked, asks: Asks, gauge_um: Any) -> Settings:
    """Limits: the target asked, else the middle of the readings; costs from the order's layout."""
    layout, order = asked.live.order.layout, asked.live.order
    limits = assumed_limits(gauge_um, asks.target, asks.tolerance)
    costs = Costs(layout.cut_off / 1000, order.lanes, layout.ups)
    die, like = _die(asks)
    return Settings(
        lanes=asks.lanes or 40, die=die, like=like, noise_um=asks.noise, elements_m=_elements(asks.elements),
        limits=limits, costs=costs, false_per_week=asks.false_a_week or 1.0, core_mm=asks.core_mm or CORE_MM,
    )  # fmt: skip


def _die(asks: Asks) -> tuple[Any, Die | None]:
    """The die's motion, and what is known of it for the search."""
    dead = asks.dead_s or 0.0
    if asks.die in {"rotating", "oscillating"}:
        if asks.die_s is None:
            raise BadValue(
                "die_s", None, f"the die is {asks.die}, without its period", "give it, or let it be looked for"
            )
        return Die(asks.die_s, asks.die, dead_s=dead), None  # type: ignore[arg-type]
    return ("find" if asks.die == "find" else None), Die(1.0, dead_s=dead)


def _elements(text: str) -> dict[str, float]:
    """`haul-off nip 2.5; winder 1.2`: circumferences in m, by name."""
    found = {}
    for one in (part.strip() for part in text.split(";") if part.strip()):
        name, _, value = one.rpartition(" ")
        try:
            found[name.strip()] = float(value)
        except ValueError as error:
            raise BadValue("elements", one, "it is no name and number", "write haul-off nip 2.5; winder 1.2") from error
        if not (name.strip() and 0.001 <= found[name.strip()] <= 1000):
            raise BadValue("elements", one, "a name and 0.001 to 1,000 m are wanted", "write haul-off nip 2.5")
    return found


def _across(asks: Asks, view: RollView) -> Across:
    left, right = float(view.edges_mm[0]), float(view.edges_mm[-1])
    return Across(left if asks.left_mm is None else asks.left_mm, right if asks.right_mm is None else asks.right_mm)


# ---- forms


def _form(asked: Asked, asks: Asks, name: str, files: list[str], rolls: list[str]) -> Form:
    fields = (
        Question("file", "File", "select", name, f"in the folder {FOLDER}/, newest first",
                 tuple((one, one) for one in files)),
        *([Question("roll", "Roll", "select", asks.roll or rolls[-1], "of this file",
                    tuple((one, one) for one in rolls))] if rolls else []),
        ask("target", "Target, um", asks.target, "empty: the middle of the roll's own readings"),
        ask("tolerance", "Tolerance, ± um", asks.tolerance, f"empty: {TOLERANCE:g}, or 4 % of the target; assumed"),
        ask("noise", "Noise of the gauge alone, um", asks.noise, "standard deviation with head and web stopped"),
        ask("false_a_week", "False alarms a week", asks.false_a_week, "of all charts together; empty: 1"),
        ask("lanes", "Lanes of the gauge", asks.lanes, "2 to 400; empty: 40"),
        Question("die", "Die", "select", asks.die, "how its marks wander across", KINDS),
        ask("die_s", "Period of its motion, s", asks.die_s, "a turn, or there and back"),
        ask("dead_s", "Seconds from nip to gauge", asks.dead_s, "length over speed; empty: 0"),
        Question("elements", "Rolls and gears", "text", asks.elements, "name and circumference in m: haul-off nip 2.5; "
                 "winder 1.2", more={"maxlength": "400"}),
        ask("core_m", "Gauge's metre at the core", asks.core_m, "empty: 0, the counter set to 0 as the roll began"),
        ask("left_mm", "Left edge of the order's lanes, mm", asks.left_mm, "on the gauge's scale; empty: as swept"),
        ask("right_mm", "Right edge, mm", asks.right_mm),
        ask("core_mm", "Core of the wound roll, mm", asks.core_mm, f"diameter; empty: {CORE_MM:g}, {ASSUMED}"),
        ask("spot_mm", "Spot of the gauge's head, mm", asks.spot_mm, f"width; empty: {SPOT_MM:g}, {ASSUMED}"),
    )  # fmt: skip
    says = (
        "The gauge sits before the winder: what it reads first lies at the core. The order's lanes lie evenly between "
        "the edges."
    )
    return Form("Roll and limits", f"{asked.base}/film", fields, "Read", says=says)


PAGE = Page("/orders/{order}/film", "Film", build, menu="order", alone=False)

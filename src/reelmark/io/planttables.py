"""The plant part of works.toml, and STAGES.toml, as pydantic checks them; ``plantfile`` makes values of them."""

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AliasChoices, BaseModel, ConfigDict, Field

from reelmark.fields import Density, Energy, Fraction, Grammage, Length, Power, Seconds
from reelmark.records import Name, Text

__all__ = ["PlantTable", "StagesTable"]

Count = Annotated[int, Field(ge=0, le=2**40, strict=True)]
Some = Annotated[int, Field(ge=1, le=2**40, strict=True)]
Money = Annotated[float, Field(ge=0, le=1e12, allow_inf_nan=False)]
Share = Annotated[Fraction, Field(ge=0, le=1)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Spells = Annotated[list[Text], Field(max_length=100)]
Names = Annotated[list[Name], Field(max_length=1000)]


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class CalendarTable(_Table):
    """Hours of a week."""

    name: Name
    open: Spells
    closed: Annotated[list[date], Field(max_length=5000)] = []


class ShiftTable(_Table):
    """People who are there."""

    name: Name
    open: Spells
    people: Count


class MaintenanceTable(_Table):
    """Hours kept for maintenance."""

    every_weeks: Annotated[int, Field(ge=1, le=520, strict=True)] = 1
    at: Text
    lasts: Seconds


class PlantMachineTable(_Table):
    """A machine as planning sees it."""

    name: Name
    rate: Text
    calendar: Name
    efficiency: Fraction = 1.0
    people: Count = 0
    power: Power = 0.0
    hour_price: Money = 0.0
    maintenance: MaintenanceTable | None = None


class PlantStageTable(_Table):
    """A step of the route."""

    name: Name
    station: Name
    machines: Names
    good: Fraction
    concentration: Number | None = None
    after: Name | None = None
    sample_share: Share = 0.0
    make_ready: Count = 0
    least_wait: Seconds = 0
    most_wait: Seconds | None = None
    stored: Annotated[bool, Field(strict=True)] = False
    family: Literal["order", "stage"] = "order"
    setup: Seconds = 0
    forms: Text | None = None
    forms_life: Count = 0
    forms_set: Some = 1
    ink: Grammage = 0.0
    ink_cover: Share = 1.0
    wiped: Share = 0.0
    coat: Grammage = 0.0
    pulses: Count = 0


class MaterialTable(_Table):
    """What the web is made of."""

    gauge: Length
    density: Density
    lane_width: Length
    edge: Length = 0.0
    roll_length: Length = 8000.0
    roll_loss: Length = 0.0
    resin_trim: Share = 0.0
    regrind: Share = 0.0
    coverage: Share = 1.0
    solids: Share = 1.0
    windows: Count = 1
    resin_energy: Energy = 0.0
    gauge_least: Length = 5e-6  # thinner than any film that is sold as web; from memory
    gauge_most: Length = 1e-3  # thicker is sheet, not film; from memory


class PricesTable(_Table):
    """What things cost."""

    late: Money = 10.0
    setup: Money = 5.0
    span: Money = 1.0
    store: Money = 200.0
    wait: Money = 200.0
    moved: Money = 0.0
    people_hour: Money = 0.0
    kwh: Money = 0.0
    resin_kg: Money = 0.0
    coat_kg: Money = 0.0
    ink_kg: Money = 0.0
    form: Money = 0.0


class PlantTable(_Table):
    """[plant] of works.toml."""

    batch: Some
    reserve: Share = 0.0
    level: Fraction = 0.99
    store: Count | None = None
    calendars: Annotated[list[CalendarTable], Field(max_length=200)] = []
    shifts: Annotated[list[ShiftTable], Field(max_length=200)] = []
    machines: Annotated[list[PlantMachineTable], Field(max_length=1000)] = []
    stages: Annotated[list[PlantStageTable], Field(max_length=100)] = []
    material: MaterialTable
    prices: PricesTable = PricesTable()


def _either(*names: str) -> Any:
    """A field that may be written under any of these names."""
    return Field(default=None, validation_alias=AliasChoices(*names))


class StageTable(_Table):
    """A stage of STAGES.toml: alpha and beta, or mean and concentration, or tried and good."""

    name: Text | None = None
    alpha: Number | None = _either("alpha", "a")
    beta: Number | None = _either("beta", "b")
    mean: Fraction | None = _either("mean", "yield")
    concentration: Number | None = _either("concentration")
    tried: list[Count] | None = _either("tried")
    good: list[Count] | None = _either("good")


class StagesTable(_Table):
    """STAGES.toml."""

    stages: Annotated[
        list[StageTable],
        Field(min_length=1, max_length=200, validation_alias=AliasChoices("stages", "stage")),
    ]

"""The tables of order.toml and works.toml, as pydantic checks them; ``config`` makes values of them."""

from datetime import date
from typing import Annotated, Final

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from reelmark.fields import Micrometres
from reelmark.io.planttables import PlantTable
from reelmark.order import Series
from reelmark.records import Name, Text

__all__ = ["MOST_PLACES", "OrderTable", "SeriesTable", "WorksTable"]

MOST_PLACES: Final = 24  # characters of a number, as in the records
ALPHABET: Final = Series("", 0, 1).alphabet

Few = Annotated[int, Field(ge=1, le=99, strict=True)]
Notes = Annotated[int, Field(ge=1, le=2**40, strict=True)]
Capitals = Annotated[str, StringConstraints(max_length=36, pattern=r"^[0-9A-Z]*$", strict=True)]


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class LayoutTable(_Table):
    """How notes lie on a sheet."""

    rows: Few
    columns: Few
    note_along: Micrometres
    note_across: Micrometres
    cut_off: Micrometres
    margin_along: Micrometres = 0
    margin_across: Micrometres = 0


class SeriesTable(_Table):
    """How the numbers of a series are written."""

    name: Name
    letters: Annotated[int, Field(ge=0, le=MOST_PLACES, strict=True)]
    digits: Annotated[int, Field(ge=1, le=18, strict=True)]
    prefix: Capitals = ""
    alphabet: Annotated[str, StringConstraints(min_length=1, max_length=26, pattern=r"^[A-Z]+$", strict=True)] = (
        ALPHABET
    )
    skip_zero: Annotated[bool, Field(strict=True)] = True


class DeliveryTable(_Table):
    """So many notes by a day."""

    notes: Notes
    by: date


class OrderTable(_Table):
    """order.toml."""

    name: Name
    issuer: Text
    notes: Notes
    lanes: Few
    web_passes: Annotated[int, Field(ge=0, le=99, strict=True)] = 0
    layout: LayoutTable
    series: Annotated[list[SeriesTable], Field(min_length=1)]
    deliveries: Annotated[list[DeliveryTable], Field(min_length=1)]


class MachineTable(_Table):
    """A machine or a hand place."""

    name: Name
    station: Name
    does: Text
    standing: Annotated[bool, Field(strict=True)] = False


class WorksTable(_Table):
    """works.toml."""

    name: Text
    origin: Text
    zone: Text
    machines: Annotated[list[MachineTable], Field(min_length=1)]
    plant: PlantTable | None = None

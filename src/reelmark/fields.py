"""Fields that hold a quantity, for pydantic models of what people and machines write.

    class Roll(BaseModel):
        thickness: Length          # "80 um"       -> 8e-05, float, SI
        length: Micrometres        # "5214.25 m"   -> 5214250000, int, whole um

Outside, a quantity is always a number with its unit, in JSON and in TOML alike; inside, always the SI number or the
whole number.  A bare number is refused (is 65 metres, or micrometres?),
save for a fraction.  Writing a model as JSON gives the unit back,
and reading that gives the same value.  Code that has the SI number already needs no field: it uses float or int.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any

from reelmark import units
from reelmark.errors import BadValue

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationError
    from pydantic.json_schema import JsonSchemaValue
    from pydantic_core import CoreSchema

__all__ = [
    "Area",
    "Density",
    "Energy",
    "Force",
    "Fraction",
    "Grammage",
    "Grams",
    "Length",
    "Mass",
    "MassFlow",
    "Micrometres",
    "Power",
    "Pressure",
    "Seconds",
    "Speed",
    "Temperature",
    "TemperatureStep",
    "Tension",
    "Time",
    "Viscosity",
    "Whole",
    "Written",
    "refusal",
]


@dataclass(frozen=True, slots=True)
class Written:
    """Marks a field as written with a unit of this dimension, and held as a float in SI."""

    dimension: units.Dimension

    def read(self, text: object) -> float:
        """The text as the SI value."""
        return float(units.parse(text, self.dimension))

    def write(self, value: float) -> str:
        """The SI value as text that reads back as the same value."""
        plain = f"{Decimal(repr(value)):f}"
        number = plain if len(plain) <= 24 else repr(value)
        return number if self.dimension is units.FRACTION else f"{number} {self.dimension.si}"

    def __get_pydantic_core_schema__(self, source: Any, handler: "GetCoreSchemaHandler") -> "CoreSchema":
        return _schema(self, handler(source))

    def __get_pydantic_json_schema__(self, _: "CoreSchema", handler: "GetJsonSchemaHandler") -> "JsonSchemaValue":
        kind = ["string", "number"] if self.dimension is units.FRACTION else "string"
        return {"type": kind, "x-unit": self.dimension.si, "examples": [self.dimension.example]}


@dataclass(frozen=True, slots=True)
class Whole:
    """Marks a field as written with a unit, and held as a whole number of the unit named here."""

    symbol: str
    example: str

    def read(self, text: object) -> int:
        """The text as whole units; refused when finer."""
        return units.whole(text, self.symbol)

    def write(self, value: int) -> str:
        """Whole units as text: micrometres in metres, others in their own unit."""
        return units.metres(value) if self.symbol == "um" else f"{value} {self.symbol}"

    def __get_pydantic_core_schema__(self, source: Any, handler: "GetCoreSchemaHandler") -> "CoreSchema":
        return _schema(self, handler(source))

    def __get_pydantic_json_schema__(self, _: "CoreSchema", handler: "GetJsonSchemaHandler") -> "JsonSchemaValue":
        return {"type": "string", "x-unit": self.symbol, "examples": [self.example]}


Length = Annotated[float, Written(units.LENGTH)]
Area = Annotated[float, Written(units.AREA)]
Mass = Annotated[float, Written(units.MASS)]
Time = Annotated[float, Written(units.TIME)]
Speed = Annotated[float, Written(units.SPEED)]
Temperature = Annotated[float, Written(units.TEMPERATURE)]
TemperatureStep = Annotated[float, Written(units.TEMPERATURE_STEP)]
Pressure = Annotated[float, Written(units.PRESSURE)]
Force = Annotated[float, Written(units.FORCE)]
Tension = Annotated[float, Written(units.TENSION)]
Power = Annotated[float, Written(units.POWER)]
Energy = Annotated[float, Written(units.ENERGY)]
Density = Annotated[float, Written(units.DENSITY)]
Grammage = Annotated[float, Written(units.GRAMMAGE)]
MassFlow = Annotated[float, Written(units.MASS_FLOW)]
Viscosity = Annotated[float, Written(units.VISCOSITY)]
Fraction = Annotated[float, Written(units.FRACTION)]

Micrometres = Annotated[int, Whole("um", "5214.25 m")]
Seconds = Annotated[int, Whole("s", "8 h")]
Grams = Annotated[int, Whole("g", "1.5 t")]

# What to do about pydantic's own findings; one of our own brings its cure with it.
CURES = {
    "missing": "add the field",
    "extra_forbidden": "take the field out, or correct its spelling",
    "json_invalid": "correct the JSON at that place",
}


def refusal(error: "ValidationError") -> BadValue:
    """The first finding of a pydantic error in the house form, its field named by its path: 'kept.0.start'."""
    first = error.errors(include_url=False)[0]
    field = ".".join(str(step) for step in first["loc"]) or error.title
    cure = first.get("ctx", {}).get("cure") or CURES.get(first["type"], "correct the field")
    more = error.error_count() - 1
    true = first.get("ctx", {}).get("true") or first["msg"]
    return BadValue(field, first["input"], true, f"{cure} (and {more} more)" if more else cure)


def _schema(mark: Written | Whole, inner: "CoreSchema") -> "CoreSchema":
    """Text through the mark's ``read`` first, then the plain number; text again in JSON."""
    from pydantic_core import PydanticCustomError, core_schema

    def read(text: object) -> float:
        try:
            return mark.read(text)
        except BadValue as bad:
            reason = {"true": bad.true, "cure": bad.cure, "value": repr(text)}
            raise PydanticCustomError("bad_quantity", "{value}: {true}; {cure}", reason) from bad

    return core_schema.no_info_before_validator_function(
        read, inner, serialization=core_schema.plain_serializer_function_ser_schema(mark.write, when_used="json")
    )

"""What there is: the works, its machines and the station each stands at."""

from dataclasses import dataclass

from .errors import BadValue
from .plant import Plant

__all__ = ["Machine", "Works"]


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine or a hand place that writes records.  standing : it is off the standard way (a rewinder, a hand)."""

    name: str
    station: str
    does: str
    standing: bool = False


@dataclass(frozen=True, slots=True)
class Works:
    """The works as configured.  origin : the name its journal is sealed under; plant : what planning knows, if told."""

    name: str
    origin: str
    zone: str
    machines: tuple[Machine, ...]
    plant: Plant | None = None

    def machine(self, name: str) -> Machine:
        """The machine of that name, or BadValue with those there are."""
        for one in self.machines:
            if one.name == name:
                return one
        known = ", ".join(m.name for m in self.machines)
        raise BadValue(
            "machine", name, f"the works has {known}", "correct the record, or add the machine to works.toml"
        )

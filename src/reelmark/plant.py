"""What planning must know of the works: hours, machines, the route, yields, stuff and prices.

    Spread      good share of a stage, as it varies from batch to batch
    Calendar    hours of a week in which work goes on, and days on which it does not
    Plant       calendars, shifts, machines, stages, store, material, prices

Every figure comes from works.toml, where its source stands beside it; nothing here is a figure of the trade.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from typing import Final, Literal, NamedTuple

from . import way
from .errors import BadValue
from .order import Series

__all__ = [
    "DAYS", "LEAST_CONCENTRATION", "LEAST_MEAN", "MOST_OPERATIONS", "WEEK", "Calendar", "Hours", "Maintenance",
    "Material", "PastRuns", "Plant", "PlantMachine", "PlantPrices", "PlantStage", "Rate", "Shift", "Spread",
    "StageYield", "share_numbers",
]  # fmt: skip

WEEK: Final = 7 * 24 * 60  # minutes
DAYS: Final = (date(1900, 1, 1), date(2200, 12, 31))  # of deliveries and calendars: a century before and after any plan
MOST_OPERATIONS: Final = 20_000  # batches times stages in one schedule; a year of sixty orders has some 8,000
LEAST_CONCENTRATION: Final = 0.01  # below it a batch is all good or all lost, and the chance is not reckoned well
MOST_CONCENTRATION: Final = 1e12  # above it every batch is alike: the chance is reckoned to 1e-9
LEAST_MEAN: Final = 1e-9  # a yield that no stage in use has; below it the chance is not reckoned
Measure = Literal["sheets", "m", "notes"]


@dataclass(frozen=True, slots=True)
class Spread:
    """Good share of a stage, Beta(alpha, beta) from batch to batch; within a batch each sheet fares alone.

    mean : 1e-9 <= mean <= 1
    concentration : alpha + beta, 0.01 to 1e12; inf: every batch has the mean

    >>> one = Spread.of(950, 15)
    >>> round(one.mean, 6), one.concentration
    (0.984456, 965)
    """

    mean: float
    concentration: float = math.inf

    def __post_init__(self) -> None:
        if not 0 < self.mean <= 1:
            raise BadValue("mean", self.mean, "a yield lies above 0 and is 1 at most", "write 0.97 for 97 % good")
        if self.mean < LEAST_MEAN:
            raise BadValue("mean", self.mean, f"a yield below {LEAST_MEAN:g} is not reckoned with", "correct it")
        if not (LEAST_CONCENTRATION <= self.concentration <= MOST_CONCENTRATION or self.concentration == math.inf):
            true = f"it lies in {LEAST_CONCENTRATION:g} to {MOST_CONCENTRATION:g}"
            cure = "write alpha + beta, above 0; it grows as batches grow alike; leave it out where all are alike"
            raise BadValue("concentration", self.concentration, true, cure)

    @classmethod
    def of(cls, alpha: float, beta: float) -> "Spread":
        """From the two parameters of the Beta, both finite and above 0."""
        for name, value in (("alpha", alpha), ("beta", beta)):
            if not 0 < value < math.inf:
                cure = "write the two parameters of the Beta, such as alpha = 950, beta = 15"
                raise BadValue(name, value, "it must be above 0 and finite", cure)
        return cls(alpha / (alpha + beta), alpha + beta)

    @property
    def alpha(self) -> float:
        """First parameter of the Beta."""
        return self.mean * self.concentration

    @property
    def beta(self) -> float:
        """Second parameter of the Beta."""
        return (1 - self.mean) * self.concentration

    @property
    def sure(self) -> bool:
        """Every batch has the same share."""
        return self.mean == 1 or math.isinf(self.concentration)

    @property
    def variance(self) -> float:
        """Of the share from batch to batch."""
        return 0.0 if self.sure else self.mean * (1 - self.mean) / (self.concentration + 1)

    def averaged(self, batches: int) -> "Spread":
        """Of the mean share over so many batches that fare alone: the Beta of the same mean and 1/batches of the
        variance.  The mean of Betas is no Beta; its first two moments are these."""
        total = batches * (self.concentration + 1) - 1
        return self if self.sure else Spread(self.mean, total if total <= MOST_CONCENTRATION else math.inf)


class PastRuns(NamedTuple):
    """What past batches of a stage took in, and how many of it came out good."""

    name: str
    tried: tuple[int, ...]
    good: tuple[int, ...]


class StageYield(NamedTuple):
    """A stage and its spread."""

    name: str
    spread: Spread


class Hours(NamedTuple):
    """A stretch of the week in minutes from Monday 00:00, half open; it may run past Sunday's end."""

    begins: int
    ends: int


@dataclass(frozen=True, slots=True)
class Calendar:
    """Hours in which work goes on, week by week, by the clock on the wall, less whole days closed."""

    name: str
    open: tuple[Hours, ...]
    closed: tuple[date, ...] = ()

    def __post_init__(self) -> None:
        if not self.open:
            cure = 'write open = ["Mon 06:00 - Sat 06:00"], or ["always"]'
            raise BadValue(f"calendar {self.name}", "no hours", "nothing is ever done in it", cure)


@dataclass(frozen=True, slots=True)
class Shift:
    """People who are there in these hours; shifts that overlap add up."""

    name: str
    open: tuple[Hours, ...]
    people: int


@dataclass(frozen=True, slots=True)
class Rate:
    """What a machine does in an hour that it runs, of sheets, of m of web, or of notes."""

    per_hour: float
    measure: Measure


@dataclass(frozen=True, slots=True)
class Maintenance:
    """Hours kept every so many weeks from minute `at` of the week; work must not reach over them."""

    every_weeks: int
    at: int
    hours: float


@dataclass(frozen=True, slots=True)
class PlantMachine:
    """A machine as planning sees it.

    efficiency : share of open time in which it runs at its rate
    people : at work on it; power : kW while it runs; hour_price : of an hour, people and power apart
    """

    name: str
    rate: Rate
    calendar: str
    efficiency: float = 1.0
    people: int = 0
    power: float = 0.0
    hour_price: float = 0.0
    maintenance: Maintenance | None = None


@dataclass(frozen=True, slots=True)
class PlantStage:
    """A step of the route.

    good : share of what runs that stays good, batch by batch
    sample_share : of what it gives, taken out as samples; make_ready : sheets or m lost at every set-up
    least_wait, most_wait : hours before the next stage begins (None: as long as you like)
    stored : a batch lies in the store after it
    family : 'order': a set-up wherever another order or stage follows on a machine; 'stage': orders share it
    setup : hours of a set-up; forms : what is mounted, as plates; forms_life : sheets a set lasts, forms_set : in a set
    ink : kg/m2 where it prints; ink_cover : share of the sheet; wiped : share of the ink used that is wiped off again
    coat : dry kg/m2; pulses : at a window
    """

    name: str
    station: str
    machines: tuple[str, ...]
    good: Spread
    sample_share: float = 0.0
    make_ready: int = 0
    least_wait: float = 0.0
    most_wait: float | None = None
    stored: bool = False
    family: Literal["order", "stage"] = "order"
    setup: float = 0.0
    forms: str = ""
    forms_life: int = 0
    forms_set: int = 1
    ink: float = 0.0
    ink_cover: float = 1.0
    wiped: float = 0.0
    coat: float = 0.0
    pulses: int = 0

    @property
    def web(self) -> bool:
        """Counted in m of web; else in sheets, the cutting to notes too."""
        return way.station(self.station).counts_in == "m of web"


@dataclass(frozen=True, slots=True)
class Material:
    """What the web is made of.  Lengths m, densities kg/m3, masses per area kg/m2, shares as fractions.

    gauge : of the clear film, believed from gauge_least to gauge_most
    lane_width : across one lane; edge : both edges together, trimmed off
    roll_length : m of a mother roll; roll_loss : m of it lost to core, tail and splice
    resin_trim : share of the melt that is trimmed or started up; regrind : share of that which goes back in
    coverage : share of the web that a coat covers; solids : dry share of wet coat
    """

    gauge: float
    density: float
    lane_width: float
    edge: float = 0.0
    roll_length: float = 8000.0
    roll_loss: float = 0.0
    resin_trim: float = 0.0
    regrind: float = 0.0
    coverage: float = 1.0
    solids: float = 1.0
    windows: int = 1
    resin_energy: float = 0.0
    gauge_least: float = 5e-6
    gauge_most: float = 1e-3

    def grammage(self) -> float:
        """Of the clear film, kg/m2."""
        return self.gauge * self.density

    def width(self, lanes: int) -> float:
        """Of the film that carries so many lanes, m."""
        return lanes * self.lane_width + self.edge


@dataclass(frozen=True, slots=True)
class PlantPrices:
    """What things cost, in the works' own money.  late, setup, span, store, wait, moved: as in ``jobs.Prices``."""

    late: float = 10.0
    setup: float = 5.0
    span: float = 1.0
    store: float = 200.0
    wait: float = 200.0
    moved: float = 0.0
    people_hour: float = 0.0
    kwh: float = 0.0
    resin_kg: float = 0.0
    coat_kg: float = 0.0
    ink_kg: float = 0.0
    form: float = 0.0


@dataclass(frozen=True, slots=True)
class Plant:
    """All of it.  stages : in the order of the material; batch : notes that travel together.

    reserve : share of the ordered notes made beyond them, as replacements and retained samples
    level : chance asked for that an order's good sheets suffice; store : sheets the secure store holds (None: no limit)
    """

    calendars: tuple[Calendar, ...]
    machines: tuple[PlantMachine, ...]
    stages: tuple[PlantStage, ...]
    material: Material
    batch: int
    reserve: float = 0.0
    level: float = 0.99
    shifts: tuple[Shift, ...] = ()
    store: int | None = None
    prices: PlantPrices = field(default_factory=PlantPrices)

    def __post_init__(self) -> None:
        _known(self)
        _forward(self.stages)

    def machine(self, name: str) -> PlantMachine:
        """The machine of that name."""
        return next(one for one in self.machines if one.name == name)

    def calendar(self, name: str) -> Calendar:
        """The calendar of that name."""
        return next(one for one in self.calendars if one.name == name)


def _known(plant: Plant) -> None:
    """BadValue where something names what is not there."""
    calendars = {one.name for one in plant.calendars}
    machines = {one.name for one in plant.machines}
    for machine in plant.machines:
        if machine.calendar not in calendars:
            raise _unknown(f"{machine.name}: calendar", machine.calendar, calendars, "calendars")
    if not plant.stages:
        raise BadValue("plant.stages", "none", "a plan needs a route", "write [[plant.stages]] in the order of the way")
    for stage in plant.stages:
        if not stage.machines:
            cure = f"name at least one of {', '.join(sorted(machines)) or 'the machines'}"
            raise BadValue(f"{stage.name}: machines", "none", "nothing can do this stage", cure)
        for name in stage.machines:
            if name not in machines:
                raise _unknown(f"{stage.name}: machines", name, machines, "machines with a rate")


def _unknown(where: str, name: str, known: Iterable[str], many: str) -> BadValue:
    listed = ", ".join(sorted(known)) or "none"
    return BadValue(where, name, "there is none of that name", f"the {many} are {listed}; use one, or add it")


def _forward(stages: Sequence[PlantStage]) -> None:
    """BadValue where the route goes back to a station that the material has passed."""
    place = {one.name: at for at, one in enumerate(way.WAY)}
    for before, after in pairwise(stages):
        if place[after.station] < place[before.station]:
            true = f"the route goes from {before.name} ({before.station}) back to {after.station}"
            raise BadValue(f"{after.name}: station", after.station, true, "put the stages in the order of the way")


def share_numbers(one: Series, other: Series) -> bool:
    """Could a text be a number of both series?  Some place must tell them apart, or their length."""
    mine, theirs = _places(one), _places(other)
    return len(mine) == len(theirs) and all(map(set.intersection, mine, theirs))


def _places(one: Series) -> list[set[str]]:
    """The characters that each place of a number can show."""
    return [*({c} for c in one.prefix), *[set(one.alphabet)] * one.letters, *[set("0123456789")] * one.digits]

"""What an order needs: film, resin, coat, ink, pulses, forms, machine and people hours, energy, and what it costs."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from ..order import Order
from ..plant import Measure, Plant, PlantMachine, PlantStage
from .backward import Backward, StageNeed, sheets_of

__all__ = ["Needs", "amount", "hours_on", "needs", "together"]

SHIFT = 8.0  # h; hours are given too


@dataclass(frozen=True, slots=True)
class Needs:
    """Needs of one order or of several together; each name ends in its unit, sheets and rolls are counts.

    running_start_sheets, naive_start_sheets : sheets' worth of web put in at the very beginning, make-ready and samples
        beside it: for the chance asked for, and as good_sheets over the mean yield of all stages
    sheets, web_m : what the order takes in at the first stage that counts in them, roll_loss_m among the web
    wound_m : whole rolls, web_m and left_on_roll_m, which stays as stock; film, melt, resin, film hours, energy and
        cost are of all that is wound
    """

    notes: int
    good_sheets: int
    planned_sheets: int
    running_start_sheets: int
    naive_start_sheets: int
    sheets: int
    web_m: int
    lane_km: float
    rolls: int
    roll_kg: float
    wound_m: int
    roll_loss_m: int
    left_on_roll_m: int
    left_on_roll_kg: float
    film_kg: float
    melt_kg: float
    regrind_kg: float
    resin_kg: float
    coat_dry_kg: float
    coat_wet_kg: float
    ink_on_sheet_kg: float
    ink_kg: float
    pulses: int
    forms: dict[str, int]
    machine_h: dict[str, float]
    shifts: float
    people_h: float
    energy_kwh: float
    cost: dict[str, float]
    total_cost: float

    def as_dict(self) -> dict[str, Any]:
        """Flat, as JSON takes it."""
        return asdict(self)


def needs(back: Backward, plant: Plant) -> Needs:
    """All that the way back of an order asks for."""
    order, stuff = back.order, plant.material
    web, sheets = back.first_web, back.first_sheets
    web_m = web.runs if web else 0
    metre = stuff.width(order.lanes) * stuff.grammage()  # kg
    film = metre * (web.into if web else 0)
    melt = film / (1 - stuff.resin_trim)
    regrind = (melt - film) * stuff.regrind
    dry = sum(one.runs * order.lanes * stuff.lane_width * stuff.coverage * one.stage.coat for one in back.stages)
    on_sheet, ink = _ink(back, plant)
    hours = _machine_hours(back, plant)
    people = sum(plant.machine(name).people * h for name, h in hours.items())
    energy = sum(plant.machine(name).power * h for name, h in hours.items()) + (melt - regrind) * stuff.resin_energy
    forms = _forms(back)
    cost = _cost(plant, hours, people, energy, {
        "resin_kg": melt - regrind, "coat_kg": dry / stuff.solids, "ink_kg": ink, "form": float(sum(forms.values())),
    })  # fmt: skip
    return Needs(
        notes=back.notes, good_sheets=back.good, planned_sheets=back.planned,
        running_start_sheets=back.start.start, naive_start_sheets=back.naive.start,
        sheets=sheets.into if sheets else 0, web_m=web_m, lane_km=web_m * order.lanes / 1000, rolls=back.rolls,
        roll_kg=stuff.roll_length * metre, wound_m=web.into if web else 0, roll_loss_m=web.roll_loss if web else 0,
        left_on_roll_m=web.returned if web else 0, left_on_roll_kg=metre * web.returned if web else 0.0,
        film_kg=film, melt_kg=melt, regrind_kg=regrind, resin_kg=melt - regrind, coat_dry_kg=dry,
        coat_wet_kg=dry / stuff.solids, ink_on_sheet_kg=on_sheet, ink_kg=ink,
        pulses=sum(_pulses(one, order, plant) for one in back.stages), forms=forms, machine_h=hours,
        shifts=sum(hours.values()) / SHIFT, people_h=people, energy_kwh=energy, cost=cost,
        total_cost=sum(cost.values()),
    )  # fmt: skip


def _ink(back: Backward, plant: Plant) -> tuple[float, float]:
    """(kg on the sheets, kg used): a recessed plate's ink is partly wiped off again."""
    area = back.order.layout.cut_off * 1e-6 * plant.material.lane_width
    on_sheet = [one.runs * area * one.stage.ink * one.stage.ink_cover for one in back.stages]
    used = [kg / (1 - one.stage.wiped) for kg, one in zip(on_sheet, back.stages, strict=True)]
    return sum(on_sheet), sum(used)


def _pulses(one: StageNeed, order: Order, plant: Plant) -> int:
    sheets = sheets_of(one.runs, order) if one.unit == "m" else one.runs
    return sheets * order.layout.ups * plant.material.windows * one.stage.pulses


def _forms(back: Backward) -> dict[str, int]:
    """Plates, cylinders and the like, by name: sets that the sheets wear out, times what is in a set."""
    found: Counter[str] = Counter()
    for one in back.stages:
        if one.stage.forms:
            life = one.stage.forms_life or one.runs
            found[one.stage.forms] += -(-one.runs // life) * one.stage.forms_set
    return dict(found)


def amount(runs: int, stage: PlantStage, measure: Measure, order: Order) -> float:
    """What runs on a stage, in the measure of a machine's rate."""
    sheets = runs * order.lanes * 1e6 / order.layout.cut_off if stage.web else float(runs)
    if measure == "m":
        return float(runs) if stage.web else sheets * order.layout.cut_off / (order.lanes * 1e6)
    return sheets * order.layout.ups if measure == "notes" else sheets


def hours_on(machine: PlantMachine, runs: int, stage: PlantStage, order: Order) -> float:
    """Open hours that one machine takes for so much of a stage, set-up left out."""
    return amount(runs, stage, machine.rate.measure, order) / (machine.rate.per_hour * machine.efficiency)


def _machine_hours(back: Backward, plant: Plant) -> dict[str, float]:
    """Hours by machine; machines that share a stage share it so that they end together; set-ups on the first."""
    found: Counter[str] = Counter()
    for one in back.stages:
        alone = {name: hours_on(plant.machine(name), one.into, one.stage, back.order) for name in one.stage.machines}
        shared = 1 / sum(1 / max(h, 1e-12) for h in alone.values())
        for name in alone:
            found[name] += shared  # type: ignore[assignment]
        found[one.stage.machines[0]] += one.stage.setup * back.setups  # type: ignore[assignment]
    return dict(found)


def _cost(
    plant: Plant, hours: Mapping[str, float], people: float, energy: float, stuff: Mapping[str, float]
) -> dict[str, float]:
    prices = plant.prices
    costs = {
        "machines": sum(plant.machine(name).hour_price * h for name, h in hours.items()),
        "people": people * prices.people_hour,
        "energy": energy * prices.kwh,
    }
    return costs | {name.removesuffix("_kg"): many * float(getattr(prices, name)) for name, many in stuff.items()}


def together(every: Iterable[Needs]) -> dict[str, Any]:
    """The needs of several orders added up, key by key; the mass of a roll is the first order's."""
    total: dict[str, Any] = {}
    for one in every:
        for key, value in one.as_dict().items():
            if isinstance(value, dict):
                total[key] = dict(Counter(total.get(key, {})) + Counter(value)) if key in total else dict(value)
            elif key == "roll_kg":
                total.setdefault(key, value)
            else:
                total[key] = total.get(key, 0) + value
    return total

"""From notes ordered back to the web of the film line, stage by stage, in whole sheets and whole metres.

    into = out + spoil + samples + make_ready + returned          at every stage, in integers

A stage gives `out`; of what runs on it a share goes to spoil and its samples are taken; set-ups lose their make-ready.
Film is wound in whole rolls: core, tail and splice of each are spoil, and what is left of the last is returned to the
store; all that is wound has run through the film line.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor

from ..errors import BadValue
from ..order import Order
from ..plant import Plant, PlantStage
from .starts import Start, least_start
from .yields import chance, mean_yield

__all__ = ["Backward", "StageNeed", "backward", "batches_of", "sheets_of", "web_of"]


@dataclass(frozen=True, slots=True)
class StageNeed:
    """What a stage takes in and where it goes.  unit : 'sheets' or 'm' of web, all lanes side by side.

    into : what its machine runs, and what is paid for
    spoil : roll_loss among it, which core, tail and splice of the rolls take
    returned : wound for the sake of whole rolls and left as stock
    """

    stage: PlantStage
    unit: str
    into: int
    out: int
    spoil: int
    samples: int
    make_ready: int
    returned: int = 0
    roll_loss: int = 0

    @property
    def runs(self) -> int:
        """What the order itself takes: all but what is left as stock."""
        return self.into - self.returned


@dataclass(frozen=True, slots=True)
class Backward:
    """An order's way back.

    notes : ordered and the reserve; good : sheets that this needs; planned : good sheets the plan is made for, so that
        `good` are reached with the chance asked for; stages : from the film line on
    start : sheets' worth put in at the very beginning, make-ready and samples beside it, and its chance
    naive : `good` over the mean yield of all stages, of the same kind as `start`, with its chance
    rolls : of film, whole
    """

    order: Order
    notes: int
    good: int
    planned: int
    batches: int
    setups: int
    stages: tuple[StageNeed, ...]
    start: Start
    naive: Start
    rolls: int

    @property
    def first_sheets(self) -> StageNeed | None:
        """The first stage that counts sheets."""
        return next((one for one in self.stages if one.unit == "sheets"), None)

    @property
    def first_web(self) -> StageNeed | None:
        """The stage that the web begins at."""
        return next((one for one in self.stages if one.unit == "m"), None)


def batches_of(order: Order, plant: Plant) -> int:
    """Batches that the order's notes and reserve travel in, all of one size."""
    return max(1, ceil(_notes(order, plant) / plant.batch))


def _notes(order: Order, plant: Plant) -> int:
    return order.notes + ceil(order.notes * Fraction(str(plant.reserve)))


def web_of(sheets: int, order: Order) -> int:
    """Whole m of web, all lanes, that so many sheets are cut from; rounded up."""
    return -(-sheets * order.layout.cut_off // (order.lanes * 10**6))


def sheets_of(web_m: int, order: Order) -> int:
    """Whole sheets that so many m of web give, all lanes."""
    return web_m * 10**6 // order.layout.cut_off * order.lanes


def backward(order: Order, plant: Plant, level: float | None = None, setups: int = 1) -> Backward:
    """The order through the plant's stages, last to first.

    level : chance asked for that the good sheets suffice; None: the plant's own; 0: mean yields, no overs
    setups : of each stage for the whole order
    Make-ready and samples are taken as sure losses; the chance is that of the running yields, which vary from batch to
    batch, so that an order of many batches needs fewer overs (its mean yield taken as the Beta of the same moments).
    """
    if setups < 0:
        raise BadValue("setups", setups, "it is below 0", "give the set-ups of a stage, 1 if the order runs in one go")
    notes, batches = _notes(order, plant), batches_of(order, plant)
    good = -(-notes // order.layout.ups)
    spreads = [one.good.averaged(batches) for one in plant.stages]
    mean = mean_yield(spreads)
    asked = plant.level if level is None else level
    count = least_start(good, asked, spreads).start if asked else ceil(good / mean)
    planned = max(good, round(count * mean)) if asked else good
    naive = ceil(good / mean)
    stages, rolls = _chain(order, plant, planned, setups)
    return Backward(
        order, notes, good, planned, batches, setups, stages, Start(count, chance(count, good, spreads)),
        Start(naive, chance(naive, good, spreads)), rolls,
    )  # fmt: skip


def _chain(order: Order, plant: Plant, planned: int, setups: int) -> tuple[tuple[StageNeed, ...], int]:
    needs: list[StageNeed] = []
    out, rolls = planned, 0
    for stage in reversed(plant.stages):
        if stage.web and needs and not needs[-1].stage.web:
            out = web_of(needs[-1].into, order)
        elif stage.web and not needs:
            out = web_of(planned, order)
        need = _stage(stage, out, setups)
        if stage.station == "film" and need.stage is plant.stages[0]:
            need, rolls = _in_rolls(need, plant)
        needs.append(need)
        out = need.into
    return tuple(reversed(needs)), rolls


def _stage(stage: PlantStage, out: int, setups: int) -> StageNeed:
    """The step back over one stage."""
    samples = ceil(out * Fraction(str(stage.sample_share)))
    through = ceil((out + samples) / Fraction(str(stage.good.mean)))
    lost = stage.make_ready * setups
    spoil = through - out - samples
    return StageNeed(stage, "m" if stage.web else "sheets", through + lost, out, spoil, samples, lost)


def _in_rolls(need: StageNeed, plant: Plant) -> tuple[StageNeed, int]:
    """The film stage in whole rolls, each as long as it is wound; and how many."""
    length, loss = (Fraction(str(one)) for one in (plant.material.roll_length, plant.material.roll_loss))
    rolls = ceil(need.into / (length - loss))
    wound, lost = ceil(rolls * length), floor(rolls * loss)
    left = wound - lost - need.into
    return replace(need, into=wound, spoil=need.spoil + lost, roll_loss=lost, returned=left), rolls

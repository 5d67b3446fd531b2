"""What a person asks of a plan, "what if": the plan's question changed in one point, with the words for it.

question(house, live, kept, asks)       (words, JobShop) to be planned;  Problem for what makes no sense
order_of(asks)                          the order that was pasted or sent
"""

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final, Literal

from ..acts.plan_time import unit_at
from ..acts.plan_whatif import order_in
from ..acts.planning import plant_of
from ..errors import BadValue, NotThere, Problem
from ..io.config import read_order
from ..jobs import JobShop, Spell
from ..order import Order
from ..plan.loading import checked, job_shop
from ..plan.planned import Planned
from ..plan.whatif import machine_more, shift_less, shift_more, week, with_order, without_order, yield_better
from .house import House
from .live import Live
from .planfiles import Kept

__all__ = ["ORDER_BYTES", "Asks", "What", "order_of", "orders_in", "question"]

ORDER_BYTES: Final = 64 * 1024  # of an order.toml; a long one takes a tenth
What = Literal["machine", "shift", "order-in", "order-out", "yield", "quote"]


@dataclass(frozen=True, slots=True)
class Asks:
    """One question.  Of the rest only what it needs is looked at.

    begins, hours, days, weekly : a shift: when the first begins, how long, on how many days, every week or once
    percent : points of the mean good share;  text : an order.toml
    """

    what: What
    machine: str = ""
    more: bool = True
    begins: datetime | None = None
    hours: float = 8.0
    days: int = 5
    weekly: bool = True
    order: str = ""
    stage: str = ""
    percent: float = 0.0
    text: str = ""


def question(house: House, live: Live, kept: Kept, asks: Asks) -> tuple[str, JobShop]:
    """The changed question, and what was changed in words."""
    shop = kept.planned.shop
    if asks.what == "machine":
        return f"a second {asks.machine}", machine_more(shop, asks.machine)
    if asks.what == "shift":
        return _shift(kept.planned, asks)
    if asks.what == "order-out":
        return f"without order {asks.order}", without_order(shop, asks.order)
    if asks.what == "order-in":
        order = order_of(asks)
        checked([*orders_in(house, kept), order], kept.planned.begins, _days(shop))
        return f"with order {order.name}", order_in(kept.planned, order, plant_of(live.works))
    return _better(house, live, kept, asks)


def order_of(asks: Asks) -> Order:
    """The order; BadValue or Problem names the key that is wrong."""
    if not asks.text.strip():
        raise BadValue("order", "nothing", "no order was pasted or sent", "paste the text of an order.toml, or send it")
    with TemporaryDirectory(prefix="reelmark-order-") as folder:
        path = Path(folder) / "order.toml"
        path.write_text(asks.text, encoding="utf-8", errors="replace")
        try:
            return read_order(path)
        except BadValue:
            raise
        except Problem as problem:
            raise BadValue("order", asks.text[:40], problem.true, problem.cure) from problem


def orders_in(house: House, kept: Kept) -> list[Order]:
    """Those orders of the plan that are served here."""
    names = {job.name for job in kept.planned.shop.jobs}
    return [live.order for live in house.lives.values() if live.order.name in names]


def _days(shop: JobShop) -> int:
    return max(1, shop.horizon * shop.unit_min // 1440)


def _shift(planned: Planned, asks: Asks) -> tuple[str, JobShop]:
    shop = planned.shop
    assert asks.begins is not None
    first, units = round(unit_at(planned, asks.begins)), round(asks.hours / shop.hours)
    day, spells = 1440 // shop.unit_min, list[Spell]()
    for n in range(asks.days):
        every = week(shop, first + n * day, units)
        spells += every if asks.weekly else every[:1]
    changed = (shift_more if asks.more else shift_less)(shop, asks.machine, spells)
    when = f"{asks.begins:%a %H:%M}" if asks.weekly else f"{asks.begins:%a %Y-%m-%d %H:%M}"
    many = f" on {asks.days} days" if asks.days > 1 else ""
    words = f"{asks.machine} {'open' if asks.more else 'closed'} {asks.hours:g} h more from {when}{many}"
    return words + (" every week" if asks.weekly else ""), changed


def _better(house: House, live: Live, kept: Kept, asks: Asks) -> tuple[str, JobShop]:
    """From orders and plant anew, as batches and lengths follow from the yields; what is made up stays."""
    shop, orders = kept.planned.shop, orders_in(house, kept)
    names = [one.name for one in orders]
    plant = yield_better(plant_of(live.works), asks.stage, asks.percent / 100)
    found = job_shop(orders, plant, kept.planned.begins, _days(shop))
    made_up = [j for j, job in enumerate(shop.jobs) if job.name not in names]
    alike = [one.name for one in found.machines] == [one.name for one in shop.machines]
    if not alike or found.families != shop.families or any(" make-up" not in shop.jobs[j].name for j in made_up):
        missing = ", ".join(shop.jobs[j].name for j in made_up) or "other machines"
        raise NotThere("stage", asks.stage, f"the plan has {missing}, works.toml and the orders here do not",
                       "plan again from works.toml first")  # fmt: skip
    found = replace(found, machines=shop.machines)
    for j in made_up:
        found = with_order(found, shop.jobs[j], [one for one in shop.dues if one.job == j])
    words = f"{asks.stage} {asks.percent:+g} points of good share"
    return words, found

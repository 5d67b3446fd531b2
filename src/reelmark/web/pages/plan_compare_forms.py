"""The questions that can be asked of a plan, each with its form."""

from ...plan.deliveries import MAKE_UP
from ..content import Field, Form
from ..page import Asked
from ..plancompare import LEAST, MOST
from ..planfiles import Kept

__all__ = ["ask_forms"]

REST = "An extra shift needs people: their hours and rest come first."
PASTE = "the text of an order.toml, with its series and deliveries"


def ask_forms(asked: Asked, kept: Kept) -> list[Form]:
    """One a question."""
    shop = kept.planned.shop
    machines = tuple((one.name, one.name) for one in shop.machines)
    orders = tuple((one.name, one.name) for one in shop.jobs if not one.name.endswith(MAKE_UP))
    stages = tuple((one.name, one.name) for one in (asked.live.works.plant.stages if asked.live.works.plant else ()))
    order = (Field("text", "The order", "area", hint=PASTE), Field("file", "Or its file", "file"))
    machine = Field("machine", "Machine", "select", choices=machines)
    asks = [
        ("A machine more", "machine", (machine,), "One more of its kind, with its hours and speed."),
        ("A shift more or less", "shift", (machine, *_shift(asked, kept)), REST),
        ("An order more", "order-in", order, "It is planned with those that are there."),
        ("An order less", "order-out", (Field("taken_out", "Order", "select", choices=orders),), ""),
        ("A better yield", "yield", (Field("stage", "Stage", "select", choices=stages), _percent()),
         "Batches and lengths follow; batches vary as before."),
        ("A quote", "quote", (*order, _allowed()),
         "The earliest date of a new order and what it costs, given what is running."),
    ]  # fmt: skip
    return [_form(asked, title, what, fields, says) for title, what, fields, says in asks]


def _form(asked: Asked, title: str, what: str, fields: tuple[Field, ...], says: str) -> Form:
    seconds = Field("seconds", "Time for the search, s", "number", "10", f"{LEAST} to {MOST}", required=True,
                    more={"min": str(LEAST), "max": str(MOST)})  # fmt: skip
    hidden = Field("what", "", "hidden", what)
    return Form(title, f"{asked.base}/plan/compare/ask", (hidden, *fields, seconds), "Compare", "post", says)


def _shift(asked: Asked, kept: Kept) -> tuple[Field, ...]:
    begins = kept.planned.begins.replace(hour=22, minute=0)
    whole = {"min": "1", "max": "7"}
    return (
        Field("change", "Open", "select", choices=(("more", "more: a shift is added"),
                                                   ("less", "less: a shift falls out"))),
        Field("begins", "From", "text", f"{begins:%Y-%m-%dT%H:%M}", f"date and time in {asked.live.works.zone}",
              required=True),
        Field("hours", "Hours", "number", "8", "0.5 to 24", required=True,
              more={"min": "0.5", "max": "24", "step": "0.5"}),
        Field("days", "On so many days", "number", "5", "1 to 7, one after another", required=True, more=whole),
        Field("weeks", "In", "select", choices=(("all", "every week from then"), ("one", "that week only"))),
    )  # fmt: skip


def _percent() -> Field:
    more = {"min": "-50", "max": "50", "step": "0.1"}
    return Field("percent", "Better by, % points of the good share", "number", "1", "below 0: worse", required=True,
                 more=more)  # fmt: skip


def _allowed() -> Field:
    more = {"min": "0", "max": "10000", "step": "1"}
    return Field("allowed", "Planned deliveries may get later by, h", "number", "0", "those late already may not",
                 required=True, more=more)  # fmt: skip
